//! The places at which a picture is tested: squares of several sizes, and the bodies of parts.

use super::bodies::Body;
use super::pattern::Pattern;
use super::shrinkage::{Features, Prior};
use super::summed_area::SummedArea;
use crate::frame::{Difference, Frame, SurfaceKelvin};
use crate::units::Kelvin;

/// Half-widths of the squares, pixels: 5, 11, 23 and 47 pixels wide.
pub(super) const RADII: [usize; 4] = [2, 5, 11, 23];
/// The surroundings of a place reach this fraction of the picture's width beyond its own size.
const SURROUNDINGS: f64 = 0.04;
/// A square or body counts when this share of it is valid.
const LEAST_VALID: f64 = 0.5;

/// Squares of one size, half their width apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Scale {
    pub(super) radius: usize,
    pub(super) step: usize,
    pub(super) rows: usize,
    pub(super) columns: usize,
}

impl Scale {
    pub(super) fn all(shape: (usize, usize)) -> Vec<Self> {
        RADII
            .iter()
            .filter(|&&radius| 2 * radius < shape.0 && 2 * radius < shape.1)
            .map(|&radius| {
                let step = radius.max(1);
                let along = |length: usize| (length - 1 - 2 * radius) / step + 1;
                Self { radius, step, rows: along(shape.0), columns: along(shape.1) }
            })
            .collect()
    }

    /// The middle of each square, (row, column), row by row.
    pub(super) fn centers(self) -> impl Iterator<Item = (usize, usize)> {
        (0..self.rows)
            .flat_map(move |row| (0..self.columns).map(move |column| (row, column)))
            .map(move |(row, column)| (self.radius + row * self.step, self.radius + column * self.step))
    }

    pub(super) fn means(self, table: &SummedArea) -> Vec<f32> {
        self.centers()
            .map(|(row, column)| match table.mean_around(row, column, self.radius) {
                (mean, share) if share >= LEAST_VALID => mean as f32,
                _ => f32::NAN,
            })
            .collect()
    }
}

/// The mean of each body: of its non-metal pixels where those are enough.
pub(super) fn body_means(difference: &Frame<Difference>, pixels: &[Vec<usize>]) -> Vec<f32> {
    let values = difference.as_slice();
    pixels
        .iter()
        .map(|body| {
            let (sum, count) = body
                .iter()
                .map(|&pixel| values[pixel])
                .filter(|value| !value.is_nan())
                .fold((0.0_f64, 0_usize), |(sum, count), value| (sum + f64::from(value), count + 1));
            let enough = count > 0 && count as f64 >= LEAST_VALID * body.len() as f64;
            if enough { (sum / count as f64) as f32 } else { f32::NAN }
        })
        .collect()
}

/// The pixels that speak for each body: those valid in the strictest of `plain` that leaves a quarter
/// of them; all where none does.
pub(super) fn speaking_pixels(bodies: &[Body], plain: &[&Frame<SurfaceKelvin>]) -> Vec<Vec<usize>> {
    bodies
        .iter()
        .map(|body| {
            let valid_in = |picture: &&Frame<SurfaceKelvin>| -> Vec<usize> {
                let values = picture.as_slice();
                body.inside.iter().copied().filter(|&pixel| !values[pixel].is_nan()).collect()
            };
            let enough = |pixels: &Vec<usize>| !pixels.is_empty() && pixels.len() * 4 >= body.inside.len();
            plain.iter().map(valid_in).find(enough).unwrap_or_else(|| body.inside.clone())
        })
        .collect()
}

/// What the spread of a place may depend on: its rise, the slopes in it, the metal in it.
pub(super) struct PlaceFeatures {
    rise: SummedArea,
    slope: SummedArea,
    /// Metal, and what lies so close beside it that the optics mix the two.
    beside: SummedArea,
    metal: SummedArea,
    columns: usize,
    ambient: f64,
}

impl PlaceFeatures {
    pub(super) fn new(
        mean: &Frame<SurfaceKelvin>,
        trusted: &Frame<SurfaceKelvin>,
        not_metal: &Frame<SurfaceKelvin>,
        pattern: &Pattern,
        ambient: Kelvin,
    ) -> Self {
        let shape = mean.shape();
        let squares = pattern.x.iter().zip(&pattern.y).map(|(x, y)| x * x + y * y);
        let missing = |picture: &Frame<SurfaceKelvin>| {
            let share = picture.as_slice().iter().map(|value| if value.is_nan() { 1.0 } else { 0.0 });
            SummedArea::new(shape, share)
        };
        Self {
            rise: SummedArea::new(shape, mean.as_slice().iter().copied()),
            slope: SummedArea::new(shape, squares),
            beside: missing(trusted),
            metal: missing(not_metal),
            columns: shape.1,
            ambient: ambient.value(),
        }
    }

    pub(super) fn around(&self, row: usize, column: usize, radius: usize) -> Features {
        let rise = self.rise.mean_around(row, column, radius).0 - self.ambient;
        features(
            rise,
            rise - self.surroundings(row, column, radius),
            self.slope.mean_around(row, column, radius).0,
            self.beside.mean_around(row, column, radius).0,
            self.metal.mean_around(row, column, radius).0,
        )
    }

    /// The rise of what lies about a place of this radius.
    fn surroundings(&self, row: usize, column: usize, radius: usize) -> f64 {
        let reach = 2 * radius + ((self.columns as f64 * SURROUNDINGS) as usize).max(2);
        self.rise.mean_around(row, column, reach).0 - self.ambient
    }

