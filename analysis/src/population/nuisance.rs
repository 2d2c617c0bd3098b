//! What the bench, and not the board, changed between the baseline and a unit: ambient and camera
//! offset, total power, and a slight tilt across the picture.
//!
//! Model: unit = baseline + a + (p − 1)·R + tilt, with R the baseline's rise above its ambient.
//!
//! A fault warms the board a long way around it: the heat spreads over L = √(k·t/h), a few centimetres
//! of a common board. Robust weights alone do not save a fit of all pixels from that skirt. Hence two
//! stages, each on pixels where the skirt cannot reach:
//! - **Power factor** from the contrast of parts against their own surroundings (a picture minus its
//!   local mean), which every part's own power makes and a smooth skirt does not. All parts vote;
//!   one that is at fault is outvoted.
//! - **Offset and tilt** from the pixels that the board's heat reaches least (the mat beside it).
//!
//! Both by iteratively reweighted least squares with Tukey's biweight (P. J. Huber, E. M. Ronchetti,
//! *Robust Statistics*, 2nd ed. 2009, named from memory), the first started at the weighted median of
//! the ratios, which is the least-absolute-deviations slope.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::bodies::Collared;
use super::summed_area::SummedArea;
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};
use crate::quantile::{median, quantile};
use crate::units::Kelvin;

/// A number with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard uncertainty, in the same unit.
    pub standard_uncertainty: f64,
}

/// What the bench changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NuisanceFit {
    /// Ambient and camera offset together, K: the picture alone cannot part them.
    pub offset: Estimate,
    /// Total dissipated power over the baseline's, 1 for no change.
    pub power_factor: Estimate,
    /// Change of the offset from left to right edge and from top to bottom edge, K.
    pub tilt: [f64; 2],
    /// Whether pixels that stay near ambient were in view to hold the offset.
    ///
    /// Without them the offset rests on the coolest part of the board, and a fault's skirt can pull it.
    pub anchored: bool,
}

/// Why the bench's part cannot be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NuisanceError {
    /// The pictures differ in size.
    #[error("the unit does not fit the baseline: {0}")]
    Shape(#[from] FrameError),
    /// Too little to fit.
    #[error("only {found} places are valid in both pictures; at least {needed} are needed")]
    TooFewPixels {
        /// Places found.
        found: usize,
        /// Places needed.
        needed: usize,
    },
}

/// Pixels between samples.
const STEP: usize = 2;
/// Samples are means within this many pixels, against noise.
const SAMPLE_RADIUS: usize = 1;
/// A part's surroundings reach this fraction of the picture's width to each side.
const SURROUNDINGS: f64 = 0.04;
/// Parts of healthy boards differ in power by about this fraction (common practice, no source): it
/// keeps a single hot part from outweighing all others.
const PART_POWER_SPREAD: f64 = 0.03;
/// Pixels that rise by less than this fraction of the hot places' rise hold the offset.
const NEAR_AMBIENT: f64 = 0.1;
/// A place tells the power when it stands out by more than this fraction of what the hottest bodies do:
/// weaker contrasts (tall bodies that stay cool, copper edges) follow the board's own rise, skirt included.
const STANDS_OUT: f64 = 0.3;
/// Surroundings with more than this share of near-ambient pixels reach over the board's edge.
const BEYOND_THE_EDGE: f64 = 0.02;
/// Tukey's biweight rejects beyond this many standard deviations: 95 % efficient for normal noise.
const BIWEIGHT: f64 = 4.685;
const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;
const ITERATIONS: usize = 20;
/// Neighbouring samples share their errors; squares of this many pixels count as independent.
const CLUSTER: usize = 24;
const LEAST_SAMPLES: usize = 50;
/// No residual scale falls below this, K: a picture without noise must not divide by zero.
const LEAST_SCALE: f64 = 1e-4;

struct Sample {
    cluster: usize,
    /// Place from −½ to ½ across the picture.
    place: [f64; 2],
    rise: f64,
    change: f64,
    rise_contrast: f64,
    change_contrast: f64,
    /// Whether the contrast tells of a part's own power.
    telling: bool,
}

