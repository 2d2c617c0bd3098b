//! Linear least squares of every pixel over the frames, in one pass and in constant memory.
//!
//! All pixels share the basis functions, so the matrix of the normal equations is kept once and each
//! pixel has only its right-hand side.

use nalgebra::{DMatrix, DVector};

use crate::frame::{Frame, FrameError};

/// Frames taken together: each pass over the sums, which fill more memory than a processor keeps at
/// hand, then serves that many frames, and `f32` sums stay short enough to lose nothing.
const BATCH: usize = 16;
/// Pixels taken together: those of a batch fit into the nearest memory of most processors (16 KiB).
const BLOCK: usize = 256;
/// Pixels in the registers at once.
const LANES: usize = 8;
/// Basis functions in the registers at once.
const TERMS: usize = 4;

/// A regression in progress. The first basis function is 1.
#[derive(Debug)]
pub(super) struct PixelRegression<Q> {
    shape: Option<(usize, usize)>,
    /// The first frame: values are taken from it on, to keep their digits.
    base: Vec<f32>,
    batch: Vec<Frame<Q>>,
    weights: Vec<Vec<f32>>,
    /// The sums of each pixel with every basis function.
    sums: Vec<Vec<f64>>,
    /// The sums of the squares.
    squares: Vec<f64>,
    normal: DMatrix<f64>,
    frames: usize,
}

/// Why a regression has no solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unsolvable {
    /// No more frames than unknowns.
    TooFew { frames: usize, unknowns: usize },
    /// The basis functions are not independent at the frames' times.
    NotSeparable,
}

/// A pixel that was invalid in any frame has NaN everywhere.
#[derive(Debug)]
pub(super) struct PixelSolution {
    pub(super) shape: (usize, usize),
    pub(super) frames: usize,
    /// One picture for each basis function.
    pub(super) coefficients: Vec<Vec<f32>>,
    /// Standard deviation of what is left over.
    pub(super) noise: Vec<f32>,
    inverse: DMatrix<f64>,
}

impl PixelSolution {
    /// Standard uncertainty of a coefficient as a fraction of the noise.
    pub(super) fn factor(&self, term: usize) -> f64 {
        self.inverse.get((term, term)).map_or(f64::NAN, |variance| variance.sqrt())
    }
}

impl<Q> PixelRegression<Q> {
    pub(super) fn new(unknowns: usize) -> Self {
        Self {
            shape: None,
            base: Vec::new(),
            batch: Vec::with_capacity(BATCH),
            weights: Vec::with_capacity(BATCH),
            sums: vec![Vec::new(); unknowns],
            squares: Vec::new(),
            normal: DMatrix::zeros(unknowns, unknowns),
            frames: 0,
        }
    }

    /// Takes in a frame at which the basis functions have these values.
    pub(super) fn add(&mut self, basis: &[f64], frame: Frame<Q>) -> Result<(), FrameError> {
        let (expected, found) = (*self.shape.get_or_insert(frame.shape()), frame.shape());
        if expected != found {
            return Err(FrameError::ShapeMismatch { expected, found });
        }
        if self.frames == 0 {
            self.base = frame.as_slice().to_vec();
            self.squares = vec![0.0; self.base.len()];
            self.sums.fill(self.squares.clone());
        }
        let weights: Vec<f32> = basis.iter().map(|&weight| weight as f32).collect();
        // The equations must know the weights that are used, rounding included.
        let basis = DVector::from_iterator(weights.len(), weights.iter().copied().map(f64::from));
        self.normal.ger(1.0, &basis, &basis, 1.0);
        self.weights.push(weights);
        self.batch.push(frame);
        self.frames += 1;
        if self.batch.len() == BATCH {
            self.take_batch();
        }
        Ok(())
    }

    /// Adds every frame of the batch, times the basis functions at its time, to the sums of each pixel.
    ///
    /// Inside a batch values count from its first frame on, which keeps `f32` sums exact enough beside a
    /// drift of tens of kelvin; the step from there to `base` is added in `f64`.
    fn take_batch(&mut self) {
        let Some(first) = self.batch.first() else { return };
        let count = self.batch.len() as f64;
        let mut above = [[0.0_f32; BLOCK]; BATCH];
        for start in (0..self.base.len()).step_by(BLOCK) {
            let end = (start + BLOCK).min(self.base.len());
            let near = &first.as_slice()[start..end];
            for (frame, above) in self.batch.iter().zip(&mut above) {
                let values = frame.as_slice()[start..end].iter().zip(near);
                above.iter_mut().zip(values).for_each(|(above, (value, near))| *above = value - near);
            }
            let rows = &above[..self.batch.len()];
            let (plain, squares) = plain_sums(rows);
            let step = |index: usize| f64::from(near[index]) - f64::from(self.base[start + index]);
            for (index, square) in self.squares[start..end].iter_mut().enumerate() {
                let cross = 2.0 * f64::from(plain[index]) + count * step(index);
                *square += f64::from(squares[index]) + step(index) * cross;
            }
            let Some((ones, others)) = self.sums.split_first_mut() else { return };
            for (index, sum) in ones[start..end].iter_mut().enumerate() {
                *sum += f64::from(plain[index]) + count * step(index);
            }
            for (group, sums) in others.chunks_mut(TERMS).enumerate() {
                let weight =
                    |frame: &Vec<f32>, term| frame.get(1 + group * TERMS + term).copied().unwrap_or(0.0);
                let mut weights = [[0.0_f32; TERMS]; BATCH];
                for (weights, frame) in weights.iter_mut().zip(&self.weights) {
                    *weights = std::array::from_fn(|term| weight(frame, term));
                }
                let weights = &weights[..self.batch.len()];
                let totals = weighted_sums(rows, weights);
                for (term, (sum, totals)) in sums.iter_mut().zip(&totals).enumerate() {
                    let all: f64 = weights.iter().map(|weights| f64::from(weights[term])).sum();
                    for (index, sum) in sum[start..end].iter_mut().enumerate() {
                        *sum += f64::from(totals[index]) + all * step(index);
                    }
                }
            }
        }
        self.batch.clear();
        self.weights.clear();
    }

