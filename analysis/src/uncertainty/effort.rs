//! Where to spend effort: what would make a place's temperature better known, and by how much.

use super::budget::TemperaturePlace;
use super::inputs::InputUncertainty;
use crate::radiometry::NoPhysicalAnswer;
use crate::units::{Emissivity, Kelvin, KelvinDifference};

/// Something a person can do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effort {
    /// Cover the place with tape or a coating of emissivity 0.95 ± 0.01.
    TreatSurface,
    /// Measure the reflected temperature to 0.3 K.
    MeasureReflected,
    /// Measure the emissivity of the place to ± 0.01.
    MeasureEmissivity,
    /// Average this many frames.
    AverageFrames(u32),
    /// Check the camera against a known temperature near the place's, to 0.3 K.
    CheckCamera,
    /// Let the board dissipate more, so that the place rises twice as far: the same kelvins then matter less.
    WarmMore,
}

/// What an effort would bring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EffortGain {
    /// What to do.
    pub effort: Effort,
    /// The combined standard uncertainty after it, K; for [`Effort::WarmMore`] half of it, since the rise
    /// that it is held against doubles.
    pub combined: f64,
}

/// What a measured reflected temperature, or a checked camera, is known to, K.
const MEASURED: KelvinDifference = KelvinDifference::known(0.3);

/// What each effort would bring, the best first; those that bring less than a tenth are left out.
///
/// # Errors
/// [`NoPhysicalAnswer`] where the place itself has none.
pub fn efforts(
    place: &TemperaturePlace,
    inputs: &InputUncertainty,
) -> Result<Vec<EffortGain>, NoPhysicalAnswer> {
    let now = place.budget(inputs)?.combined.value();
    let after = |effort, place: TemperaturePlace, inputs: &InputUncertainty| {
        let combined = place.budget(inputs).ok()?.combined.value();
        Some(EffortGain { effort, combined })
    };
    let treated =
        TemperaturePlace { emissivity: Emissivity::known(0.95), emissivity_uncertainty: 0.01, ..*place };
    let measured =
        TemperaturePlace { emissivity_uncertainty: place.emissivity_uncertainty.min(0.01), ..*place };
    let averaged = TemperaturePlace { pixels: place.pixels * 16.0, ..*place };
    let mut reflected = inputs.clone();
    reflected.reflected = smaller(MEASURED, inputs.reflected);
    let mut checked = inputs.clone();
    checked.calibration.least = smaller(MEASURED, inputs.calibration.least);
    checked.calibration.fraction = 0.0;
    let rise = place.temperature.value() - place.surroundings.reflected.value();
    let warmer = Kelvin::new(place.temperature.value() + rise).ok().filter(|_| rise > 0.0);
    let warmer = warmer.and_then(|temperature| {
        let gain = after(Effort::WarmMore, TemperaturePlace { temperature, ..*place }, inputs)?;
        Some(EffortGain { combined: gain.combined / 2.0, ..gain })
    });
    let mut gains: Vec<_> = [
        after(Effort::TreatSurface, treated, inputs),
        after(Effort::MeasureEmissivity, measured, inputs),
        after(Effort::MeasureReflected, *place, &reflected),
        after(Effort::CheckCamera, *place, &checked),
        after(Effort::AverageFrames(16), averaged, inputs),
        warmer,
    ]
    .into_iter()
    .flatten()
    .filter(|gain| gain.combined < 0.9 * now)
    .collect();
    gains.sort_by(|a, b| a.combined.total_cmp(&b.combined));
    Ok(gains)
}

fn smaller(a: KelvinDifference, b: KelvinDifference) -> KelvinDifference {
    if a < b { a } else { b }
}
