//! Resampling a picture under a projective map, by cubic interpolation that respects invalid pixels.
//!
//! # Source
//! R. G. Keys, *Cubic convolution interpolation for digital image processing*, IEEE Transactions on
//! Acoustics, Speech, and Signal Processing 29(6) (1981), kernel with a = −1/2 (the one that reproduces
//! parabolas).

use ndarray::Array2;

use crate::frame::Frame;
use crate::geometry::{Homography, Point};

/// `frame` as seen from the target's pixels: `map` leads from the frame's pixels to the target's.
///
/// A target pixel whose nearest source pixel is outside the frame or invalid is invalid. Where only a
/// neighbour is missing, the four nearest pixels that are there are weighed by their distance instead, so
/// neither an invalid pixel nor the frame's edge bleeds or rings.
///
/// # Shape
/// Any in, `shape` out.
#[must_use]
pub fn warp<A, B, Q>(frame: &Frame<Q>, map: &Homography<A, B>, shape: (usize, usize)) -> Frame<Q> {
    let source = Source::new(frame.as_slice(), frame.shape());
    let (rows, columns) = (shape.0.max(1), shape.1.max(1));
    let back = map.inverse();
    let m = back.matrix();
    // Only points on the frame's own side of the map's horizon are seen.
    let (frame_rows, frame_columns) = frame.shape();
    let middle = map.apply(Point::new(frame_columns as f64 * 0.5, frame_rows as f64 * 0.5));
    let side = (m[(2, 0)] * middle.x + m[(2, 1)] * middle.y + m[(2, 2)]).signum();

    let mut values = Array2::zeros((rows, columns));
    let mut places = vec![[0_i32; 2]; columns];
    for (row, mut line) in values.rows_mut().into_iter().enumerate() {
        let y = row as f64;
        let from_row = [0, 1, 2].map(|i| side * (m[(i, 1)] * y + m[(i, 2)]));
        let per_column = [0, 1, 2].map(|i| side * m[(i, 0)]);
        // Two loops, so that the divisions go several at a time.
        for (column, place) in places.iter_mut().enumerate() {
            let x = column as f64;
            let depth = from_row[2] + per_column[2] * x;
            let scale = STEPS / depth;
            let [x, y] = [0, 1].map(|i| whole_steps((from_row[i] + per_column[i] * x) * scale));
            *place = if depth > 0.0 { [x, y] } else { OUTSIDE };
        }
        for (value, &place) in line.iter_mut().zip(&places) {
            *value = source.at_steps(place);
        }
    }
    // Never empty: there is at least one row and one column.
    Frame::new(values).unwrap_or_else(|_| frame.clone())
}

/// A row-major picture to be read between its pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Source<'a> {
    values: &'a [f32],
    rows: usize,
    columns: usize,
    /// So many columns and rows, from the second on, have their whole 4 × 4 neighbourhood inside.
    columns_inside: usize,
    rows_inside: usize,
}

impl<'a> Source<'a> {
    pub(super) fn new(values: &'a [f32], (rows, columns): (usize, usize)) -> Self {
        let (rows_inside, columns_inside) = (rows.saturating_sub(3), columns.saturating_sub(3));
        Self { values, rows, columns, columns_inside, rows_inside }
    }

    /// The value at (x, y), NaN where the nearest pixel is missing.
    #[inline]
    pub(super) fn at(&self, x: f64, y: f64) -> f32 {
        let seen = x.is_finite() && y.is_finite();
        self.at_steps(if seen { [x, y].map(|along| (along * STEPS + 0.5).floor() as i32) } else { OUTSIDE })
    }

    /// The same at a place in steps: whole pixels and the step between them in one number.
    #[inline]
    fn at_steps(&self, [x_steps, y_steps]: [i32; 2]) -> f32 {
        let (column, row) = ((x_steps >> STEP_BITS) as usize, (y_steps >> STEP_BITS) as usize);
        // A negative number wraps to a large one.
        if column.wrapping_sub(1) < self.columns_inside && row.wrapping_sub(1) < self.rows_inside {
            let across = &CUBIC_WEIGHTS[(x_steps & STEP_MASK) as usize];
            let down = &CUBIC_WEIGHTS[(y_steps & STEP_MASK) as usize];
            let start = (row - 1) * self.columns + column - 1;
            let mut sums = [0.0_f32; 4];
            for (line, weight) in down.iter().enumerate() {
                let taps =
                    self.values.get(start + line * self.columns..).and_then(|rest| rest.first_chunk::<4>());
                for (sum, tap) in sums.iter_mut().zip(taps.unwrap_or(&[0.0; 4])) {
                    *sum += weight * tap;
                }
            }
            let value =
                (sums[0] * across[0] + sums[2] * across[2]) + (sums[1] * across[1] + sums[3] * across[3]);
            // An invalid tap makes the sum NaN whatever its weight.
            if !value.is_nan() {
                return value;
            }
        }
        // Most of what is left lies outside.
        let nearest = |steps: i32| (steps.wrapping_add(HALF_STEPS) >> STEP_BITS) as usize;
        if nearest(x_steps) >= self.columns || nearest(y_steps) >= self.rows {
            return f32::NAN;
        }
        self.at_gap([x_steps, y_steps].map(|steps| f64::from(steps) / STEPS))
    }

