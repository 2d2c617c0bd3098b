//! Means over square neighborhoods that skip invalid pixels.

use crate::frame::Frame;

/// The mean of the valid pixels within `radius` rows and columns of each pixel.
///
/// Row by row, as many as given. A pixel with no valid neighbor is NaN; an invalid pixel among valid ones gets
/// their mean, so a stuck pixel leaves no hole. At the border the neighborhood is cut off.
///
/// Running sums make the cost independent of the radius; they are `f64`, because a sum from which a
/// large value was subtracted again would keep the rounding of that value in `f32`.
#[must_use]
pub(super) fn mean_of_valid<Q>(frame: &Frame<Q>, radius: usize) -> Vec<f32> {
    let (rows, columns) = frame.shape();
    let values = frame.as_slice();
    let mut mean = vec![f32::NAN; rows * columns];
    // Sums over the rows of the window, one per column, with zeros to both sides so that a window
    // that reaches over the border needs no care.
    let mut totals = vec![0.0_f64; columns + 2 * radius + 1];
    let mut counts = totals.clone();
    let inside = radius + 1..radius + 1 + columns;
    let enter = |totals: &mut [f64], counts: &mut [f64], row: usize, sign: f64| {
        let line = &values[row * columns..(row + 1) * columns];
        for ((total, count), &value) in totals.iter_mut().zip(counts).zip(line) {
            let valid = !value.is_nan();
            *total += if valid { sign * f64::from(value) } else { 0.0 };
            *count += if valid { sign } else { 0.0 };
        }
    };
    for row in 0..radius.min(rows) {
        enter(&mut totals[inside.clone()], &mut counts[inside.clone()], row, 1.0);
    }
    for (row, line) in mean.chunks_mut(columns).enumerate() {
        if row + radius < rows {
            enter(&mut totals[inside.clone()], &mut counts[inside.clone()], row + radius, 1.0);
        }
        if row > radius {
            enter(&mut totals[inside.clone()], &mut counts[inside.clone()], row - radius - 1, -1.0);
        }
        let start = radius + 1..2 * radius + 1;
        let mut total: f64 = totals[start.clone()].iter().sum();
        let mut count: f64 = counts[start.clone()].iter().sum();
        let entering = totals[start.end..].iter().zip(&counts[start.end..]);
        let leaving = totals.iter().zip(&counts);
        for ((mean, entering), leaving) in line.iter_mut().zip(entering).zip(leaving) {
            total += entering.0 - leaving.0;
            count += entering.1 - leaving.1;
            // Counts are whole numbers, exact in f64; nothing valid is 0 / 0 and must stay invalid
            // although the total keeps some rounding.
            *mean = if count > 0.0 { (total / count) as f32 } else { f32::NAN };
        }
    }
    mean
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::RawNumber;

    /// The definition, pixel by pixel.
    fn naive(frame: &Frame<RawNumber>, radius: usize) -> Vec<f32> {
        let (rows, columns) = frame.shape();
        let near = |at: usize, end: usize| at.saturating_sub(radius)..(at + radius + 1).min(end);
        let mean = |pixel: usize| {
            let valid: Vec<f32> = near(pixel / columns, rows)
                .flat_map(|row| {
                    near(pixel % columns, columns).filter_map(move |column| frame.at(row, column))
                })
                .collect();
            valid.iter().sum::<f32>() / valid.len() as f32
        };
        (0..rows * columns).map(mean).collect()
    }

    #[test]
    fn running_sums_agree_with_the_definition_and_skip_invalid_pixels() {
        for (rows, columns, radius) in [(7, 9, 1), (3, 2, 4), (12, 11, 3), (1, 1, 1), (5, 1, 2)] {
            let number =
                |pixel: usize| if pixel.is_multiple_of(7) { f32::NAN } else { (pixel * pixel % 101) as f32 };
            let numbers = (0..rows * columns).map(number).collect();
            let frame = Frame::<RawNumber>::from_rows(rows, columns, numbers).unwrap();
            for (fast, slow) in mean_of_valid(&frame, radius).iter().zip(&naive(&frame, radius)) {
                assert!((fast.is_nan() && slow.is_nan()) || (fast - slow).abs() < 1e-4, "{fast} {slow}");
            }
        }
    }
}
