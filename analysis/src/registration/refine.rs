//! The robust photometric fit: the map, gain and offset under which one picture's detail becomes the
//! other's, at one level of resolution.
//!
//! Minimises Σ ρ(U(W(x)) − g B(x) − o) over the map W from the baseline's pixels to the unit's, the gain
//! g and the offset o, by Gauss–Newton with the step taken on the baseline's side (inverse
//! compositional) and iteratively reweighted least squares: ρ is Tukey's biweight at a scale taken from
//! the median absolute residual, so a part that is hot, cold or missing has no pull.
//!
//! # Source
//! S. Baker, I. Matthews, *Lucas–Kanade 20 years on: a unifying framework*, International Journal of
//! Computer Vision 56(3) (2004); G. D. Evangelidis, E. Z. Psarakis, *Parametric image alignment using
//! enhanced correlation coefficient maximization*, IEEE TPAMI 30(10) (2008), for the idea that gain and
//! offset must not matter. The biweight's constant 4.685 gives 95 % efficiency for Gaussian noise.

use nalgebra::{DMatrix, DVector, Matrix3, SMatrix, SVector};

use super::warp::Source;
use crate::frame::{Difference, Frame};
use crate::homography_fit::MapModel;
use crate::quantile::quantile;

/// Eight of the map, the gain, the offset.
const UNKNOWNS: usize = 10;
/// Tukey's constant.
const TUKEY: f32 = 4.685;
/// The median absolute value of Gaussian numbers times this is their standard deviation.
const MEDIAN_TO_SIGMA: f32 = 1.4826;
/// About how many pixels carry the fit, and the largest share of a picture they may be.
const PIXELS_WANTED: f64 = 14_000.0;
const LARGEST_SHARE: f64 = 0.5;
/// Side of the blocks that the pixels are spread over, and that errors are taken to be independent between.
const BLOCK: usize = 16;

/// What cubic interpolation by a fraction of a pixel itself displaces, pixels of the level: measured on
/// noise-free invented boards under pure shifts, where it cannot average out.
const INTERPOLATION_PX: f64 = 0.015;

type Normal = SMatrix<f64, UNKNOWNS, UNKNOWNS>;
type Unknowns = SVector<f64, UNKNOWNS>;

/// A pixel of the baseline that carries the fit.
#[derive(Debug, Clone, Copy)]
struct Anchor {
    /// Place about the middle, in half diagonals.
    u: f32,
    v: f32,
    value: f32,
    /// Gradient per half diagonal.
    gradient: [f32; 2],
    block: u32,
}

/// What the unit is fitted to: the pixels of the baseline's detail that show best where it lies.
#[derive(Debug)]
pub(super) struct Template {
    anchors: Vec<Anchor>,
    blocks: usize,
    /// Middle and half diagonal, pixels.
    middle: [f64; 2],
    reach: f64,
    shape: (usize, usize),
}

impl Template {
    /// Chooses the steepest pixels of every block, as far as they are steep within the whole picture.
    pub(super) fn new(detail: &Frame<Difference>) -> Self {
        let (rows, columns) = detail.shape();
        let middle = [0.5 * (columns as f64 - 1.0), 0.5 * (rows as f64 - 1.0)];
        let reach = middle[0].hypot(middle[1]).max(1.0);
        let values = detail.as_slice();
        let share = (PIXELS_WANTED / values.len() as f64).min(LARGEST_SHARE);
        let gradient = |row: usize, column: usize| {
            let at = row * columns + column;
            [0.5 * (values[at + 1] - values[at - 1]), 0.5 * (values[at + columns] - values[at - columns])]
        };
        let mut steepness = vec![f32::NAN; values.len()];
        for row in 1..rows.saturating_sub(1) {
            for column in 1..columns.saturating_sub(1) {
                let [x, y] = gradient(row, column);
                steepness[row * columns + column] = x * x + y * y;
            }
        }
        let mut every: Vec<f32> = steepness.iter().step_by(3).copied().filter(|s| !s.is_nan()).collect();
        let floor = quantile(&mut every, 1.0 - (2.0 * share).min(0.9)).unwrap_or(0.0);

        let blocks_across = columns.div_ceil(BLOCK);
        let blocks = blocks_across * rows.div_ceil(BLOCK);
        let mut anchors = Vec::with_capacity((share * values.len() as f64) as usize);
        let mut steep = Vec::with_capacity(BLOCK * BLOCK);
        for block in 0..blocks {
            let (top, left) = (block / blocks_across * BLOCK, block % blocks_across * BLOCK);
            steep.clear();
            for row in top..(top + BLOCK).min(rows) {
                for column in left..(left + BLOCK).min(columns) {
                    let steepness = steepness[row * columns + column];
                    // NaN is not steep.
                    if steepness > floor {
                        steep.push((steepness, row, column));
                    }
                }
            }
            let most = (share * (BLOCK * BLOCK) as f64).ceil() as usize;
            if steep.len() > most {
                steep.select_nth_unstable_by(most, |a, b| b.0.total_cmp(&a.0));
                steep.truncate(most);
            }
            for &(_, row, column) in &steep {
                anchors.push(Anchor {
                    u: ((column as f64 - middle[0]) / reach) as f32,
                    v: ((row as f64 - middle[1]) / reach) as f32,
                    value: values[row * columns + column],
                    gradient: gradient(row, column).map(|g| g * reach as f32),
                    block: block as u32,
                });
            }
        }
        Self { anchors, blocks, middle, reach, shape: detail.shape() }
    }

