//! Several units side by side: what each shows against the same good boards.

use serde::{Deserialize, Serialize};

use super::suggestion::suggest;
use super::{CannotCompare, Comparison, GoodBoards, JudgedBy, LearnedBaseline, Shelf, align_unit, judge};
use crate::content_hash::ContentHash;
use crate::inspection::{Finding, Probe};
use crate::session::{Command, Outcome, Role, Session};
use crate::units::KelvinDifference;

/// One unit in a survey.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitSurvey {
    /// Its capture.
    pub capture: ContentHash,
    /// What differs, as in a [`Comparison`].
    pub findings: Vec<Finding>,
    /// What to measure.
    pub probes: Vec<Probe>,
    /// Mean difference over each part, K.
    pub parts: Vec<(String, Option<KelvinDifference>)>,
    /// Parts over a limit.
    pub over_limit: usize,
    /// Total power over the good boards', where their spread tells it.
    pub power_factor: Option<f64>,
    /// The verdict that the rule suggests.
    pub suggested: Outcome,
}

impl UnitSurvey {
    /// What a comparison of the session's unit says in short.
    #[must_use]
    pub fn of(session: &Session, comparison: &Comparison) -> Self {
        Self {
            capture: comparison.unit_capture.clone(),
            findings: comparison.findings.clone(),
            probes: comparison.probes.clone(),
            parts: comparison.parts.iter().map(|part| (part.designator.clone(), part.difference)).collect(),
            over_limit: comparison.parts_over_limit().count(),
            power_factor: match &comparison.judged_by {
                JudgedBy::GoodBoardsSpread(against) => Some(against.nuisance.power_factor.value),
                JudgedBy::Limit { .. } => None,
            },
            suggested: suggest(session, comparison).outcome,
        }
    }
}

/// Judges a unit that waits, in a copy of the session in which it is on the bench.
///
/// # Errors
/// Those of [`align_unit`] and [`judge`]; [`CannotCompare::NoUnit`] for a capture that the session does not have.
pub fn survey(
    session: &Session,
    shelf: &Shelf,
    boards: &GoodBoards,
    learned: &LearnedBaseline,
    capture: &ContentHash,
) -> Result<UnitSurvey, CannotCompare> {
    let mut own = session.clone();
    let take_up = Command::AssignRole { hash: capture.clone(), role: Role::Unit };
    own.apply(take_up).map_err(|_| CannotCompare::NoUnit)?;
    let unit = align_unit(&own, shelf, boards)?;
    let comparison = judge(&own, boards, learned, &unit, &mut |_| ())?;
    Ok(UnitSurvey::of(&own, &comparison))
}
