//! How steep a picture is at each pixel.

use ndarray::{Array2, ArrayView2};

/// |∇T|², K² per pixel²: central differences, one-sided beside an invalid pixel or the border, zero
/// where no neighbor along an axis is valid.
#[must_use]
pub fn slope_squared(values: ArrayView2<'_, f32>) -> Array2<f32> {
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

    #[test]
    fn a_plane_is_equally_steep_everywhere_also_beside_an_invalid_pixel_and_at_the_border() {
        // 3 K a column and 4 K a row: 25 K² per pixel².
        let mut plane = Array2::from_shape_fn((5, 6), |(row, column)| 3.0 * column as f32 + 4.0 * row as f32);
        plane[(2, 2)] = f32::NAN;
        let steep = slope_squared(plane.view());
        assert!(steep.iter().all(|value| (value - 25.0).abs() < 1e-4), "{steep}");
    }
}
