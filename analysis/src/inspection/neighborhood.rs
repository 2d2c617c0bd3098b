//! Means over square neighborhoods that skip invalid pixels.

use ndarray::{Array2, ArrayView2, Axis};

/// The mean of the valid pixels within `radius` rows and columns of each pixel.
///
/// Shape: as given. A pixel with no valid neighbor is NaN; an invalid pixel among valid ones gets
/// their mean, so a stuck pixel leaves no hole. At the border the neighborhood is cut off.
///
/// Running sums make the cost independent of the radius; they are `f64`, because a sum from which a
/// large value was subtracted again would keep the rounding of that value in `f32`.
#[must_use]
pub(crate) fn mean_of_valid(values: ArrayView2<'_, f32>, radius: usize) -> Array2<f32> {
    let (rows, columns) = values.dim();
    let mut mean = Array2::from_elem((rows, columns), f32::NAN);
    let mut sums = vec![Sum::default(); columns];
    for row in 0..radius.min(rows) {
        sums.iter_mut().zip(values.index_axis(Axis(0), row)).for_each(|(sum, &value)| sum.add(value));
    }
    for (row, mut line) in mean.outer_iter_mut().enumerate() {
        if row + radius < rows {
            let entering = values.index_axis(Axis(0), row + radius);
            sums.iter_mut().zip(entering).for_each(|(sum, &value)| sum.add(value));
        }
        if row > radius {
            let leaving = values.index_axis(Axis(0), row - radius - 1);
            sums.iter_mut().zip(leaving).for_each(|(sum, &value)| sum.remove(value));
        }
        let mut window = Sum::default();
        sums.iter().take(radius).for_each(|sum| window.merge(*sum));
        let entering = sums.iter().skip(radius).map(Some).chain(std::iter::repeat(None));
        let leaving = std::iter::repeat_n(None, radius + 1).chain(sums.iter().map(Some));
        for ((mean, entering), leaving) in line.iter_mut().zip(entering).zip(leaving) {
            if let Some(sum) = entering {
                window.merge(*sum);
            }
            if let Some(sum) = leaving {
                window.part(*sum);
            }
            if window.count > 0.0 {
                *mean = (window.total / window.count) as f32;
            }
        }
    }
    mean
}

/// The sum of some valid pixels and how many they were.
#[derive(Clone, Copy, Default)]
struct Sum {
    total: f64,
    count: f64,
}

impl Sum {
    fn add(&mut self, value: f32) {
        let valid = !value.is_nan();
        self.total += if valid { f64::from(value) } else { 0.0 };
        self.count += if valid { 1.0 } else { 0.0 };
    }

    fn remove(&mut self, value: f32) {
        let valid = !value.is_nan();
        self.total -= if valid { f64::from(value) } else { 0.0 };
        self.count -= if valid { 1.0 } else { 0.0 };
    }

    fn merge(&mut self, other: Self) {
        self.total += other.total;
        self.count += other.count;
    }

    fn part(&mut self, other: Self) {
        self.total -= other.total;
        self.count -= other.count;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, pixel by pixel.
    fn naive(values: &Array2<f32>, radius: usize) -> Array2<f32> {
        let (rows, columns) = values.dim();
        Array2::from_shape_fn((rows, columns), |(row, column)| {
            let near = |at: usize, end: usize| at.saturating_sub(radius)..(at + radius + 1).min(end);
            let valid: Vec<f32> = near(row, rows)
                .flat_map(|row| near(column, columns).map(move |column| values[(row, column)]))
                .filter(|v| !v.is_nan())
                .collect();
            valid.iter().sum::<f32>() / valid.len() as f32
        })
    }

    #[test]
    fn running_sums_agree_with_the_definition_and_skip_invalid_pixels() {
        for (rows, columns, radius) in [(7, 9, 1), (3, 2, 4), (12, 11, 3), (1, 1, 1), (5, 1, 2)] {
            let values = Array2::from_shape_fn((rows, columns), |(row, column)| {
                if (row * 5 + column * 3) % 7 == 0 { f32::NAN } else { (row * 10 + column * column) as f32 }
            });
            let fast = mean_of_valid(values.view(), radius);
            for (fast, slow) in fast.iter().zip(&naive(&values, radius)) {
                assert!((fast.is_nan() && slow.is_nan()) || (fast - slow).abs() < 1e-4, "{fast} {slow}");
            }
        }
    }
}
