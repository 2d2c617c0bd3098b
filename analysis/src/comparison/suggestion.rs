//! The verdict that a comparison suggests, with its rule. A person judges; this only lays out the reasons.

use super::{Comparison, JudgedBy};
use crate::inspection::{Finding, ProbeVerdict, explain, hard_to_judge};
use crate::session::{Outcome, Session};

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

/// **Fail** where a finding stands or a part is over its limit. **Recheck** where every contact measurement at all
/// findings was judged a pass, where the capture cannot carry a verdict (another power overall, poor alignment), or
/// where one good board is all there is. Else **pass**.
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

/// Whether everything that was measured by contact for a finding was judged a pass, and something was.
fn contradicted(session: &Session, comparison: &Comparison, finding: &Finding) -> bool {
    let target = finding.probe_target();
    let asked = comparison.probes.iter().filter(|probe| probe.key.target == target);
    let mut verdicts =
        asked.map(|probe| session.reading(&probe.key).and_then(|reading| reading.verdict)).peekable();
    verdicts.peek().is_some() && verdicts.all(|verdict| verdict == Some(ProbeVerdict::Pass))
}
