//! The emissivity of one place, measured: against a contact thermometer, or against a surface of known
//! emissivity beside it.
//!
//! Both follow the two procedures of ASTM E1933, *Standard Practice for Measuring and Compensating for
//! Emissivity Using Infrared Imaging Radiometers* (their names and scope were read, the steps are from
//! memory). Where the practice has a person turn the camera's emissivity setting until it reads right,
//! the measurement equation is solved instead; the answer is the same.

use serde::{Deserialize, Serialize};

use super::outcome::{
    Contribution, ProcedureError, Source, Warning, combined, plain_uncertainty_of, uncertainty_of,
    warn_of_elevation, warn_of_repeats,
};
use super::repeats::{Repeats, effective_degrees};
use crate::radiometry::{
    Band, BandRadiance, Correction, Surroundings, band_radiance, emissivity_of, surface_temperature,
};
use crate::surface::region::Finish;
use crate::units::{Emissivity, Kelvin, KelvinDifference};

/// Repeats that spread more than this are warned of (our own rule).
const SPREAD_ALLOWED: f64 = 0.02;
/// Below this the reading is mostly reflection.
const MOSTLY_REFLECTING: f64 = 0.5;
/// A reference below this is warned of (our own rule).
const REFERENCE_ADVISED: f64 = 0.9;

/// The contact method, as entered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ContactMethod {
    /// The camera's band.
    pub band: Band,
    /// What surrounded the board and lay between it and the camera.
    pub surroundings: Surroundings,
    /// Standard uncertainty of the reflected apparent temperature.
    pub reflected_uncertainty: KelvinDifference,
    /// Standard uncertainty of the contact thermometer, common to all repeats; with what its contact and
    /// the heat it draws off leave unsure.
    pub contact_uncertainty: KelvinDifference,
    /// Standard uncertainty of the camera's readings that all repeats share.
    pub camera_uncertainty: KelvinDifference,
    /// Standard deviation of a reading from one repeat to the next, as far as it is known beforehand: noise.
    pub reading_noise: KelvinDifference,
    /// The repeats: at least three.
    pub repeats: Vec<ContactRepeat>,
}

/// One repeat of the contact method.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ContactRepeat {
    /// What the contact thermometer read.
    pub contact: Kelvin,
    /// What the camera read at the same place with emissivity 1.
    pub apparent: Kelvin,
}

/// The reference method, as entered: tape or a coating of known emissivity beside the bare place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceMethod {
    /// The camera's band.
    pub band: Band,
    /// What surrounded the board and lay between it and the camera.
    pub surroundings: Surroundings,
    /// Standard uncertainty of the reflected apparent temperature.
    pub reflected_uncertainty: KelvinDifference,
    /// Emissivity of the reference surface.
    pub reference: Emissivity,
    /// Standard uncertainty of that.
    pub reference_uncertainty: f64,
    /// Standard uncertainty of the camera's readings that all repeats and both places share.
    pub camera_uncertainty: KelvinDifference,
    /// Standard deviation of a reading from one repeat to the next, as far as it is known beforehand: noise.
    pub reading_noise: KelvinDifference,
    /// The repeats: at least three.
    pub repeats: Vec<ReferenceRepeat>,
}

/// One repeat of the reference method.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceRepeat {
    /// What the camera read on the reference surface with emissivity 1.
    pub covered: Kelvin,
    /// What it read on the bare place beside it with emissivity 1.
    pub bare: Kelvin,
}

/// The emissivity that was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EmissivityOutcome {
    /// The value: the mean over the repeats.
    pub emissivity: Emissivity,
    /// Its standard uncertainty, k = 1.
    pub uncertainty: f64,
    /// Degrees of freedom of the uncertainty; `None` for as many as one likes.
    pub degrees_of_freedom: Option<f64>,
    /// What the uncertainty is made of.
    pub contributions: Vec<Contribution>,
    /// The emissivity of each repeat.
    pub values: Vec<Emissivity>,
    /// Their mean and spread.
    pub repeats: Repeats,
    /// What to mind.
    pub warnings: Vec<Warning>,
}

impl EmissivityOutcome {
    /// The finish to give to the region that was measured.
    #[must_use]
    pub fn finish(&self) -> Finish {
        Finish::stated(self.emissivity, self.uncertainty)
    }
}

impl ContactMethod {
    /// What it finds, and how.
    pub const NAME: &str = "Emissivity, against a contact thermometer";

    /// What to mind for safety, beside local codes and the practice of licensed people.
    pub const CAUTION: &str = "Attach the contact thermometer with the power off and the board discharged. Never \
                               touch a live board that carries mains or other dangerous voltage; use a probe that \
                               is insulated for it, and beware of hot parts.";

