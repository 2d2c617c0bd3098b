//! Drift between two captures, read off a patch that should read alike in both.

use serde::{Deserialize, Serialize};

use super::smooth_shape::robust_sigma;
use crate::frame::{ApparentKelvin, Frame, FrameError};
use crate::quantile::median;
use crate::units::KelvinDifference;

/// Pixels farther than so many robust standard deviations from the median do not take part.
const CUT: f64 = 4.0;
/// So many stripes of the patch are held against one another.
const STRIPES: usize = 8;
/// Fewer pixels than this make no patch.
const PIXELS_NEEDED: usize = 16;

/// What one capture reads above another where they should agree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DriftOffset {
    /// The capture's reading less the reference's: the mean over the patch without pixels that lie far off. Not
    /// the median, which in pictures of coarse digits is a whole digit or none.
    pub offset: KelvinDifference,
    /// Its standard uncertainty, k = 1: by the scatter of the pixels or that of stripes of the patch,
    /// whichever is larger, so that what neighbors share does not pass for certainty.
    pub uncertainty: KelvinDifference,
    /// Scatter of the patch's pixels, one standard deviation.
    pub spread: KelvinDifference,
    /// Pixels that took part.
    pub pixels: usize,
}

/// Why no drift can be read off.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoDrift {
    /// Too few pixels in common.
    #[error("the patch has {found} pixels that are valid in both captures: at least {needed} are needed")]
    TooFewPixels {
        /// Pixels valid in both.
        found: usize,
        /// The least accepted.
        needed: usize,
    },
    /// The captures differ in size.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

/// How much `capture` reads above `reference` on the patch `pixels` (row-major indices): part of the fixture, or
/// a plate that is kept at one temperature.
///
/// # Errors
/// [`NoDrift`].
pub fn drift_offset(
    capture: &Frame<ApparentKelvin>,
    reference: &Frame<ApparentKelvin>,
    pixels: &[usize],
) -> Result<DriftOffset, NoDrift> {
    capture.require_same_shape(reference)?;
    let (here, there) = (capture.as_slice(), reference.as_slice());
    let mut order = pixels.to_vec();
    order.sort_unstable();
    let differences: Vec<f64> = order
        .iter()
        .filter_map(|&pixel| Some(f64::from(*here.get(pixel)?) - f64::from(*there.get(pixel)?)))
        .filter(|difference| !difference.is_nan())
        .collect();
    let found = differences.len();
    let too_few = NoDrift::TooFewPixels { found, needed: PIXELS_NEEDED };
    let (Some(middle), Some(scatter)) =
        (median(differences.iter().copied()), robust_sigma(differences.clone()))
    else {
        return Err(too_few);
    };
    if found < PIXELS_NEEDED {
        return Err(too_few);
    }
    let kept: Vec<f64> = differences
        .into_iter()
        .filter(|difference| scatter == 0.0 || (difference - middle).abs() <= CUT * scatter)
        .collect();
    let (offset, spread) = moments(&kept);
    let by_pixels = spread / (kept.len() as f64).sqrt();
    let stripes: Vec<f64> =
        kept.chunks(kept.len().div_ceil(STRIPES)).map(|stripe| moments(stripe).0).collect();
    let by_stripes = moments(&stripes).1 / (stripes.len() as f64).sqrt();
    let kelvins = |value: f64| KelvinDifference::new(value).unwrap_or(KelvinDifference::ZERO);
    Ok(DriftOffset {
        offset: kelvins(offset),
        uncertainty: kelvins(by_pixels.max(by_stripes)),
        spread: kelvins(spread),
        pixels: kept.len(),
    })
}

/// Mean and standard deviation (with n − 1) of at least two values.
fn moments(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (squares / (count - 1.0)).sqrt())
}

impl DriftOffset {
    /// The capture as it would have read without the drift.
    #[must_use]
    pub fn remove(&self, capture: &Frame<ApparentKelvin>) -> Frame<ApparentKelvin> {
        let offset = self.offset.value();
        capture.map(|value| (f64::from(value) - offset) as f32)
    }
}
