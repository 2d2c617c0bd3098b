//! The smallest difference that this bench can call, from repeat captures of one board.
//!
//! The board is captured, removed, replaced and captured again, n times, with one or more frames each time.
//! What its own regions then differ by is what no comparison of two boards on this bench can beat.

use serde::{Deserialize, Serialize};

use super::components::{Component, Components, NoComponents, Variance, components, sum};
use crate::frame::{Frame, FrameError};
use crate::propagation::coverage_factor;
use crate::units::KelvinDifference;

/// Fewer placements than this are warned of (our own rule: below, the interval's upper end is more than
/// twice the estimate).
const PLACEMENTS_WANTED: usize = 6;

/// A region by its pixels.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RegionPixels {
    /// What a person calls it, or a reference designator.
    pub name: String,
    /// Row-major indices into the picture.
    pub pixels: Vec<usize>,
}

/// What the study is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepeatabilitySettings {
    /// Confidence of limits and intervals, two-sided, such as 0.95.
    pub confidence: f64,
    /// How many baseline captures a unit will be held against, their mean being taken: at least 1.
    pub baselines: usize,
    /// Noise of one pixel in one frame, white, where a placement has a single frame: the camera's, or that of a
    /// difference picture over √2.
    pub pixel_noise: Option<KelvinDifference>,
}

impl Default for RepeatabilitySettings {
    fn default() -> Self {
        Self { confidence: 0.95, baselines: 1, pixel_noise: None }
    }
}

/// What one region's reading is good for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RegionLimit {
    /// The region.
    pub name: String,
    /// Its pixels that are valid in every frame.
    pub pixels: usize,
    /// Noise of its mean in one frame.
    pub noise: Option<Component>,
    /// Local scatter from placement to placement.
    pub placement: Component,
    /// The limit where the common offset of the two pictures is removed; the uncertainty of that offset, as a
    /// reference patch has it, comes on top.
    pub drift_removed: Limit,
    /// The limit where it is not; `None` where drift could not be told apart and is in the placement already.
    pub drift_left: Option<Limit>,
}

/// Differences of one region between a unit and its baseline, K.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Scatter of the difference, one standard deviation.
    pub sigma: f64,
    /// A difference larger than this is called: two boards that are the same exceed it with a probability of
    /// 1 − confidence alone.
    pub called_beyond: f64,
    /// A true difference this large is called with the stated confidence.
    pub surely_called: f64,
    /// Where `called_beyond` would lie if the scatter were known for certain: from the two ends of the
    /// scatter's own chi-square interval.
    pub interval: [f64; 2],
}

/// The whole study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Repeatability {
    /// What was asked.
    pub settings: RepeatabilitySettings,
    /// Each region.
    pub regions: Vec<RegionLimit>,
    /// The scatter taken apart.
    pub components: Components,
    /// What to mind.
    pub warnings: Vec<RepeatabilityWarning>,
}

/// What makes the study less sure.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
#[serde(tag = "warning", rename_all = "kebab-case", deny_unknown_fields)]
pub enum RepeatabilityWarning {
    /// Few placements.
    #[error("{found} placements leave the limits wide open: {wanted} or more are better")]
    FewPlacements {
        /// Placements given.
        found: usize,
        /// What is advised.
        wanted: usize,
    },
    /// The pictures run away from one another.
    #[error(
        "the whole picture runs by {per_placement:.3} K from one placement to the next: let camera and board settle"
    )]
    Running {
        /// Kelvin from one placement to the next.
        per_placement: f64,
    },
    /// Drift is not told from placement.
    #[error("{found} regions cannot tell drift from placement: give at least 3")]
    FewRegions {
        /// Regions given.
        found: usize,
    },
    /// Noise is not told from placement.
    #[error("single frames and no stated noise: noise counts as placement")]
    NoiseUnknown,
}

