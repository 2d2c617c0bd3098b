//! The coarse search: where a picture lies when nothing is known, by the Fourier transform.
//!
//! The magnitude of a picture's spectrum does not see a shift, turns with the picture and shrinks as it
//! grows; over the angle and the logarithm of the radius both become shifts (Fourier–Mellin). With turn
//! and scale undone, the phase of the cross spectrum gives the shift (phase correlation). Every step
//! hands on several candidates: the photometric fit judges them.
//!
//! # Source
//! C. D. Kuglin, D. C. Hines, *The phase correlation image alignment method*, Proc. IEEE Int. Conf.
//! Cybernetics and Society (1975); B. S. Reddy, B. N. Chatterji, *An FFT-based technique for translation,
//! rotation, and scale-invariant image registration*, IEEE Trans. Image Processing 5(8) (1996).

use nalgebra::Matrix3;
use rustfft::num_complex::Complex32;
use rustfft::{FftDirection, FftPlanner};

use crate::frame::{Difference, Frame};
use crate::quantile::quantile;

/// The largest turn and the largest change of scale searched for, with a little beyond so that a peak at
/// the stated ±10° and ±15 % is a peak.
const LARGEST_TURN_DEGREES: f64 = 12.0;
const LARGEST_SCALE: f64 = 1.2;
/// Angles over half a turn, and radii, of the log-polar spectrum.
const ANGLES: usize = 180;
const RADII: usize = 96;

/// A turn (radians) and a scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TurnAndScale {
    pub(super) turn: f64,
    pub(super) scale: f64,
}

/// A square complex spectrum.
pub(super) struct Spectrum {
    side: usize,
    values: Vec<Complex32>,
}

impl Spectrum {
    /// The spectrum of `detail`, windowed toward its edges, invalid pixels as zero, zero-padded to a
    /// square of `side` pixels. Stored transposed.
    pub(super) fn new(detail: &Frame<Difference>, side: usize) -> Self {
        let (rows, columns) = detail.shape();
        // Limits what one hot part can do to the whole spectrum.
        let mut sizes: Vec<f32> = detail.as_slice().iter().filter(|v| !v.is_nan()).map(|v| v.abs()).collect();
        let most = quantile(&mut sizes, 0.97).unwrap_or(0.0);
        let (across, down) = (window(columns), window(rows));
        let mut values = vec![Complex32::default(); side * side];
        for ((line, source), down) in
            values.chunks_exact_mut(side).zip(detail.as_slice().chunks_exact(columns)).zip(&down)
        {
            for ((value, detail), across) in line.iter_mut().zip(source).zip(&across) {
                if !detail.is_nan() {
                    value.re = detail.clamp(-most, most) * across * down;
                }
            }
        }
        transform(&mut values, side, FftDirection::Forward);
        Self { side, values }
    }

    /// The places where `self` correlates best with `moving` by phase alone: shifts (x, y) that lead from
    /// this picture's pixels to the moving picture's, best first.
    pub(super) fn shifts_to(&self, moving: &Self, count: usize) -> Vec<[f64; 2]> {
        let side = self.side;
        let mut cross: Vec<Complex32> = (self.values.iter().zip(&moving.values))
            .map(|(reference, moving)| {
                let product = reference.conj() * moving;
                // Whitened by half: full whitening lifts noise where a thermal picture holds nothing.
                product / product.norm().sqrt().max(1e-12)
            })
            .collect();
        transform(&mut cross, side, FftDirection::Inverse);
        let mut surface: Vec<f32> = cross.iter().map(|value| value.re).collect();
        let mut shifts = Vec::with_capacity(count);
        for _ in 0..count {
            let best = surface.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(at, _)| at);
            let (row, column) = (best / side, best % side);
            shifts.push([signed(column, side), signed(row, side)]);
            // Leave the neighbourhood of this peak out of the next search.
            for dy in 0..7 {
                for dx in 0..7 {
                    let (y, x) = ((row + side + dy - 3) % side, (column + side + dx - 3) % side);
                    surface[y * side + x] = f32::NEG_INFINITY;
                }
            }
        }
        shifts
    }

    /// The spectrum's magnitude over angle (rows) and logarithm of the radius, each radius about its mean.
    fn log_polar(&self) -> Vec<f32> {
        let side = self.side as f64;
        let magnitude = |fx: f64, fy: f64| {
            // Transposed storage: rows run along x.
            let wrap = |f: f64| f.rem_euclid(side);
            let (x, y) = (wrap(fx), wrap(fy));
            let (x0, y0) = (x.floor(), y.floor());
            let (tx, ty) = ((x - x0) as f32, (y - y0) as f32);
            let at = |x: f64, y: f64| {
                self.values[(x as usize % self.side) * self.side + y as usize % self.side].norm()
            };
            let upper = at(x0, y0) * (1.0 - tx) + at(x0 + 1.0, y0) * tx;
            let lower = at(x0, y0 + 1.0) * (1.0 - tx) + at(x0 + 1.0, y0 + 1.0) * tx;
            (upper * (1.0 - ty) + lower * ty).sqrt()
        };
        let mut polar = vec![0.0_f32; ANGLES * RADII];
        for radius in 0..RADII {
            let r = log_radius(self.side, radius as f64);
            let mut mean = 0.0;
            for angle in 0..ANGLES {
                let (sin, cos) = (std::f64::consts::PI * angle as f64 / ANGLES as f64).sin_cos();
                let value = magnitude(r * cos, r * sin);
                polar[angle * RADII + radius] = value;
                mean += value / ANGLES as f32;
            }
            for angle in 0..ANGLES {
                polar[angle * RADII + radius] -= mean;
            }
        }
        polar
    }

    /// The turns and scales under which this picture's spectrum looks most like `moving`'s: from this
    /// picture to the moving one, best first.
    pub(super) fn turns_and_scales_to(&self, moving: &Self, count: usize) -> Vec<TurnAndScale> {
        let (reference, moving) = (self.log_polar(), moving.log_polar());
        let per_radius = (log_radius(self.side, 1.0) / log_radius(self.side, 0.0)).ln();
        let per_angle = std::f64::consts::PI / ANGLES as f64;
        let turns = (LARGEST_TURN_DEGREES.to_radians() / per_angle).ceil() as isize;
        let scales = (LARGEST_SCALE.ln() / per_radius).ceil() as isize;
        let width = (2 * scales + 1) as usize;
        let mut surface = Vec::with_capacity((2 * turns + 1) as usize * width);
        for turn in -turns..=turns {
            for scale in -scales..=scales {
                surface.push(polar_correlation(&reference, &moving, turn, scale));
            }
        }
        let mut found = Vec::with_capacity(count);
        for _ in 0..count {
            let best = surface.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(at, _)| at);
            let (row, column) = ((best / width) as isize, (best % width) as isize);
            found.push(TurnAndScale {
                turn: (row - turns) as f64 * per_angle,
                // A picture that grows has a spectrum that shrinks.
                scale: (-(column - scales) as f64 * per_radius).exp(),
            });
            for (at, value) in surface.iter_mut().enumerate() {
                let (y, x) = ((at / width) as isize, (at % width) as isize);
                if (y - row).abs() <= 2 && (x - column).abs() <= 2 {
                    *value = f32::NEG_INFINITY;
                }
            }
        }
        found
    }
}

