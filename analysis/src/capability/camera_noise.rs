//! The camera's own noise and faulty pixels, from a burst of a scene that does not change.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::smooth_shape::{SmoothShape, robust_sigma};
use crate::frame::{ApparentKelvin, Frame, FrameError};
use crate::quantile::median;
use crate::units::KelvinDifference;

/// A pixel is called noisy where fewer than this many of the whole picture's good pixels would be.
const FALSE_ALARMS: f64 = 0.5;
/// Fewer frames than this do not tell a stuck pixel from a lucky one.
const FRAMES_FOR_STUCK: usize = 8;
/// More than this share of pixels that never change means coarse digits, not faults.
const STUCK_SHARE_MOST: f64 = 0.01;
/// On a uniform scene a pixel this many robust standard deviations off its neighbors is faulty (our own rule).
const OUTLIER: f64 = 6.0;

/// What the burst shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scene {
    /// One temperature all over, such as a black-body plate or a wall: the fixed pattern and pixels that read
    /// wrongly can be told as well.
    Uniform,
    /// Anything that stands still.
    Still,
}

/// The camera's noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraNoise {
    /// Frames of the burst.
    pub frames: usize,
    /// Pixels that took part.
    pub pixels: usize,
    /// Standard deviation of one pixel from frame to frame, what the whole picture does taken out: the noise
    /// equivalent temperature difference at the scene's temperature.
    pub netd: KelvinDifference,
    /// The interval that holds the true one with 95 % confidence, K (chi-square).
    pub netd_interval: [f64; 2],
    /// Standard deviation of the whole picture's offset from frame to frame.
    pub frame_drift: KelvinDifference,
    /// Standard deviation of what stays from frame to frame, its smooth shape and the noise that averaging
    /// leaves taken out; for a uniform scene.
    pub fixed_pattern: Option<KelvinDifference>,
    /// Highest less lowest place of the smooth shape; for a uniform scene.
    pub shape_range: Option<KelvinDifference>,
    /// Pixels that never change, `[x, y]`.
    pub stuck: Vec<[u32; 2]>,
    /// Pixels that change far too much, `[x, y]`.
    pub noisy: Vec<[u32; 2]>,
    /// Pixels that read far off their neighbors, `[x, y]`; for a uniform scene.
    pub outliers: Vec<[u32; 2]>,
}

impl CameraNoise {
    /// Every faulty pixel once, `[x, y]`, row by row: what a capture's sidecar lists as stuck.
    #[must_use]
    pub fn faulty(&self) -> Vec<[u32; 2]> {
        let mut all = [self.stuck.as_slice(), &self.noisy, &self.outliers].concat();
        all.sort_by_key(|[x, y]| (*y, *x));
        all.dedup();
        all
    }
}

/// One uniform picture's unevenness.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpatialNoise {
    /// Standard deviation of the pixels about the smooth shape, by the median absolute deviation: noise of one
    /// frame and fixed pattern together.
    pub sigma: KelvinDifference,
    /// Highest less lowest place of the smooth shape.
    pub shape_range: KelvinDifference,
    /// Valid pixels.
    pub pixels: usize,
}

/// Why there is no noise to state.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoNoise {
    /// Too few frames.
    #[error("{found} frames show no change: give a burst of at least 2, better 16 or more")]
    TooFewFrames {
        /// Frames given.
        found: usize,
    },
    /// Too few pixels that are valid in every frame.
    #[error("{found} pixels are valid in every frame: at least {needed} are needed")]
    TooFewPixels {
        /// Pixels that are.
        found: usize,
        /// The least accepted.
        needed: usize,
    },
    /// The frames differ in size.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

const PIXELS_NEEDED: usize = 64;