    /// From pixels to places about the middle.
    fn to_normalized(&self) -> Matrix3<f64> {
        let s = 1.0 / self.reach;
        Matrix3::new(s, 0.0, -s * self.middle[0], 0.0, s, -s * self.middle[1], 0.0, 0.0, 1.0)
    }

    /// And back.
    fn to_pixels(&self) -> Matrix3<f64> {
        Matrix3::new(self.reach, 0.0, self.middle[0], 0.0, self.reach, self.middle[1], 0.0, 0.0, 1.0)
    }
}

/// The fitted map and the state it was left in.
#[derive(Debug)]
pub(super) struct Fitted {
    /// From the baseline's pixels of this level to the moving picture's.
    pub(super) map: Matrix3<f64>,
    /// How much stronger the moving picture's detail is.
    pub(super) gain: f32,
    /// Root-mean-square displacement error over the picture, pixels of this level.
    pub(super) error_px: f64,
}

/// Fits `moving`, already nearly in place, to the template.
///
/// `None` when the pixels do not settle the map or the steps do not settle down.
pub(super) fn refine(
    template: &Template,
    moving: &Frame<Difference>,
    model: MapModel,
    start_gain: f32,
    settled_px: f64,
) -> Option<Fitted> {
    let mut state = State {
        template,
        source: Source::new(moving.as_slice(), moving.shape()),
        map: Matrix3::identity(),
        gain: start_gain,
        offset: 0.0,
        residuals: vec![f32::NAN; template.anchors.len()],
    };
    let freedom = freedom(model);
    for _ in 0..30 {
        let scale = state.measure()?;
        let (normal, right) = state.equations(scale);
        let step = solve(&normal, &right, &freedom)?;
        let moved = state.take(&step)?;
        if moved < settled_px {
            break;
        }
    }
    let error_px = state.error_px(&freedom)?;
    Some(Fitted {
        map: template.to_pixels() * state.map * template.to_normalized(),
        gain: state.gain,
        error_px,
    })
}

struct State<'a> {
    template: &'a Template,
    source: Source<'a>,
    /// Between places about the middle.
    map: Matrix3<f64>,
    gain: f32,
    offset: f32,
    residuals: Vec<f32>,
}

