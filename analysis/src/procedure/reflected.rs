//! The reflected apparent temperature, measured: by a diffuse reflector in the board's place, or by
//! pointing the camera at what the board mirrors.
//!
//! Both follow the two methods of ASTM E1862, *Standard Practice for Measuring and Compensating for
//! Reflected Temperature Using Infrared Imaging Radiometers* (the methods' names and the call for
//! replicates were read; the steps are from memory).

use serde::{Deserialize, Serialize};

use super::outcome::{
    Contribution, ProcedureError, Source, Warning, combined, plain_uncertainty_of, uncertainty_of,
    warn_of_repeats,
};
use super::repeats::{Repeats, effective_degrees};
use crate::radiometry::{Band, band_radiance, band_temperature};
use crate::units::{Emissivity, Kelvin, KelvinDifference};

/// Readings that spread more than this are warned of, K (our own rule: the surroundings were not steady).
const SPREAD_ALLOWED: f64 = 1.0;
/// A reflector that emits more than this is warned of (our own rule; bright foil has 0.03 to 0.07).
const FOIL_EMISSIVITY_ALLOWED: f64 = 0.1;

/// The reflector method, as entered: foil, crumpled and flattened again, its bright side to the camera, in
/// place of the board; read with emissivity 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReflectorMethod {
    /// The camera's band.
    pub band: Band,
    /// Apparent temperature of the foil, averaged over it, one for each repeat.
    pub readings: Vec<Kelvin>,
    /// Standard uncertainty of a reading that all repeats share: the camera's own error.
    pub reading_uncertainty: KelvinDifference,
    /// What the foil itself sends; without it the foil counts as a perfect mirror.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub foil: Option<Foil>,
}

/// The foil of the reflector method.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Foil {
    /// Its emissivity.
    pub emissivity: Emissivity,
    /// Standard uncertainty of that.
    pub emissivity_uncertainty: f64,
    /// Its own temperature, near the air's.
    pub temperature: Kelvin,
    /// Standard uncertainty of that.
    pub temperature_uncertainty: KelvinDifference,
}

/// The direct method, as entered: from the board's place the camera looks along the mirrored direction at
/// what the board reflects; read with emissivity 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DirectMethod {
    /// Apparent temperature of the surroundings, averaged over what is mirrored, one for each repeat.
    pub readings: Vec<Kelvin>,
    /// Standard uncertainty of a reading that all repeats share: the camera's own error.
    pub reading_uncertainty: KelvinDifference,
}

/// The reflected apparent temperature that was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReflectedOutcome {
    /// The value.
    pub reflected: Kelvin,
    /// Its standard uncertainty, k = 1.
    pub uncertainty: KelvinDifference,
    /// Degrees of freedom of the uncertainty; `None` for as many as one likes. With
    /// [`coverage_factor`](crate::propagation::coverage_factor) they widen it to an interval.
    pub degrees_of_freedom: Option<f64>,
    /// What the uncertainty is made of, K.
    pub contributions: Vec<Contribution>,
    /// The readings as they were, K, before the foil's own radiance was taken out.
    pub repeats: Repeats,
    /// What to mind.
    pub warnings: Vec<Warning>,
}

impl ReflectorMethod {
    /// What it finds, and how.
    pub const NAME: &str = "Reflected temperature, from foil";

    /// The reflected apparent temperature.
    ///
    /// The mean of the readings; with a [`Foil`], L(T_refl) = (L(reading) − ε_foil L(T_foil)) / (1 − ε_foil).
    ///
    /// # Errors
    /// [`ProcedureError`], which says what to enter instead.
    pub fn outcome(&self) -> Result<ReflectedOutcome, ProcedureError> {
        let Some(foil) = &self.foil else {
            return mirror(&self.readings, self.reading_uncertainty);
        };
        let repeats = means(&self.readings)?;
        let emissivity = foil.emissivity.value();
        let kelvin = |value| Kelvin::new(value).map_err(|_| ProcedureError::NoReadings);
        let read = band_radiance(self.band, kelvin(repeats.mean)?);
        let own = band_radiance(self.band, foil.temperature);
        let arriving = (read.radiance - emissivity * own.radiance) / (1.0 - emissivity);
        let reflected = band_temperature(self.band, arriving).ok_or(ProcedureError::FoilTooWarm)?;
        let there = band_radiance(self.band, reflected);
        let gain = 1.0 / ((1.0 - emissivity) * there.slope);
        let emissivity_uncertainty =
            plain_uncertainty_of("the foil's emissivity", foil.emissivity_uncertainty)?;
        let temperature_uncertainty = uncertainty_of("the foil's temperature", foil.temperature_uncertainty)?;
        let parts = [
            (Source::ReferenceEmissivity, gain * (arriving - own.radiance).abs() * emissivity_uncertainty),
            (Source::FoilTemperature, gain * emissivity * own.slope * temperature_uncertainty),
        ];
        let mut outcome = conclude(reflected, repeats, self.reading_uncertainty, gain * read.slope, &parts)?;
        if emissivity > FOIL_EMISSIVITY_ALLOWED {
            outcome.warnings.push(Warning::DullReflector { emissivity });
        }
        Ok(outcome)
    }
}

impl DirectMethod {
    /// What it finds, and how.
    pub const NAME: &str = "Reflected temperature, by direct view";

    /// The reflected apparent temperature: the mean of the readings.
    ///
    /// # Errors
    /// [`ProcedureError`], which says what to enter instead.
    pub fn outcome(&self) -> Result<ReflectedOutcome, ProcedureError> {
        mirror(&self.readings, self.reading_uncertainty)
    }
}

/// The outcome where a reading is the reflected temperature itself.
fn mirror(
    readings: &[Kelvin],
    reading_uncertainty: KelvinDifference,
) -> Result<ReflectedOutcome, ProcedureError> {
    let repeats = means(readings)?;
    let reflected = Kelvin::new(repeats.mean).map_err(|_| ProcedureError::NoReadings)?;
    conclude(reflected, repeats, reading_uncertainty, 1.0, &[])
}

fn means(readings: &[Kelvin]) -> Result<Repeats, ProcedureError> {
    let values: Vec<f64> = readings.iter().map(|reading| reading.value()).collect();
    Repeats::of(&values).ok_or(ProcedureError::NoReadings)
}

/// `gain` is the derivative of the value by the reading; `further` are parts beside the readings'.
fn conclude(
    reflected: Kelvin,
    repeats: Repeats,
    reading_uncertainty: KelvinDifference,
    gain: f64,
    further: &[(Source, f64)],
) -> Result<ReflectedOutcome, ProcedureError> {
    let camera = uncertainty_of("a reading", reading_uncertainty)?;
    if repeats.spread.is_none() && camera == 0.0 {
        return Err(ProcedureError::UncertaintyUnknown);
    }
    let random = gain * repeats.mean_uncertainty().unwrap_or(0.0);
    let contributions: Vec<Contribution> = [(Source::Repeats, random), (Source::Camera, gain * camera)]
        .iter()
        .chain(further)
        .map(|&(source, uncertainty)| Contribution { source, uncertainty })
        .collect();
    let uncertainty = combined(&contributions);
    Ok(ReflectedOutcome {
        reflected,
        uncertainty: KelvinDifference::new(uncertainty).map_err(|_| ProcedureError::FoilTooWarm)?,
        degrees_of_freedom: effective_degrees(uncertainty, random, repeats.count - 1),
        contributions,
        repeats,
        warnings: warn_of_repeats(repeats.count, repeats.spread, SPREAD_ALLOWED),
    })
}
