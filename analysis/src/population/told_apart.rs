//! A unit judged with its faults and the bench's change told apart.
//!
//! A fault's heat spreads over the whole board and would else pass in part for more power of everything; and with
//! the bench's change fitted wrongly the fault's own heat is told wrongly. So both are fitted in turns.

use super::baseline::PopulationBaseline;
use super::false_alarms::FalseAlarms;
use super::glow::{Heat, HeatSource, heat_sources, plates};
use super::power_map::BoardPlate;
use super::significance::{CannotJudge, FurtherUncertainty, UnitJudgement};
use crate::frame::{Difference, Frame, SurfaceKelvin};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography};

/// Rounds in which faults and the bench's change are told apart: each changes the other by less than the last.
const ROUNDS: usize = 3;

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
        let prepared = board.filter(|_| !judged.anomalies.is_empty());
        let prepared = prepared.and_then(|(map, board)| Some((map, plates(&board).ok()?)));
        let heat = |judged: &UnitJudgement, difference: &Frame<Difference>| -> Option<Heat> {
            let (map, plates) = prepared.as_ref()?;
            let plain = self.without_metal(difference).ok()?;
            heat_sources(&plain, &judged.anomalies, &self.footprints, map, plates).ok()
        };
        let Some(first) = heat(&judged, &judged.difference) else {
            let each = 0..judged.anomalies.len();
            let each = each.map(|anomaly| HeatSource { anomaly, watts: None, bathed: Vec::new() });
            let each = each.collect();
            return Ok((judged, each));
        };
        let mut apart = (judged.nuisance.clone(), first);
        for _ in 0..ROUNDS {
            let calm = apart.1.taken_off(unit, &judged.anomalies, &self.footprints)?;
            let nuisance = self.bench_change(&calm)?;
            let difference = nuisance.corrected_difference(&self.mean, self.summary.ambient, unit)?;
            match heat(&judged, &difference) {
                Some(next) => apart = (nuisance, next),
                None => break,
            }
        }
        let judged = self.judge_with(unit, apart.0, further, false_alarms)?;
        let sources = heat(&judged, &judged.difference).map(|heat| heat.sources);
        Ok((judged, sources.unwrap_or(apart.1.sources)))
    }
}
