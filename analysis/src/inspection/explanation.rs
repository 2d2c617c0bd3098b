//! A finding in words: what differs, by how much against what good boards show, and what usually causes it.
//!
//! Which causes go with which pattern is common practice of the bench, without a source.

use super::findings::{Finding, Sign};
use super::part_kind::{PartKind, kind};
use crate::units::TemperatureUnit;

/// A finding as a person can act on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Explanation {
    /// What differs and by how much.
    pub what: String,
    /// How its power changed; empty where the picture cannot tell.
    pub power: String,
    /// What else stands out because of it; empty where nothing does.
    pub bathed: String,
    /// What usually causes such a pattern (common practice).
    pub causes: &'static str,
}

/// So many parts that a finding warms or cools are named.
const BATHED_NAMED: usize = 8;

/// `finding` in words, with numbers in `unit`.
#[must_use]
pub fn explain(finding: &Finding, unit: TemperatureUnit) -> Explanation {
    let warmth = match finding.sign {
        Sign::Hotter => "hotter",
        Sign::Colder => "colder",
    };
    let place = match &finding.designator {
        Some(part) if finding.is_beside() => format!("The board beside {part}"),
        Some(part) => part.clone(),
        None => "A place on no part".to_owned(),
    };
    let against = finding.chance.as_ref().map_or_else(
        || " than the known-good boards' mean".to_owned(),
        |chance| {
            format!(
                " than good boards, which differ there by {} among themselves",
                unit.write_size(chance.spread, 2)
            )
        },
    );
    let chance = finding.chance.as_ref();
    Explanation {
        what: format!("{place} is {} {warmth}{against}.", unit.write_size(finding.peak, 1)),
        power: chance.and_then(|chance| chance.watts).map(power).unwrap_or_default(),
        bathed: chance.filter(|chance| !chance.bathed.is_empty()).map_or_else(String::new, |chance| {
            let (so, by) = match finding.sign {
                Sign::Hotter => ("warmer", "its heat"),
                Sign::Colder => ("cooler", "the heat that it lacks"),
            };
            let (named, rest) = chance.bathed.split_at(chance.bathed.len().min(BATHED_NAMED));
            let more = match rest.len() {
                0 => String::new(),
                rest => format!(" and {rest} more"),
            };
            format!("{so} only by {by}, the nearest first: {}{more}", named.join(", "))
        }),
        causes: causes(finding),
    }
}

/// The change of power with its expanded uncertainty (k = 2).
fn power([watts, deviation]: [f64; 2]) -> String {
    let more = if watts < 0.0 { "less" } else { "more" };
    format!("it turns about {:.0} ± {:.0} mW {more} into heat", 1e3 * watts.abs(), 2e3 * deviation)
}

fn causes(finding: &Finding) -> &'static str {
    use PartKind::{Capacitor, Circuit, Contact, Diode, NoPart, Other, Resistor, Transistor, Winding};
    let kind = match &finding.designator {
        Some(part) if !finding.is_beside() => kind(part),
        _ => NoPart,
    };
    match (finding.sign, kind) {
        (Sign::Hotter, Capacitor) => {
            "leakage or a partial short in it, wrong polarity, too much ripple current"
        }
        (Sign::Hotter, Resistor) => "too much current from a short behind it, or its own value drifted",
        (Sign::Hotter, Winding) => "shorted turns, a saturated core, an overload behind it",
        (Sign::Hotter, Diode) => "conducting in the wrong direction, a short, an overload behind it",
        (Sign::Hotter, Transistor) => "a short, poor drive that leaves it half on, an overload behind it",
        (Sign::Hotter, Circuit) => {
            "an internal short, an overloaded output, a wrong supply voltage, oscillation"
        }
        (Sign::Hotter, Contact) => "a poor joint or worn contact, too much current through it",
        (Sign::Hotter, Other) => "a short in it or an overload behind it",
        (Sign::Hotter, NoPart) => {
            "a short between planes or tracks, a hairline track carrying too much current"
        }
        (Sign::Colder, Circuit | Transistor | Other) => {
            "no supply, no drive or clock, an open joint; or it is dead and draws no current"
        }
        (Sign::Colder, Resistor | Capacitor | Winding | Diode | Contact) => {
            "open or not fitted, a cracked joint, no current because the stage before or behind it rests"
        }
        (Sign::Colder, NoPart) => "a load nearby that does not run, an open track",
    }
}
