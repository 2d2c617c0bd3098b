//! How a unit differs from good boards as a whole, in words.

use super::AgainstSpread;
use crate::population::{Estimate, NuisanceFit};
use crate::units::TemperatureUnit;

/// Standard uncertainties within which an expanded uncertainty reaches, and beyond which a change is told.
const COVERAGE: f64 = 2.0;

/// What was taken off the unit before it was judged, as sentences: each of it may be the finding.
///
/// Its power is that of the board beside its findings, whose heat is told with them.
#[must_use]
pub fn whole_unit(against: &AgainstSpread, unit: TemperatureUnit) -> String {
    let nuisance = &against.nuisance;
    let margin = |estimate: &Estimate| COVERAGE * estimate.standard_uncertainty;
    let NuisanceFit { offset, power_factor, anchored, .. } = nuisance;
    let change = power_factor.value - 1.0;
    let amount = format!("{} ± {:.1} %", signed(100.0 * change, 1), (100.0 * margin(power_factor)).max(0.1));
    let good =
        || against.baseline.boards.iter().map(|board| 100.0 * (board.nuisance.power_factor.value - 1.0));
    let (least, most) =
        good().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p), high.max(p)));
    let among = format!("good boards lie from {} to {} %", signed(least, 1), signed(most, 1));
    let outside = (100.0 * change - most).max(least - 100.0 * change);
    let way = if change > 0.0 { "more" } else { "less" };
    let power = if outside > 100.0 * margin(power_factor) {
        format!("Beside its findings it turns {way} power into heat than any good board: {amount}, {among}.")
    } else if outside > 0.0 {
        format!(
            "Beside its findings it turns {way} power into heat than any good board, but by no more than this figure's own uncertainty: {amount}, {among}."
        )
    } else {
        format!("Beside its findings its power is that of good boards: {amount}, {among}.")
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
