//! A unit judged with its faults and the bench's change told apart.
//!
//! A fault's heat spreads over the whole board and would else pass in part for more power of everything; and with
//! the bench's change fitted wrongly the fault's own heat is told wrongly. So both are fitted in turns.

use std::collections::BTreeSet;

use super::bare_board::{BareBoard, BoardPlate};
use super::baseline::PopulationBaseline;
use super::false_alarms::{FalseAlarms, benjamini_hochberg};
use super::glow::{Heat, HeatSource, heat_sources};
use super::significance::{Anomaly, CannotJudge, FurtherUncertainty, PartStanding, UnitJudgement};
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
    /// is made. An anomaly is a source, or bathed in one, or it counts no longer once what bathes is explained; without
    /// a `board` each is a source.
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
        let mut judged = self.judge_with(unit, apart.0, further, false_alarms)?;
        match heat(&judged.anomalies, &judged.difference, &mut board) {
            Some(Heat { mut sources, .. }) => {
                self.count_again(&mut judged, &mut sources);
                Ok((judged, sources))
            }
            None => Ok(each_a_source(judged)),
        }
    }

    /// Leaves out what counted only because the parts that bathe in a source's heat were counted with it.
    ///
    /// The more parts stand out, the less each further one has to: a strong fault's many warm neighbours would let a
    /// healthy part elsewhere pass for a second source. What a source explains is no discovery of its own.
    fn count_again(&self, judged: &mut UnitJudgement, sources: &mut Vec<HeatSource>) {
        let allowed = judged.false_alarms.probability() / 2.0;
        let bathed = sources.iter().flat_map(|source| &source.bathed);
        let bathed = bathed.filter_map(|&anomaly| judged.anomalies.get(anomaly));
        let mut explained: BTreeSet<&String> =
            bathed.flat_map(|anomaly| anomaly.designator.iter().chain(&anomaly.also)).collect();
        let makers = sources.iter().filter_map(|source| judged.anomalies.get(source.anomaly));
        explained.extend(makers.clone().flat_map(|anomaly| &anomaly.also));
        for maker in makers.filter_map(|anomaly| anomaly.designator.as_ref()) {
            explained.remove(maker);
        }
        let own: Vec<f64> = judged
            .parts
            .iter()
            .map(|part| match part.probability {
                Some(_) if explained.contains(&part.designator) => 1.0,
                Some(probability) => probability,
                None => f64::NAN,
            })
            .collect();
        for (part, counts) in judged.parts.iter_mut().zip(benjamini_hochberg(&own, allowed)) {
            part.significant &= counts || explained.contains(&part.designator);
        }
        // Places on the picture count by themselves, however many parts do.
        let by_itself = self.place_alone(judged.false_alarms);
        sources.retain(|source| {
            let Some(anomaly) = judged.anomalies.get(source.anomaly) else { return false };
            let counts = |part: &PartStanding| {
                part.significant && Some(&part.designator) == anomaly.designator.as_ref()
            };
            anomaly.probability <= by_itself || judged.parts.iter().any(counts)
        });
    }
}

/// Without a map of the board nothing can be told to bathe in another's heat.
fn each_a_source(judged: UnitJudgement) -> (UnitJudgement, Vec<HeatSource>) {
    let each = 0..judged.anomalies.len();
    let each = each.map(|anomaly| HeatSource { anomaly, watts: None, bathed: Vec::new() }).collect();
    (judged, each)
}
