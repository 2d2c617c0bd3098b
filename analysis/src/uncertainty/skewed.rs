//! Where a symmetric interval would be wrong, and the interval that is right there.
//!
//! The measurement equation is linear in radiance but has 1/ε in it: where an emissivity is not known to
//! much better than itself, as on bare metal, the temperature's distribution leans to one side.

use super::budget::{CONFIDENCE, Input, TemperaturePlace};
use super::inputs::InputUncertainty;
use crate::propagation::{Interval, coverage_factor};
use crate::radiometry::{Correction, NoPhysicalAnswer, surface_temperature};
use crate::units::Emissivity;

/// Above this u(ε)/ε the second order of 1/ε adds more than a seventh to the first, our own limit for
/// printing ±: the two sides of the 95 % interval then differ by a third.
const MOST_SYMMETRIC: f64 = 0.15;
/// No real surface emits less than this; lower draws of an emissivity are none.
pub(super) const LEAST_EMISSIVITY: f64 = 0.01;

/// Whether a place's temperature is to be given as an interval rather than ±.
#[must_use]
pub fn is_skewed(emissivity: f64, emissivity_uncertainty: f64) -> bool {
    emissivity_uncertainty > MOST_SYMMETRIC * emissivity
}

/// The 95 % interval of a place's temperature, K.
///
/// The emissivity's own interval is carried through the exact equation, since the temperature is monotone
/// in it; the other inputs' expanded contribution is added to each side in squares. An end that has no
/// physical answer is infinite on its side.
///
/// # Errors
/// [`NoPhysicalAnswer`] where the place itself has none.
pub fn temperature_interval(
    place: &TemperaturePlace,
    inputs: &InputUncertainty,
) -> Result<Interval, NoPhysicalAnswer> {
    let budget = place.budget(inputs)?;
    let factor = coverage_factor(CONFIDENCE, None).unwrap_or(2.0);
    let others = budget.contributions.iter().filter(|part| part.input != Input::Emissivity);
    let others = factor * crate::propagation::combined(others.map(|part| part.kelvin));
    let temperature = place.temperature.value();
    let (apparent, _) = place.sensitivity()?;
    let reach = factor * place.emissivity_uncertainty;
    let value = place.emissivity.value();
    let at = |emissivity: f64| {
        let emissivity = Emissivity::new(emissivity.clamp(LEAST_EMISSIVITY, 1.0)).unwrap_or(place.emissivity);
        let correction = Correction { emissivity, surroundings: place.surroundings };
        surface_temperature(apparent, &correction, place.band).map(|kelvin| kelvin.value() - temperature)
    };
    // A surface colder than what it mirrors moves the other way with its emissivity.
    let ends = [at(value - reach), at(value + reach)].map(|end| end.unwrap_or(f64::NEG_INFINITY));
    let (down, up) = (ends[0].min(ends[1]).min(0.0), ends[0].max(ends[1]).max(0.0));
    Ok(Interval { low: temperature - down.hypot(others), high: temperature + up.hypot(others) })
}
