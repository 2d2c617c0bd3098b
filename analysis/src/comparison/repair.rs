//! Two captures of one unit, before and after a repair: what was found and what is left of it.

use super::survey::UnitSurvey;
use crate::inspection::Finding;
use crate::units::KelvinDifference;

/// What became of one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Became {
    /// It was found before and is no longer: mended, or below what can be told now.
    Gone,
    /// It differs before and after.
    Left,
    /// It differs since.
    New,
}

/// One place before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceChange {
    /// The part, or the place on no part.
    pub place: String,
    /// The largest difference there before, where it was found; else the part's mean.
    pub before: Option<KelvinDifference>,
    /// The same after.
    pub after: Option<KelvinDifference>,
    /// What became of it.
    pub became: Became,
}

/// Places on no part this near to each other are the same, pixels.
const SAME_PLACE_PX: f64 = 12.0;

/// What was found before and after, in the order of the findings before, then what is new.
#[must_use]
pub fn before_and_after(before: &UnitSurvey, after: &UnitSurvey) -> Vec<PlaceChange> {
    let mean = |survey: &UnitSurvey, finding: &Finding| {
        let designator = finding.designator.as_ref().filter(|_| !finding.is_beside())?;
        survey.parts.iter().find(|(part, _)| part == designator)?.1
    };
    let found_before = before.findings.iter().map(|finding| {
        let still = after.findings.iter().find(|later| is_same(finding, later));
        PlaceChange {
            place: finding.probe_target(),
            before: Some(finding.peak),
            after: still.map(|later| later.peak).or_else(|| mean(after, finding)),
            became: if still.is_some() { Became::Left } else { Became::Gone },
        }
    });
    let is_new = |later: &&Finding| !before.findings.iter().any(|finding| is_same(finding, later));
    let found_since = after.findings.iter().filter(is_new).map(|finding| PlaceChange {
        place: finding.probe_target(),
        before: mean(before, finding),
        after: Some(finding.peak),
        became: Became::New,
    });
    found_before.chain(found_since).collect()
}

/// Whether two findings of two captures are of the same place and in the same sense.
fn is_same(a: &Finding, b: &Finding) -> bool {
    let same_part = match (&a.designator, &b.designator) {
        (Some(a_part), Some(b_part)) => a_part == b_part && a.is_beside() == b.is_beside(),
        _ => a.peak_at.distance(b.peak_at) <= SAME_PLACE_PX,
    };
    same_part && a.sign == b.sign
}