    /// The coefficients of all frames that were added.
    pub(super) fn solve(mut self) -> Result<PixelSolution, Unsolvable> {
        let (frames, unknowns) = (self.frames, self.normal.nrows());
        let too_few = Unsolvable::TooFew { frames, unknowns };
        let shape = self.shape.filter(|_| frames > unknowns).ok_or(too_few)?;
        let inverse = invert(&self.normal).ok_or(Unsolvable::NotSeparable)?;
        self.take_batch();
        let mut left = self.squares;
        let mut coefficients = Vec::with_capacity(unknowns);
        for (term, right) in self.sums.iter().enumerate() {
            let mut solved = vec![0.0; left.len()];
            for (sums, weight) in self.sums.iter().zip(inverse.column(term).iter()) {
                solved.iter_mut().zip(sums).for_each(|(solved, sum)| *solved += weight * sum);
            }
            for ((left, solved), right) in left.iter_mut().zip(&solved).zip(right) {
                *left -= solved * right;
            }
            let base = self.base.iter().map(|&base| if term == 0 { f64::from(base) } else { 0.0 });
            coefficients.push(solved.iter().zip(base).map(|(solved, base)| (solved + base) as f32).collect());
        }
        let freedom = (frames - unknowns) as f64;
        // Rounding may take a little more away than there was; `max` would hide NaN.
        let noise = |left: f64| if left < 0.0 { 0.0 } else { (left / freedom).sqrt() as f32 };
        let noise = left.into_iter().map(noise).collect();
        Ok(PixelSolution { shape, frames, coefficients, noise, inverse })
    }
}

/// The sums of the rows, and of their squares.
fn plain_sums(rows: &[[f32; BLOCK]]) -> ([f32; BLOCK], [f32; BLOCK]) {
    let (mut plain, mut squares) = ([0.0_f32; BLOCK], [0.0_f32; BLOCK]);
    let lanes = plain.as_chunks_mut::<LANES>().0.iter_mut().zip(squares.as_chunks_mut::<LANES>().0);
    for (group, (plain, squares)) in lanes.enumerate() {
        let (mut sum, mut square) = ([0.0_f32; LANES], [0.0_f32; LANES]);
        for row in rows {
            let values = row.as_chunks::<LANES>().0[group];
            for lane in 0..LANES {
                sum[lane] += values[lane];
                square[lane] += values[lane] * values[lane];
            }
        }
        (*plain, *squares) = (sum, square);
    }
    (plain, squares)
}

/// The sums of the rows, each row times its weights.
fn weighted_sums(rows: &[[f32; BLOCK]], weights: &[[f32; TERMS]]) -> [[f32; BLOCK]; TERMS] {
    let mut totals = [[0.0_f32; BLOCK]; TERMS];
    for group in 0..BLOCK / LANES {
        let mut sums = [[0.0_f32; LANES]; TERMS];
        for (row, weights) in rows.iter().zip(weights) {
            let values = row.as_chunks::<LANES>().0[group];
            for (sum, weight) in sums.iter_mut().zip(weights) {
                for lane in 0..LANES {
                    sum[lane] += weight * values[lane];
                }
            }
        }
        for (total, sum) in totals.iter_mut().zip(sums) {
            total.as_chunks_mut::<LANES>().0[group] = sum;
        }
    }
    totals
}

/// The inverse of a matrix of normal equations; `None` where its unknowns cannot be told apart.
pub(super) fn invert(normal: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    /// Least eigenvalue of the matrix scaled to a diagonal of ones.
    const SEPARABLE: f64 = 1e-8;
    let scale = DVector::from_iterator(normal.nrows(), normal.diagonal().iter().map(|d| d.sqrt().recip()));
    let scaled =
        DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| normal[(i, j)] * scale[i] * scale[j]);
    if scaled.iter().any(|value| !value.is_finite()) {
        return None;
    }
    if scaled.clone().symmetric_eigenvalues().min() < SEPARABLE {
        return None;
    }
    let inverse = scaled.cholesky()?.inverse();
    Some(DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| inverse[(i, j)] * scale[i] * scale[j]))
}
