//! How far each step is: the answer it is filled in with, or what it lacks. Pure, so it is tested here.

use analysis::comparison::{JudgedBy, TwinReport, name_of_standing, standing_out};
use analysis::inspection::ProbeReading;
use analysis::session::{Outcome, Role, Session};
use analysis::surface::Surface;

use super::Step;
use super::probes::probe_list;
use crate::store::{ComparisonState, TwinState};
use crate::wording;

/// How far one step is.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// What is missing, as a sentence that asks for it.
    Lacks(String),
    /// What is taken for granted until somebody says otherwise.
    Assumed(String),
    /// The step's one-line answer.
    Filled {
        /// The line.
        answer: String,
        /// `pass`, `fail` or `recheck` where the answer judges; else empty.
        tone: &'static str,
    },
}

impl Default for Standing {
    fn default() -> Self {
        Self::Lacks(String::new())
    }
}

fn lacks(what: impl Into<String>) -> Standing {
    Standing::Lacks(what.into())
}

fn filled(answer: impl Into<String>) -> Standing {
    Standing::Filled { answer: answer.into(), tone: "" }
}

/// How far `step` is.
#[must_use]
pub fn standing(
    step: Step,
    session: &Session,
    state: &ComparisonState,
    twins: &TwinState,
    questions: usize,
) -> Standing {
    match step {
        Step::Board => board(session),
        Step::Captures => captures(session, questions),
        Step::Surface => surface(session),
        Step::Alignment => alignment(session, state, twins),
        Step::Compare => compare(session, state, twins),
        Step::Probes => probes(session, state, twins),
        Step::HandOver => hand_over(session),
    }
}

fn board(session: &Session) -> Standing {
    let conditions = &session.conditions;
    let stated = |value: Option<f64>, unit: &str| value.map(|v| format!("{} {unit}", wording::plain(v)));
    let facts: Vec<String> = [
        Some(session.board.product.clone()),
        Some(session.board.serial.clone()),
        stated(conditions.voltage, "V"),
        stated(conditions.current, "A"),
        stated(conditions.frequency, "Hz"),
        stated(conditions.warm_up_minutes, "min warm-up"),
    ]
    .into_iter()
    .flatten()
    .filter(|fact| !fact.is_empty())
    .collect();
    if facts.is_empty() {
        lacks("State which board is on the bench and how it is run")
    } else {
        filled(facts.join(" · "))
    }
}

fn captures(session: &Session, questions: usize) -> Standing {
    let good = session.with_role(Role::Baseline).count();
    if session.captures.is_empty() {
        return lacks("Load a known-good capture and one of the unit");
    }
    if questions > 0 {
        return lacks(format!("Say what the numbers mean in {}", wording::count(questions, "capture")));
    }
    match (good, session.unit()) {
        (0, None) => lacks("Name a capture as known good"),
        (0, Some(unit)) => filled(format!("unit {} · no known-good board", unit.file_name)),
        (_, None) => lacks("Name a capture as the unit under test"),
        (good, Some(unit)) => filled(match session.with_role(Role::Waiting).count() {
            0 => format!("{good} known good · unit {}", unit.file_name),
            waiting => format!("{good} known good · unit {} · {waiting} waiting", unit.file_name),
        }),
    }
}

fn surface(session: &Session) -> Standing {
    if session.captures.is_empty() {
        return lacks("Waits for the captures");
    }
    let emissivity = match &session.surface.map {
        Some(_) => "of every pixel, by a picture".to_owned(),
        None => wording::emissivity(&session.surface.whole),
    };
    let reflected = match stated_reflected(session) {
        0 => wording::temperature(session.temperature_unit, session.surroundings.reflected.value()),
        captures => format!("stated by {}", wording::count(captures, "capture")),
    };
    let untouched = session.surface == Surface::default() && session.procedures.is_empty();
    if untouched {
        return Standing::Assumed(format!(
            "Assumed: emissivity {emissivity} all over · reflected {reflected}"
        ));
    }
    let regions = match session.surface.regions.len() {
        0 => String::new(),
        regions => format!(" · {}", wording::count(regions, "region")),
    };
    filled(format!("Emissivity {emissivity}{regions} · reflected {reflected}"))
}

/// How many captures in use state the reflected temperature that was measured for them.
#[must_use]
pub fn stated_reflected(session: &Session) -> usize {
    let used = session.captures.iter().filter(|record| matches!(record.role, Role::Baseline | Role::Unit));
    used.filter(|record| record.metadata.reflected.is_some()).count()
}

