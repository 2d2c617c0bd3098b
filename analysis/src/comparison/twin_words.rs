//! What parts of one kind show against each other, in words, and the verdict that this suggests: the same on the page,
//! on sheets and on the command line.

use super::among_twins::TwinReport;
use super::suggestion::{Suggestion, against_the_unit};
use crate::population::{Trust, TwinCheck, TwinGroup, TwinStanding};
use crate::session::{Outcome, Session};
use crate::units::{KelvinDifference, TemperatureUnit};

/// Who stands out, the surest first, each with its kind; of two only one, as either may be the wrong one.
#[must_use]
pub fn standing_out(report: &TwinReport) -> Vec<(&TwinGroup, &TwinStanding)> {
    let mut listed: Vec<(&TwinGroup, &TwinStanding)> = Vec::new();
    for part in report.check.named() {
        let mut groups = report.check.groups.iter();
        let Some(group) = groups.find(|group| group.parts.contains(part)) else { continue };
        let told = group.trust == Trust::Pair && listed.iter().any(|(other, _)| *other == group);
        if !told {
            listed.push((group, part));
        }
    }
    listed
}

/// `2 parts stand out among their like (12 kinds looked at).`
#[must_use]
pub fn how_many_stand_out(report: &TwinReport) -> String {
    let kinds = match report.check.groups.len() {
        1 => "1 kind".to_owned(),
        kinds => format!("{kinds} kinds"),
    };
    let who = match standing_out(report).len() {
        0 => "No part stands out among its like".to_owned(),
        1 => "1 part stands out among its like".to_owned(),
        parts => format!("{parts} parts stand out among their like"),
    };
    format!("{who} ({kinds} looked at).")
}

/// The part that stands out, or both of two: `Q1 or Q2`.
#[must_use]
pub fn name_of_standing(group: &TwinGroup, part: &TwinStanding) -> String {
    match group.trust {
        Trust::Pair => {
            group.parts.iter().map(|part| part.designator.as_str()).collect::<Vec<_>>().join(" or ")
        }
        Trust::Agreeing | Trust::Uneven => part.designator.clone(),
    }
}

/// Who of a kind stands out and by how much, as a table's cell; `write` puts a difference in kelvin into words.
#[must_use]
pub fn who_of_kind(group: &TwinGroup, write: impl Fn(f64) -> String) -> String {
    let out: Vec<_> = group.parts.iter().filter(|part| part.significant).collect();
    match (group.trust, out.as_slice()) {
        (Trust::Uneven, _) => "too uneven to tell".to_owned(),
        (Trust::Pair, []) => "neither".to_owned(),
        (Trust::Pair, _) => "one of the two".to_owned(),
        (Trust::Agreeing, []) => "nobody".to_owned(),
        (Trust::Agreeing, out) => out
            .iter()
            .map(|part| format!("{} {}", part.designator, write(part.difference.value)))
            .collect::<Vec<_>>()
            .join(", "),
    }
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

/// What parts of one kind alone suggest: **fail** where a contact reading is beyond what it should be or was judged a
/// fail; **recheck** where a part stands out, as it may only work differently. That none does is no pass: what all share
/// shows nothing.
#[must_use]
pub fn suggest_among_twins(session: &Session, report: &TwinReport) -> Option<Suggestion> {
    let readings = against_the_unit(session);
    let outcome = if readings.failed.is_empty() { Outcome::Recheck } else { Outcome::Fail };
    let out = standing_out(report).into_iter();
    let out = out.map(|(group, part)| stands_out(group, part, session.temperature_unit));
    let reasons: Vec<_> = readings.failed.into_iter().chain(out).chain(readings.doubtful).collect();
    (!reasons.is_empty()).then_some(Suggestion { outcome, reasons })
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
