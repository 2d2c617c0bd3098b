//! Linear least squares of every pixel over the frames, in one pass and in constant memory.
//!
//! All pixels share the basis functions, so the matrix of the normal equations is kept once and each
//! pixel has only its right-hand side.

use nalgebra::DMatrix;

use super::batch_sums::{BATCH, BLOCK, BatchSums};
use super::mirrored_frames::BatchPlan;
use super::normal_equations::invert;
use crate::frame::{Frame, FrameError};

/// A regression in progress. The first basis function is 1.
///
/// Frames are taken in by batches: each pass over the sums, which fill more memory than a processor keeps
/// at hand, then serves many frames, and sums in single precision stay short enough to lose nothing.
#[derive(Debug)]
pub(super) struct PixelRegression<Q> {
    shape: Option<(usize, usize)>,
    /// The first frame: values are taken from it on, to keep their digits.
    base: Vec<f32>,
    batch: Vec<Frame<Q>>,
    /// The basis functions at each frame of the batch.
    basis: Vec<Vec<f64>>,
    /// Block by block: the sums with every basis function, then those of the squares.
    sums: Vec<[f64; BLOCK]>,
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
            batch: Vec::new(),
            basis: Vec::new(),
            sums: Vec::new(),
            normal: DMatrix::zeros(unknowns, unknowns),
            frames: 0,
        }
    }

    /// Takes in a frame at which the basis functions have these values.
    pub(super) fn add(&mut self, basis: Vec<f64>, frame: Frame<Q>) -> Result<(), FrameError> {
        let (expected, found) = (*self.shape.get_or_insert(frame.shape()), frame.shape());
        if expected != found {
            return Err(FrameError::ShapeMismatch { expected, found });
        }
        if self.frames == 0 {
            self.base = frame.as_slice().to_vec();
            self.sums = vec![[0.0; BLOCK]; self.base.len().div_ceil(BLOCK) * (self.normal.nrows() + 1)];
        }
        self.basis.push(basis);
        self.batch.push(frame);
        self.frames += 1;
        if self.batch.len() == BATCH {
            self.take_batch();
        }
        Ok(())
    }

    /// Adds every frame of the batch, times the basis functions at its time, to the sums of each pixel.
    ///
    /// Inside a batch values count from its middle frame on, which keeps `f32` sums exact enough beside a
    /// drift of tens of kelvin; the step from there to `base` is added in `f64`.
    fn take_batch(&mut self) {
        let Some(middle) = self.batch.get(self.batch.len() / 2) else { return };
        let plan = BatchPlan::new(&self.basis);
        self.normal += &plan.weights * plan.weights.transpose();
        let totals: Vec<f64> = plan.weights.row_iter().map(|weights| weights.sum()).collect();
        let count = self.batch.len() as f64;
        let mut batch = BatchSums::new(&plan, self.batch.len());
        let frames: Vec<&[f32]> = self.batch.iter().map(Frame::as_slice).collect();
        let near = middle.as_slice().chunks(BLOCK).zip(self.base.chunks(BLOCK));
        let blocks = self.sums.chunks_exact_mut(totals.len() + 1).zip(near);
        let mut step = [0.0_f64; BLOCK];
        for (block, (sums, (near, base))) in blocks.enumerate() {
            let start = block * BLOCK;
            let (parts, squares) = batch.sum(&frames, start..start + near.len(), near);
            let steps = step.iter_mut().zip(near.iter().zip(base));
            steps.for_each(|(step, (near, base))| *step = f64::from(*near) - f64::from(*base));
            let Some((square, sums)) = sums.split_last_mut() else { return };
            for pixel in 0..BLOCK {
                let cross = 2.0 * f64::from(parts[0][pixel]) + count * step[pixel];
                square[pixel] += f64::from(squares[pixel]) + step[pixel] * cross;
            }
            for ((sum, recipe), total) in sums.iter_mut().zip(&plan.recipe).zip(&totals) {
                take_parts(sum, parts, recipe, *total, &step);
            }
        }
        self.batch.clear();
        self.basis.clear();
    }

    /// The coefficients of all frames that were added.
    pub(super) fn solve(mut self) -> Result<PixelSolution, Unsolvable> {
        let (frames, unknowns) = (self.frames, self.normal.nrows());
        let too_few = Unsolvable::TooFew { frames, unknowns };
        let shape = self.shape.filter(|_| frames > unknowns).ok_or(too_few)?;
        self.take_batch();
        let inverse = invert(&self.normal).ok_or(Unsolvable::NotSeparable)?;
        let freedom = (frames - unknowns) as f64;
        let pixels = self.base.len();
        let mut coefficients = vec![Vec::with_capacity(pixels); unknowns];
        let mut noise = Vec::with_capacity(pixels);
        for (sums, base) in self.sums.chunks_exact(unknowns + 1).zip(self.base.chunks(BLOCK)) {
            let Some((left, sums)) = sums.split_last() else { continue };
            let mut left = *left;
            for (term, (right, found)) in sums.iter().zip(&mut coefficients).enumerate() {
                let mut solved = [0.0; BLOCK];
                for (sums, weight) in sums.iter().zip(inverse.column(term).iter()) {
                    solved.iter_mut().zip(sums).for_each(|(solved, sum)| *solved += weight * sum);
                }
                for pixel in 0..BLOCK {
                    left[pixel] -= solved[pixel] * right[pixel];
                }
                let solved = solved.iter().zip(base);
                if term == 0 {
                    found.extend(solved.map(|(solved, &base)| (solved + f64::from(base)) as f32));
                } else {
                    found.extend(solved.map(|(solved, _)| *solved as f32));
                }
            }
            // Rounding may take a little more away than there was; `max` would hide NaN.
            let spread = |left: &f64| if *left < 0.0 { 0.0 } else { (left / freedom).sqrt() as f32 };
            noise.extend(left.iter().take(base.len()).map(spread));
        }
        Ok(PixelSolution { shape, frames, coefficients, noise, inverse })
    }
}

/// Adds the parts of a recipe and the step to a sum.
fn take_parts(
    sum: &mut [f64; BLOCK],
    parts: &[[f32; BLOCK]],
    recipe: &[(usize, f64)],
    total: f64,
    step: &[f64; BLOCK],
) {
    // One or two parts are nearly all that occurs; each then costs one pass over the sum.
    match *recipe {
        [] => {}
        [(part, factor)] => {
            let part = &parts[part];
            for pixel in 0..BLOCK {
                sum[pixel] += factor * f64::from(part[pixel]) + total * step[pixel];
            }
        }
        [(one, factor), (other, other_factor), ref rest @ ..] => {
            let (one, other) = (&parts[one], &parts[other]);
            for pixel in 0..BLOCK {
                let parts = factor * f64::from(one[pixel]) + other_factor * f64::from(other[pixel]);
                sum[pixel] += parts + total * step[pixel];
            }
            for &(part, factor) in rest {
                let part = &parts[part];
                for pixel in 0..BLOCK {
                    sum[pixel] += factor * f64::from(part[pixel]);
                }
            }
        }
    }
}