/// The radius of a log-polar column, in steps of the spectrum.
fn log_radius(side: usize, column: f64) -> f64 {
    let (least, most) = (0.03 * side as f64, 0.40 * side as f64);
    least * (most / least).powf(column / (RADII - 1) as f64)
}

/// Correlation of two log-polar spectra, the second read `turn` rows (around) and `scale` columns on.
fn polar_correlation(reference: &[f32], moving: &[f32], turn: isize, scale: isize) -> f32 {
    let (from, to) = (scale.max(0) as usize, (-scale).max(0) as usize);
    let overlap = RADII - from - to;
    let (mut aa, mut ab, mut bb) = (0.0_f32, 0.0_f32, 0.0_f32);
    for angle in 0..ANGLES {
        let other = (angle as isize + turn).rem_euclid(ANGLES as isize) as usize;
        let reference = &reference[angle * RADII + to..angle * RADII + to + overlap];
        let moving = &moving[other * RADII + from..other * RADII + from + overlap];
        for (a, b) in reference.iter().zip(moving) {
            aa += a * a;
            ab += a * b;
            bb += b * b;
        }
    }
    ab / (aa * bb).sqrt().max(1e-20)
}

/// A map about the middle of a picture of `shape`: turn, scale, then shift.
pub(super) fn about_middle(
    TurnAndScale { turn, scale }: TurnAndScale,
    [x, y]: [f64; 2],
    shape: (usize, usize),
) -> Matrix3<f64> {
    let middle = [0.5 * (shape.1 as f64 - 1.0), 0.5 * (shape.0 as f64 - 1.0)];
    let (sin, cos) = turn.sin_cos();
    let (c, s) = (scale * cos, scale * sin);
    Matrix3::new(
        c,
        -s,
        middle[0] + x - c * middle[0] + s * middle[1],
        s,
        c,
        middle[1] + y - s * middle[0] - c * middle[1],
        0.0,
        0.0,
        1.0,
    )
}

/// The side of the square that holds a picture of `shape` with room to shift.
pub(super) fn side_for(shape: (usize, usize)) -> usize {
    (shape.0.max(shape.1) * 5 / 4).next_power_of_two()
}

fn signed(index: usize, side: usize) -> f64 {
    if index > side / 2 { index as f64 - side as f64 } else { index as f64 }
}

/// Rises over an eighth of the length at either end, by half a cosine.
fn window(length: usize) -> Vec<f32> {
    let ramp = (length as f32 / 8.0).max(1.0);
    (0..length)
        .map(|i| {
            let share = ((i.min(length - 1 - i) as f32 + 0.5) / ramp).min(1.0);
            0.5 - 0.5 * (std::f32::consts::PI * share).cos()
        })
        .collect()
}

/// The two-dimensional transform of a square, transposed; the inverse of a transposed spectrum is upright again.
fn transform(values: &mut [Complex32], side: usize, direction: FftDirection) {
    let plan = FftPlanner::new().plan_fft(side, direction);
    plan.process(values);
    transpose(values, side);
    plan.process(values);
}

fn transpose(values: &mut [Complex32], side: usize) {
    for row in 0..side {
        for column in row + 1..side {
            values.swap(row * side + column, column * side + row);
        }
    }
}
