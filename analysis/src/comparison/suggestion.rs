//! The verdict that a comparison suggests, with its rule. A person judges; this only lays out the reasons.

use super::{Comparison, JudgedBy, in_warmest_air};
use crate::inspection::{
    Finding, Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, contact_noun, deviation, explain,
    hard_to_judge, write_contact,
};
use crate::session::{Outcome, Session};
use crate::units::{KelvinDifference, TemperatureUnit};

/// A suggested verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Suggestion {
    /// What the rule says.
    pub outcome: Outcome,
    /// Why, the gravest first, as sentences.
    pub reasons: Vec<String>,
}

/// A unit whose total power differs by more than this share is measured again before it passes: the supply,
/// the load or the mode is another (our own rule).
const OTHER_POWER: f64 = 0.1;
/// More misalignment than this blurs findings along every edge, pixels (our own rule).
const POOR_ALIGNMENT_PX: f64 = 0.5;
/// Standard uncertainties beyond which a change counts as told.
const TOLD: f64 = 2.0;

/// **Fail** where a finding stands, a part is over its limit, or a contact reading is beyond what it should be or was
/// judged a fail. **Recheck** where every contact measurement at all findings passes, where a reading that is beyond
/// was judged otherwise or is of a temperature, which only contradicts the picture, where a part would be over its limit
/// in the warmest air stated, or where the capture cannot carry a verdict (another power overall, poor alignment). Else
/// **pass**.
#[must_use]
pub fn suggest(session: &Session, comparison: &Comparison) -> Suggestion {
    let unit = session.temperature_unit;
    let mut failed: Vec<String> = Vec::new();
    let mut doubtful: Vec<String> = Vec::new();
    for finding in &comparison.findings {
        let words = explain(finding, unit).what;
        match contradicted(session, comparison, finding) {
            true => doubtful.push(format!("{words} But contact measurements there were judged a pass.")),
            false => failed.push(words),
        }
    }
    for part in comparison.parts_over_limit() {
        if let Some(margin) = part.margin {
            failed.push(format!("{} is {} over its limit.", part.designator, unit.write_size(margin, 1)));
        }
    }
    doubtful.extend(over_in_warmest_air(session, comparison));
    let readings = against_the_unit(session);
    failed.extend(readings.failed);
    doubtful.extend(readings.doubtful);
    if comparison.alignment.residual_px > POOR_ALIGNMENT_PX {
        doubtful.push(format!(
            "It lies {:.1} pixels off the baseline on average: edges may hide or feign a difference.",
            comparison.alignment.residual_px
        ));
    }
    let mut passed = Vec::new();
    match &comparison.judged_by {
        JudgedBy::GoodBoardsSpread(against) => {
            let power = against.nuisance.power_factor;
            let change = power.value - 1.0;
            if change.abs() > OTHER_POWER && change.abs() > TOLD * power.standard_uncertainty {
                doubtful.push(format!(
                    "Beside its findings it turns {:.0} % {} power into heat than good boards: check supply, load and mode.",
                    100.0 * change.abs(),
                    if change > 0.0 { "more" } else { "less" }
                ));
            }
            passed.push(format!(
                "Nothing differs by more than another good board would show. The rule calls {} of 100 good boards different by chance; it was learned from {} good boards.",
                against.false_alarms.per_hundred_good_boards, comparison.baseline_count
            ));
        }
        JudgedBy::Limit { .. } => passed.push(format!(
            "Nothing differs by more than {} and its tolerance.",
            unit.write_size(session.criteria.limit, 1)
        )),
    }
    let blind = hard_to_judge(&comparison.parts, &session.criteria);
    if let Some((part, needed)) = blind.first() {
        passed.push(format!(
            "{} of {} parts are hard to judge here, {} most: only {} would be called on it.",
            blind.len(),
            comparison.parts.len(),
            part.designator,
            unit.write_size(*needed, 1)
        ));
    }
    if !failed.is_empty() {
        Suggestion { outcome: Outcome::Fail, reasons: failed.into_iter().chain(doubtful).collect() }
    } else if !doubtful.is_empty() {
        Suggestion { outcome: Outcome::Recheck, reasons: doubtful }
    } else {
        Suggestion { outcome: Outcome::Pass, reasons: passed }
    }
}