/// Fits offset, power factor and tilt of `unit` against `baseline`, which was taken at `ambient`.
///
/// # Errors
/// Every [`NuisanceError`].
pub fn fit_nuisance(
    baseline: &Frame<SurfaceKelvin>,
    ambient: Kelvin,
    unit: &Frame<SurfaceKelvin>,
) -> Result<NuisanceFit, NuisanceError> {
    fit_with_parts(baseline, ambient, unit, &[])
}

/// As [`fit_nuisance`]; where enough parts stand out of the board around them, they alone tell the power.
pub(super) fn fit_with_parts(
    baseline: &Frame<SurfaceKelvin>,
    ambient: Kelvin,
    unit: &Frame<SurfaceKelvin>,
    parts: &[Collared],
) -> Result<NuisanceFit, NuisanceError> {
    baseline.require_same_shape(unit)?;
    let samples = samples(baseline, ambient, unit);
    if samples.len() < LEAST_SAMPLES {
        return Err(NuisanceError::TooFewPixels { found: samples.len(), needed: LEAST_SAMPLES });
    }
    let power = power_of_parts(baseline, unit, parts).unwrap_or_else(|| power_change(&samples));
    let (offset, tilt, anchored) = offset_and_tilt(&samples, power);
    Ok(NuisanceFit { offset, power_factor: Estimate { value: 1.0 + power.value, ..power }, tilt, anchored })
}

impl NuisanceFit {
    /// No change at all.
    pub const NONE: Self = Self {
        offset: Estimate { value: 0.0, standard_uncertainty: 0.0 },
        power_factor: Estimate { value: 1.0, standard_uncertainty: 0.0 },
        tilt: [0.0; 2],
        anchored: true,
    };

    /// Unit minus baseline with the bench's part taken out, K.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub fn corrected_difference(
        &self,
        baseline: &Frame<SurfaceKelvin>,
        ambient: Kelvin,
        unit: &Frame<SurfaceKelvin>,
    ) -> Result<Frame<Difference>, FrameError> {
        baseline.require_same_shape(unit)?;
        let (rows, columns) = unit.shape();
        let (ambient, gain) = (ambient.value() as f32, (self.power_factor.value - 1.0) as f32);
        let mut values = Vec::with_capacity(rows * columns);
        let lines = baseline.as_slice().chunks(columns).zip(unit.as_slice().chunks(columns));
        for (row, (baseline, unit)) in lines.enumerate() {
            let down = self.tilt[1] * position(row, rows);
            let offset = (self.offset.value + down) as f32;
            let slope = (self.tilt[0] / columns as f64) as f32;
            let middle = (columns as f32 - 1.0) / 2.0;
            values.extend(baseline.iter().zip(unit).enumerate().map(|(column, (&baseline, &unit))| {
                unit - baseline - offset - slope * (column as f32 - middle) - gain * (baseline - ambient)
            }));
        }
        Frame::from_rows(rows, columns, values)
    }

    /// The camera's own offset, K: what is left of [`Self::offset`] once the stated change of ambient
    /// is taken out. It holds the error of both thermometer readings.
    #[must_use]
    pub fn camera_offset(&self, unit_ambient: Kelvin, baseline_ambient: Kelvin) -> f64 {
        self.offset.value - (unit_ambient - baseline_ambient).value()
    }
}

/// The place of pixel `index` of `count`, −½ to ½ from edge to edge.
fn position(index: usize, count: usize) -> f64 {
    (index as f64 + 0.5) / count as f64 - 0.5
}

