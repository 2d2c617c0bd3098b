//! Linear least squares of every pixel over the frames, in one pass and in constant memory.
//!
//! All pixels share the basis functions, so the matrix of the normal equations is kept once and each
//! pixel has only its right-hand side.

use nalgebra::{DMatrix, DVector};

use crate::frame::{Frame, FrameError};

/// Frames taken together: each pass over the sums, which fill more memory than a processor keeps at
/// hand, then serves that many frames, and `f32` sums stay short enough to lose nothing.
const BATCH: usize = 16;
/// Pixels taken together.
const LANES: usize = 8;

/// A regression in progress. The first basis function is 1.
#[derive(Debug)]
pub(super) struct PixelRegression<Q> {
    shape: Option<(usize, usize)>,
    /// The first frame: values are taken from it on, to keep their digits.
    base: Vec<f32>,
    batch: Vec<Frame<Q>>,
    weights: Vec<Vec<f32>>,
    /// For each group of [`LANES`] pixels: the sums with every basis function, and that of the squares.
    sums: Vec<f64>,
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
            sums: Vec::new(),
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
            let groups = frame.as_slice().len().div_ceil(LANES);
            self.base = frame.as_slice().to_vec();
            self.base.resize(groups * LANES, 0.0);
            self.sums = vec![0.0; groups * LANES * (self.normal.nrows() + 1)];
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

    fn take_batch(&mut self) {
        let frames: Vec<&[f32]> = self.batch.iter().map(Frame::as_slice).collect();
        let (sums, base, weights) = (&mut self.sums, &self.base, &self.weights);
        match self.normal.nrows() {
            2 => accumulate::<2>(&frames, weights, base, sums),
            3 => accumulate::<3>(&frames, weights, base, sums),
            4 => accumulate::<4>(&frames, weights, base, sums),
            5 => accumulate::<5>(&frames, weights, base, sums),
            6 => accumulate::<6>(&frames, weights, base, sums),
            7 => accumulate::<7>(&frames, weights, base, sums),
            8 => accumulate::<8>(&frames, weights, base, sums),
            9 => accumulate::<9>(&frames, weights, base, sums),
            10 => accumulate::<10>(&frames, weights, base, sums),
            11 => accumulate::<11>(&frames, weights, base, sums),
            12 => accumulate::<12>(&frames, weights, base, sums),
            // 3 drift terms and two for each of 5 harmonics are the most anybody asks for.
            _ => accumulate::<13>(&frames, weights, base, sums),
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
        let pixels = shape.0 * shape.1;
        let mut coefficients = vec![Vec::with_capacity(pixels); unknowns];
        let mut noise = Vec::with_capacity(pixels);
        let (mut right, mut solved) = (DVector::zeros(unknowns), DVector::zeros(unknowns));
        for (pixel, &base) in self.base.iter().enumerate().take(pixels) {
            let group = pixel / LANES * LANES * (unknowns + 1) + pixel % LANES;
            let sum = |term: usize| self.sums.get(group + term * LANES).copied().unwrap_or(f64::NAN);
            right.iter_mut().enumerate().for_each(|(term, value)| *value = sum(term));
            solved.gemv(1.0, &inverse, &right, 0.0);
            let left = sum(unknowns) - solved.dot(&right);
            // `max` would hide NaN.
            let left = if left < 0.0 { 0.0 } else { left };
            noise.push((left / (frames - unknowns) as f64).sqrt() as f32);
            solved[0] += f64::from(base);
            for (coefficient, value) in coefficients.iter_mut().zip(solved.iter()) {
                coefficient.push(*value as f32);
            }
        }
        Ok(PixelSolution { shape, frames, coefficients, noise, inverse })
    }
}

/// Adds every frame of a batch, times the basis functions at its time, to the sums of each pixel.
///
/// Inside a batch values count from its first frame on, which keeps `f32` sums exact enough beside a
/// drift of tens of kelvin; the step from there to `base` is added in `f64`.
fn accumulate<const TERMS: usize>(frames: &[&[f32]], weights: &[Vec<f32>], base: &[f32], sums: &mut [f64]) {
    let weights: Vec<[f32; TERMS]> = weights
        .iter()
        .map(|weights| std::array::from_fn(|term| weights.get(term).copied().unwrap_or(0.0)))
        .collect();
    let Some(first) = frames.first() else { return };
    let weight_sums: [f64; TERMS] =
        std::array::from_fn(|term| weights.iter().map(|weights| f64::from(weights[term])).sum());
    let count = frames.len() as f64;
    let (groups, _) = base.as_chunks::<LANES>();
    for ((index, base), sums) in groups.iter().enumerate().zip(sums.chunks_exact_mut(LANES * (TERMS + 1))) {
        let start = index * LANES;
        let near = group(first, start);
        let mut totals = [[0.0_f32; LANES]; TERMS];
        let mut squares = [0.0_f32; LANES];
        for (frame, weights) in frames.iter().zip(&weights) {
            let values = group(frame, start);
            let above: [f32; LANES] = std::array::from_fn(|lane| values[lane] - near[lane]);
            for (total, weight) in totals.iter_mut().zip(weights) {
                for lane in 0..LANES {
                    total[lane] += weight * above[lane];
                }
            }
            for lane in 0..LANES {
                squares[lane] += above[lane] * above[lane];
            }
        }
        let step: [f64; LANES] = std::array::from_fn(|lane| f64::from(near[lane]) - f64::from(base[lane]));
        let (sums, _) = sums.as_chunks_mut::<LANES>();
        for ((sum, total), weight) in sums.iter_mut().zip(&totals).zip(weight_sums) {
            for lane in 0..LANES {
                sum[lane] += f64::from(total[lane]) + weight * step[lane];
            }
        }
        if let Some(sum) = sums.last_mut() {
            for lane in 0..LANES {
                // The first basis function is 1: its total is the plain sum.
                let cross = 2.0 * f64::from(totals[0][lane]) + count * step[lane];
                sum[lane] += f64::from(squares[lane]) + step[lane] * cross;
            }
        }
    }
}

/// The values of the group of pixels from `start` on; zeros beyond the last pixel.
#[inline]
fn group(frame: &[f32], start: usize) -> [f32; LANES] {
    match frame.get(start..start + LANES).and_then(|part| part.try_into().ok()) {
        Some(values) => values,
        None => std::array::from_fn(|lane| frame.get(start + lane).copied().unwrap_or(0.0)),
    }
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
