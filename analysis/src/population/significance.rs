//! Which parts and places of a unit differ by more than another good board would.

use serde::{Deserialize, Serialize};

use super::baseline::{PopulationBaseline, SquareScatter, plain_table};
use super::bodies::{Body, distance};
use super::false_alarms::{FalseAlarms, benjamini_hochberg};
use super::foothills::{Relief, foothills_joined};
use super::local_shift::{
    AlignmentRemainder, PartShift, Placed, fit_remainder, take_out_shifts, without_remainder,
};
use super::nuisance::{NuisanceError, NuisanceFit, fit_with_parts};
use super::regions::{Mask, Region};
use super::scales::{Scale, Studentised, body_means};
use super::student::{critical_t, two_sided_probability};
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};
use crate::geometry::{BaselinePixels, Point};
use crate::units::KelvinDifference;

/// What makes a unit's capture less certain than the good boards' were; nothing by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FurtherUncertainty {
    /// White noise of a pixel beyond that of the good boards, K.
    pub noise: KelvinDifference,
    /// Misalignment beyond that of the good boards, pixels.
    pub misalignment_px: f64,
}

impl Default for FurtherUncertainty {
    fn default() -> Self {
        Self { noise: KelvinDifference::ZERO, misalignment_px: 0.0 }
    }
}

/// How one part stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartStanding {
    /// Reference designator.
    pub designator: String,
    /// Mean difference over the body, K; `None` where too little of it is valid.
    pub difference: Option<f64>,
    /// Standard deviation with which a good board would differ, K.
    pub spread: Option<f64>,
    /// Difference over spread.
    pub standing: Option<f64>,
    /// The probability that a good board differs as far on this part.
    pub probability: Option<f64>,
    /// Whether it counts at the rate of false alarms allowed.
    pub significant: bool,
}

/// A place that differs by more than a good board would.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Anomaly {
    /// Where the difference is surest to be largest.
    pub peak: Point<BaselinePixels>,
    /// Middle of what differs at least half as much around the peak: noise draws the peak of a wide flat place aside.
    pub middle: Point<BaselinePixels>,
    /// The difference at the peak, mean over five by five pixels, K, with its sign.
    pub difference: f64,
    /// Its standard uncertainty, the boards' own spread, K.
    pub standard_uncertainty: f64,
    /// The probability that a good board shows anything as strong anywhere.
    pub probability: f64,
    /// The part whose body or margin the peak lies on.
    pub designator: Option<String>,
    /// The part nearest to the peak.
    pub nearest: Option<String>,
    /// Pixels that belong to it.
    pub area_px: usize,
    /// The other significant parts on it or on its flanks, probably warmed or cooled by it.
    pub also: Vec<String>,
}

/// A unit held against the baseline.
#[derive(Debug, Clone)]
pub struct UnitJudgement {
    /// What the bench changed, taken out.
    pub nuisance: NuisanceFit,
    /// What the alignment left over, taken out.
    pub remainder: AlignmentRemainder,
    /// How far each part lies from its place, taken out.
    pub shifts: Vec<PartShift>,
    /// What is left, K.
    pub difference: Frame<Difference>,
    /// The same over the standard deviation of a good board, pixel by pixel.
    pub standing: Frame<Difference>,
    /// The parts, in the order of the footprints.
    pub parts: Vec<PartStanding>,
    /// What stands out, surest first.
    pub anomalies: Vec<Anomaly>,
    /// What was allowed.
    pub false_alarms: FalseAlarms,
}

