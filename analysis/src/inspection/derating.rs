//! What is left of a part's limits in the warmest air that the board must work in.

use super::parts::PartReading;
use crate::board::PartLimit;
use crate::propagation::combined;
use crate::units::{Kelvin, KelvinDifference};

/// A part in the warmest air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorstCase {
    /// The smallest distance to a stated limit, K; negative when over it.
    pub margin: KelvinDifference,
    /// Its standard uncertainty, K.
    pub standard_uncertainty: KelvinDifference,
    /// The part's power at which that limit is just kept, and its standard uncertainty, W; where its power is known.
    pub power_that_keeps: Option<[f64; 2]>,
}

/// A part as read in air of `taken_in`, moved into air of `worst`.
///
/// Every temperature rises with the air, the rise above it staying what it is. The power that keeps the limit is
/// P (`T_max` − `T_worst`) / (T − `T_A`), the rise above air following the power, which holds when the whole board's
/// power is scaled alike: of one part alone, what its neighbours send it stays.
///
/// # Domain
/// Still the same cooling. Free convection and radiation cool a little better when it is warmer, so the margin errs
/// to the safe side by some percent of the rise; powers that grow with temperature, such as leakage, are not seen.
///
/// # Source
/// The definition of θ-JA = (`T_J` − `T_A`) / P (JESD51-2A), taken for the board as it stands.
#[must_use]
pub fn worst_case(
    part: &PartReading,
    limit: &PartLimit,
    taken_in: Kelvin,
    ambient_uncertainty: KelvinDifference,
    worst: Kelvin,
) -> Option<WorstCase> {
    let warmer = worst - taken_in;
    let case = part.case.map(|case| (case, part.case_uncertainty));
    let junction = part.junction.map(|junction| (junction.temperature, junction.standard_uncertainty));
    let places = [(limit.max_case, case), (limit.max_junction, junction)];
    let known = places.into_iter().filter_map(|(most, reading)| Some((most?, reading?)));
    let (most, (temperature, uncertainty)) =
        known.min_by(|(a, (at, _)), (b, (bt, _))| (*a - *at).value().total_cmp(&(*b - *bt).value()))?;
    let uncertainty = uncertainty.unwrap_or(KelvinDifference::ZERO);
    let margin = (most - temperature).value() - warmer.value();
    let standard_uncertainty = combined([uncertainty.value(), ambient_uncertainty.value()]);
    let rise = (temperature - taken_in).value();
    let power_that_keeps = part.power.filter(|power| rise > 0.0 && power.watts.value() > 0.0).map(|power| {
        let kept = (power.watts.value() * (most - worst).value() / rise).max(0.0);
        let shares = [power.standard_uncertainty / power.watts.value(), standard_uncertainty / rise];
        [kept, kept * combined(shares)]
    });
    Some(WorstCase {
        margin: KelvinDifference::known(margin),
        standard_uncertainty: KelvinDifference::known(standard_uncertainty),
        power_that_keeps,
    })
}
