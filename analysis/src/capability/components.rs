//! Where the scatter of repeated captures comes from: noise, placement and drift, as variances.
//!
//! The means of J regions in r frames of n placements are taken as
//! y = μ(region) + D(placement) + d(placement, frame) + P(placement, region) + e, frames nested in
//! placements, all but μ random. D and d are common to the whole picture (drift), P is local (the board
//! lies a little differently), e is noise. Each variance follows from equating mean squares to their
//! expectations; where regions differ in P and e, their own variances are told apart much as Grubbs does
//! for instruments that measure the same items, with weights for the common part.
//!
//! # Source
//! Mean squares of a nested random model and Satterthwaite's degrees of freedom: D. C. Montgomery,
//! *Design and Analysis of Experiments*, chapters on random effects and nested designs; F. E. Grubbs,
//! *On estimating precision of measuring instruments and product variability*, J. Am. Statist. Assoc. 43
//! (1948); both from memory. The expectations were derived anew and are checked by simulation.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::propagation::coverage_factor;

/// One component of the scatter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Component {
    /// Its standard deviation, K; 0 where the scatter leaves nothing for it.
    pub sigma: f64,
    /// The interval that holds the true standard deviation with the stated confidence, K, by the chi-square
    /// law: wide when there are few repeats.
    pub interval: [f64; 2],
    /// Degrees of freedom of the variance; `None` where it was stated rather than estimated, or is 0.
    pub degrees_of_freedom: Option<f64>,
}

/// The scatter of one region's mean.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RegionComponents {
    /// Noise of the region's mean in one frame; `None` where neither frames nor a statement tell it.
    pub noise: Option<Component>,
    /// From placement to placement, this region against the others; with the noise where that is unknown.
    pub placement: Component,
    /// Placement and the noise that is left after averaging the frames: the scatter of one placement's mean
    /// once the common offset is removed.
    pub both: Component,
}

/// A straight run of the common offset from the first placement to the last.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trend {
    /// Kelvin from one placement to the next.
    pub per_placement: f64,
    /// Standard uncertainty of that.
    pub uncertainty: f64,
    /// Whether it differs from none with the stated confidence.
    pub significant: bool,
}

/// The scatter of repeated captures, taken apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Components {
    /// Placements n.
    pub placements: usize,
    /// Frames in each, r.
    pub frames: usize,
    /// Each region, in the order given.
    pub regions: Vec<RegionComponents>,
    /// Drift common to all regions, from placement to placement; `None` with fewer than three regions, where
    /// it cannot be told from local placement and is part of that.
    pub drift: Option<Component>,
    /// The like from frame to frame within a placement; `None` as well for single frames.
    pub frame_drift: Option<Component>,
    /// Drift of one placement's mean over its frames: both together.
    pub drift_of_mean: Option<Component>,
    /// How the drift runs; `None` as for `drift`.
    pub trend: Option<Trend>,
}

/// Why the scatter cannot be taken apart.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoComponents {
    /// No region, or ones of unequal length.
    #[error(
        "region {region} has {found} placements where {expected} were expected: measure every region in each"
    )]
    Uneven {
        /// Which region, counted from 1.
        region: usize,
        /// Placements, or frames of a placement, that it has.
        found: usize,
        /// What the first has.
        expected: usize,
    },
    /// Too little to see any scatter.
    #[error(
        "{found} placements show no scatter: remove and replace the board and capture it at least twice, better ten times"
    )]
    TooFewPlacements {
        /// Placements given.
        found: usize,
    },
    /// A confidence that is none.
    #[error("a confidence of {confidence} is none: state one between 0 and 1, such as 0.95")]
    Confidence {
        /// As stated.
        confidence: f64,
    },
    /// A mean that is no number.
    #[error("region {region} has a mean that is no number")]
    NotANumber {
        /// Which region, counted from 1.
        region: usize,
    },
}

