//! A camera above a scene: perspective, optics, the measurement equation, noise and digits.

use nalgebra::{Matrix3, Rotation3};
use ndarray::Array2;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

use crate::capture::metadata::CapturePixels;
use crate::frame::{ApparentKelvin, EmissivityFraction, Frame, FrameError, RawNumber, SurfaceKelvin};
use crate::geometry::{BoardMillimeters, Degenerate, Homography, Point};
use crate::radiometry::{Band, BandTable};

use super::scene::Scene;

/// Where the camera is relative to the board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Lens to board, mm.
    pub distance_mm: f64,
    /// Tilt of the board about its horizontal axis, degrees: off the perpendicular, or the camera sees itself.
    pub tilt_x: f64,
    /// Tilt about its vertical axis, degrees.
    pub tilt_y: f64,
    /// Turn in the picture, degrees counter-clockwise.
    pub roll: f64,
    /// The board's centre, pixels from the picture's centre, x right and y down.
    pub shift: [f64; 2],
}

impl Default for Pose {
    fn default() -> Self {
        Self { distance_mm: 270.0, tilt_x: 8.0, tilt_y: 2.0, roll: 0.0, shift: [0.0; 2] }
    }
}

/// The camera: an uncooled one of common size.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Picture height, pixels.
    pub rows: usize,
    /// Picture width, pixels.
    pub columns: usize,
    /// Spectral band.
    pub band: Band,
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Standard deviation of the optics' Gaussian blur, pixels.
    pub blur_px: f64,
    /// The scene is looked up at this many points squared in each pixel.
    pub samples_per_side: u32,
    /// White noise, K: the noise equivalent temperature difference.
    pub netd: f64,
    /// Standard deviation of the pattern that stays from picture to picture, K; half of it by columns.
    pub fixed_pattern: f64,
    /// Standard deviation of a whole picture's offset, K.
    pub drift: f64,
    /// Pixels that always read the same, `[x, y]`.
    pub stuck_pixels: Vec<[u32; 2]>,
    /// The specimen: decides the fixed pattern.
    pub seed: u64,
}

/// Kelvin per count of the digitised picture.
pub const KELVIN_PER_COUNT: f64 = 0.01;

impl Default for Camera {
    fn default() -> Self {
        Self {
            rows: 480,
            columns: 640,
            band: Band::default(),
            focal_px: 1450.0,
            blur_px: 0.7,
            samples_per_side: 3,
            netd: 0.05,
            fixed_pattern: 0.02,
            drift: 0.05,
            stuck_pixels: vec![[101, 77], [388, 301], [389, 301], [530, 122], [215, 402]],
            seed: 41,
        }
    }
}

/// What the camera saw and what was there.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Apparent temperature after the optics, without noise.
    pub apparent_clean: Frame<ApparentKelvin>,
    /// Surface temperature at the pixels' centres.
    pub surface_truth: Frame<SurfaceKelvin>,
    /// Emissivity at the pixels' centres.
    pub emissivity_truth: Frame<EmissivityFraction>,
}

/// The surroundings as mirrored in the board: uniform, with a mild tilt across the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reflected {
    /// Apparent temperature in the middle of the picture, K.
    pub middle: f64,
    /// Change from left to right edge and from top to bottom edge, K.
    pub across: [f64; 2],
}

impl Camera {
    /// Board millimetres (y up, a board of `size`) to pixels, for a pinhole camera in `pose`.
    ///
    /// # Errors
    /// [`Degenerate`] for a pose that sees the board edge-on.
    pub fn board_to_pixels(
        &self,
        pose: &Pose,
        size: [f64; 2],
    ) -> Result<Homography<BoardMillimeters, CapturePixels>, Degenerate> {
        let centered = Matrix3::new(1.0, 0.0, -size[0] / 2.0, 0.0, -1.0, size[1] / 2.0, 0.0, 0.0, 1.0);
        let turn = Rotation3::from_euler_angles(
            pose.tilt_x.to_radians(),
            pose.tilt_y.to_radians(),
            -pose.roll.to_radians(),
        );
        let r = turn.matrix();
        let extrinsic = Matrix3::new(
            r[(0, 0)],
            r[(0, 1)],
            0.0,
            r[(1, 0)],
            r[(1, 1)],
            0.0,
            r[(2, 0)],
            r[(2, 1)],
            pose.distance_mm,
        );
        let middle_x = (self.columns as f64 - 1.0) / 2.0 + pose.shift[0];
        let middle_y = (self.rows as f64 - 1.0) / 2.0 + pose.shift[1];
        let intrinsic =
            Matrix3::new(self.focal_px, 0.0, middle_x, 0.0, self.focal_px, middle_y, 0.0, 0.0, 1.0);
        Homography::from_matrix(intrinsic * extrinsic * centered)
    }

