//! Surfaces that mostly emit, and those that mostly mirror their surroundings.

use crate::frame::{EmissivityFraction, Frame, FrameError};
use crate::quantile::quantile;

/// Below this emissivity a surface reflects more than it emits, so what its correction yields is mostly
/// magnified error: such pixels are shown, but they do not set the scale of a picture.
const MOSTLY_EMITS: f32 = 0.5;

/// The lowest and highest valid value among surfaces that mostly emit; among all where none does.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in size.
pub fn range_of_emitting<Q>(
    frame: &Frame<Q>,
    emissivity: &Frame<EmissivityFraction>,
) -> Result<Option<(f32, f32)>, FrameError> {
    frame.require_same_shape(emissivity)?;
    let range = |least_emissivity: f32| {
        let pixels = frame.as_slice().iter().zip(emissivity.as_slice());
        let emitting =
            pixels.filter(|(value, emissivity)| !value.is_nan() && **emissivity >= least_emissivity);
        emitting.fold(None, |range: Option<(f32, f32)>, (&value, _)| {
            let (lo, hi) = range.unwrap_or((value, value));
            Some((value.min(lo), value.max(hi)))
        })
    };
    Ok(range(MOSTLY_EMITS).or_else(|| range(0.0)))
}

/// The value that the share `share` (0 to 1) of the valid pixels among surfaces that mostly emit does not exceed;
/// of all where none does. For scales that a few pixels shall not set.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in size.
pub fn quantile_of_emitting<Q>(
    frame: &Frame<Q>,
    emissivity: &Frame<EmissivityFraction>,
    share: f64,
) -> Result<Option<f32>, FrameError> {
    frame.require_same_shape(emissivity)?;
    let among = |least_emissivity: f32| {
        let pixels = frame.as_slice().iter().zip(emissivity.as_slice());
        let emitting =
            pixels.filter(|(value, emissivity)| !value.is_nan() && **emissivity >= least_emissivity);
        let mut values: Vec<f32> = emitting.map(|(&value, _)| value).collect();
        quantile(&mut values, share)
    };
    Ok(among(MOSTLY_EMITS).or_else(|| among(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    #[test]
    fn a_few_high_pixels_do_not_set_a_scale_by_quantile() {
        let values = (0..100).map(|n| if n < 98 { 1.0 } else { 50.0 }).collect();
        let frame = Frame::<SurfaceKelvin>::from_rows(10, 10, values).unwrap();
        let mask = Frame::from_rows(10, 10, vec![0.9; 100]).unwrap();
        assert_eq!(quantile_of_emitting(&frame, &mask, 0.95).unwrap(), Some(1.0));
        assert_eq!(quantile_of_emitting(&frame, &mask, 1.0).unwrap(), Some(50.0));
    }

    #[test]
    fn bare_metal_does_not_set_the_scale_unless_there_is_nothing_else() {
        let frame = Frame::<SurfaceKelvin>::from_rows(1, 4, vec![300.0, 320.0, 491.0, f32::NAN]).unwrap();
        let mixed = Frame::from_rows(1, 4, vec![0.92, 0.9, 0.08, 0.9]).unwrap();
        assert_eq!(range_of_emitting(&frame, &mixed).unwrap(), Some((300.0, 320.0)));
        let metal = Frame::from_rows(1, 4, vec![0.1; 4]).unwrap();
        assert_eq!(range_of_emitting(&frame, &metal).unwrap(), Some((300.0, 491.0)));
    }
}
