//! Pixels that hold no reading: known to be stuck, or saturated.

use crate::frame::{Frame, RawNumber};

use super::metadata::CaptureMetadata;

/// The picture without its stuck and saturated pixels: same shape, NaN where invalid.
///
/// Stuck pixels outside the picture are passed over. For the mean of a burst use
/// [`read_capture`](super::pixels::read_capture) as well, which looks for saturation before averaging.
#[must_use]
pub fn mask_invalid(pixels: Frame<RawNumber>, metadata: &CaptureMetadata) -> Frame<RawNumber> {
    let saturated_at = metadata.saturated_at.unwrap_or(f64::INFINITY);
    let mut masked: Frame<RawNumber> =
        pixels.map(|number| if f64::from(number) >= saturated_at { f32::NAN } else { number });
    if metadata.stuck_pixels.is_empty() {
        return masked;
    }
    let (rows, columns) = masked.shape();
    let mut values = masked.view().to_owned();
    for &[x, y] in &metadata.stuck_pixels {
        let place = (usize::try_from(y).unwrap_or(rows), usize::try_from(x).unwrap_or(columns));
        if let Some(value) = values.get_mut(place) {
            *value = f32::NAN;
        }
    }
    if let Ok(frame) = Frame::new(values) {
        masked = frame;
    }
    masked
}