    /// The scene as it arrives at the detector, and the truth behind it.
    ///
    /// Radiance of each sample: ε L(T) + (1 − ε) L(T reflected), the path clear; averaged over the
    /// pixel, blurred, and read back as the temperature of a black body.
    ///
    /// # Errors
    /// [`FrameError::Empty`] for a camera without pixels.
    pub fn look(
        &self,
        scene: &Scene<'_>,
        board_to_pixels: &Homography<BoardMillimeters, CapturePixels>,
        reflected: Reflected,
    ) -> Result<Picture, FrameError> {
        let table = BandTable::new(self.band);
        let to_board = board_to_pixels.inverse();
        let shape = (self.rows, self.columns);
        let (width, height) = (self.columns as f64, self.rows as f64);

        let mut radiance = Array2::<f32>::zeros(shape);
        let mut surface = Array2::<f32>::zeros(shape);
        let mut emissivity = Array2::<f32>::zeros(shape);
        let n = self.samples_per_side.max(1);
        for ((row, column), sum) in radiance.indexed_iter_mut() {
            let (x, y) = (column as f64, row as f64);
            let mirrored = table.radiance(
                (reflected.middle
                    + reflected.across[0] * ((x + 0.5) / width - 0.5)
                    + reflected.across[1] * ((y + 0.5) / height - 0.5)) as f32,
            );
            for sample in 0..n * n {
                let offset = |i: u32| (f64::from(i) + 0.5) / f64::from(n) - 0.5;
                let place = to_board.apply(Point::new(x + offset(sample % n), y + offset(sample / n)));
                let point = scene.at(place.x, place.y);
                let e = point.emissivity as f32;
                *sum += e * table.radiance(point.temperature as f32) + (1.0 - e) * mirrored;
            }
            *sum /= (n * n) as f32;
            let middle = to_board.apply(Point::new(x, y));
            let point = scene.at(middle.x, middle.y);
            surface[(row, column)] = point.temperature as f32;
            emissivity[(row, column)] = point.emissivity as f32;
        }
        let seen = blur(&radiance, self.blur_px);
        Ok(Picture {
            apparent_clean: Frame::new(seen.mapv(|l| table.temperature(l)))?,
            surface_truth: Frame::new(surface)?,
            emissivity_truth: Frame::new(emissivity)?,
        })
    }

    /// The picture as the file holds it: noise, pattern, drift and stuck pixels added, in counts of
    /// [`KELVIN_PER_COUNT`] of apparent temperature. The same `seed` gives the same noise.
    ///
    /// # Errors
    /// [`FrameError::Empty`] cannot occur for a frame that exists; it is passed on all the same.
    pub fn digitize(&self, clean: &Frame<ApparentKelvin>, seed: u64) -> Result<Frame<RawNumber>, FrameError> {
        let (rows, columns) = clean.shape();
        let mut own = ChaCha8Rng::seed_from_u64(self.seed);
        let half = self.fixed_pattern * std::f64::consts::FRAC_1_SQRT_2;
        let by_column: Vec<f64> = (0..columns).map(|_| half * normal(&mut own)).collect();
        let mut noise = ChaCha8Rng::seed_from_u64(seed);
        let drift = self.drift * normal(&mut noise);

        let mut counts = Array2::<f32>::zeros((rows, columns));
        for ((row, column), count) in counts.indexed_iter_mut() {
            let pattern = by_column[column] + half * normal(&mut own);
            let kelvin =
                f64::from(clean.view()[(row, column)]) + pattern + drift + self.netd * normal(&mut noise);
            *count = (kelvin / KELVIN_PER_COUNT).round().clamp(0.0, f64::from(u16::MAX)) as f32;
        }
        for (index, [x, y]) in self.stuck_pixels.iter().enumerate() {
            if let Some(count) = counts.get_mut((*y as usize, *x as usize)) {
                // Half of them dark, half of them bright.
                *count = if index % 2 == 0 { 26_500.0 } else { 39_900.0 };
            }
        }
        Frame::new(counts)
    }
}

fn normal(generator: &mut ChaCha8Rng) -> f64 {
    generator.sample(StandardNormal)
}

/// Gaussian blur with standard deviation `sigma` pixels, edges continued outwards.
fn blur(picture: &Array2<f32>, sigma: f64) -> Array2<f32> {
    if sigma <= 0.0 {
        return picture.clone();
    }
    let reach = (4.0 * sigma).ceil() as isize;
    let weights: Vec<f64> =
        (-reach..=reach).map(|d| (-(d as f64).powi(2) / (2.0 * sigma * sigma)).exp()).collect();
    let total: f64 = weights.iter().sum();
    let along = |from: &Array2<f32>, by_row: bool| {
        let (rows, columns) = from.dim();
        let near = |i: usize, d: isize, count: usize| i.saturating_add_signed(d).min(count - 1);
        Array2::from_shape_fn((rows, columns), |(row, column)| {
            let sum: f64 = (-reach..=reach)
                .zip(&weights)
                .map(|(d, w)| {
                    let at =
                        if by_row { (row, near(column, d, columns)) } else { (near(row, d, rows), column) };
                    w * f64::from(from[at])
                })
                .sum();
            (sum / total) as f32
        })
    };
    along(&along(picture, true), false)
}
