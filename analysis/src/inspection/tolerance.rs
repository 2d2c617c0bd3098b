//! The difference that each pixel must exceed before it counts.

use ndarray::{Array2, ArrayView2};

use super::criteria::Criteria;
use super::difference::DifferenceMap;
use crate::frame::{Difference, Frame, FrameError};
use crate::units::KelvinDifference;

/// The tolerance never falls below this, K: with a limit of zero on a picture without noise every pixel
/// would differ, and infinitely. No camera tells a millikelvin in one frame.
const LEAST_TOLERANCE: f32 = 1e-3;

/// The tolerance of each pixel, K, positive.
///
/// `max(limit, k · √(noise² + spread² + (|∇baseline| · residual_px)²))`, with `limit` and k
/// (`noise_multiple`) from the criteria. The last term is what a picture misaligned by the alignment's
/// own residual would show at this place, so an edge that lies half a pixel off does not light up.
///
/// The spread among baselines holds the camera's noise already; counting it twice errs to the safe
/// side by at most √2. Where the spread is unknown (one baseline, or one valid there) it counts as
/// zero: a single board says nothing of the spread, and `limit` alone stands for it.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the map's own pictures differ in size.
pub fn tolerance(
    map: &DifferenceMap,
    noise: KelvinDifference,
    residual_px: f64,
    criteria: &Criteria,
) -> Result<Frame<Difference>, FrameError> {
    map.baseline.require_same_shape(&map.difference)?;
    if let Some(spread) = &map.spread {
        map.baseline.require_same_shape(spread)?;
    }
    let limit = (criteria.limit.value().abs() as f32).max(LEAST_TOLERANCE);
    let multiple = criteria.noise_multiple as f32;
    let noise_squared = (noise.value() * noise.value()) as f32;
    let residual_squared = (residual_px * residual_px) as f32;
    let mut values = slope_squared(map.baseline.view());
    let judge = |slope_squared: f32, spread: f32| {
        let spread = if spread.is_nan() { 0.0 } else { spread };
        let variance = noise_squared + spread * spread + slope_squared * residual_squared;
        limit.max(multiple * variance.sqrt())
    };
    match &map.spread {
        None => values.mapv_inplace(|slope_squared| judge(slope_squared, 0.0)),
        Some(spread) => values.zip_mut_with(&spread.view(), |value, &spread| *value = judge(*value, spread)),
    }
    Frame::new(values)
}

/// |∇T|², K² per pixel²: central differences, one-sided beside an invalid pixel or the border, zero
/// where no neighbor along an axis is valid.
fn slope_squared(values: ArrayView2<'_, f32>) -> Array2<f32> {
    let (rows, columns) = values.dim();
    let along = |before: f32, here: f32, after: f32| {
        let central = (after - before) / 2.0;
        if !central.is_nan() {
            central
        } else if !(after - here).is_nan() {
            after - here
        } else if !(here - before).is_nan() {
            here - before
        } else {
            0.0
        }
    };
    let none = vec![f32::NAN; columns];
    let mut squared = Array2::zeros((rows, columns));
    let rows_of = values.to_slice().unwrap_or_default();
    let line = |row: usize| rows_of.get(row * columns..(row + 1) * columns).unwrap_or(&none);
    for (row, mut out) in squared.outer_iter_mut().enumerate() {
        let above = if row == 0 { none.as_slice() } else { line(row - 1) };
        let (here, below) = (line(row), line(row + 1));
        for (column, out) in out.iter_mut().enumerate() {
            let left = if column == 0 { f32::NAN } else { here[column - 1] };
            let right = here.get(column + 1).copied().unwrap_or(f32::NAN);
            let across = along(left, here[column], right);
            let down = along(above[column], here[column], below[column]);
            *out = across * across + down * down;
        }
    }
    squared
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    fn ramp(kelvin_per_column: f32) -> DifferenceMap {
        let mut baseline =
            Array2::from_shape_fn((5, 6), |(_, column)| 300.0 + kelvin_per_column * column as f32);
        baseline[(2, 2)] = f32::NAN;
        DifferenceMap {
            baseline: Frame::<SurfaceKelvin>::new(baseline).unwrap(),
            difference: Frame::new(Array2::zeros((5, 6))).unwrap(),
            spread: None,
        }
    }

    #[test]
    fn the_tolerance_is_the_limit_on_flat_ground_and_grows_with_slope_and_spread() {
        let criteria = Criteria { noise_multiple: 3.0, ..Criteria::default() };
        let noise = KelvinDifference::new(0.1).unwrap();
        let flat = tolerance(&ramp(0.0), noise, 0.2, &criteria).unwrap();
        assert!(flat.as_slice().iter().all(|&value| value == 2.0));
        // 3 · √(0.1² + (10 · 0.2)²), also beside the invalid pixel and at the border.
        let expected = 3.0 * (0.01_f32 + 4.0).sqrt();
        let steep = tolerance(&ramp(10.0), noise, 0.2, &criteria).unwrap();
        for place in [(0, 0), (2, 1), (4, 5), (3, 3)] {
            assert!((steep.at(place.0, place.1).unwrap() - expected).abs() < 1e-3);
        }
        // 3 · √(0.1² + 1²).
        let mut spread = ramp(0.0);
        spread.spread = Some(Frame::new(Array2::from_elem((5, 6), 1.0)).unwrap());
        let wide = tolerance(&spread, noise, 0.2, &criteria).unwrap();
        assert!((wide.at(1, 1).unwrap() - 3.0 * 1.01_f32.sqrt()).abs() < 1e-4);
    }
}