fn alignment(session: &Session, state: &ComparisonState, twins: &TwinState) -> Standing {
    let Some(comparison) = state.latest() else {
        return match twins.told_instead(session) {
            Some(_) => filled("No known-good board to align to"),
            None => waiting(state),
        };
    };
    let alignment = &comparison.alignment;
    let layout = &session.layout;
    let placed = match (layout.placements.len(), layout.corners.len()) {
        (0, _) => "no placement file".to_owned(),
        (parts, 4..) => format!("{} placed", wording::count(parts, "part")),
        (_, marked) => format!("{} of 4 board places marked", marked),
    };
    filled(format!(
        "Aligned to {} px, overlap {} · {placed}",
        wording::number(alignment.residual_px, 2),
        wording::percent(alignment.overlap)
    ))
}

fn compare(session: &Session, state: &ComparisonState, twins: &TwinState) -> Standing {
    let Some(comparison) = state.latest() else {
        return match twins.told_instead(session) {
            Some(report) => among_twins(session, report),
            None => waiting(state),
        };
    };
    let unit = session.temperature_unit;
    match comparison.findings.first() {
        None => filled(match comparison.judged_by {
            JudgedBy::GoodBoardsSpread(_) => {
                "Nothing differs by more than another good board would".to_owned()
            }
            JudgedBy::Limit { .. } => format!(
                "Nothing differs by more than {} and its tolerance",
                wording::interval(unit, session.criteria.limit.value())
            ),
        }),
        Some(first) => filled(format!(
            "{} · first {} {}",
            wording::count(comparison.findings.len(), "finding"),
            wording::place_of(first),
            wording::difference(unit, first.peak.value()),
        )),
    }
}

/// What parts of one kind show, where nothing else can be compared.
fn among_twins(session: &Session, report: &TwinReport) -> Standing {
    let out = standing_out(report);
    filled(match out.as_slice() {
        [] => "No known-good board; no part stands out among its like".to_owned(),
        [(group, part), more @ ..] => format!(
            "No known-good board; {} {} among its like{}",
            name_of_standing(group, part),
            wording::difference(session.temperature_unit, part.difference.value),
            if more.is_empty() { String::new() } else { format!(", and {} more", more.len()) }
        ),
    })
}

fn probes(session: &Session, state: &ComparisonState, twins: &TwinState) -> Standing {
    let Some((probes, _)) = probe_list(session, state, twins) else { return waiting(state) };
    let asked = probes.len();
    let judged = |reading: &ProbeReading| reading.verdict.is_some();
    let entered = probes
        .iter()
        .filter(|probe| session.readings.iter().any(|(key, reading)| *key == probe.key && judged(reading)))
        .count();
    if asked == 0 {
        filled("Nothing to measure")
    } else if entered < asked {
        lacks(format!("{entered} of {asked} measurements judged"))
    } else {
        filled(format!("All {asked} measurements judged"))
    }
}

fn hand_over(session: &Session) -> Standing {
    match &session.verdict {
        None => lacks("Write the verdict, then save the result file"),
        Some(verdict) => {
            let tone = match verdict.outcome {
                Outcome::Pass => "pass",
                Outcome::Fail => "fail",
                Outcome::Recheck => "recheck",
            };
            let reason = if verdict.reason.is_empty() { "no reason given" } else { &verdict.reason };
            Standing::Filled { answer: format!("{} — {reason}", wording::outcome(verdict.outcome)), tone }
        }
    }
}

/// What is missing before a result file can be written; `None` where it can. A comparison makes one, and where there is
/// no known-good board the parts of one kind do.
#[must_use]
pub fn result_lacks(session: &Session, state: &ComparisonState, twins: &TwinState) -> Option<String> {
    if state.latest().is_some() {
        return None;
    }
    let nothing = |why: &str| Some(format!("Nothing to save yet. {why}"));
    let waits = || Some("The result is being worked out.".to_owned());
    if session.unit().is_none() || !session.is_without_good_boards() {
        return match state {
            ComparisonState::NotReady(why) => nothing(why),
            ComparisonState::Failed(notice) => nothing(&notice.what),
            _ => waits(),
        };
    }
    match twins {
        TwinState::Told(_) => None,
        TwinState::NotReady(why) => nothing(&format!(
            "Load a known-good board; or, to hold parts of one kind on the unit against each other: {why}."
        )),
        TwinState::Failed(why) => nothing(why),
        TwinState::Awaited | TwinState::NotAsked => waits(),
    }
}

