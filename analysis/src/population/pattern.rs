//! What a baseline looks like when something on it lies elsewhere.
//!
//! The camera sees e·(T − T_reflected) above the reflected temperature, and the pattern that moves is
//! that one: the emissivities that a picture is corrected with stay where their map has them. A chip
//! whose bright end slips under the emissivity of its body reads cold there, although nothing cooled.
//! The ambient temperature stands for the reflected one.

use crate::frame::{EmissivityFraction, Frame, SurfaceKelvin};
use crate::units::Kelvin;

/// No emissivity is taken as lower: what is divided by it must stay finite.
const LEAST_EMISSIVITY: f32 = 0.02;

/// A baseline as it moves under the emissivities that it was corrected with.
#[derive(Debug, Clone)]
pub(super) struct Pattern {
    /// Change of the corrected picture per pixel that it moves left, K; 0 where it cannot be told.
    pub(super) x: Vec<f32>,
    /// The same up.
    pub(super) y: Vec<f32>,
    shape: (usize, usize),
    /// e·(T − T_ambient), K.
    apparent: Vec<f32>,
    emissivity: Vec<f32>,
}

impl Pattern {
    /// The pattern of `picture`; without `emissivity` that of a surface of one emissivity.
    ///
    /// `emissivity` has the picture's shape.
    pub(super) fn of(
        picture: &Frame<SurfaceKelvin>,
        emissivity: Option<&Frame<EmissivityFraction>>,
        ambient: Kelvin,
    ) -> Self {
        let (rows, columns) = picture.shape();
        let known = |e: &f32| if e.is_nan() { 1.0 } else { e.max(LEAST_EMISSIVITY) };
        let emissivity: Vec<f32> = emissivity
            .map_or_else(|| vec![1.0; rows * columns], |map| map.as_slice().iter().map(known).collect());
        let ambient = ambient.value() as f32;
        let apparent: Vec<f32> =
            picture.as_slice().iter().zip(&emissivity).map(|(t, e)| e * (t - ambient)).collect();
        let central = |before: f32, after: f32, e: f32| {
            let slope = (after - before) / (2.0 * e);
            if slope.is_nan() { 0.0 } else { slope }
        };
        let (mut x, mut y) = (vec![0.0; rows * columns], vec![0.0; rows * columns]);
        for row in 0..rows {
            for column in 0..columns {
                let at = row * columns + column;
                if column > 0 && column + 1 < columns {
                    x[at] = central(apparent[at - 1], apparent[at + 1], emissivity[at]);
                }
                if row > 0 && row + 1 < rows {
                    y[at] = central(apparent[at - columns], apparent[at + columns], emissivity[at]);
                }
            }
        }
        Self { x, y, shape: (rows, columns), apparent, emissivity }
    }

    /// A pixel's place, (x, y).
    pub(super) fn place(&self, pixel: usize) -> [f64; 2] {
        [(pixel % self.shape.1) as f64, (pixel / self.shape.1) as f64]
    }

    /// How the corrected picture changes at a pixel when what lies there moves by `shift` pixels, K.
    ///
    /// By cubic convolution (R. G. Keys, IEEE Trans. Acoust. Speech Signal Process. 29 (1981) 1153–1160,
    /// a = −½; named from memory); by the slope beside the border and beside invalid pixels.
    pub(super) fn moved(&self, pixel: usize, shift: [f64; 2]) -> f32 {
        let change = self.sample(pixel, shift) - self.apparent[pixel];
        if change.is_nan() {
            let [x, y] = shift.map(|s| s as f32);
            return -(self.x[pixel] * x + self.y[pixel] * y);
        }
        change / self.emissivity[pixel]
    }

    fn sample(&self, pixel: usize, shift: [f64; 2]) -> f32 {
        let (rows, columns) = self.shape;
        let whole = shift.map(|s| (-s).floor());
        let first = |place: usize, whole: f64, count: usize| {
            place.checked_add_signed(whole as isize - 1).filter(|first| first + 4 <= count)
        };
        let column = first(pixel % columns, whole[0], columns);
        let row = first(pixel / columns, whole[1], rows);
        let (Some(column), Some(row)) = (column, row) else { return f32::NAN };
        let [across, down] = [0, 1].map(|axis| keys((-shift[axis] - whole[axis]) as f32));
        down.iter()
            .enumerate()
            .map(|(line, weight)| {
                let start = (row + line) * columns + column;
                let four = &self.apparent[start..start + 4];
                weight * across.iter().zip(four).map(|(weight, value)| weight * value).sum::<f32>()
            })
            .sum()
    }
}

/// The weights of four neighbours for a place this far from the second to the third.
fn keys(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [-0.5 * t + t2 - 0.5 * t3, 1.0 - 2.5 * t2 + 1.5 * t3, 0.5 * t + 2.0 * t2 - 1.5 * t3, -0.5 * t2 + 0.5 * t3]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A warm strip of emissivity 0.2 on a board of 0.9, its middle at `x`, as the camera sees it through
    /// optics that blur: e·(T − T_ambient).
    fn apparent(x: f64) -> Vec<f32> {
        let soft = |from: f64| 1.0 / (1.0 + (from / 1.2).exp());
        (0..30 * 30)
            .map(|pixel| {
                let metal = soft((f64::from(pixel % 30) - x).abs() - 4.0);
                (20.0 * (0.9 - 0.7 * metal)) as f32
            })
            .collect()
    }

    #[test]
    fn a_bright_end_that_slips_reads_cold_under_the_emissivity_that_stays() {
        let emissivity: Vec<f32> =
            (0..900).map(|pixel: i32| if (pixel % 30 - 14).abs() <= 4 { 0.2 } else { 0.9 }).collect();
        let corrected = |x: f64| -> Vec<f32> {
            let ambient = Kelvin::ROOM.value() as f32;
            apparent(x).iter().zip(&emissivity).map(|(seen, e)| ambient + seen / e).collect()
        };
        let (before, after) = (corrected(14.0), corrected(14.8));
        let map = Frame::<EmissivityFraction>::from_rows(30, 30, emissivity.clone()).unwrap();
        let picture = Frame::from_rows(30, 30, before.clone()).unwrap();
        let pattern = Pattern::of(&picture, Some(&map), Kelvin::ROOM);
        let mut largest = 0.0_f32;
        for pixel in
            (0..900).filter(|pixel| (3..27).contains(&(pixel % 30)) && (3..27).contains(&(pixel / 30)))
        {
            let exact = after[pixel] - before[pixel];
            largest = largest.max(exact.abs());
            let found = pattern.moved(pixel, [0.8, 0.0]);
            // Cubic convolution is exact to the third order of a step over 1.2 pixels of softness.
            assert!((found - exact).abs() < 0.4, "{pixel}: {found} K, exact {exact} K");
        }
        assert!(largest > 5.0, "{largest}");
        // At the border only the slope is left: still the right sign.
        assert!(pattern.moved(15 * 30 + 19, [0.8, 0.0]) < -1.0);
    }
}
