//! Parts of one kind on the unit held against each other: what can be said where no known-good board exists.

use serde::{Deserialize, Serialize};

use super::alignment::{Aligned, Shelf};
use super::conditions::{conditions, netd};
use super::judgement::{emissivity_of_baseline, surface_of};
use super::suggestion::Suggestion;
use super::{CannotCompare, board_to_picture};
use crate::board::footprints;
use crate::content_hash::ContentHash;
use crate::population::{
    BLUR_REACH, FalseAlarms, OneBoard, Trust, TwinCheck, TwinGroup, TwinStanding, UsualSpread, compare_twins,
    without_metal,
};
use crate::session::{Outcome, Session};
use crate::units::{KelvinDifference, TemperatureUnit};

/// What parts of one kind on a unit show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwinReport {
    /// The unit's capture.
    pub capture: ContentHash,
    /// How its parts stand among their like.
    pub check: TwinCheck,
}

/// What is missing or wrong before parts of one kind can be held against each other.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotCheckTwins {
    /// No table says which parts there are.
    #[error("a placement table with packages and values is needed: it says which parts are of one kind")]
    NoParts,
    /// The board does not lie on the picture.
    #[error("four places of the board are to be marked in the picture, so that the parts lie on it")]
    NotPlaced,
    /// The unit's picture cannot be had.
    #[error(transparent)]
    Unit(#[from] CannotCompare),
}

/// Whether the session says enough, before any picture is looked at.
///
/// # Errors
/// [`CannotCheckTwins`], but for what only the pictures can tell.
pub fn can_check_twins(session: &Session) -> Result<(), CannotCheckTwins> {
    if session.unit().is_none() {
        return Err(CannotCompare::NoUnit.into());
    }
    if session.layout.placements.is_empty() {
        return Err(CannotCheckTwins::NoParts);
    }
    match board_to_picture(&session.layout)? {
        Some(_) => Ok(()),
        None => Err(CannotCheckTwins::NotPlaced),
    }
}

/// Holds the parts of one kind on the unit against each other.
///
/// `unit` lies on the first known-good board's pixels, or is [unmoved](super::unit_alone) where there is none.
///
/// # Errors
/// Every [`CannotCheckTwins`].
pub fn check_twins(session: &Session, shelf: &Shelf, unit: &Aligned) -> Result<TwinReport, CannotCheckTwins> {
    can_check_twins(session)?;
    let map = board_to_picture(&session.layout)?.ok_or(CannotCheckTwins::NotPlaced)?;
    let emissivity = emissivity_of_baseline(session, shelf, unit.apparent.shape())?;
    let surface = surface_of(session, unit, &emissivity)?.temperature;
    let surface = without_metal(&surface, &emissivity, BLUR_REACH).map_err(CannotCompare::from)?;
    let criteria = &session.criteria;
    let board = OneBoard {
        surface: &surface,
        ambient: conditions(session, &unit.hash).0,
        noise: netd(session, &unit.hash),
        usual: UsualSpread { of_step: criteria.twins.usual_share, ..UsualSpread::default() },
        false_alarms: FalseAlarms {
            per_hundred_good_boards: criteria.false_alarms_per_hundred,
            least_difference: criteria.least_difference.value().abs(),
        },
    };
    let placements = &session.layout.placements;
    let visible = footprints(placements, session.layout.side, &map);
    Ok(TwinReport { capture: unit.hash.clone(), check: compare_twins(&board, placements, &visible) })
}

/// The kind of a group in words: `Q, DPAK, lamp switch`.
#[must_use]
pub fn kind_of_twins(group: &TwinGroup) -> String {
    format!("{}, {}, {}", group.class, group.package, group.value)
}

/// What makes one part stand out among its like, as a sentence.
#[must_use]
pub fn stands_out(group: &TwinGroup, part: &TwinStanding, unit: TemperatureUnit) -> String {
    let size = |kelvin: f64| unit.write_size(KelvinDifference::known(kelvin), 2);
    let step = |kelvin: f64| {
        let way = if kelvin < 0.0 { "below" } else { "above" };
        format!("{} {way}", size(kelvin))
    };
    let usual = part.step.value - part.difference.value;
    let others = match group.parts.len() {
        2 => "its one twin".to_owned(),
        parts => format!("its {} twins in the middle", parts - 1),
    };
    let times = part.difference.value.abs() / part.difference.standard_uncertainty.max(f64::MIN_POSITIVE);
    let doubt = match group.trust {
        Trust::Pair => " Of two it cannot be told which is wrong.",
        Trust::Agreeing | Trust::Uneven => "",
    };
    format!(
        "{} is {} the board close around it, {others} {}: {times:.0} times the {} by which such parts differ.{doubt}",
        part.designator,
        step(part.step.value),
        step(usual),
        size(part.difference.standard_uncertainty),
    )
}

/// What parts of one kind alone suggest: **recheck** where one stands out, as it may only work differently. That none
/// does is no pass: what all share shows nothing.
#[must_use]
pub fn suggest_among_twins(report: &TwinReport, unit: TemperatureUnit) -> Option<Suggestion> {
    let groups = report.check.groups.iter();
    let parts = groups.flat_map(|group| group.parts.iter().map(move |part| (group, part)));
    let reasons: Vec<_> = parts
        .filter(|(_, part)| part.significant)
        .map(|(group, part)| stands_out(group, part, unit))
        .collect();
    (!reasons.is_empty()).then_some(Suggestion { outcome: Outcome::Recheck, reasons })
}

/// What the comparison of a board with itself leaves open, as sentences.
#[must_use]
pub fn left_open(check: &TwinCheck) -> Vec<String> {
    let kinds = |wanted: &dyn Fn(&TwinGroup) -> bool| {
        let words = |group: &TwinGroup| {
            let names: Vec<_> = group.parts.iter().map(|part| part.designator.as_str()).collect();
            format!("{} ({})", kind_of_twins(group), names.join(", "))
        };
        check.groups.iter().filter(|group| wanted(group)).map(words).collect::<Vec<_>>().join("; ")
    };
    let told = |before: &str, list: String| (!list.is_empty()).then(|| format!("{before}: {list}."));
    [
        told(
            "Differ too much among themselves to be of one kind at work, so nobody is named",
            kinds(&|group| group.trust == Trust::Uneven),
        ),
        told("Two of a kind, of which either may be the wrong one", kinds(&|group| group.trust == Trust::Pair)),
        told(
            "Read colder than the board around them, as metal ends and cans without a stated emissivity do: only a large difference counts there",
            kinds(&TwinGroup::reads_cold),
        ),
        told("Too few valid pixels on or around them", check.unread.join(", ")),
        told("Without a twin in view, or without a stated package or value", check.alone.join(", ")),
    ]
    .into_iter()
    .flatten()
    .chain(Some("What all twins share, such as a wrong supply, shows nothing.".to_owned()))
    .collect()
}