/// A variance with its degrees of freedom; endless ones for a stated variance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variance {
    pub(super) value: f64,
    pub(super) degrees: f64,
}

/// A sum of variances, each times a factor that may be negative.
///
/// # Source
/// Satterthwaite's degrees of freedom, (Σ aᵢ sᵢ)² / Σ (aᵢ sᵢ)²/νᵢ.
pub(super) fn sum(parts: &[(f64, Variance)]) -> Variance {
    let value: f64 = parts.iter().map(|(factor, part)| factor * part.value).sum();
    let spread: f64 = parts.iter().map(|(factor, part)| (factor * part.value).powi(2) / part.degrees).sum();
    Variance { value, degrees: if spread > 0.0 { value * value / spread } else { f64::INFINITY } }
}

impl Variance {
    /// The component, with an upper limit from `whole`, of which this is a part, where nothing is left for it.
    pub(super) fn component(self, whole: Self, confidence: f64) -> Component {
        let tail = (1.0 - confidence) / 2.0;
        let limit = |variance: Self, probability: f64| {
            if variance.degrees.is_infinite() {
                return variance.value.max(0.0).sqrt();
            }
            ChiSquared::new(variance.degrees)
                .map(|law| (variance.degrees * variance.value / law.inverse_cdf(probability)).max(0.0).sqrt())
                .unwrap_or_else(|_| variance.value.max(0.0).sqrt())
        };
        if self.value > 0.0 {
            // With less than one degree of freedom the law's lower tail is so long that the upper limit means
            // nothing: the limit of the whole is the smaller and true as well.
            let upper = limit(self, tail).min(limit(whole, tail).max(self.value.sqrt()));
            Component {
                sigma: self.value.sqrt(),
                interval: [limit(self, 1.0 - tail), upper],
                degrees_of_freedom: self.degrees.is_finite().then_some(self.degrees),
            }
        } else {
            Component { sigma: 0.0, interval: [0.0, limit(whole, tail)], degrees_of_freedom: None }
        }
    }
}

/// Takes the scatter of `means[region][placement][frame]`, K, apart.
///
/// `noise` states the noise of each region's mean in one frame where frames do not show it (one frame in
/// each placement). Intervals are for `confidence`, such as 0.95.
///
/// # Accuracy
/// The relative standard error of a standard deviation with ν degrees of freedom is near 1/√(2ν); the
/// drift's ν is at most n − 1. Intervals of components that are differences of mean squares are
/// approximate (Satterthwaite).
///
/// # Errors
/// [`NoComponents`].
pub fn components(
    means: &[Vec<Vec<f64>>],
    noise: Option<&[f64]>,
    confidence: f64,
) -> Result<Components, NoComponents> {
    let (placements, frames) = check(means, confidence)?;
    let (n, r) = (placements as f64, frames as f64);
    let apart = means.len() >= 3;
    let placement_means: Vec<Vec<f64>> =
        means.iter().map(|region| region.iter().map(|frames| mean(frames)).collect()).collect();

    // Within placements: what the frames differ by, the common offset taken out.
    let within: Vec<Vec<f64>> = means
        .iter()
        .zip(&placement_means)
        .map(|(region, its_means)| {
            region
                .iter()
                .zip(its_means)
                .flat_map(|(frames, mean)| frames.iter().map(move |value| value - mean))
                .collect()
        })
        .collect();
    let within = Scatter::of(within, apart, n * (r - 1.0));
    // Between placements: the same of their means.
    let between: Vec<Vec<f64>> = placement_means
        .iter()
        .map(|its_means| {
            let middle = mean(its_means);
            its_means.iter().map(|value| value - middle).collect()
        })
        .collect();
    let between = Scatter::of(between, apart, n - 1.0);

    let of_regions = (0..means.len())
        .map(|index| {
            let stated = noise
                .and_then(|noise| noise.get(index))
                .map(|sigma| Variance { value: sigma * sigma, degrees: f64::INFINITY });
            let noise = if frames > 1 { Some(within.regions[index]) } else { stated };
            // A placement's mean scatters at least by what its frames leave of noise, and what is common to all
            // regions is itself only known to its own share: no region is ever without scatter.
            let floor = noise.map_or(between.own_share, |noise| sum(&[(1.0 / r, noise)]));
            let both = Some(between.regions[index]).filter(|both| both.value > floor.value).unwrap_or(floor);
            let placement = noise.map_or(both, |noise| sum(&[(1.0, both), (-1.0 / r, noise)]));
            RegionComponents {
                noise: noise.map(|noise| noise.component(noise, confidence)),
                placement: placement.component(both, confidence),
                both: both.component(both, confidence),
            }
        })
        .collect();
    let (mut drift, mut frame_drift, mut drift_of_mean, mut trend) = (None, None, None, None);
    if apart {
        let of_mean = sum(&[(1.0, between.offset), (-1.0, between.own_share)]);
        drift_of_mean = Some(of_mean.component(between.offset, confidence));
        let mut of_placement = of_mean;
        if frames > 1 {
            let of_frames = sum(&[(1.0, within.offset), (-1.0, within.own_share)]);
            frame_drift = Some(of_frames.component(within.offset, confidence));
            if of_frames.value > 0.0 {
                of_placement = sum(&[
                    (1.0, between.offset),
                    (-1.0, between.own_share),
                    (-1.0 / r, within.offset),
                    (1.0 / r, within.own_share),
                ]);
            }
        }
        drift = Some(of_placement.component(between.offset, confidence));
        trend = run(&between.offsets, confidence);
    }
    Ok(Components { placements, frames, regions: of_regions, drift, frame_drift, drift_of_mean, trend })
}