impl State<'_> {
    /// Fills in the residuals and returns their robust standard deviation.
    fn measure(&mut self) -> Option<f32> {
        let to_pixels = self.template.to_pixels() * self.map;
        let m = &to_pixels;
        for (residual, anchor) in self.residuals.iter_mut().zip(&self.template.anchors) {
            let (u, v) = (f64::from(anchor.u), f64::from(anchor.v));
            let depth = 1.0 / (m[(2, 0)] * u + m[(2, 1)] * v + m[(2, 2)]);
            let x = (m[(0, 0)] * u + m[(0, 1)] * v + m[(0, 2)]) * depth;
            let y = (m[(1, 0)] * u + m[(1, 1)] * v + m[(1, 2)]) * depth;
            *residual = self.source.at(x, y) - self.gain * anchor.value - self.offset;
        }
        let mut sizes: Vec<f32> = self.residuals.iter().filter(|r| !r.is_nan()).map(|r| r.abs()).collect();
        if sizes.len() < 4 * UNKNOWNS {
            return None;
        }
        Some((MEDIAN_TO_SIGMA * quantile(&mut sizes, 0.5)?).max(1e-6))
    }

    /// The weighted normal equations.
    fn equations(&self, scale: f32) -> (Normal, Unknowns) {
        let mut normal = [[0.0_f64; UNKNOWNS]; UNKNOWNS];
        let mut right = [0.0_f64; UNKNOWNS];
        for (anchor, &residual) in self.template.anchors.iter().zip(&self.residuals) {
            let weight = tukey_weight(residual / (TUKEY * scale));
            if weight <= 0.0 {
                continue;
            }
            let row = derivatives(anchor, self.gain);
            for (i, (line, right)) in normal.iter_mut().zip(&mut right).enumerate() {
                let weighted = f64::from(weight * row[i]);
                // The lower triangle, in pairs; the rest is its mirror image.
                for (cell, value) in line.iter_mut().zip(&row).take(i + 2 - i % 2) {
                    *cell += weighted * f64::from(*value);
                }
                *right += weighted * f64::from(residual);
            }
        }
        (Normal::from_fn(|i, j| normal[i.max(j)][i.min(j)]), Unknowns::from(right))
    }

    /// Applies a step; returns how far it moves the corners, pixels.
    fn take(&mut self, step: &Unknowns) -> Option<f64> {
        let change = Matrix3::new(
            1.0 + step[0],
            step[1],
            step[2],
            step[3],
            1.0 + step[4],
            step[5],
            step[6],
            step[7],
            1.0,
        );
        self.map *= change.try_inverse()?;
        self.map /= self.map[(2, 2)];
        self.gain += step[8] as f32;
        self.offset += step[9] as f32;
        let moved = (0..8).map(|i| step[i].abs()).fold(0.0, f64::max) * self.template.reach;
        // More than half the picture away, or turned to a negative: no alignment.
        (moved.is_finite() && moved < self.template.reach && self.gain > 0.05).then_some(moved)
    }

    /// How well the fit is settled, from the scatter of the fit itself.
    ///
    /// Three parts are added: the covariance of the unknowns, from the scores summed per block (so that
    /// noise correlated within a block and misfit count in full), carried to displacements; and the
    /// displacement that the blocks still ask for one by one beyond their noise, which no map of this
    /// kind can give them; and what interpolation displaces.
    fn error_px(&mut self, freedom: &DMatrix<f64>) -> Option<f64> {
        let scale = self.measure()?;
        let reach = self.template.reach;
        let mut bread = Normal::zeros();
        let mut scores = vec![Unknowns::zeros(); self.template.blocks];
        let mut local = vec![[0.0_f64; 5]; self.template.blocks];
        for (anchor, &residual) in self.template.anchors.iter().zip(&self.residuals) {
            let share = residual / (TUKEY * scale);
            let weight = f64::from(tukey_weight(share));
            if weight <= 0.0 {
                continue;
            }
            let row = Unknowns::from(derivatives(anchor, self.gain).map(f64::from));
            let slope = f64::from((1.0 - share * share) * (1.0 - 5.0 * share * share));
            bread.ger(slope, &row, &row, 1.0);
            if let (Some(score), Some(local)) =
                (scores.get_mut(anchor.block as usize), local.get_mut(anchor.block as usize))
            {
                *score += row * (weight * f64::from(residual));
                let [x, y] = anchor.gradient.map(|g| f64::from(g * self.gain) / reach);
                let pull = weight * f64::from(residual);
                for (sum, term) in
                    local.iter_mut().zip([weight * x * x, weight * x * y, weight * y * y, pull * x, pull * y])
                {
                    *sum += term;
                }
            }
        }
        let meat = scores.iter().fold(Normal::zeros(), |sum, score| sum + score * score.transpose());
        let inverse = (freedom.transpose() * bread * freedom).try_inverse()?;
        let covariance =
            freedom * &inverse * (freedom.transpose() * meat * freedom) * &inverse * freedom.transpose();
        let settled = self.mean_square_displacement(&covariance) * reach * reach;
        let unmet = local_misfit(&local, f64::from(scale));
        let error = (settled + unmet + INTERPOLATION_PX.powi(2)).sqrt();
        error.is_finite().then_some(error)
    }

    /// Mean square displacement over the picture, in half diagonals, for a covariance of the unknowns.
    fn mean_square_displacement(&self, covariance: &DMatrix<f64>) -> f64 {
        let (rows, columns) = self.template.shape;
        let half = [0.5 * columns as f64 / self.template.reach, 0.5 * rows as f64 / self.template.reach];
        let mut sum = 0.0;
        const STEPS: i32 = 4;
        for i in -STEPS..=STEPS {
            for j in -STEPS..=STEPS {
                let u = half[0] * f64::from(i) / f64::from(STEPS);
                let v = half[1] * f64::from(j) / f64::from(STEPS);
                let along = DVector::from_row_slice(&[u, v, 1.0, 0.0, 0.0, 0.0, -u * u, -u * v, 0.0, 0.0]);
                let across = DVector::from_row_slice(&[0.0, 0.0, 0.0, u, v, 1.0, -u * v, -v * v, 0.0, 0.0]);
                sum += along.dot(&(covariance * &along)) + across.dot(&(covariance * &across));
            }
        }
        sum / f64::from((2 * STEPS + 1).pow(2))
    }
}

