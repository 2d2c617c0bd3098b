//! Adds a batch of frames, times the weights of each, to the sums of every pixel.
//!
//! A few pixels at a time go through all frames of the batch with their sums in registers, in single precision;
//! only then are the long sums in memory touched, in double.

use fearless_simd::{Simd, prelude::*};

/// Pixels taken together: those of a batch, with their sums, fit into the nearest memory of most
/// processors (16 KiB and 2 KiB for each sum).
pub(super) const BLOCK: usize = 256;
/// The most frames in a batch. Twice as many would halve the passes over the sums, but beside a drift of
/// kelvins their squares in single precision would no longer tell a noise of 0.1 mK.
pub(super) const BATCH: usize = 16;
/// Weighted sums in the registers at once.
const TERMS: usize = 8;

/// What the frames of a batch weigh in each sum but the plain one.
///
/// Weights are parted into a mean of the batch, which is applied in double, and what each frame has above it:
/// in single precision a time late in a recording would else swamp what happens within the batch.
#[derive(Debug)]
pub(super) struct BatchWeights(Vec<Group>);

/// The weights of some sums.
#[derive(Debug)]
struct Group {
    terms: usize,
    means: [f64; TERMS],
    /// For each frame what it weighs more than the mean.
    above: Vec<[f32; TERMS]>,
    /// All of these together: not quite nothing, since they are rounded.
    left: [f64; TERMS],
}

impl Group {
    /// Of the functions from `first` on.
    fn new(basis: &[Vec<f64>], first: usize) -> Self {
        let terms = basis.first().map_or(0, Vec::len).saturating_sub(first).min(TERMS);
        let value = |values: &[f64], term: usize| values.get(first + term).copied().unwrap_or(0.0);
        let sum = |term| basis.iter().map(|values| value(values, term)).sum::<f64>();
        let means = std::array::from_fn(|term| sum(term) / basis.len() as f64);
        let above_mean = |values: &Vec<f64>| -> [f32; TERMS] {
            std::array::from_fn(|term| (value(values, term) - means[term]) as f32)
        };
        let above: Vec<_> = basis.iter().map(above_mean).collect();
        let left = std::array::from_fn(|term| above.iter().map(|weights| f64::from(weights[term])).sum());
        Self { terms, means, above, left }
    }
}

impl BatchWeights {
    /// For frames that see the basis functions at these values: one list for each frame, the first function 1.
    pub(super) fn new(basis: &[Vec<f64>]) -> Self {
        let unknowns = basis.first().map_or(0, Vec::len);
        // One group at least, even without terms: the plain sum and that of the squares come with the first.
        Self((1..unknowns.max(2)).step_by(TERMS).map(|first| Group::new(basis, first)).collect())
    }

    /// What a frame then weighs in the sum of each function, rounding included.
    pub(super) fn of_frame(&self, frame: usize) -> Vec<f64> {
        let of_group = |group: &Group| -> Vec<f64> {
            (0..group.terms).map(|term| group.means[term] + f64::from(group.above[frame][term])).collect()
        };
        std::iter::once(1.0).chain(self.0.iter().flat_map(of_group)).collect()
    }

    /// Adds what a block of pixels has above `base` in each frame to their sums: the plain one, the weighted
    /// ones and that of the squares.
    ///
    /// Inside the batch values count from its middle frame on, which keeps sums in single precision exact
    /// enough beside a drift of tens of kelvin; the step from there to `base` is added in double.
    #[inline(always)]
    pub(super) fn add<S: Simd>(
        &self,
        simd: S,
        frames: &[&[f32; BLOCK]],
        base: &[f32; BLOCK],
        sums: &mut [[f64; BLOCK]],
    ) {
        let [plain, weighted @ .., square] = sums else { return };
        let mut weighted = weighted;
        for (index, group) in self.0.iter().enumerate() {
            let (own, rest) = weighted.split_at_mut(group.terms);
            weighted = rest;
            let first = (index == 0).then_some((&mut *plain, &mut *square));
            match group.terms {
                0 => add_group::<S, 0>(simd, group, frames, base, first, own),
                1 => add_group::<S, 1>(simd, group, frames, base, first, own),
                2 => add_group::<S, 2>(simd, group, frames, base, first, own),
                3 => add_group::<S, 3>(simd, group, frames, base, first, own),
                4 => add_group::<S, 4>(simd, group, frames, base, first, own),
                5 => add_group::<S, 5>(simd, group, frames, base, first, own),
                6 => add_group::<S, 6>(simd, group, frames, base, first, own),
                7 => add_group::<S, 7>(simd, group, frames, base, first, own),
                _ => add_group::<S, TERMS>(simd, group, frames, base, first, own),
            }
        }
    }
}