/// Counts of placements and frames, when every region has the same.
fn check(means: &[Vec<Vec<f64>>], confidence: f64) -> Result<(usize, usize), NoComponents> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(NoComponents::Confidence { confidence });
    }
    let placements = means.first().map_or(0, Vec::len);
    let frames = means.first().and_then(|region| region.first()).map_or(0, Vec::len);
    if placements < 2 || frames == 0 {
        return Err(NoComponents::TooFewPlacements { found: placements.min(frames) });
    }
    for (index, region) in means.iter().enumerate() {
        let number = index + 1;
        let uneven = |found, expected| Err(NoComponents::Uneven { region: number, found, expected });
        if region.len() != placements {
            return uneven(region.len(), placements);
        }
        if let Some(odd) = region.iter().find(|set| set.len() != frames) {
            return uneven(odd.len(), frames);
        }
        if region.iter().flatten().any(|value| !value.is_finite()) {
            return Err(NoComponents::NotANumber { region: number });
        }
    }
    Ok((placements, frames))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Deviations of every region on the same occasions, split into what they share and what they do not.
struct Scatter {
    /// Each region's own variance.
    regions: Vec<Variance>,
    /// What all regions share on each occasion; zeros where it is not taken apart.
    offsets: Vec<f64>,
    /// Variance of the shared offsets, with what the regions' own scatter adds to it.
    offset: Variance,
    /// What the regions' own scatter adds to it.
    own_share: Variance,
}

/// No region weighs more than this in the common offset: one that seems not to scatter at all would take it
/// for itself.
const HEAVIEST: f64 = 0.4;

