//! Gaussian smoothing and halving of pictures with invalid pixels.
//!
//! A pixel's smoothed value is the weighted mean of the valid pixels around it, so the smoothed picture
//! neither darkens toward the edge nor lets an invalid pixel spread; an invalid pixel stays invalid.

use ndarray::Array2;

use crate::frame::Frame;

/// Where the Gaussian is cut off, in standard deviations.
const REACH: f32 = 2.7;

/// `frame` smoothed by a Gaussian of standard deviation `sigma` pixels.
///
/// # Domain
/// A `sigma` that is not above 0.1 pixel leaves the frame as it is.
#[must_use]
pub fn gaussian_blur<Q>(frame: &Frame<Q>, sigma: f32) -> Frame<Q> {
    if sigma.is_nan() || sigma <= 0.1 {
        return frame.clone();
    }
    let half = gaussian_half(sigma);
    let (rows, columns) = frame.shape();
    let invalid = frame.as_slice().iter().any(|v| v.is_nan());
    let mut smoothed: Vec<f32> = if invalid {
        frame.as_slice().iter().map(|v| if v.is_nan() { 0.0 } else { *v }).collect()
    } else {
        frame.as_slice().to_vec()
    };
    convolve(&mut smoothed, columns, &half);
    if invalid {
        let mut shares: Vec<f32> =
            frame.as_slice().iter().map(|v| if v.is_nan() { 0.0 } else { 1.0 }).collect();
        convolve(&mut shares, columns, &half);
        for ((value, share), original) in smoothed.iter_mut().zip(&shares).zip(frame.as_slice()) {
            *value = if original.is_nan() { f32::NAN } else { *value / share };
        }
    } else {
        // Without gaps the share of the kernel inside the picture is a product of two one-dimensional ones.
        let (across, down) = (shares_inside(columns, &half), shares_inside(rows, &half));
        for (line, down) in smoothed.chunks_exact_mut(columns).zip(&down) {
            for (value, across) in line.iter_mut().zip(&across) {
                *value *= across * down;
            }
        }
    }
    framed(rows, columns, smoothed).unwrap_or_else(|| frame.clone())
}

/// Every second pixel of every second row, smoothed first so that nothing aliases: pixel (x, y) of the
/// result lies at (2x, 2y) of `frame`. A halved pixel is valid where a valid pixel lies near.
///
/// # Shape
/// `(rows, columns)` to half of each, rounded up.
#[must_use]
pub fn halve<Q>(frame: &Frame<Q>) -> Frame<Q> {
    // The binomial kernel 1 4 6 4 1, a Gaussian of one pixel.
    const TAPS: [(isize, f32); 5] = [(-2, 1.0), (-1, 4.0), (0, 6.0), (1, 4.0), (2, 1.0)];
    let (rows, columns) = frame.shape();
    let (half_rows, half_columns) = (rows.div_ceil(2), columns.div_ceil(2));
    let source = frame.as_slice();
    let mut values = vec![f32::NAN; half_rows * half_columns];
    let mut column_sums = vec![0.0_f32; columns];
    let mut column_weights = vec![0.0_f32; columns];
    for (half_row, line) in values.chunks_exact_mut(half_columns).enumerate() {
        column_sums.fill(0.0);
        column_weights.fill(0.0);
        for (offset, weight) in TAPS {
            let Some(row) = (2 * half_row).checked_add_signed(offset).filter(|row| *row < rows) else {
                continue;
            };
            let tap_row = &source[row * columns..(row + 1) * columns];
            for ((sum, total), value) in column_sums.iter_mut().zip(&mut column_weights).zip(tap_row) {
                let weight = if value.is_nan() { 0.0 } else { weight };
                *sum += if value.is_nan() { 0.0 } else { weight * value };
                *total += weight;
            }
        }
        for (half_column, value) in line.iter_mut().enumerate() {
            let (mut sum, mut total) = (0.0, 0.0);
            for (offset, weight) in TAPS {
                let Some(column) = (2 * half_column).checked_add_signed(offset).filter(|c| *c < columns)
                else {
                    continue;
                };
                sum += weight * column_sums[column];
                total += weight * column_weights[column];
            }
            // A quarter of the kernel's weight of 256 must rest on valid pixels.
            *value = if total >= 64.0 { sum / total } else { f32::NAN };
        }
    }
    framed(half_rows, half_columns, values).unwrap_or_else(|| frame.clone())
}

/// `None` never happens: the shape is that of a frame.
fn framed<Q>(rows: usize, columns: usize, values: Vec<f32>) -> Option<Frame<Q>> {
    Array2::from_shape_vec((rows, columns), values).ok().and_then(|values| Frame::new(values).ok())
}

