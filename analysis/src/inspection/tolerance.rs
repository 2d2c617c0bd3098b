//! The difference that each pixel must exceed before it counts.

use super::criteria::Criteria;
use crate::frame::{Difference, Frame, FrameError};

/// The tolerance never falls below this, K: with a limit of zero on a picture without noise every pixel
/// would differ, and infinitely. No camera tells a millikelvin in one frame.
const LEAST_TOLERANCE: f32 = 1e-3;

/// The tolerance of each pixel, K, positive: `max(limit, k · √(u² + spread²))`, with `limit` and k
/// (`noise_multiple`) from the criteria and u the standard uncertainty of the difference.
///
/// The spread among baselines holds the camera's noise already; counting it twice errs to the safe
/// side by at most √2. Where the spread is unknown (one baseline, or one valid there) it counts as
/// zero: a single board says nothing of the spread, and `limit` alone stands for it.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the pictures differ in size.
pub fn tolerance(
    uncertainty: &Frame<Difference>,
    spread: Option<&Frame<Difference>>,
    criteria: &Criteria,
) -> Result<Frame<Difference>, FrameError> {
    let limit = (criteria.limit.value().abs() as f32).max(LEAST_TOLERANCE);
    let multiple = criteria.noise_multiple as f32;
    // What is not known at all has no tolerance: it is not certain to within the limit.
    let beyond = |chance: f32| if chance.is_nan() { f32::NAN } else { limit.max(multiple * chance) };
    let Some(spread) = spread else {
        return Ok(uncertainty.map(beyond));
    };
    uncertainty.require_same_shape(spread)?;
    let mut values = uncertainty.view().to_owned();
    values.zip_mut_with(&spread.view(), |value, &spread| {
        let spread = if spread.is_nan() { 0.0 } else { spread };
        *value = beyond((*value * *value + spread * spread).sqrt());
    });
    Frame::new(values)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::KelvinDifference;

    #[test]
    fn the_tolerance_is_the_limit_until_uncertainty_and_spread_exceed_it() {
        let limit = KelvinDifference::new(2.0).unwrap();
        let criteria = Criteria { noise_multiple: 3.0, limit, ..Criteria::default() };
        let uncertainty = Frame::from_rows(1, 3, vec![0.1, 1.0, 1.0]).unwrap();
        let alone = tolerance(&uncertainty, None, &criteria).unwrap();
        assert_eq!(alone.as_slice(), [2.0, 3.0, 3.0]);
        let unknown = Frame::from_rows(1, 1, vec![f32::NAN]).unwrap();
        assert_eq!(tolerance(&unknown, None, &criteria).unwrap().at(0, 0), None);
        let spread = Frame::from_rows(1, 3, vec![0.1, f32::NAN, 0.75]).unwrap();
        // 3 · √(1 + 0.75²) = 3.75; an unknown spread counts as none.
        assert_eq!(tolerance(&uncertainty, Some(&spread), &criteria).unwrap().as_slice(), [2.0, 3.0, 3.75]);
    }
}