/// What a step that needs the comparison lacks.
fn waiting(state: &ComparisonState) -> Standing {
    lacks(match state {
        ComparisonState::Failed(notice) => notice.what.clone(),
        ComparisonState::Running(progress) => format!("Being worked out: {}", progress.stage),
        _ => "Waits for the captures".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use analysis::capture::CaptureMetadata;
    use analysis::content_hash::ContentHash;
    use analysis::population::TwinCheck;
    use analysis::session::CaptureRecord;

    use super::*;

    fn not_ready() -> ComparisonState {
        ComparisonState::NotReady(String::new())
    }

    fn with_captures(roles: &[Role]) -> Session {
        let captures = roles.iter().enumerate().map(|(place, &role)| CaptureRecord {
            hash: ContentHash::of(&[place as u8]),
            file_name: format!("{place}.tiff"),
            role,
            metadata: CaptureMetadata::default(),
        });
        Session { captures: captures.collect(), ..Session::default() }
    }

    #[test]
    fn an_empty_sheet_says_what_each_step_lacks() {
        for step in Step::ALL {
            let standing = standing(step, &Session::default(), &not_ready(), &TwinState::NotAsked, 0);
            assert!(matches!(&standing, Standing::Lacks(what) if !what.is_empty()), "{step:?}: {standing:?}");
        }
    }

    #[test]
    fn captures_lack_their_roles_one_after_the_other() {
        let ask = |roles: &[Role], questions| {
            standing(Step::Captures, &with_captures(roles), &not_ready(), &TwinState::NotAsked, questions)
        };
        assert_eq!(ask(&[Role::Aside], 0), lacks("Name a capture as known good"));
        assert_eq!(ask(&[Role::Unit], 0), filled("unit 0.tiff · no known-good board"));
        assert_eq!(ask(&[Role::Baseline], 0), lacks("Name a capture as the unit under test"));
        assert_eq!(ask(&[Role::Baseline, Role::Unit], 0), filled("1 known good · unit 1.tiff"));
        assert_eq!(ask(&[Role::Baseline, Role::Unit], 1), lacks("Say what the numbers mean in 1 capture"));
    }

    #[test]
    fn a_surface_that_nobody_spoke_of_is_called_assumed() {
        let session = with_captures(&[Role::Baseline]);
        let surface = standing(Step::Surface, &session, &not_ready(), &TwinState::NotAsked, 0);
        assert!(matches!(&surface, Standing::Assumed(what) if what.starts_with("Assumed")), "{surface:?}");
    }

    #[test]
    fn twins_stand_for_the_comparison_only_where_there_is_no_good_board() {
        let report = TwinReport { capture: ContentHash::of(&[0]), check: TwinCheck::default() };
        let told = TwinState::Told(std::sync::Arc::new(report));
        let ask = |roles: &[Role]| standing(Step::Compare, &with_captures(roles), &not_ready(), &told, 0);
        assert!(matches!(ask(&[Role::Unit]), Standing::Filled { .. }));
        assert!(matches!(ask(&[Role::Unit, Role::Baseline]), Standing::Lacks(_)));
    }

    #[test]
    fn a_result_can_be_saved_with_a_comparison_or_without_a_good_board_with_twins_and_else_says_what_it_lacks()
     {
        let report = TwinReport { capture: ContentHash::of(&[0]), check: TwinCheck::default() };
        let told = TwinState::Told(std::sync::Arc::new(report));
        let ask = |roles: &[Role], twins: &TwinState| {
            let state = ComparisonState::NotReady("Load a known-good capture.".to_owned());
            result_lacks(&with_captures(roles), &state, twins)
        };
        assert_eq!(ask(&[Role::Unit], &told), None);
        // Beside a good board, twins are no comparison; without a unit nothing is.
        for roles in [&[Role::Unit, Role::Baseline][..], &[]] {
            assert!(ask(roles, &told).is_some_and(|lacks| lacks.contains("Load a known-good capture.")));
        }
        let lacks = ask(&[Role::Unit], &TwinState::NotReady("four places are to be marked".to_owned()));
        assert!(lacks.is_some_and(|lacks| lacks.contains("four places are to be marked")));
        assert!(ask(&[Role::Unit], &TwinState::Awaited).is_some());
    }

    #[test]
    fn steps_are_numbered_as_they_follow_each_other() {
        assert_eq!(Step::Board.number(), 1);
        assert_eq!(Step::Probes.following(), Some(Step::HandOver));
        assert_eq!(Step::HandOver.following(), None);
    }
}
