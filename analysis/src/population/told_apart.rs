//! A unit judged with its faults and the bench's change told apart.
//!
//! A fault's heat spreads over the whole board and would else pass in part for more power of everything; and with
//! the bench's change fitted wrongly the fault's own heat is told wrongly. So both are fitted in turns.

use super::bare_board::{BareBoard, BoardPlate};
use super::baseline::PopulationBaseline;
use super::false_alarms::FalseAlarms;
use super::glow::{HeatSource, heat_sources};
use super::significance::{Anomaly, CannotJudge, FurtherUncertainty, UnitJudgement};
use crate::frame::{Difference, Frame, SurfaceKelvin};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography};

/// Rounds in which faults and the bench's change are told apart: each changes the other by less than the last.
const ROUNDS: usize = 3;

/// They are told apart when the total power moves by less than this share from one round to the next.
const SETTLED: f64 = 2e-4;

/// The board's map and what it conducts and loses.
pub type KnownBoard<'a> = (&'a Homography<BoardMillimeters, BaselinePixels>, BoardPlate);

impl PopulationBaseline {
    /// As [`Self::judge`], with the bench's change fitted on what the unit's faults leave alone, and where their heat
    /// is made. Every anomaly of the judgement is either a source or bathed in one; without a `board` each is a source.
    ///
    /// # Errors
    /// Every [`CannotJudge`].
    pub fn judge_apart(
        &self,
        unit: &Frame<SurfaceKelvin>,
        further: FurtherUncertainty,
        false_alarms: FalseAlarms,
        board: Option<KnownBoard<'_>>,
    ) -> Result<(UnitJudgement, Vec<HeatSource>), CannotJudge> {
        let judged = self.judge(unit, further, false_alarms)?;
        // Nothing to explain, or no map of the board to explain it on.
        let known = board.filter(|_| !judged.anomalies.is_empty());
        let known =
            known.and_then(|(map, plate)| BareBoard::new(&self.footprints, map, &plate, unit.shape()).ok());
        let Some(mut board) = known else { return Ok(each_a_source(judged)) };
        let heat = |anomalies: &[Anomaly], difference: &Frame<Difference>, board: &mut BareBoard<'_>| {
            heat_sources(&self.without_metal(difference).ok()?, anomalies, board).ok()
        };
        let Some(first) = heat(&judged.anomalies, &judged.difference, &mut board) else {
            return Ok(each_a_source(judged));
        };
        let mut apart = (judged.nuisance.clone(), first);
        for _ in 0..ROUNDS {
            let calm = apart.1.taken_off(unit, &judged.anomalies, &board)?;
            let nuisance = self.bench_change(&calm)?;
            let difference = nuisance.corrected_difference(&self.mean, self.summary.ambient, unit)?;
            let settled = (nuisance.power_factor.value - apart.0.power_factor.value).abs() < SETTLED;
            match heat(&judged.anomalies, &difference, &mut board) {
                Some(next) => apart = (nuisance, next),
                None => break,
            }
            if settled {
                break;
            }
        }
        let judged = self.judge_with(unit, apart.0, further, false_alarms)?;
        let sources = heat(&judged.anomalies, &judged.difference, &mut board).map(|heat| heat.sources);
        Ok((judged, sources.unwrap_or(apart.1.sources)))
    }
}

/// Without a map of the board nothing can be told to bathe in another's heat.
fn each_a_source(judged: UnitJudgement) -> (UnitJudgement, Vec<HeatSource>) {
    let each = 0..judged.anomalies.len();
    let each = each.map(|anomaly| HeatSource { anomaly, watts: None, bathed: Vec::new() }).collect();
    (judged, each)
}