/// As many pixels as a register holds go through all frames at once; `first` are the plain sums and the squares.
#[inline(always)]
fn add_group<S: Simd, const USED: usize>(
    simd: S,
    group: &Group,
    frames: &[&[f32; BLOCK]],
    base: &[f32; BLOCK],
    mut first: Option<(&mut [f64; BLOCK], &mut [f64; BLOCK])>,
    sums: &mut [[f64; BLOCK]],
) {
    let Some(near) = frames.get(frames.len() / 2) else { return };
    let double = |value: f64| S::f64s::splat(simd, value);
    let count = double(frames.len() as f64);
    for start in (0..BLOCK).step_by(S::f32s::LEN) {
        let values = |row: &[f32; BLOCK]| S::f32s::from_slice(simd, &row[start..start + S::f32s::LEN]);
        let near = values(near);
        let zero = S::f32s::splat(simd, 0.0);
        let (mut plain, mut square, mut weighted) = (zero, zero, [zero; USED]);
        for (frame, weights) in frames.iter().zip(&group.above) {
            let above = values(frame) - near;
            plain += above;
            square = above.mul_add(above, square);
            for term in 0..USED {
                weighted[term] = above.mul_add(S::f32s::splat(simd, weights[term]), weighted[term]);
            }
        }
        let halves = |values: S::f32s| <[S::f64s; 2]>::from(values.widen());
        let (near, base, plain, square) = (halves(near), halves(values(base)), halves(plain), halves(square));
        for half in 0..2 {
            let start = start + half * S::f64s::LEN;
            let add = |sums: &mut [f64; BLOCK], more: S::f64s| {
                let sums = &mut sums[start..start + S::f64s::LEN];
                (S::f64s::from_slice(simd, sums) + more).store_slice(sums);
            };
            let step = near[half] - base[half];
            let above_base = count.mul_add(step, plain[half]);
            if let Some((sum, squares)) = &mut first {
                add(sum, above_base);
                add(squares, step.mul_add(plain[half] + above_base, square[half]));
            }
            for (term, sum) in sums.iter_mut().enumerate().take(USED) {
                let own = double(group.left[term]).mul_add(step, halves(weighted[term])[half]);
                add(sum, double(group.means[term]).mul_add(above_base, own));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_weigh_as_asked_however_late_in_the_recording() {
        // 1, t, t² and five swings at each frame.
        let values = |frame: u32| -> Vec<f64> {
            let time = 5000.0 + 0.07 * f64::from(frame);
            let swings = (1..=5).flat_map(|multiple| {
                let (sine, cosine) = (0.61 * f64::from(multiple) * time).sin_cos();
                [sine, -cosine]
            });
            [1.0, time, time * time].into_iter().chain(swings).collect()
        };
        let basis: Vec<Vec<f64>> = (0..16).map(values).collect();
        let weights = BatchWeights::new(&basis);
        for (frame, values) in basis.iter().enumerate() {
            let found = weights.of_frame(frame);
            assert_eq!(found.len(), 13);
            // t² differs by 10 000 within the batch, of which single precision keeps 6e-8.
            for (found, value) in found.iter().zip(values) {
                assert!((found - value).abs() < 1e-3, "frame {frame}: {found} for {value}");
            }
        }
        // The time itself, 5000, would be rounded to 2e-4 in single precision.
        assert!((weights.of_frame(3)[1] - basis[3][1]).abs() < 1e-7);
    }
}
