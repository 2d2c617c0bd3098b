//! Where a symmetric interval would be wrong, and the interval that is right there.
//!
//! The measurement equation is linear in radiance but has 1/ε in it: where an emissivity is not known to
//! much better than itself, as on bare metal, the temperature's distribution leans to one side.

use super::budget::{CONFIDENCE, DifferencePlace, TemperaturePlace};
use super::extremes::Measurement;
use super::inputs::InputUncertainty;
use crate::propagation::{Interval, coverage_factor};
use crate::radiometry::NoPhysicalAnswer;

/// Our own limit of u(ε)/ε for printing ±: by arithmetic on 1/ε a ± of 95 % holds 94.2 % there, and its upper
/// half is a fifth too short.
const MOST_SYMMETRIC: f64 = 0.10;
/// No real surface emits less than this; lower draws of an emissivity are none.
pub(super) const LEAST_EMISSIVITY: f64 = 0.01;

/// Whether a place's temperature is to be given as an interval rather than ±.
#[must_use]
pub fn is_skewed(emissivity: f64, emissivity_uncertainty: f64) -> bool {
    emissivity_uncertainty > MOST_SYMMETRIC * emissivity
}

/// The 95 % interval of a place's temperature, K.
///
/// Where nothing bounds it on a side, that end is infinite. Its ends are the extremes of the
/// exact measurement equation among errors within 1.96 standard uncertainties together.
///
/// # Errors
/// [`NoPhysicalAnswer`] where the place itself has none.
pub fn temperature_interval(
    place: &TemperaturePlace,
    inputs: &InputUncertainty,
) -> Result<Interval, NoPhysicalAnswer> {
    let margins = Measurement::of_temperature(place, inputs)?.margins(reach());
    let temperature = place.temperature.value();
    Ok(Interval { low: temperature + margins.low, high: temperature + margins.high })
}

/// How far the true difference may lie below (`low`, not above 0) and above (`high`) the one measured, K, with a
/// confidence of 95 %; on whatever basis it is measured.
///
/// Where the emissivity is well known both are the expanded uncertainty; infinite where nothing bounds them.
///
/// # Errors
/// [`NoPhysicalAnswer`] where the place itself has none.
pub fn difference_margins(
    place: &DifferencePlace,
    inputs: &InputUncertainty,
) -> Result<Interval, NoPhysicalAnswer> {
    Ok(Measurement::of_difference(place, inputs)?.margins(reach()))
}

fn reach() -> f64 {
    coverage_factor(CONFIDENCE, None).unwrap_or(2.0)
}