/// Why there is no study.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoStudy {
    /// No region was given.
    #[error("no region was given: choose at least one part or outline")]
    NoRegions,
    /// The frames do not lie on the same pixels.
    #[error("the captures must be aligned onto the same pixels first: {0}")]
    Shape(#[from] FrameError),
    /// A region without pixels to read.
    #[error("region {name} has no pixel that is valid in every frame: make it larger or leave it out")]
    EmptyRegion {
        /// The region.
        name: String,
    },
    /// A region that reaches beyond the picture.
    #[error("region {name} names pixel {pixel}, but the picture has {pixels}")]
    OutsidePicture {
        /// The region.
        name: String,
        /// The index given.
        pixel: usize,
        /// Pixels of the picture.
        pixels: usize,
    },
    /// No baseline to compare with.
    #[error("a difference needs at least one baseline capture")]
    NoBaselines,
    /// The scatter cannot be taken apart.
    #[error(transparent)]
    Components(#[from] NoComponents),
}

/// What this bench can call, from `placements[placement][frame]` of one board, all on the same pixels.
///
/// # Method
/// Each region's mean in each frame goes through [`components`]. With V the variance of one placement's mean
/// (placement and what the frames' average leaves of noise, drift where it is not removed), a difference of one
/// unit and the mean of m baselines scatters by s = √(V (1 + 1/m)); it is called beyond t·s, t the two-sided
/// quantile of Student's t. For m = 1 this is the repeatability limit (1.96 √2 s_r for many repeats, ISO 5725-6,
/// from memory). A true difference of t·s plus the one-sided quantile times s is called with the confidence.
///
/// It holds for one board on one bench; the spread from unit to unit is not in it.
///
/// # Errors
/// [`NoStudy`], which says what to do.
pub fn repeatability<Q>(
    placements: &[Vec<Frame<Q>>],
    regions: &[RegionPixels],
    settings: &RepeatabilitySettings,
) -> Result<Repeatability, NoStudy> {
    if regions.is_empty() {
        return Err(NoStudy::NoRegions);
    }
    if settings.baselines == 0 {
        return Err(NoStudy::NoBaselines);
    }
    let Some(first) = placements.iter().flatten().next() else {
        return Err(NoComponents::TooFewPlacements { found: 0 }.into());
    };
    for frame in placements.iter().flatten() {
        first.require_same_shape(frame)?;
    }
    let mut counts = Vec::with_capacity(regions.len());
    let mut means = Vec::with_capacity(regions.len());
    for region in regions {
        let pixels = valid_everywhere(region, placements)?;
        let mean_of = |frame: &Frame<Q>| {
            let sum: f64 =
                pixels.iter().filter_map(|&pixel| frame.as_slice().get(pixel)).copied().map(f64::from).sum();
            sum / pixels.len() as f64
        };
        means.push(placements.iter().map(|frames| frames.iter().map(mean_of).collect()).collect());
        counts.push(pixels.len());
    }
    let noise: Option<Vec<f64>> = settings
        .pixel_noise
        .map(|noise| counts.iter().map(|&count| noise.value().abs() / (count as f64).sqrt()).collect());
    let components = components(&means, noise.as_deref(), settings.confidence)?;
    let limits = regions
        .iter()
        .zip(&components.regions)
        .zip(counts)
        .map(|((region, scatter), pixels)| {
            let both = variance_of(scatter.both, &components);
            let with_drift = components
                .drift_of_mean
                .map(|drift| sum(&[(1.0, both), (1.0, variance_of(drift, &components))]));
            RegionLimit {
                name: region.name.clone(),
                pixels,
                noise: scatter.noise,
                placement: scatter.placement,
                drift_removed: Limit::of(both, settings),
                drift_left: with_drift.map(|variance| Limit::of(variance, settings)),
            }
        })
        .collect();
    let warnings = warnings(&components, settings);
    Ok(Repeatability { settings: *settings, regions: limits, components, warnings })
}

/// The component as a variance again; where nothing was left for it, its degrees of freedom do not matter.
fn variance_of(component: Component, components: &Components) -> Variance {
    let degrees = component.degrees_of_freedom.unwrap_or(components.placements as f64 - 1.0);
    Variance { value: component.sigma * component.sigma, degrees }
}

impl Limit {
    fn of(variance: Variance, settings: &RepeatabilitySettings) -> Self {
        let widening = (1.0 + 1.0 / settings.baselines as f64).sqrt();
        let sigma = variance.value.sqrt() * widening;
        // With fewer than one degree of freedom Student's t has no sensible quantile left.
        let degrees = Some(variance.degrees.max(1.0));
        let factor =
            |confidence: f64, degrees: Option<f64>| coverage_factor(confidence, degrees).unwrap_or(0.0);
        let certain = factor(settings.confidence, None);
        let called_beyond = factor(settings.confidence, degrees) * sigma;
        // One-sided: only the side towards the limit matters.
        let one_sided = factor(2.0 * settings.confidence - 1.0, degrees);
        let scatter = variance.component(variance, settings.confidence);
        Self {
            sigma,
            called_beyond,
            surely_called: called_beyond + one_sided * sigma,
            interval: scatter.interval.map(|end| certain * widening * end),
        }
    }
}

fn valid_everywhere<Q>(region: &RegionPixels, placements: &[Vec<Frame<Q>>]) -> Result<Vec<usize>, NoStudy> {
    let mut valid = Vec::with_capacity(region.pixels.len());
    for &pixel in &region.pixels {
        let mut readings = placements.iter().flatten().map(|frame| frame.as_slice().get(pixel));
        if let Some(None) = readings.clone().next() {
            let pixels = placements.iter().flatten().next().map_or(0, |frame| frame.as_slice().len());
            return Err(NoStudy::OutsidePicture { name: region.name.clone(), pixel, pixels });
        }
        if readings.all(|reading| reading.is_some_and(|value| !value.is_nan())) {
            valid.push(pixel);
        }
    }
    if valid.is_empty() {
        return Err(NoStudy::EmptyRegion { name: region.name.clone() });
    }
    Ok(valid)
}

fn warnings(components: &Components, settings: &RepeatabilitySettings) -> Vec<RepeatabilityWarning> {
    let mut warnings = Vec::new();
    if components.placements < PLACEMENTS_WANTED {
        warnings.push(RepeatabilityWarning::FewPlacements {
            found: components.placements,
            wanted: PLACEMENTS_WANTED,
        });
    }
    if components.regions.len() < 3 {
        warnings.push(RepeatabilityWarning::FewRegions { found: components.regions.len() });
    }
    if components.frames == 1 && settings.pixel_noise.is_none() {
        warnings.push(RepeatabilityWarning::NoiseUnknown);
    }
    if let Some(trend) = components.trend.filter(|trend| trend.significant) {
        warnings.push(RepeatabilityWarning::Running { per_placement: trend.per_placement });
    }
    warnings
}