    /// The same beside a missing pixel: bilinear over the pixels that are there.
    #[cold]
    #[inline(never)]
    fn at_gap(&self, [x, y]: [f64; 2]) -> f32 {
        let pixel = |column: f64, row: f64| {
            let inside =
                column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
            if inside { self.values[row as usize * self.columns + column as usize] } else { f32::NAN }
        };
        if pixel((x + 0.5).floor(), (y + 0.5).floor()).is_nan() {
            return f32::NAN;
        }
        let (left, top) = (x.floor(), y.floor());
        let (right_share, lower_share) = ((x - left) as f32, (y - top) as f32);
        let (mut sum, mut weights) = (0.0, 0.0);
        for (dy, down) in [(0.0, 1.0 - lower_share), (1.0, lower_share)] {
            for (dx, across) in [(0.0, 1.0 - right_share), (1.0, right_share)] {
                let value = pixel(left + dx, top + dy);
                if !value.is_nan() {
                    sum += down * across * value;
                    weights += down * across;
                }
            }
        }
        sum / weights
    }
}

/// Steps rounded to the nearest whole number, cut off far outside of any picture.
///
/// In a float of this size the last bit counts ones, so the sum's low half is the number. A cast would round
/// towards zero and check its range one number at a time.
#[inline]
#[expect(clippy::manual_clamp, reason = "clamp would keep a NaN, which then looked like the first pixel")]
fn whole_steps(steps: f64) -> i32 {
    const ONES: f64 = (1_u64 << 52) as f64 + (1_u64 << 51) as f64;
    const FAR: f64 = (1 << 30) as f64;
    (steps.max(-FAR).min(FAR) + ONES).to_bits() as i32
}

/// Places between two pixels are rounded to this many steps: half a thousandth of a pixel at most.
const STEP_BITS: u32 = 10;
const STEPS: f64 = (1 << STEP_BITS) as f64;
const HALF_STEPS: i32 = 1 << (STEP_BITS - 1);
/// A place outside any picture.
const OUTSIDE: [i32; 2] = [i32::MIN; 2];
const STEP_MASK: i32 = (1 << STEP_BITS) - 1;

/// Keys' kernel with a = −1/2 at the distances 1 + t, t, 1 − t and 2 − t, for every step t.
static CUBIC_WEIGHTS: [[f32; 4]; 1 << STEP_BITS] = {
    let mut table = [[0.0; 4]; 1 << STEP_BITS];
    let mut step = 0;
    while step < table.len() {
        let t = step as f32 / STEPS as f32;
        let (t2, t3) = (t * t, t * t * t);
        table[step] =
            [t2 - 0.5 * (t3 + t), 1.5 * t3 - 2.5 * t2 + 1.0, 2.0 * t2 + 0.5 * t - 1.5 * t3, 0.5 * (t3 - t2)];
        step += 1;
    }
    table
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::ApparentKelvin;
    use crate::geometry::{BaselinePixels, UnitPixels};

    type Map = Homography<UnitPixels, BaselinePixels>;

    fn shift(x: f64, y: f64) -> Map {
        Map::try_from([1.0, 0.0, x, 0.0, 1.0, y, 0.0, 0.0, 1.0]).unwrap()
    }

    fn frame(rows: usize, columns: usize, f: impl Fn(usize, usize) -> f32) -> Frame<ApparentKelvin> {
        Frame::new(Array2::from_shape_fn((rows, columns), |(row, column)| f(row, column))).unwrap()
    }

    #[test]
    fn the_identity_leaves_every_pixel_as_it_was() {
        let picture =
            frame(7, 9, |row, column| if (row, column) == (3, 4) { f32::NAN } else { (row * column) as f32 });
        assert_eq!(warp(&picture, &Map::identity(), (7, 9)), picture);
    }

    #[test]
    fn a_parabola_is_reproduced() {
        // Keys 1981: third-order convergence, exact for second-degree polynomials.
        let f = |x: f64, y: f64| 300.0 + 0.3 * x - 0.2 * y + 0.05 * x * x - 0.04 * x * y + 0.02 * y * y;
        let picture = frame(20, 20, |row, column| f(column as f64, row as f64) as f32);
        let moved = warp(&picture, &shift(0.3, -0.4), (20, 20));
        for row in 2..16 {
            for column in 3..17 {
                let expected = f(column as f64 - 0.3, row as f64 + 0.4);
                assert!((f64::from(moved.at(row, column).unwrap()) - expected).abs() < 2e-4);
            }
        }
    }

    #[test]
    fn outside_is_invalid() {
        let moved = warp(&frame(6, 6, |_, _| 300.0), &shift(2.0, 0.0), (6, 8));
        assert_eq!(moved.at(3, 1), None);
        assert_eq!(moved.at(3, 2), Some(300.0));
        assert_eq!(moved.at(3, 7), Some(300.0));
    }

    #[test]
    fn behind_the_horizon_is_invalid() {
        // Depth 1 − x/10 of the target point changes its sign at x = 10.
        let map = Homography::<BaselinePixels, UnitPixels>::try_from([
            1.0, 0.0, 0.0, 0.0, 1.0, 0.0, -0.1, 0.0, 1.0,
        ])
        .unwrap()
        .inverse();
        let seen = warp(&frame(200, 4, |_, _| 300.0), &map, (200, 60));
        assert_eq!(seen.at(50, 2), Some(300.0));
        assert!((11..60).all(|column| seen.at(50, column).is_none()));
    }

    #[test]
    fn an_invalid_pixel_neither_bleeds_nor_rings() {
        let picture = frame(12, 12, |row, column| match (row, column) {
            (5, 5) => f32::NAN,
            _ if column > 5 => 350.0,
            _ => 300.0,
        });
        let moved = warp(&picture, &shift(0.25, 0.25), (12, 12));
        for row in 4..=7 {
            for column in 4..=7 {
                match moved.at(row, column) {
                    None => assert_eq!((row, column), (5, 5)),
                    Some(value) => {
                        assert!((300.0..=350.0).contains(&value) || column != 5, "{row} {column} {value}")
                    }
                }
            }
        }
    }
}