    /// The emissivity: [`emissivity_of`] for each repeat, and their mean.
    ///
    /// Uncertainty, with D = L(T_contact) − L(T_reflected), by the exact derivatives at the repeats' means:
    /// ∂ε/∂T_apparent = L′(T_apparent) / (τ D), ∂ε/∂T_contact = −ε L′(T_contact) / D,
    /// ∂ε/∂T_reflected = −(1 − ε) L′(T_reflected) / D. What the repeats' spread says of noise is
    /// never taken to be less than `reading_noise` says.
    ///
    /// # Errors
    /// [`ProcedureError`], which names the repeat and says what to do.
    pub fn outcome(&self) -> Result<EmissivityOutcome, ProcedureError> {
        let mut values = Vec::with_capacity(self.repeats.len());
        for (index, repeat) in self.repeats.iter().enumerate() {
            let value = emissivity_of(repeat.apparent, repeat.contact, &self.surroundings, self.band)
                .map_err(|source| ProcedureError::Repeat { number: index + 1, source })?;
            values.push(value);
        }
        let repeats = mean_of(&values)?;
        let contact = self.mean_radiance(|repeat| repeat.contact);
        let apparent = self.mean_radiance(|repeat| repeat.apparent);
        let reflected = band_radiance(self.band, self.surroundings.reflected);
        let radiated = contact.radiance - reflected.radiance;
        let by_apparent = apparent.slope / (self.surroundings.transmittance.value() * radiated);
        let by_contact = repeats.mean * contact.slope / radiated;
        let by_reflected = (1.0 - repeats.mean) * reflected.slope / radiated;
        let contact_uncertainty = uncertainty_of("the contact thermometer", self.contact_uncertainty)?;
        let reflected_uncertainty = uncertainty_of("the reflected temperature", self.reflected_uncertainty)?;
        let camera = uncertainty_of("the camera's readings", self.camera_uncertainty)?;
        let noise = uncertainty_of("the noise of a reading", self.reading_noise)?;
        let mut warnings = Vec::new();
        let surfaces = self.repeats.iter().map(|repeat| repeat.contact.value());
        warnings.extend(warn_of_elevation(surfaces, self.surroundings.reflected));
        conclude(
            values,
            repeats,
            by_apparent * noise,
            &[
                (Source::ContactThermometer, by_contact * contact_uncertainty),
                (Source::Reflected, by_reflected * reflected_uncertainty),
                (Source::Camera, by_apparent * camera),
            ],
            warnings,
        )
    }

    fn mean_radiance(&self, reading: impl Fn(&ContactRepeat) -> Kelvin) -> BandRadiance {
        mean_radiance(self.band, self.repeats.iter().map(reading))
    }
}

impl ReferenceMethod {
    /// What it finds, and how.
    pub const NAME: &str = "Emissivity, against tape or a coating";

    /// What to mind for safety, beside local codes and the practice of licensed people.
    pub const CAUTION: &str = "Put on tape or coating with the power off and the board discharged and cool. Take only \
                               what insulates and stands the temperature, keep it off connectors and high-voltage \
                               gaps, let a coating dry, and mind its vapour.";