fn samples(baseline: &Frame<SurfaceKelvin>, ambient: Kelvin, unit: &Frame<SurfaceKelvin>) -> Vec<Sample> {
    let (rows, columns) = baseline.shape();
    let ambient = ambient.value() as f32;
    let pairs = || baseline.as_slice().iter().zip(unit.as_slice());
    // Valid in both or in neither, so that both means run over the same pixels.
    let rise_of = |b: f32, u: f32| if u.is_nan() { f32::NAN } else { b - ambient };
    let rises = SummedArea::new((rows, columns), pairs().map(|(b, u)| rise_of(*b, *u)));
    let changes = SummedArea::new((rows, columns), pairs().map(|(b, u)| u - b));
    let cool = near_ambient(pairs().map(|(b, u)| rise_of(*b, *u)).step_by(7));
    let cool_places = SummedArea::new(
        (rows, columns),
        pairs().map(|(b, u)| if f64::from(rise_of(*b, *u)) <= cool { 1.0 } else { 0.0 }),
    );
    let surroundings = ((columns as f64 * SURROUNDINGS).round() as usize).max(2);
    let across = columns.div_ceil(CLUSTER);
    let mut samples = Vec::with_capacity(rows * columns / (STEP * STEP));
    for row in (0..rows).step_by(STEP) {
        for column in (0..columns).step_by(STEP) {
            let (rise, share) = rises.mean_around(row, column, SAMPLE_RADIUS);
            if share < 0.5 {
                continue;
            }
            let (change, _) = changes.mean_around(row, column, SAMPLE_RADIUS);
            let change_contrast = change - changes.mean_around(row, column, surroundings).0;
            // Of both pictures together: a contrast that one of them alone has by chance would be
            // picked by it, and then be missing in the other.
            let rise_contrast = rise - rises.mean_around(row, column, surroundings).0 + change_contrast / 2.0;
            samples.push(Sample {
                cluster: row / CLUSTER * across + column / CLUSTER,
                place: [position(column, columns), position(row, rows)],
                rise,
                change,
                rise_contrast,
                change_contrast,
                telling: cool_places.mean_around(row, column, surroundings).0 < BEYOND_THE_EDGE,
            });
        }
    }
    let inside = samples.iter().filter(|s| s.telling).map(|s| s.rise_contrast);
    let least = STANDS_OUT * lies_below(inside, 0.98).max(0.0);
    for sample in &mut samples {
        sample.telling &= sample.rise_contrast > least;
    }
    samples
}

/// The rise up to which a pixel counts as near ambient, K.
fn near_ambient(rises: impl Iterator<Item = f32>) -> f64 {
    NEAR_AMBIENT * lies_below(rises.map(f64::from).filter(|rise| !rise.is_nan()), 0.95).max(0.0)
}

/// Fewer parts than this tell less of the whole than all of the picture does.
const LEAST_PARTS: usize = 5;
/// A part tells the power when it stands out of its collar by this share of what the warmest do.
const PART_STANDS_OUT: f64 = 0.2;
/// A mean over fewer pixels is none.
const LEAST_PIXELS: u32 = 8;

/// p − 1 by the steps between parts and the board close around them; `None` where too few parts stand out.
///
/// A part's step follows its own power. What a fault elsewhere sends along the board is as good as level over a
/// part and its collar, so it changes no step: pixels at large, of which most are board, would be pulled by it.
fn power_of_parts(
    baseline: &Frame<SurfaceKelvin>,
    unit: &Frame<SurfaceKelvin>,
    parts: &[Collared],
) -> Option<Estimate> {
    let (good, seen) = (baseline.as_slice(), unit.as_slice());
    let means = |pixels: &[usize]| {
        let valid =
            pixels.iter().map(|&pixel| (f64::from(good[pixel]), f64::from(seen[pixel] - good[pixel])));
        let valid = valid.filter(|(_, change)| !change.is_nan());
        let (level, change, count) = valid.fold((0.0, 0.0, 0_u32), |(l, c, n), (a, b)| (l + a, c + b, n + 1));
        (count >= LEAST_PIXELS).then(|| (level / f64::from(count), change / f64::from(count)))
    };
    let steps: Vec<(f64, f64)> = parts
        .iter()
        .filter_map(|part| {
            let ((inside, inside_change), (collar, collar_change)) =
                (means(&part.inside)?, means(&part.collar)?);
            Some((inside - collar, inside_change - collar_change))
        })
        .collect();
    let least = PART_STANDS_OUT * lies_below(steps.iter().map(|(step, _)| *step), 0.98);
    let (telling, silent): (Vec<_>, Vec<_>) = steps.into_iter().partition(|(step, _)| *step > least);
    // What steps do that have no power of their own: noise and edges.
    let noise = scale(silent.iter().map(|(_, change)| *change)).max(LEAST_SCALE);
    let votes: Vec<Vote> = telling
        .iter()
        .map(|(step, change)| {
            // As with pixels: against the mean of both, so that chance in one alone does not pick.
            let step = step + change / 2.0;
            Vote { slope: change / step, deviation: PART_POWER_SPREAD.hypot(noise / step) }
        })
        .filter(|vote| vote.slope.is_finite())
        .collect();
    (votes.len() >= LEAST_PARTS).then(|| slope_of(&votes)).flatten()
}

