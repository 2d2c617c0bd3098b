//! The measurement equation: what the camera sees of a surface, and the surface's temperature from it.
//!
//! In-band radiance arriving = ε τ L(T) + (1 − ε) τ L(T_reflected) + (1 − τ) L(T_path), for an opaque
//! grey surface of emissivity ε in uniform surroundings behind a path of transmittance τ. L is
//! [`band_radiance`]; the apparent temperature is that of the black body with the arriving radiance.
//! The sum is common practice; its terms are what energy conservation leaves of such a surface.

use serde::{Deserialize, Serialize};

use crate::frame::{ApparentKelvin, EmissivityFraction, Frame, FrameError, SurfaceKelvin};
use crate::radiometry::planck::{band_radiance, band_temperature};
use crate::radiometry::{Band, BandTable};
use crate::units::{Emissivity, Kelvin, Transmittance};

/// What surrounds the board and lies between it and the camera.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Surroundings {
    /// Reflected apparent temperature, K.
    pub reflected: Kelvin,
    /// Transmittance of the path.
    pub transmittance: Transmittance,
    /// Temperature of the path (air, window), K.
    pub path: Kelvin,
}

impl Default for Surroundings {
    fn default() -> Self {
        Self { reflected: Kelvin::ROOM, transmittance: Transmittance::CLEAR, path: Kelvin::ROOM }
    }
}

/// The settings with which radiance is turned into the temperature of one surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// The surface's emissivity in the band.
    pub emissivity: Emissivity,
    /// What surrounds it.
    pub surroundings: Surroundings,
}

/// The settings leave no temperature: no surface could send what arrived.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "no temperature explains this reading: the surface itself would have to send {radiance:.4} W·m⁻²·sr⁻¹; \
     check emissivity, reflected temperature and transmittance"
)]
pub struct NoPhysicalAnswer {
    /// The in-band radiance left for the surface, W·m⁻²·sr⁻¹.
    pub radiance: f64,
}

/// The measurement equation with its settings worked out, in radiance.
///
/// L(T_reflected) + (arriving − background) / (τ ε), and back: the constant part, what a surface that
/// only reflects would send, is taken out first, so the rest is one multiplication.
#[derive(Debug, Clone, Copy)]
struct Equation {
    reflected: f64,
    background: f64,
    transmittance: f64,
}

impl Equation {
    fn new(surroundings: &Surroundings, band: Band) -> Self {
        let transmittance = surroundings.transmittance.value();
        let reflected = band_radiance(band, surroundings.reflected).radiance;
        let path = band_radiance(band, surroundings.path).radiance;
        let background = transmittance * reflected + (1.0 - transmittance) * path;
        Self { reflected, background, transmittance }
    }

    fn arriving(&self, surface: f64, emissivity: f64) -> f64 {
        self.background + (surface - self.reflected) * (self.transmittance * emissivity)
    }

    fn surface(&self, arriving: f64, emissivity: f64) -> f64 {
        self.reflected + (arriving - self.background) / (self.transmittance * emissivity)
    }
}

/// The temperature of a surface that appears at `apparent`, by the exact series.
///
/// # Errors
/// [`NoPhysicalAnswer`] when nothing, or less, is left for the surface to have sent.
pub fn surface_temperature(
    apparent: Kelvin,
    correction: &Correction,
    band: Band,
) -> Result<Kelvin, NoPhysicalAnswer> {
    let arriving = band_radiance(band, apparent).radiance;
    let equation = Equation::new(&correction.surroundings, band);
    let radiance = equation.surface(arriving, correction.emissivity.value());
    band_temperature(band, radiance).ok_or(NoPhysicalAnswer { radiance })
}

/// The temperature at which a surface of temperature `surface` appears, by the exact series.
///
/// # Errors
/// [`NoPhysicalAnswer`] only where the band holds no radiance that `f64` can tell from zero.
pub fn apparent_temperature(
    surface: Kelvin,
    correction: &Correction,
    band: Band,
) -> Result<Kelvin, NoPhysicalAnswer> {
    let equation = Equation::new(&correction.surroundings, band);
    let radiance = equation.arriving(band_radiance(band, surface).radiance, correction.emissivity.value());
    band_temperature(band, radiance).ok_or(NoPhysicalAnswer { radiance })
}