/// The noise of a burst.
///
/// Each pixel's variance over the frames (with n − 1), after each frame's common offset is taken out, pooled over
/// the pixels that are not faulty. A pixel is noisy where its variance exceeds the chi-square quantile that half a
/// good pixel of the picture would exceed; stuck where it never changes in at least eight frames.
///
/// # Source
/// Temporal noise as the standard deviation over frames, and NETD quoted at the scene's temperature: common
/// practice; ASTM E1543 defines the quantity (abstract read) by a signal transfer that a radiometric picture has
/// gone through already.
///
/// # Errors
/// [`NoNoise`].
pub fn camera_noise(burst: &[Frame<ApparentKelvin>], scene: Scene) -> Result<CameraNoise, NoNoise> {
    let [first, _, ..] = burst else {
        return Err(NoNoise::TooFewFrames { found: burst.len() });
    };
    for frame in burst {
        first.require_same_shape(frame)?;
    }
    let (rows, columns) = first.shape();
    let frames = burst.len() as f64;
    let of_pixel = |pixel: usize| burst.iter().map(move |frame| f64::from(frame.as_slice()[pixel]));
    // A pixel that is invalid once has no mean, for NaN passes through.
    let means: Vec<f64> = (0..rows * columns).map(|pixel| of_pixel(pixel).sum::<f64>() / frames).collect();
    let pixels = means.iter().filter(|mean| !mean.is_nan()).count();
    if pixels < PIXELS_NEEDED {
        return Err(NoNoise::TooFewPixels { found: pixels, needed: PIXELS_NEEDED });
    }
    let offsets: Vec<f64> = burst
        .iter()
        .map(|frame| {
            let above = frame.as_slice().iter().zip(&means).map(|(&value, mean)| f64::from(value) - mean);
            median(above).unwrap_or(0.0)
        })
        .collect();
    let degrees = frames - 1.0;
    let variances: Vec<f64> = means
        .iter()
        .enumerate()
        .map(|(pixel, mean)| {
            let squares =
                of_pixel(pixel).zip(&offsets).map(|(value, offset)| (value - mean - offset).powi(2));
            squares.sum::<f64>() / degrees
        })
        .collect();

    let place = |pixel: usize| [(pixel % columns) as u32, (pixel / columns) as u32];
    let stuck = stuck_pixels(burst, &means);
    let limit = noisy_limit(&variances, degrees, pixels);
    let is_noisy = |variance: f64| limit.is_some_and(|limit| variance > limit);
    let mut is_stuck = vec![false; means.len()];
    for &pixel in &stuck {
        is_stuck[pixel] = true;
    }
    let noisy: Vec<usize> =
        (0..means.len()).filter(|&pixel| is_noisy(variances[pixel]) && !is_stuck[pixel]).collect();
    let good: Vec<f64> = variances
        .iter()
        .zip(&is_stuck)
        .filter(|(variance, stuck)| !variance.is_nan() && !**stuck && !is_noisy(**variance))
        .map(|(variance, _)| *variance)
        .collect();
    let variance = good.iter().sum::<f64>() / good.len().max(1) as f64;
    let all_degrees = degrees * good.len() as f64;
    let end = |probability: f64| {
        ChiSquared::new(all_degrees.max(1.0))
            .map_or(f64::NAN, |law| (all_degrees * variance / law.inverse_cdf(probability)).sqrt())
    };
    let middle = offsets.iter().sum::<f64>() / frames;
    let frame_drift = (offsets.iter().map(|offset| (offset - middle).powi(2)).sum::<f64>() / degrees).sqrt();

    let (mut fixed_pattern, mut shape_range, mut outliers) = (None, None, Vec::new());
    if scene == Scene::Uniform {
        outliers = off_neighbors(rows, columns, &means);
        let shape = SmoothShape::fit(rows, columns, &means);
        shape_range = shape.map(|shape| kelvins(shape.range()));
        fixed_pattern = shape
            .and_then(|shape| robust_sigma(shape.residuals(&means)))
            .map(|sigma| kelvins((sigma * sigma - variance / frames).max(0.0).sqrt()));
    }
    let places = |pixels: Vec<usize>| pixels.into_iter().map(place).collect();
    Ok(CameraNoise {
        frames: burst.len(),
        pixels,
        netd: kelvins(variance.sqrt()),
        netd_interval: [end(0.975), end(0.025)],
        frame_drift: kelvins(frame_drift),
        fixed_pattern,
        shape_range,
        stuck: places(stuck),
        noisy: places(noisy),
        outliers: places(outliers),
    })
}

/// The unevenness of one picture of a uniform scene, its smooth shape (second order) taken out.
///
/// # Errors
/// [`NoNoise::TooFewPixels`].
pub fn spatial_noise(scene: &Frame<ApparentKelvin>) -> Result<SpatialNoise, NoNoise> {
    let (rows, columns) = scene.shape();
    let values: Vec<f64> = scene.as_slice().iter().copied().map(f64::from).collect();
    let pixels = scene.count_valid();
    let too_few = NoNoise::TooFewPixels { found: pixels, needed: PIXELS_NEEDED };
    if pixels < PIXELS_NEEDED {
        return Err(too_few);
    }
    let Some(shape) = SmoothShape::fit(rows, columns, &values) else {
        return Err(too_few);
    };
    let sigma = robust_sigma(shape.residuals(&values)).unwrap_or(0.0);
    Ok(SpatialNoise { sigma: kelvins(sigma), shape_range: kelvins(shape.range()), pixels })
}

fn kelvins(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap_or(KelvinDifference::ZERO)
}

/// Pixels whose number is the same in every frame.
fn stuck_pixels(burst: &[Frame<ApparentKelvin>], means: &[f64]) -> Vec<usize> {
    let Some((first, others)) = burst.split_first().filter(|_| burst.len() >= FRAMES_FOR_STUCK) else {
        return Vec::new();
    };
    let stuck: Vec<usize> = (0..means.len())
        .filter(|&pixel| {
            let value = first.as_slice()[pixel];
            !value.is_nan() && others.iter().all(|frame| frame.as_slice()[pixel] == value)
        })
        .collect();
    if stuck.len() as f64 > STUCK_SHARE_MOST * means.len() as f64 { Vec::new() } else { stuck }
}

/// The variance above which a pixel is noisy.
fn noisy_limit(variances: &[f64], degrees: f64, pixels: usize) -> Option<f64> {
    let law = ChiSquared::new(degrees).ok()?;
    // The median, which faulty pixels do not move, and how it lies to the mean of a chi-square law.
    let typical = median(variances.iter().copied())? * degrees / law.inverse_cdf(0.5);
    Some(typical * law.inverse_cdf(1.0 - FALSE_ALARMS / pixels as f64) / degrees)
}

/// Pixels that lie far off the median of their eight neighbors.
fn off_neighbors(rows: usize, columns: usize, means: &[f64]) -> Vec<usize> {
    let above: Vec<f64> = (0..means.len())
        .map(|pixel| {
            let (row, column) = (pixel / columns, pixel % columns);
            let around = (row.saturating_sub(1)..(row + 2).min(rows)).flat_map(|r| {
                (column.saturating_sub(1)..(column + 2).min(columns)).map(move |c| r * columns + c)
            });
            let near = median(around.filter(|&other| other != pixel).map(|other| means[other]));
            means[pixel] - near.unwrap_or(f64::NAN)
        })
        .collect();
    let Some(sigma) = robust_sigma(above.clone()) else { return Vec::new() };
    above
        .iter()
        .enumerate()
        .filter(|(_, above)| above.abs() > OUTLIER * sigma)
        .map(|(pixel, _)| pixel)
        .collect()
}