/// What one part or place says of the power.
struct Vote {
    slope: f64,
    /// Its standard deviation: the parts' own spread, and noise.
    deviation: f64,
}

/// The slope that votes agree on, those at fault outvoted.
struct Agreed {
    slope: f64,
    /// What each vote weighs in the end.
    weights: Vec<f64>,
}

impl Agreed {
    /// `None` of no votes.
    fn of(votes: &[Vote]) -> Option<Self> {
        let mut ratios: Vec<(f64, f64)> =
            votes.iter().map(|vote| (vote.slope, 1.0 / vote.deviation)).collect();
        let mut slope = weighted_median(&mut ratios)?;
        let residual = |vote: &Vote, slope: f64| (vote.slope - slope) / vote.deviation;
        let spread = |slope: f64| scale(votes.iter().map(|vote| residual(vote, slope))).max(LEAST_SCALE);
        let mut unit_scale = spread(slope);
        let weight = |vote: &Vote, slope: f64, unit_scale: f64| {
            biweight(residual(vote, slope) / unit_scale) / (vote.deviation * vote.deviation)
        };
        for _ in 0..ITERATIONS {
            let weighted = votes.iter().map(|vote| (weight(vote, slope, unit_scale), vote.slope));
            let (above, below) =
                weighted.fold((0.0, 0.0), |(above, below), (w, own)| (above + w * own, below + w));
            if below <= 0.0 {
                break;
            }
            let next = above / below;
            let settled = (next - slope).abs() < 1e-6;
            slope = next;
            if settled {
                break;
            }
            unit_scale = spread(slope);
        }
        let weights = votes.iter().map(|vote| weight(vote, slope, unit_scale)).collect();
        Some(Self { slope, weights })
    }

    /// Each vote's weighted distance from the agreed slope.
    fn left<'a>(&'a self, votes: &'a [Vote]) -> impl Iterator<Item = f64> + 'a {
        self.weights.iter().zip(votes).map(|(weight, vote)| weight * (vote.slope - self.slope))
    }

    /// p − 1, with the root of the summed squares of what is left.
    ///
    /// From the slope against the mean of both, (p − 1) / ((p + 1) / 2).
    fn estimate(&self, left: f64) -> Estimate {
        let below: f64 = self.weights.iter().sum();
        let uncertainty = if below > 0.0 { left / below } else { f64::INFINITY };
        let half = 1.0 - self.slope / 2.0;
        Estimate { value: self.slope / half, standard_uncertainty: uncertainty / (half * half) }
    }
}

/// p − 1 by parts, each of which errs by itself; `None` of no votes.
fn slope_of(votes: &[Vote]) -> Option<Estimate> {
    let agreed = Agreed::of(votes)?;
    let squares: f64 = agreed.left(votes).map(|left| left * left).sum();
    let count = agreed.weights.iter().filter(|weight| **weight > 0.0).count() as f64;
    // Of n votes about their own mean, n − 1 are free.
    let left = if count > 1.0 { (squares * count / (count - 1.0)).sqrt() } else { f64::INFINITY };
    Some(agreed.estimate(left))
}

/// p − 1 by the contrasts of change against those of rise, where parts are not known.
fn power_change(samples: &[Sample]) -> Estimate {
    let noise = scale(samples.iter().map(|s| s.change_contrast)).max(LEAST_SCALE);
    let telling = || samples.iter().filter(|s| s.telling);
    let votes: Vec<Vote> = telling()
        .map(|s| Vote {
            slope: s.change_contrast / s.rise_contrast,
            deviation: PART_POWER_SPREAD.hypot(noise / s.rise_contrast),
        })
        .collect();
    let Some(agreed) = Agreed::of(&votes) else {
        return Estimate { value: 0.0, standard_uncertainty: f64::INFINITY };
    };
    let mut clusters = Clusters::default();
    for (s, left) in telling().zip(agreed.left(&votes)) {
        clusters.add(s.cluster, left);
    }
    agreed.estimate(clusters.norm())
}