/// What is over its limit only in the warmest air that was stated.
fn over_in_warmest_air(session: &Session, comparison: &Comparison) -> Option<String> {
    let air = session.datasheet.worst_ambient?;
    let over = comparison.parts.iter().filter(|part| !part.is_over_limit()).filter_map(|part| {
        let left = in_warmest_air(session, comparison, part)?.margin.value();
        (left < 0.0).then_some((part, left))
    });
    let over: Vec<_> = over.collect();
    let (most, left) = over.iter().min_by(|(_, a), (_, b)| a.total_cmp(b))?;
    let unit = session.temperature_unit;
    let others = match over.len() - 1 {
        0 => String::new(),
        1 => " and one more part".to_owned(),
        others => format!(" and {others} more parts"),
    };
    Some(format!(
        "In air of {:.0} {} {}{others} would be over the limit, {} by {}.",
        unit.show(air.value()),
        unit.symbol(),
        most.designator,
        most.designator,
        unit.write_size(KelvinDifference::known(-left), 1)
    ))
}

/// What contact readings say against a unit, as sentences.
#[derive(Debug, Default)]
pub(super) struct AgainstTheUnit {
    /// Beyond what they should be, or judged a fail.
    pub(super) failed: Vec<String>,
    /// Beyond what they should be, and judged otherwise.
    pub(super) doubtful: Vec<String>,
}

/// What the contact readings that were entered say against the unit.
pub(super) fn against_the_unit(session: &Session) -> AgainstTheUnit {
    let mut against = AgainstTheUnit::default();
    for (key, reading) in &session.readings {
        let Some(words) = reading_words(key, reading, session.temperature_unit) else { continue };
        match reading.verdict {
            // Picture and thermometer contradict each other: which is wrong is not said by that.
            None if key.quantity == ProbeQuantity::ContactTemperature => {
                against.doubtful.push(format!("{words}: the emissivity there, or the contact, may be wrong."))
            }
            None | Some(ProbeVerdict::Fail) => against.failed.push(format!("{words}.")),
            Some(ProbeVerdict::Pass) => against.doubtful.push(format!("{words}, but was judged a pass.")),
            Some(ProbeVerdict::Recheck) => {
                against.doubtful.push(format!("{words} and is to be read again."));
            }
        }
    }
    against
}

/// What a contact reading says against the unit, as the start of a sentence; `None` where it says nothing.
fn reading_words(key: &ProbeKey, reading: &ProbeReading, unit: TemperatureUnit) -> Option<String> {
    let what = format!("The {} at {}", contact_noun(key.quantity), key.target);
    let written = |value| write_contact(key.quantity, value, unit);
    match (deviation(key.quantity, reading, unit), reading.verdict) {
        (Some(off), _) if off.is_beyond() => {
            Some(format!("{what} reads {} instead of {}", written(off.read), written(off.expected)))
        }
        (_, Some(ProbeVerdict::Fail)) => Some(format!("{what} was judged a fail")),
        _ => None,
    }
}

/// Whether everything that was measured by contact for a finding passes, and something was measured.
fn contradicted(session: &Session, comparison: &Comparison, finding: &Finding) -> bool {
    let target = finding.probe_target();
    let asked = comparison.probes.iter().filter(|probe| probe.key.target == target);
    let passes = |probe: &Probe| {
        let Some(reading) = session.reading(&probe.key) else { return false };
        match reading.verdict {
            Some(verdict) => verdict == ProbeVerdict::Pass,
            None => deviation(probe.key.quantity, reading, session.temperature_unit)
                .is_some_and(|off| !off.is_beyond()),
        }
    };
    let mut passed = asked.map(passes).peekable();
    passed.peek().is_some() && passed.all(|passes| passes)
}