/// How the corrected temperature moves with each of its inputs: exact partial derivatives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// Kelvin per kelvin of apparent temperature.
    pub apparent: f64,
    /// Kelvin per 1 of emissivity.
    pub emissivity: f64,
    /// Kelvin per kelvin of reflected apparent temperature.
    pub reflected: f64,
    /// Kelvin per 1 of transmittance.
    pub transmittance: f64,
    /// Kelvin per kelvin of the path's temperature.
    pub path: f64,
}

/// The partial derivatives of [`surface_temperature`].
///
/// # Errors
/// [`NoPhysicalAnswer`], as [`surface_temperature`].
pub fn sensitivity(
    apparent: Kelvin,
    correction: &Correction,
    band: Band,
) -> Result<Sensitivity, NoPhysicalAnswer> {
    let surface = band_radiance(band, surface_temperature(apparent, correction, band)?);
    let arriving = band_radiance(band, apparent);
    let reflected = band_radiance(band, correction.surroundings.reflected);
    let path = band_radiance(band, correction.surroundings.path);
    let emissivity = correction.emissivity.value();
    let transmittance = correction.surroundings.transmittance.value();
    let gain = 1.0 / (transmittance * emissivity * surface.slope);
    Ok(Sensitivity {
        apparent: gain * arriving.slope,
        emissivity: -(surface.radiance - reflected.radiance) / (emissivity * surface.slope),
        reflected: -gain * transmittance * (1.0 - emissivity) * reflected.slope,
        transmittance: -gain * (arriving.radiance - path.radiance) / transmittance,
        path: -gain * (1.0 - transmittance) * path.slope,
    })
}

/// Why an emissivity cannot be told from a reading of known temperature.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EmissivityUnknown {
    /// Surface and surroundings radiate alike, whatever the emissivity.
    #[error(
        "the surface is only {difference:.1} K from the reflected temperature: warm it to at least \
         {needed} K above its surroundings (20 K is better) and measure again"
    )]
    TooCloseToSurroundings {
        /// Surface less reflected temperature, K.
        difference: f64,
        /// The least that is accepted, K.
        needed: f64,
    },
    /// The reading does not lie between the two.
    #[error("the reading asks for an emissivity of {value:.3}, which no surface has")]
    OutOfRange {
        /// The emissivity asked for.
        value: f64,
    },
}

/// The emissivity with which a surface of known temperature appears at `apparent`.
///
/// The surface's own temperature comes from a contact thermometer, or from a spot beside it that is
/// covered with a material of known emissivity. Surface and surroundings must differ by at least 5 K,
/// our own rule: below that, 0.5 K of error on the reading costs more than 0.1 of emissivity.
///
/// # Errors
/// [`EmissivityUnknown`].
pub fn emissivity_of(
    apparent: Kelvin,
    surface: Kelvin,
    surroundings: &Surroundings,
    band: Band,
) -> Result<Emissivity, EmissivityUnknown> {
    const NEEDED: f64 = 5.0;
    let difference = (surface - surroundings.reflected).value();
    if difference.abs() < NEEDED {
        return Err(EmissivityUnknown::TooCloseToSurroundings { difference, needed: NEEDED });
    }
    let equation = Equation::new(surroundings, band);
    let arriving = band_radiance(band, apparent).radiance - equation.background;
    let radiated = band_radiance(band, surface).radiance - equation.reflected;
    let value = arriving / (equation.transmittance * radiated);
    Emissivity::new(value).map_err(|_| EmissivityUnknown::OutOfRange { value })
}

/// How many pixels got no temperature, by reason.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rejected {
    /// No radiance, or less, is left for the surface.
    pub no_physical_answer: usize,
    /// Apparent or corrected temperature outside the table, 200 K to 800 K.
    pub outside_table: usize,
    /// The reading was invalid, or the emissivity is none.
    pub invalid_input: usize,
}

impl Rejected {
    /// All of them.
    #[must_use]
    pub const fn total(&self) -> usize {
        self.no_physical_answer + self.outside_table + self.invalid_input
    }
}

/// A corrected picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// Temperature of the surface, of the shape given; invalid where `rejected` counts a pixel.
    pub temperature: Frame<SurfaceKelvin>,
    /// The pixels without a temperature.
    pub rejected: Rejected,
}

