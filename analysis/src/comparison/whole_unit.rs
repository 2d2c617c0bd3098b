//! How a unit differs from good boards as a whole, in words.

use crate::population::{Estimate, NuisanceFit};
use crate::units::TemperatureUnit;

/// Standard uncertainties within which an expanded uncertainty reaches, and beyond which a change is told.
const COVERAGE: f64 = 2.0;

/// What was taken off the unit before it was judged, as sentences: each of it may be the finding.
#[must_use]
pub fn whole_unit(nuisance: &NuisanceFit, unit: TemperatureUnit) -> String {
    let margin = |estimate: &Estimate| COVERAGE * estimate.standard_uncertainty;
    let NuisanceFit { offset, power_factor, anchored, .. } = nuisance;
    let change = power_factor.value - 1.0;
    let amount = format!("{} ± {:.1} %", signed(100.0 * change, 1), (100.0 * margin(power_factor)).max(0.1));
    let power = if change.abs() > margin(power_factor) {
        let way = if change > 0.0 { "more" } else { "less" };
        format!("It turns {way} power into heat than the good boards: {amount} overall.")
    } else {
        format!("It runs at the good boards' power: {amount} overall.")
    };
    let offset = format!(
        "All over it reads {} ± {:.2} {} (ambient and camera together).",
        signed(unit.show_difference(offset.value), 2),
        unit.show_difference(margin(offset)).max(0.01),
        unit.difference_symbol()
    );
    let unsure = if *anchored {
        ""
    } else {
        " No place that stays near ambient is in view, so a wide fault could hide in this."
    };
    format!(
        "{power} {offset} Both were taken off before it was judged; either may itself be the finding.{unsure}"
    )
}

fn signed(value: f64, decimals: usize) -> String {
    let sign = if value < 0.0 { "\u{2212}" } else { "+" };
    format!("{sign}{:.decimals$}", value.abs())
}