    pub(super) fn of_scale(&self, scale: Scale) -> Vec<Features> {
        scale.centers().map(|(row, column)| self.around(row, column, scale.radius)).collect()
    }

    /// The features of bodies, of the pixels that speak for each.
    pub(super) fn of_bodies(&self, pixels: &[Vec<usize>]) -> Vec<Features> {
        pixels
            .iter()
            .map(|body| {
                let count = body.len().max(1) as f64;
                let place = |pixel: &usize| (pixel / self.columns, pixel % self.columns);
                let mean = |of: &SummedArea| {
                    let values = body.iter().map(place).map(|(row, column)| of.mean_around(row, column, 0).0);
                    values.sum::<f64>() / count
                };
                let rise = mean(&self.rise) - self.ambient;
                let row = (body.iter().map(|pixel| place(pixel).0).sum::<usize>() as f64 / count) as usize;
                let column = (body.iter().map(|pixel| place(pixel).1).sum::<usize>() as f64 / count) as usize;
                let around = self.surroundings(row, column, (count.sqrt() / 2.0) as usize);
                features(rise, rise - around, mean(&self.slope), mean(&self.beside), mean(&self.metal))
            })
            .collect()
    }
}

/// A part's own power shows in its contrast, its neighbours' in the rise, misplacement in the slope; on
/// metal the emissivity of each specimen adds its own.
fn features(rise: f64, contrast: f64, slope_squared: f64, beside: f64, metal: f64) -> Features {
    let rise_squared = rise * rise;
    [1.0, rise_squared, contrast * contrast, slope_squared, beside * rise_squared, metal * rise_squared]
}

/// How healthy boards scatter at many places.
#[derive(Debug, Clone)]
pub(super) struct Scatter {
    boards: usize,
    prior: Prior,
    /// Moderated variance of one board about the true mean, K².
    moderated: Vec<f32>,
}

/// A board's values at the places, studentised.
pub(super) struct Studentised {
    pub(super) t: Vec<f32>,
    pub(super) freedom: f64,
}

impl Studentised {
    /// The largest |t| and where.
    pub(super) fn largest(&self) -> Option<(usize, f64)> {
        let valid = self.t.iter().enumerate().filter(|(_, t)| !t.is_nan());
        valid.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map(|(index, t)| (index, f64::from(t.abs())))
    }
}

impl Scatter {
    /// Learns from the boards' residuals about their mean, board by board.
    pub(super) fn of(residuals: &[Vec<f32>], features: &[Features]) -> Self {
        let boards = residuals.len();
        let freedom = boards as f64 - 1.0;
        let variances: Vec<f32> =
            sums_of_squares(residuals, features.len()).iter().map(|sum| sum / freedom as f32).collect();
        let prior = Prior::learn(&variances, features, freedom);
        let moderated = variances
            .iter()
            .zip(features)
            .map(|(&variance, features)| {
                let moderated = prior.moderate(f64::from(variance), features, freedom) as f32;
                if variance.is_nan() { f32::NAN } else { moderated }
            })
            .collect();
        Self { boards, prior, moderated }
    }

    /// The same, and how each board would stand against the others; nothing of two boards.
    ///
    /// Without a board the mean moves to the other side and the sum of squares shrinks, both in closed
    /// form, so nothing is fitted again; the prior keeps what the board taught it.
    pub(super) fn learn(residuals: &[Vec<f32>], features: &[Features]) -> (Self, Vec<Studentised>) {
        let scatter = Self::of(residuals, features);
        if scatter.boards < 3 {
            return (scatter, Vec::new());
        }
        let n = scatter.boards as f64;
        let sums = sums_of_squares(residuals, features.len());
        let against_others = |((&residual, &sum), features): ((&f32, &f32), &Features)| {
            if sum.is_nan() {
                return f32::NAN;
            }
            let residual = f64::from(residual);
            let away = residual * n / (n - 1.0);
            let rest = (f64::from(sum) - residual * away).max(0.0) / (n - 2.0);
            let variance = scatter.prior.moderate(rest, features, n - 2.0) * (1.0 + 1.0 / (n - 1.0));
            (away / variance.sqrt()) as f32
        };
        let left_out = residuals
            .iter()
            .map(|board| Studentised {
                t: board.iter().zip(&sums).zip(features).map(against_others).collect(),
                freedom: scatter.prior.freedom + n - 2.0,
            })
            .collect();
        (scatter, left_out)
    }

    pub(super) fn freedom(&self) -> f64 {
        self.prior.freedom + self.boards as f64 - 1.0
    }

    /// Standard deviation with which one more board differs from the mean, K.
    pub(super) fn prediction(&self) -> impl Iterator<Item = f32> {
        let next = (1.0 + 1.0 / self.boards as f64) as f32;
        self.moderated.iter().map(move |variance| (variance * next).sqrt())
    }

    /// A unit's values where boards differ `stretch` times as much, with the further variance of each place.
    pub(super) fn studentise(
        &self,
        values: &[f32],
        stretch: f32,
        further: impl Iterator<Item = f32>,
    ) -> Studentised {
        let t = values
            .iter()
            .zip(self.prediction())
            .zip(further)
            .map(|((value, deviation), further)| value / ((deviation * stretch).powi(2) + further).sqrt())
            .collect();
        Studentised { t, freedom: self.freedom() }
    }
}

fn sums_of_squares(residuals: &[Vec<f32>], places: usize) -> Vec<f32> {
    let mut sums = vec![0.0; places];
    for board in residuals {
        for (sum, value) in sums.iter_mut().zip(board) {
            *sum += value * value;
        }
    }
    sums
}