/// Offset and tilt from the coolest pixels, and whether those stay near ambient.
fn offset_and_tilt(samples: &[Sample], power: Estimate) -> (Estimate, [f64; 2], bool) {
    let near = near_ambient(samples.iter().map(|s| s.rise as f32));
    let coolest = lies_below(samples.iter().map(|s| s.rise), 0.05);
    let anchored = coolest <= near;
    let limit = coolest.max(near);
    let cool: Vec<(&Sample, f64)> =
        samples.iter().filter(|s| s.rise <= limit).map(|s| (s, s.change - power.value * s.rise)).collect();
    let mut offset = median(cool.iter().map(|(_, change)| *change)).unwrap_or(0.0);
    let mut tilt = [0.0; 2];
    // A tilt can be told only where the cool pixels lie on all sides.
    let reach = |axis: usize| {
        let mean = cool.iter().map(|(s, _)| s.place[axis]).sum::<f64>() / cool.len() as f64;
        (cool.iter().map(|(s, _)| (s.place[axis] - mean).powi(2)).sum::<f64>() / cool.len() as f64).sqrt()
    };
    let with_tilt = anchored && reach(0) > 0.2 && reach(1) > 0.2;
    let residual = |s: &Sample, change: f64, offset: f64, tilt: [f64; 2]| {
        change - offset - tilt[0] * s.place[0] - tilt[1] * s.place[1]
    };
    let mut normal = Matrix3::zeros();
    let mut deviation = LEAST_SCALE;
    for _ in 0..ITERATIONS {
        deviation = scale(cool.iter().map(|(s, change)| residual(s, *change, offset, tilt))).max(LEAST_SCALE);
        normal = Matrix3::zeros();
        let mut right = Vector3::zeros();
        for (s, change) in &cool {
            let weight = biweight(residual(s, *change, offset, tilt) / deviation);
            let row = Vector3::new(1.0, s.place[0], s.place[1]);
            normal += weight * row * row.transpose();
            right += weight * *change * row;
        }
        let (next, slopes) = if with_tilt {
            let Some(solution) = normal.cholesky().map(|factor| factor.solve(&right)) else { break };
            (solution[0], [solution[1], solution[2]])
        } else {
            if normal[(0, 0)] <= 0.0 {
                break;
            }
            (right[0] / normal[(0, 0)], [0.0; 2])
        };
        let settled = (next - offset).abs() < 1e-6;
        (offset, tilt) = (next, slopes);
        if settled {
            break;
        }
    }
    let mut clusters = Clusters::default();
    for (s, change) in &cool {
        let left = residual(s, *change, offset, tilt);
        clusters.add(s.cluster, biweight(left / deviation) * left);
    }
    let own = if normal[(0, 0)] > 0.0 { clusters.norm() / normal[(0, 0)] } else { f64::INFINITY };
    let mean_rise = cool.iter().map(|(s, _)| s.rise).sum::<f64>() / cool.len().max(1) as f64;
    let uncertainty = own.hypot(mean_rise * power.standard_uncertainty);
    (Estimate { value: offset, standard_uncertainty: uncertainty }, tilt, anchored)
}

/// Sums of what neighbours share: the middle of the sandwich estimate of a variance.
#[derive(Default)]
struct Clusters(Vec<f64>);

impl Clusters {
    fn add(&mut self, cluster: usize, value: f64) {
        if self.0.len() <= cluster {
            self.0.resize(cluster + 1, 0.0);
        }
        self.0[cluster] += value;
    }

    fn norm(&self) -> f64 {
        self.0.iter().map(|sum| sum * sum).sum::<f64>().sqrt()
    }
}

fn biweight(standardised: f64) -> f64 {
    let share = standardised / BIWEIGHT;
    if share.abs() < 1.0 { (1.0 - share * share).powi(2) } else { 0.0 }
}

/// The value that this share of the values lies below; 0 of none.
fn lies_below(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.collect();
    quantile(&mut values, share).unwrap_or(0.0)
}

/// Standard deviation about zero by the median of the absolute values.
fn scale(values: impl Iterator<Item = f64>) -> f64 {
    MAD_TO_SIGMA * median(values.map(f64::abs)).unwrap_or(0.0)
}

/// The value at which half of the weight is reached.
fn weighted_median(pairs: &mut [(f64, f64)]) -> Option<f64> {
    pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let half = pairs.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut reached = 0.0;
    pairs
        .iter()
        .find(|(_, weight)| {
            reached += weight;
            reached >= half
        })
        .map(|(value, _)| *value)
}