/// Weights at distances 0, 1, 2 … from the middle; the whole kernel sums to 1.
fn gaussian_half(sigma: f32) -> Vec<f32> {
    let reach = (REACH * sigma).ceil() as usize;
    let mut half: Vec<f32> = (0..=reach).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let total = 2.0 * half.iter().sum::<f32>() - 1.0;
    half.iter_mut().for_each(|weight| *weight /= total);
    half
}

/// The reciprocal of the kernel's share that lies inside a line, for every place on it.
fn shares_inside(length: usize, half: &[f32]) -> Vec<f32> {
    let inside = |distance: usize, room: usize| if distance <= room { half[distance] } else { 0.0 };
    (0..length)
        .map(|place| {
            let before: f32 = (1..half.len()).map(|d| inside(d, place)).sum();
            let after: f32 = (1..half.len()).map(|d| inside(d, length - 1 - place)).sum();
            1.0 / (half[0] + before + after)
        })
        .collect()
}

/// Convolves rows, then columns, with a symmetric kernel; outside counts as zero.
fn convolve(values: &mut [f32], columns: usize, half: &[f32]) {
    let mut padded = vec![0.0_f32; columns + 2 * (half.len() - 1)];
    for line in values.chunks_exact_mut(columns) {
        padded[half.len() - 1..half.len() - 1 + columns].copy_from_slice(line);
        add_symmetric(line, half, |distance, before| {
            let start = if before { half.len() - 1 - distance } else { half.len() - 1 + distance };
            padded.get(start..start + columns)
        });
    }
    let original = values.to_vec();
    for (row, line) in values.chunks_exact_mut(columns).enumerate() {
        add_symmetric(line, half, |distance, before| {
            let row = if before { row.checked_sub(distance)? } else { row + distance };
            original.get(row * columns..(row + 1) * columns)
        });
    }
}

/// `line` = Σ over distances of the kernel's weight × the two lines at that distance.
fn add_symmetric<'a>(line: &mut [f32], half: &[f32], at: impl Fn(usize, bool) -> Option<&'a [f32]>) {
    line.iter_mut().for_each(|value| *value *= half[0]);
    for (distance, weight) in half.iter().enumerate().skip(1) {
        match (at(distance, true), at(distance, false)) {
            (Some(before), Some(after)) => {
                for ((value, before), after) in line.iter_mut().zip(before).zip(after) {
                    *value += weight * (before + after);
                }
            }
            (Some(only), None) | (None, Some(only)) => {
                for (value, only) in line.iter_mut().zip(only) {
                    *value += weight * only;
                }
            }
            (None, None) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::ApparentKelvin;

    fn frame(rows: usize, columns: usize, f: impl Fn(usize, usize) -> f32) -> Frame<ApparentKelvin> {
        Frame::new(Array2::from_shape_fn((rows, columns), |(row, column)| f(row, column))).unwrap()
    }

    #[test]
    fn an_even_picture_with_a_gap_stays_even_up_to_its_edge() {
        let even = frame(20, 30, |row, column| if (row, column) == (7, 0) { f32::NAN } else { 300.0 });
        for smoothed in [gaussian_blur(&even, 2.0), halve(&even)] {
            let (lo, hi) = smoothed.range().unwrap();
            assert!(hi - lo < 1e-3 && (lo - 300.0).abs() < 1e-3);
        }
        assert_eq!(gaussian_blur(&even, 2.0).count_valid(), 599);
    }

    #[test]
    fn a_point_becomes_the_gaussian_itself() {
        let point = frame(41, 41, |row, column| if (row, column) == (20, 20) { 1000.0 } else { 0.0 });
        let smoothed = gaussian_blur(&point, 3.0);
        // 1 / (2π σ²) at the middle and exp(−r² / 2σ²) of it at distance r; the cut-off tail is below 1.5 %.
        let peak = 1000.0 / (2.0 * std::f32::consts::PI * 9.0);
        for (row, column) in [(20, 20), (20, 23), (24, 22)] {
            let r2 = ((row as f32 - 20.0).powi(2)) + ((column as f32 - 20.0).powi(2));
            let expected = peak * (-r2 / 18.0).exp();
            assert!((smoothed.at(row, column).unwrap() / expected - 1.0).abs() < 0.015);
        }
    }

    #[test]
    fn halving_keeps_a_ramp_in_place() {
        let ramp = frame(21, 31, |row, column| 2.0 * row as f32 + column as f32);
        let half = halve(&ramp);
        assert_eq!(half.shape(), (11, 16));
        assert!((half.at(5, 6).unwrap() - (20.0 + 12.0)).abs() < 1e-4);
    }
}