    /// The emissivity: for each repeat the reference surface's temperature, then [`emissivity_of`] the bare
    /// place at that temperature, and the mean over the repeats.
    ///
    /// With C = L(covered) − B and B what a surface that only reflects would send, ε = ε_ref (L(bare) − B)/C.
    /// So ∂ε/∂T_bare = ε_ref L′(bare)/C, ∂ε/∂T_covered = −ε L′(covered)/C,
    /// ∂ε/∂T_reflected = −(ε_ref − ε) τ L′(T_reflected)/C and ∂ε/∂ε_ref = ε/ε_ref. The camera's own error is
    /// common to both readings and mostly cancels; noise does not.
    ///
    /// # Errors
    /// [`ProcedureError`], which names the repeat and says what to do.
    pub fn outcome(&self) -> Result<EmissivityOutcome, ProcedureError> {
        let reference = Correction { emissivity: self.reference, surroundings: self.surroundings };
        let mut values = Vec::with_capacity(self.repeats.len());
        let mut surfaces = Vec::with_capacity(self.repeats.len());
        for (index, repeat) in self.repeats.iter().enumerate() {
            let number = index + 1;
            let surface = surface_temperature(repeat.covered, &reference, self.band)
                .map_err(|_| ProcedureError::ReferenceReading { number })?;
            let value = emissivity_of(repeat.bare, surface, &self.surroundings, self.band)
                .map_err(|source| ProcedureError::ReferenceRepeat { number, source })?;
            surfaces.push(surface.value());
            values.push(value);
        }
        let repeats = mean_of(&values)?;
        let covered = mean_radiance(self.band, self.repeats.iter().map(|repeat| repeat.covered));
        let bare = mean_radiance(self.band, self.repeats.iter().map(|repeat| repeat.bare));
        let reflected = band_radiance(self.band, self.surroundings.reflected);
        let path = band_radiance(self.band, self.surroundings.path);
        let transmittance = self.surroundings.transmittance.value();
        let background = transmittance * reflected.radiance + (1.0 - transmittance) * path.radiance;
        let contrast = covered.radiance - background;
        let known = self.reference.value();
        let by_bare = known * bare.slope / contrast;
        let by_covered = -repeats.mean * covered.slope / contrast;
        let by_reflected = (known - repeats.mean) * transmittance * reflected.slope / contrast;
        let reference_uncertainty =
            plain_uncertainty_of("the reference's emissivity", self.reference_uncertainty)?;
        let reflected_uncertainty = uncertainty_of("the reflected temperature", self.reflected_uncertainty)?;
        let camera = uncertainty_of("the camera's readings", self.camera_uncertainty)?;
        let noise = uncertainty_of("the noise of a reading", self.reading_noise)?;
        let mut warnings = Vec::new();
        warnings.extend(warn_of_elevation(surfaces.into_iter(), self.surroundings.reflected));
        if known < REFERENCE_ADVISED {
            warnings.push(Warning::PoorReference { emissivity: known, advised: REFERENCE_ADVISED });
        }
        conclude(
            values,
            repeats,
            by_bare.hypot(by_covered) * noise,
            &[
                (Source::ReferenceEmissivity, repeats.mean / known * reference_uncertainty),
                (Source::Reflected, by_reflected * reflected_uncertainty),
                (Source::Camera, (by_bare + by_covered) * camera),
            ],
            warnings,
        )
    }
}

/// Radiance and slope at the mean of the readings, of which there is at least one.
fn mean_radiance(band: Band, readings: impl ExactSizeIterator<Item = Kelvin>) -> BandRadiance {
    let count = readings.len() as f64;
    let (radiance, slope) = readings
        .map(|reading| band_radiance(band, reading))
        .fold((0.0, 0.0), |sum, here| (sum.0 + here.radiance, sum.1 + here.slope));
    BandRadiance { radiance: radiance / count, slope: slope / count }
}

fn mean_of(values: &[Emissivity]) -> Result<Repeats, ProcedureError> {
    let numbers: Vec<f64> = values.iter().map(|value| value.value()).collect();
    Repeats::of(&numbers).ok_or(ProcedureError::NoReadings)
}

/// `noise` is the standard deviation that stated noise alone would give the value of one repeat.
fn conclude(
    values: Vec<Emissivity>,
    repeats: Repeats,
    noise: f64,
    common: &[(Source, f64)],
    mut warnings: Vec<Warning>,
) -> Result<EmissivityOutcome, ProcedureError> {
    let emissivity = Emissivity::new(repeats.mean).map_err(|_| ProcedureError::NoReadings)?;
    let from_noise = noise.abs() / (repeats.count as f64).sqrt();
    let from_spread = repeats.mean_uncertainty().unwrap_or(0.0);
    let random = from_spread.max(from_noise);
    let contributions: Vec<Contribution> = std::iter::once(&(Source::Repeats, random))
        .chain(common)
        .map(|&(source, uncertainty)| Contribution { source, uncertainty: uncertainty.abs() })
        .collect();
    let uncertainty = combined(&contributions);
    if repeats.spread.is_none() && uncertainty == 0.0 {
        return Err(ProcedureError::UncertaintyUnknown);
    }
    // Stated noise counts as known for certain, a spread of few repeats does not.
    let degrees_of_freedom = if from_spread >= from_noise {
        effective_degrees(uncertainty, random, repeats.count - 1)
    } else {
        None
    };
    warnings.extend(warn_of_repeats(repeats.count, repeats.spread, SPREAD_ALLOWED));
    if repeats.mean < MOSTLY_REFLECTING {
        warnings.push(Warning::MostlyReflecting { emissivity: repeats.mean, advised: MOSTLY_REFLECTING });
    }
    Ok(EmissivityOutcome {
        emissivity,
        uncertainty,
        degrees_of_freedom,
        contributions,
        values,
        repeats,
        warnings,
    })
}