/// The surface's temperature, pixel by pixel, through the table.
///
/// # Accuracy
/// That of the [`BandTable`], times the derivative by apparent temperature of [`Sensitivity`].
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in shape.
pub fn correct(
    apparent: &Frame<ApparentKelvin>,
    emissivity: &Frame<EmissivityFraction>,
    surroundings: &Surroundings,
    table: &BandTable,
) -> Result<Corrected, FrameError> {
    apparent.require_same_shape(emissivity)?;
    let equation = Equation::new(surroundings, table.band());
    let (reflected, background) = (equation.reflected as f32, equation.background as f32);
    let transmittance = equation.transmittance as f32;
    let mut rejected = Rejected::default();
    let temperatures = apparent
        .as_slice()
        .iter()
        .zip(emissivity.as_slice())
        .map(|(&apparent, &emissivity)| {
            let surface = reflected + (table.radiance(apparent) - background) / (transmittance * emissivity);
            let temperature = table.temperature(surface);
            if temperature.is_nan() || !(emissivity > 0.0 && emissivity <= 1.0) {
                rejected.count(apparent, emissivity, surface);
                return f32::NAN;
            }
            temperature
        })
        .collect();
    let (rows, columns) = apparent.shape();
    Ok(Corrected { temperature: Frame::from_rows(rows, columns, temperatures)?, rejected })
}

impl Rejected {
    /// Sorts one pixel by its reason; out of the way of the pixels that are fine.
    #[cold]
    fn count(&mut self, apparent: f32, emissivity: f32, surface: f32) {
        let is_emissivity = emissivity > 0.0 && emissivity <= 1.0;
        if apparent.is_nan() || !is_emissivity {
            self.invalid_input += 1;
        } else if surface <= 0.0 {
            self.no_physical_answer += 1;
        } else {
            self.outside_table += 1;
        }
    }
}

/// How a surface appears, pixel by pixel: [`correct`] the other way.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in shape.
pub fn apparent_picture(
    surface: &Frame<SurfaceKelvin>,
    emissivity: &Frame<EmissivityFraction>,
    surroundings: &Surroundings,
    table: &BandTable,
) -> Result<Frame<ApparentKelvin>, FrameError> {
    surface.require_same_shape(emissivity)?;
    let equation = Equation::new(surroundings, table.band());
    let (reflected, background) = (equation.reflected as f32, equation.background as f32);
    let transmittance = equation.transmittance as f32;
    let temperatures = surface
        .as_slice()
        .iter()
        .zip(emissivity.as_slice())
        .map(|(&surface, &emissivity)| {
            let arriving = background + (table.radiance(surface) - reflected) * (transmittance * emissivity);
            table.temperature(arriving)
        })
        .collect();
    let (rows, columns) = surface.shape();
    Frame::from_rows(rows, columns, temperatures)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture<Q>(numbers: Vec<f32>) -> Frame<Q> {
        Frame::from_rows(1, numbers.len(), numbers).unwrap()
    }

    #[test]
    fn every_pixel_without_a_temperature_is_counted_with_its_reason() {
        let table = BandTable::new(Band::default());
        let surroundings =
            Surroundings { reflected: Kelvin::from_celsius(30.0).unwrap(), ..Surroundings::default() };
        let apparent = picture(vec![333.0, 293.15, 150.0, f32::NAN, 333.0, 333.0, 780.0]);
        let emissivity = picture(vec![0.95, 0.1, 0.95, 0.95, f32::NAN, 1.5, 0.5]);
        let corrected = correct(&apparent, &emissivity, &surroundings, &table).unwrap();
        assert_eq!(
            corrected.rejected,
            Rejected { no_physical_answer: 1, outside_table: 2, invalid_input: 3 }
        );
        assert_eq!(corrected.temperature.count_valid(), 1);
        assert_eq!(corrected.rejected.total(), 6);
    }

    #[test]
    fn pictures_of_different_size_are_refused() {
        let table = BandTable::new(Band::default());
        let result =
            correct(&picture(vec![300.0; 2]), &picture(vec![0.9; 3]), &Surroundings::default(), &table);
        assert_eq!(result, Err(FrameError::ShapeMismatch { expected: (1, 2), found: (1, 3) }));
    }
}