impl Scatter {
    /// `deviations[region][occasion]` about means that took (occasions − `degrees`) degrees of freedom.
    ///
    /// The offset is the weighted mean o = Σ wⱼ dⱼ with weights near 1/Vⱼ, found in a few rounds. A region's
    /// residual dⱼ − o has the variance Vⱼ (1 − 2wⱼ) + A with A = Σ wⱼ² Vⱼ, from which all Vⱼ follow.
    fn of(deviations: Vec<Vec<f64>>, apart: bool, degrees: f64) -> Self {
        const ROUNDS: usize = 4;
        let count = deviations.len();
        let square = |values: &[f64]| values.iter().map(|value| value * value).sum::<f64>() / degrees;
        let occasions = deviations.first().map_or(0, Vec::len);
        let none = Variance { value: 0.0, degrees: f64::INFINITY };
        if !apart || degrees <= 0.0 {
            let regions = deviations
                .iter()
                .map(|region| Variance { value: if degrees > 0.0 { square(region) } else { 0.0 }, degrees })
                .collect();
            return Self { regions, offsets: vec![0.0; occasions], offset: none, own_share: none };
        }
        let mut weights = vec![1.0 / count as f64; count];
        let mut scatter = Self { regions: vec![], offsets: vec![], offset: none, own_share: none };
        for _ in 0..ROUNDS {
            let offsets: Vec<f64> = (0..occasions)
                .map(|occasion| {
                    deviations.iter().zip(&weights).map(|(region, weight)| weight * region[occasion]).sum()
                })
                .collect();
            let squares: Vec<f64> = deviations
                .iter()
                .map(|region| {
                    let left: Vec<f64> =
                        region.iter().zip(&offsets).map(|(deviation, offset)| deviation - offset).collect();
                    square(&left)
                })
                .collect();
            let ratio = |weight: f64| weight * weight / (1.0 - 2.0 * weight);
            let of_squares: f64 = weights.iter().zip(&squares).map(|(&w, square)| ratio(w) * square).sum();
            let of_weights: f64 = weights.iter().map(|&w| ratio(w)).sum();
            let share = of_squares / (1.0 + of_weights);
            let regions: Vec<Variance> = weights
                .iter()
                .zip(&squares)
                .map(|(weight, square)| {
                    let value = (square - share) / (1.0 - 2.0 * weight);
                    // The residual is as sure as its degrees say; its smaller part for this region is less so.
                    let part = if *square > 0.0 { (square - share) / square } else { 1.0 };
                    Variance { value, degrees: degrees * part * part }
                })
                .collect();
            scatter = Self {
                offset: Variance { value: square(&offsets), degrees },
                own_share: Variance { value: share, degrees: degrees * (count as f64 - 1.0) },
                offsets,
                regions,
            };
            weights = weights_for(&scatter.regions);
        }
        scatter
    }
}

/// Weights that add up to 1, near the reciprocals of the variances, none above [`HEAVIEST`].
fn weights_for(regions: &[Variance]) -> Vec<f64> {
    let largest = regions.iter().map(|region| region.value).fold(0.0, f64::max);
    if largest <= 0.0 {
        return vec![1.0 / regions.len() as f64; regions.len()];
    }
    let mut weights: Vec<f64> = regions.iter().map(|region| 1.0 / region.value.max(1e-3 * largest)).collect();
    // Cutting one lifts the others, hence again and again; at most two can exceed the limit.
    for _ in 0..4 {
        let all: f64 = weights.iter().sum();
        for weight in &mut weights {
            *weight = (*weight / all).min(HEAVIEST);
        }
    }
    let all: f64 = weights.iter().sum();
    weights.iter().map(|weight| weight / all).collect()
}

/// The straight line through the offsets of successive placements.
fn run(offsets: &[f64], confidence: f64) -> Option<Trend> {
    let count = offsets.len();
    if count < 3 {
        return None;
    }
    let middle = (count as f64 - 1.0) / 2.0;
    let about = |index: usize| index as f64 - middle;
    let square: f64 = (0..count).map(|index| about(index).powi(2)).sum();
    let slope = offsets.iter().enumerate().map(|(index, offset)| about(index) * offset).sum::<f64>() / square;
    let left: f64 =
        offsets.iter().enumerate().map(|(index, offset)| (offset - slope * about(index)).powi(2)).sum();
    let degrees = count as f64 - 2.0;
    let uncertainty = (left / degrees / square).sqrt();
    let factor = coverage_factor(confidence, Some(degrees))?;
    Some(Trend { per_placement: slope, uncertainty, significant: slope.abs() > factor * uncertainty })
}
