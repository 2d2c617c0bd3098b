//! Which pixels may tell what the bench changed: not bare metal, nor what blurs into it.
//!
//! A reading on metal is mostly mirrored surroundings, and beside metal the emissivity of a mixed
//! pixel is wrong: such contrasts follow the local temperature instead of the part's power.

use super::summed_area::SummedArea;
use crate::frame::{EmissivityFraction, Frame, FrameError, SurfaceKelvin};

/// Surfaces below this emissivity count as metal (common practice, no source).
const LEAST_EMISSIVITY: f32 = 0.6;
/// The optics mix pixels this far apart.
pub const BLUR_REACH: usize = 3;

/// `surface` with metal and what lies within `reach` pixels of it made invalid.
///
/// # Errors
/// [`FrameError::ShapeMismatch`].
pub fn without_metal(
    surface: &Frame<SurfaceKelvin>,
    emissivity: &Frame<EmissivityFraction>,
    reach: usize,
) -> Result<Frame<SurfaceKelvin>, FrameError> {
    surface.require_same_shape(emissivity)?;
    let (rows, columns) = surface.shape();
    let metal = emissivity.as_slice().iter().map(|&e| if e < LEAST_EMISSIVITY { 1.0 } else { 0.0 });
    let metal = SummedArea::new((rows, columns), metal);
    let values = surface.as_slice().iter().enumerate().map(|(index, &value)| {
        let (mean, _) = metal.mean_around(index / columns, index % columns, reach);
        if mean > 0.0 { f32::NAN } else { value }
    });
    Frame::from_rows(rows, columns, values.collect())
}
