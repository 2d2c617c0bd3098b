//! Linear least squares of every pixel over the frames, in one pass and in constant memory.
//!
//! All pixels share the basis functions, so the matrix of the normal equations is kept once and each
//! pixel has only its right-hand side.

use fearless_simd::{Level, Simd, dispatch};
use nalgebra::{DMatrix, DVector};

use super::batch_sums::{BATCH, BLOCK, BatchWeights};
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
    base: Vec<[f32; BLOCK]>,
    /// As many frames as `basis` has entries, then some of the batch before.
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
            let blocks = Blocks::of(&frame);
            self.base = (0..frame.as_slice().len().div_ceil(BLOCK)).map(|block| *blocks.at(block)).collect();
            self.sums = vec![[0.0; BLOCK]; self.base.len() * (self.normal.nrows() + 1)];
        }
        // Frames of the batch before go one by one, as their places are taken: an allocator that is given all
        // back at once returns the memory to the system, and asking for it anew costs more than the sums.
        match self.batch.get_mut(self.basis.len()) {
            Some(place) => *place = frame,
            None => self.batch.push(frame),
        }
        self.basis.push(basis);
        self.frames += 1;
        if self.basis.len() == BATCH {
            self.take_batch();
        }
        Ok(())
    }

    /// Adds every frame of the batch, times the basis functions at its time, to the sums of each pixel.
    fn take_batch(&mut self) {
        let weights = BatchWeights::new(&self.basis);
        let frames: Vec<Blocks> = self.batch.iter().take(self.basis.len()).map(Blocks::of).collect();
        for frame in 0..frames.len() {
            let weights = DVector::from_vec(weights.of_frame(frame));
            self.normal += &weights * weights.transpose();
        }
        let blocks = self.sums.chunks_exact_mut(self.normal.nrows() + 1).zip(&self.base).enumerate();
        // The loop is compiled several times over, for as wide registers as the processor may have.
        dispatch!(Level::new(), simd => simd.vectorize(
            #[inline(always)]
            || {
                let mut rows = [&[0.0; BLOCK]; BATCH];
                for (block, (sums, base)) in blocks {
                    rows.iter_mut().zip(&frames).for_each(|(row, frame)| *row = frame.at(block));
                    weights.add(simd, &rows[..frames.len()], base, sums);
                }
            },
        ));
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
        let pixels = shape.0 * shape.1;
        let mut coefficients = vec![Vec::new(); unknowns];
        let mut noise = Vec::new();
        coefficients
            .iter_mut()
            .chain([&mut noise])
            .for_each(|picture| picture.reserve(BLOCK * self.base.len()));
        let blocks = self.sums.chunks_exact(unknowns + 1).zip(&self.base);
        dispatch!(Level::new(), simd => simd.vectorize(
            #[inline(always)]
            || {
                for (sums, base) in blocks {
                    solve_block(sums, base, &inverse, freedom, &mut coefficients, &mut noise);
                }
            },
        ));
        // The last block is filled up.
        coefficients.iter_mut().chain([&mut noise]).for_each(|picture| picture.truncate(pixels));
        Ok(PixelSolution { shape, frames, coefficients, noise, inverse })
    }
}

/// The coefficients of a block and what they leave over.
#[inline(always)]
fn solve_block(
    sums: &[[f64; BLOCK]],
    base: &[f32; BLOCK],
    inverse: &DMatrix<f64>,
    freedom: f64,
    coefficients: &mut [Vec<f32>],
    noise: &mut Vec<f32>,
) {
    let Some((left, sums)) = sums.split_last() else { return };
    let mut left = *left;
    for (term, (right, coefficient)) in sums.iter().zip(coefficients).enumerate() {
        let mut solved = [0.0; BLOCK];
        for (sums, weight) in sums.iter().zip(inverse.column(term).iter()) {
            for pixel in 0..BLOCK {
                solved[pixel] += weight * sums[pixel];
            }
        }
        let mut found = [0.0; BLOCK];
        for pixel in 0..BLOCK {
            left[pixel] -= solved[pixel] * right[pixel];
            // Only the constant counts from the first frame on.
            let origin = if term == 0 { f64::from(base[pixel]) } else { 0.0 };
            found[pixel] = (solved[pixel] + origin) as f32;
        }
        coefficient.extend_from_slice(&found);
    }
    let mut spread = [0.0; BLOCK];
    for pixel in 0..BLOCK {
        // Rounding may take a little more away than there was; `max` would hide NaN.
        spread[pixel] = if left[pixel] < 0.0 { 0.0 } else { (left[pixel] / freedom).sqrt() as f32 };
    }
    noise.extend_from_slice(&spread);
}

/// A frame's pixels by blocks, the last one filled up.
struct Blocks<'a> {
    full: &'a [[f32; BLOCK]],
    last: [f32; BLOCK],
}

impl<'a> Blocks<'a> {
    fn of<Q>(frame: &'a Frame<Q>) -> Self {
        let (full, rest) = frame.as_slice().as_chunks();
        let mut last = [0.0; BLOCK];
        last.iter_mut().zip(rest).for_each(|(place, value)| *place = *value);
        Self { full, last }
    }

    fn at(&self, block: usize) -> &[f32; BLOCK] {
        self.full.get(block).unwrap_or(&self.last)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    /// Frames and pixels that fill no whole number of batches and blocks, and more functions than are summed
    /// up at once: what was put into each pixel comes back.
    #[test]
    fn every_pixel_of_an_uneven_size_gets_back_what_was_put_in() {
        let functions = |frame: u32| -> Vec<f64> {
            let swing = |multiple: u32| (0.37 * f64::from(multiple * frame)).sin();
            std::iter::once(1.0).chain((1..=10).map(swing)).collect()
        };
        let put_in =
            |pixel: usize, term: usize| if term == 0 { 300.0 } else { (pixel % 13 + term) as f64 / 1000.0 };
        let mut regression = PixelRegression::<SurfaceKelvin>::new(11);
        for frame in 0..37 {
            let basis = functions(frame);
            let value = |pixel: usize| {
                basis.iter().enumerate().map(|(n, b)| b * put_in(pixel, n)).sum::<f64>() as f32
            };
            let pixels = (0..700).map(value).collect();
            regression.add(basis, Frame::from_rows(7, 100, pixels).unwrap()).unwrap();
        }
        let solved = regression.solve().unwrap();
        assert_eq!(solved.noise.len(), 700);
        for (term, found) in solved.coefficients.iter().enumerate() {
            assert_eq!(found.len(), 700);
            for (pixel, found) in found.iter().enumerate() {
                // A frame's own numbers are rounded to 1.5e-5 K.
                assert!((f64::from(*found) - put_in(pixel, term)).abs() < 5e-5, "{term} {pixel} {found}");
            }
        }
        assert!(solved.noise.iter().all(|noise| *noise < 3e-5));
    }
}
