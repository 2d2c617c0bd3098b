//! Surfaces that mostly emit, and those that mostly mirror their surroundings.

use crate::frame::{EmissivityFraction, Frame, FrameError};

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    #[test]
    fn bare_metal_does_not_set_the_scale_unless_there_is_nothing_else() {
        let frame = Frame::<SurfaceKelvin>::from_rows(1, 4, vec![300.0, 320.0, 491.0, f32::NAN]).unwrap();
        let mixed = Frame::from_rows(1, 4, vec![0.92, 0.9, 0.08, 0.9]).unwrap();
        assert_eq!(range_of_emitting(&frame, &mixed).unwrap(), Some((300.0, 320.0)));
        let metal = Frame::from_rows(1, 4, vec![0.1; 4]).unwrap();
        assert_eq!(range_of_emitting(&frame, &metal).unwrap(), Some((300.0, 491.0)));
    }
}