/// The mean square displacement, pixels², that single blocks still ask for beyond what noise of `scale` explains.
fn local_misfit(local: &[[f64; 5]], scale: f64) -> f64 {
    let mut asked = Vec::with_capacity(local.len());
    let mut noise = Vec::with_capacity(local.len());
    for &[xx, xy, yy, x, y] in local {
        let determinant = xx * yy - xy * xy;
        let variance = scale * scale * (xx + yy) / determinant;
        // Blocks that settle their own place to a third of a pixel have a say.
        if determinant > 0.0 && variance < 0.1 {
            let shift = [(yy * x - xy * y) / determinant, (xx * y - xy * x) / determinant];
            asked.push((shift[0] * shift[0] + shift[1] * shift[1]) as f32);
            noise.push(variance as f32);
        }
    }
    if asked.len() < 4 {
        return 0.0;
    }
    let [asked, noise] = [asked, noise].map(|mut squares| quantile(&mut squares, 0.5).unwrap_or(0.0));
    // For a two-dimensional Gaussian the mean square is the median square over ln 2.
    f64::from((asked / std::f32::consts::LN_2 - noise).max(0.0))
}

/// How the model's residual changes with the ten unknowns.
fn derivatives(anchor: &Anchor, gain: f32) -> [f32; UNKNOWNS] {
    let [x, y] = anchor.gradient.map(|g| g * gain);
    let (u, v) = (anchor.u, anchor.v);
    let along = -(x * u + y * v);
    [x * u, x * v, x, y * u, y * v, y, along * u, along * v, anchor.value, 1.0]
}

/// (1 − s²)² within the reach of s = ±1, nothing beyond; nothing for NaN.
fn tukey_weight(share: f32) -> f32 {
    let rest = 1.0 - share * share;
    if rest > 0.0 { rest * rest } else { 0.0 }
}

/// The unknowns as a combination of the model's own.
fn freedom(model: MapModel) -> DMatrix<f64> {
    let columns: &[&[(usize, f64)]] = match model {
        MapModel::Shift => &[&[(2, 1.0)], &[(5, 1.0)], &[(8, 1.0)], &[(9, 1.0)]],
        MapModel::Similarity => &[
            &[(0, 1.0), (4, 1.0)],
            &[(1, -1.0), (3, 1.0)],
            &[(2, 1.0)],
            &[(5, 1.0)],
            &[(8, 1.0)],
            &[(9, 1.0)],
        ],
        MapModel::Affine => &[
            &[(0, 1.0)],
            &[(1, 1.0)],
            &[(2, 1.0)],
            &[(3, 1.0)],
            &[(4, 1.0)],
            &[(5, 1.0)],
            &[(8, 1.0)],
            &[(9, 1.0)],
        ],
        MapModel::Projective => return DMatrix::identity(UNKNOWNS, UNKNOWNS),
    };
    let mut matrix = DMatrix::zeros(UNKNOWNS, columns.len());
    for (column, entries) in columns.iter().enumerate() {
        for &(row, value) in *entries {
            matrix[(row, column)] = value;
        }
    }
    matrix
}

/// Solves the normal equations within the model's freedom, slightly damped.
fn solve(normal: &Normal, right: &Unknowns, freedom: &DMatrix<f64>) -> Option<Unknowns> {
    let mut own = freedom.transpose() * normal * freedom;
    for i in 0..own.nrows() {
        own[(i, i)] *= 1.0 + 1e-6;
    }
    let solution = own.cholesky()?.solve(&(freedom.transpose() * right));
    let step = freedom * solution;
    (step.len() == UNKNOWNS).then(|| Unknowns::from_fn(|i, _| step[i]))
}