/// Why a unit cannot be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotJudge {
    /// The bench's part cannot be told.
    #[error("the unit under test: {0}")]
    Nuisance(#[from] NuisanceError),
    /// Pictures of different size.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

/// Standard deviations by which a peak's difference is taken as smaller before peaks are compared: a
/// wildly scattering metal pixel must not outbid a sure one.
const CAUTION: f64 = 2.0;

impl PopulationBaseline {
    /// Judges one unit, taken at `ambient`.
    ///
    /// Half of the false alarms allowed go to the parts (Benjamini–Hochberg), half to the squares of
    /// several sizes (the largest standing of each size, calibrated on the good boards left out in turn).
    ///
    /// # Errors
    /// Every [`CannotJudge`].
    pub fn judge(
        &self,
        unit: &Frame<SurfaceKelvin>,
        further: FurtherUncertainty,
        false_alarms: FalseAlarms,
    ) -> Result<UnitJudgement, CannotJudge> {
        self.judge_with(unit, self.bench_change(unit)?, further, false_alarms)
    }

    /// What the bench changed in `unit`, as [`Self::judge`] fits it.
    ///
    /// # Errors
    /// Every [`CannotJudge`].
    pub fn bench_change(&self, unit: &Frame<SurfaceKelvin>) -> Result<NuisanceFit, CannotJudge> {
        Ok(fit_with_parts(&self.trusted, self.summary.ambient, unit, &self.collared)?)
    }

    /// As [`Self::judge`], with what the bench changed known from elsewhere: from the unit without the heat of its
    /// faults, say, which would pull the fit.
    ///
    /// # Errors
    /// Every [`CannotJudge`].
    pub fn judge_with(
        &self,
        unit: &Frame<SurfaceKelvin>,
        nuisance: NuisanceFit,
        further: FurtherUncertainty,
        false_alarms: FalseAlarms,
    ) -> Result<UnitJudgement, CannotJudge> {
        let shape = self.mean.shape();
        let moved = nuisance.corrected_difference(&self.mean, self.summary.ambient, unit)?;
        let remainder = fit_remainder(&self.trusted, &self.pattern, &moved);
        let moved = without_remainder(&moved, &self.pattern, &remainder);
        let Placed { shifts, misfits, left: difference } =
            take_out_shifts(&self.mean, &self.trusted, &self.pattern, &moved, &self.bodies);

        // What healthy boards differ by is a share of their power: with more of it, it is as much more. Noise is not, so
        // less power makes nothing surer.
        let stretch = nuisance.power_factor.value.max(1.0) as f32;
        let noise_variance = (further.noise.value() * further.noise.value()) as f32;
        let edge = (further.misalignment_px * further.misalignment_px) as f32;
        let slope_squared = |pixel: usize| {
            let (x, y) = (self.pattern.x[pixel], self.pattern.y[pixel]);
            x * x + y * y
        };
        let pixel_further = |pixel: usize| noise_variance + edge * slope_squared(pixel);
        let standing: Vec<f32> = difference
            .as_slice()
            .iter()
            .zip(self.spread.as_slice())
            .enumerate()
            .map(|(pixel, (difference, spread))| {
                difference / ((spread * stretch).powi(2) + pixel_further(pixel)).sqrt()
            })
            .collect();
        let standing = Frame::from_rows(shape.0, shape.1, standing)?;

        let allowed = false_alarms.probability() / 2.0;
        let part_values = body_means(&difference, &self.speaking);
        // Noise averages out over a body; an edge on one side is met by one on the other.
        // Between bright ends the reading hangs on where they lie: where the good boards' pattern fits the
        // unit worse than it fitted them, it is worth as much less.
        let worse = misfits.iter().zip(&self.misfits).zip(self.parts.prediction()).map(
            |((misfit, usual), deviation)| {
                let ratio = usual.map_or(1.0, |usual| misfit / usual).max(1.0);
                deviation * deviation * (ratio - 1.0) as f32
            },
        );
        let part_further = self
            .speaking
            .iter()
            .zip(worse)
            .map(|(pixels, worse)| noise_variance / pixels.len().max(1) as f32 + worse);
        let part_standing = self.parts.studentise(&part_values, stretch, part_further);
        let parts = self.part_standings(&part_values, &part_standing, allowed);

        let table = plain_table(&difference, &self.trusted);
        let size_probability = self.summary.square_extremes.cautious().place_probability(allowed);
        let mut mask = Mask::new(shape);
        let mut finest = None;
        let mut least_critical = f64::INFINITY;
        for SquareScatter { scale, scatter, extremes } in &self.squares {
            let values = scale.means(&table);
            let side = 2 * scale.radius + 1;
            let within = noise_variance / (side * side) as f32;
            // A square no larger than the misalignment shows all of the edge.
            let edge_in =
                |(row, column): (usize, usize)| edge * slope_squared(row * shape.1 + column) / side as f32;
            let studentised =
                scatter.studentise(&values, stretch, scale.centers().map(|center| within + edge_in(center)));
            let critical = critical_t(extremes.place_probability(size_probability), studentised.freedom);
            least_critical = least_critical.min(critical);
            for (center, t) in scale.centers().zip(&studentised.t) {
                if f64::from(t.abs()) > critical {
                    let place = two_sided_probability(f64::from(*t), studentised.freedom);
                    let probability = extremes.board_probability(place);
                    mask.square(center, scale.step.div_ceil(2).max(1), *t, probability);
                }
            }
            if finest.is_none() {
                finest = Some((*scale, values, studentised));
            }
        }
        for (index, (body, part)) in self.bodies.iter().zip(&parts).enumerate() {
            if part.significant {
                let t = part_standing.t[index];
                let place = two_sided_probability(f64::from(t), part_standing.freedom);
                mask.body(&body.inside, t, self.summary.part_extremes.board_probability(place));
            }
        }
        let mut anomalies = Vec::new();
        if let Some(finest) = finest {
            let regions = mask.regions();
            anomalies = regions
                .iter()
                .filter_map(|region| self.anomaly(region, &finest, (&difference, &parts)))
                .collect();
            anomalies.retain(|anomaly: &Anomaly| anomaly.difference.abs() >= false_alarms.least_difference);
            let surely =
                |anomaly: &Anomaly| anomaly.difference.abs() - CAUTION * anomaly.standard_uncertainty;
            anomalies.sort_by(|a, b| surely(b).total_cmp(&surely(a)));
            let relief = Relief { scale: finest.0, values: &finest.1 };
            anomalies = foothills_joined(anomalies, &relief, least_critical);
        }
        Ok(UnitJudgement {
            nuisance,
            remainder,
            shifts,
            difference,
            standing,
            parts,
            anomalies,
            false_alarms,
        })
    }

    /// Standard deviations by which a single pixel must differ to be called at this rate.
    #[must_use]
    pub fn pixel_critical(&self, false_alarms: FalseAlarms) -> f64 {
        let allowed =
            self.summary.square_extremes.cautious().place_probability(false_alarms.probability() / 2.0);
        let finest =
            self.squares.first().map_or(allowed, |square| square.extremes.place_probability(allowed));
        critical_t(finest, self.pixel_freedom)
    }

    /// An anomaly's probability up to which it counts by a place of the picture alone.
    pub(super) fn place_alone(&self, false_alarms: FalseAlarms) -> f64 {
        let extremes = self.summary.square_extremes;
        let allowed = extremes.cautious().place_probability(false_alarms.probability() / 2.0);
        extremes.board_probability(allowed)
    }

    /// Standard deviations by which a part's mean must differ to be called at this rate, were no other called.
    #[must_use]
    pub fn part_critical(&self, false_alarms: FalseAlarms) -> f64 {
        let allowed =
            self.summary.part_extremes.cautious().place_probability(false_alarms.probability() / 2.0);
        critical_t(allowed, self.summary.part_freedom)
    }

    fn part_standings(&self, values: &[f32], studentised: &Studentised, allowed: f64) -> Vec<PartStanding> {
        let count = self.bodies.len().max(1) as f64;
        // Where the good boards themselves stood out more often than so many parts would by chance, the
        // parts' probabilities are too small by as much.
        let inflation = (self.summary.part_extremes.cautious().count / count).max(1.0);
        let probabilities: Vec<f64> = studentised
            .t
            .iter()
            .map(|t| (two_sided_probability(f64::from(*t), studentised.freedom) * inflation).min(1.0))
            .collect();
        let significant = benjamini_hochberg(&probabilities, allowed);
        let known = |value: f64| value.is_finite().then_some(value);
        self.bodies
            .iter()
            .enumerate()
            .map(|(index, body)| PartStanding {
                designator: body.designator.clone(),
                difference: known(f64::from(values[index])),
                spread: known(f64::from(values[index] / studentised.t[index])),
                standing: known(f64::from(studentised.t[index])),
                probability: known(probabilities[index]),
                significant: significant[index],
            })
            .collect()
    }

    fn anomaly(
        &self,
        region: &Region,
        (scale, values, studentised): &(Scale, Vec<f32>, Studentised),
        (difference, parts): (&Frame<Difference>, &[PartStanding]),
    ) -> Option<Anomaly> {
        let columns = self.mean.shape().1;
        let sign = if region.positive { 1.0 } else { -1.0 };
        let sure = |index: usize| {
            let (value, t) = (f64::from(values[index]), f64::from(studentised.t[index]));
            sign * value - CAUTION * (value / t).abs()
        };
        let best = scale
            .centers()
            .enumerate()
            .filter(|(_, (row, column))| region.holds(row * columns + column))
            .filter(|(index, _)| !studentised.t[*index].is_nan() && sign * f64::from(values[*index]) > 0.0)
            .max_by(|a, b| sure(a.0).total_cmp(&sure(b.0)));
        // A part all of metal has no square of its own: its body's mean stands for it.
        let of_body = || {
            let covered = |body: &Body| body.inside.iter().any(|pixel| region.holds(*pixel));
            let metal =
                self.bodies.iter().zip(parts).filter(|(body, part)| part.significant && covered(body));
            let strongest = metal.max_by(|a, b| {
                let size = |part: &PartStanding| part.difference.unwrap_or(0.0).abs();
                size(a.1).total_cmp(&size(b.1))
            });
            let (body, part) = strongest?;
            let middle = body.inside.get(body.inside.len() / 2)?;
            Some((*middle, part.difference?, part.spread?.abs()))
        };
        let of_square = best.map(|(index, (row, column))| {
            let value = f64::from(values[index]);
            (row * columns + column, value, (value / f64::from(studentised.t[index])).abs())
        });
        let (pixel, value, uncertainty) = of_square.or_else(of_body)?;
        let peak = Point::new((pixel % columns) as f64, (pixel / columns) as f64);
        let on = |body: &&Body| body.around.contains(&pixel);
        let designator = self.bodies.iter().find(on).map(|body| body.designator.clone());
        let nearest = self
            .footprints
            .iter()
            .map(|footprint| (distance(&footprint.corners, footprint.contains(peak), peak), footprint))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, footprint)| footprint.designator.clone());
        let also = self
            .bodies
            .iter()
            .zip(parts)
            .filter(|(body, part)| part.significant && Some(&body.designator) != designator.as_ref())
            .filter(|(body, _)| body.inside.iter().any(|pixel| region.holds(*pixel)))
            .map(|(body, _)| body.designator.clone())
            .collect();
        Some(Anomaly {
            peak,
            middle: region
                .middle_around(pixel, |other| f64::from(difference.as_slice()[other]) / value >= 0.5),
            difference: value,
            standard_uncertainty: uncertainty,
            probability: self.summary.square_extremes.board_probability(region.smallest),
            designator,
            nearest,
            area_px: region.pixels.len(),
            also,
        })
    }
}
