//! The weighted sums of many pixels over a batch of frames, in single precision.
//!
//! All is inlined into the caller, which is compiled for wider registers than those that every processor has.

use std::ops::Range;

use super::mirrored_frames::BatchPlan;

/// Pixels taken together: those of a batch, with their sums, fit into the nearest memory of most
/// processors (8 KiB and half a KiB for each sum).
pub(super) const BLOCK: usize = 128;
/// The most frames in a batch. Twice as many would halve the passes over the sums, but beside a drift of
/// kelvins their squares in single precision would no longer tell a noise of 0.1 mK.
pub(super) const BATCH: usize = 16;
/// Pixels in the registers at once.
const LANES: usize = 8;
/// Weighted sums in the registers at once.
const TERMS: usize = 4;

/// Some weighted sums over the same rows.
struct Group {
    terms: usize,
    /// For each row its weights, each as often as there are pixels in the registers.
    weights: Vec<[[f32; LANES]; TERMS]>,
}

impl Group {
    /// Groups of the sums with these weights, over so many rows; at least one, which may have no sums.
    fn all(sums: &[Vec<f32>], rows: usize) -> Vec<Self> {
        let group = |sums: &[Vec<f32>]| {
            let of_row = |row: usize| {
                std::array::from_fn(|term| [sums.get(term).map_or(0.0, |weights| weights[row]); LANES])
            };
            Self { terms: sums.len(), weights: (0..rows).map(of_row).collect() }
        };
        if sums.is_empty() { vec![group(&[])] } else { sums.chunks(TERMS).map(group).collect() }
    }
}

/// Room for a block of pixels, and a plan ready to be followed in it.
pub(super) struct BatchSums {
    mirrored: bool,
    frames: usize,
    of_sums: Vec<Group>,
    of_differences: Vec<Group>,
    rows: Box<[[f32; BLOCK]; BATCH]>,
    sums: Vec<[f32; BLOCK]>,
    squares: [f32; BLOCK],
}

impl BatchSums {
    /// For a batch of so many frames, at most [`BATCH`].
    pub(super) fn new(plan: &BatchPlan, frames: usize) -> Self {
        let pairs = frames / 2;
        Self {
            mirrored: plan.mirrored,
            frames,
            // The first weights are ones, whose sum needs no product.
            of_sums: Group::all(
                plan.of_sums.get(1..).unwrap_or_default(),
                if plan.mirrored { pairs } else { frames },
            ),
            of_differences: Group::all(&plan.of_differences, pairs),
            rows: Box::new([[0.0; BLOCK]; BATCH]),
            sums: vec![[0.0; BLOCK]; plan.of_sums.len() + plan.of_differences.len()],
            squares: [0.0; BLOCK],
        }
    }

    /// Sums up what the frames have above `near` in these pixels, a block or less: the sums in the order
    /// of the plan, and those of the squares. Places beyond the pixels hold nothing of use.
    #[inline(always)]
    pub(super) fn sum(
        &mut self,
        frames: &[&[f32]],
        pixels: Range<usize>,
        near: &[f32],
    ) -> (&[[f32; BLOCK]], &[f32; BLOCK]) {
        let values =
            |frame: usize| frames.get(frame).and_then(|frame| frame.get(pixels.clone())).unwrap_or_default();
        let pairs = self.frames / 2;
        let (before, after) = self.rows.split_at_mut(if self.mirrored { pairs } else { self.frames });
        if self.mirrored {
            for (pair, (sums, differences)) in before.iter_mut().zip(after.iter_mut()).enumerate() {
                fold(values(pair), values(self.frames - 1 - pair), near, sums, differences);
            }
        } else {
            for (frame, above) in before.iter_mut().enumerate() {
                let values = values(frame).iter().zip(near);
                above.iter_mut().zip(values).for_each(|(above, (value, near))| *above = value - near);
            }
        }
        let plan_sums = 1 + self.of_sums.iter().map(|group| group.terms).sum::<usize>();
        let (of_sums, of_differences) = self.sums.split_at_mut(plan_sums);
        let mut rest = of_sums;
        for (index, group) in self.of_sums.iter().enumerate() {
            let taken = group.terms + usize::from(index == 0);
            let (own, others) = rest.split_at_mut(taken);
            rest = others;
            if index == 0 {
                by_terms::<true, true>(before, group, own, &mut self.squares);
            } else {
                by_terms::<false, false>(before, group, own, &mut self.squares);
            }
        }
        if self.mirrored {
            let after = &after[..pairs];
            let mut rest = of_differences;
            for (index, group) in self.of_differences.iter().enumerate() {
                let (own, others) = rest.split_at_mut(group.terms);
                rest = others;
                if index == 0 {
                    by_terms::<false, true>(after, group, own, &mut self.squares);
                } else {
                    by_terms::<false, false>(after, group, own, &mut self.squares);
                }
            }
            // (a + b)² + (a − b)² is twice a² + b².
            self.squares.iter_mut().for_each(|square| *square *= 0.5);
        }
        (&self.sums, &self.squares)
    }
}

/// What two frames have above `near`, added up and subtracted.
#[inline(always)]
fn fold(early: &[f32], late: &[f32], near: &[f32], sums: &mut [f32; BLOCK], differences: &mut [f32; BLOCK]) {
    let frames = early.iter().zip(late).zip(near);
    for ((sum, difference), ((early, late), near)) in sums.iter_mut().zip(differences).zip(frames) {
        let (early, late) = (early - near, late - near);
        (*sum, *difference) = (early + late, early - late);
    }
}

/// [`weighted_sums`] with the number of sums known to the compiler.
#[inline(always)]
fn by_terms<const PLAIN: bool, const SQUARES: bool>(
    rows: &[[f32; BLOCK]],
    group: &Group,
    sums: &mut [[f32; BLOCK]],
    squares: &mut [f32; BLOCK],
) {
    let weights = &group.weights;
    match group.terms {
        0 => weighted_sums::<0, PLAIN, SQUARES>(rows, weights, sums, squares),
        1 => weighted_sums::<1, PLAIN, SQUARES>(rows, weights, sums, squares),
        2 => weighted_sums::<2, PLAIN, SQUARES>(rows, weights, sums, squares),
        3 => weighted_sums::<3, PLAIN, SQUARES>(rows, weights, sums, squares),
        _ => weighted_sums::<TERMS, PLAIN, SQUARES>(rows, weights, sums, squares),
    }
}

/// The plain sum of the rows first, if it is wanted, then the weighted ones. The squares begin anew with
/// the plain sum and are added to otherwise.
#[inline(always)]
fn weighted_sums<const TERMS_USED: usize, const PLAIN: bool, const SQUARES: bool>(
    rows: &[[f32; BLOCK]],
    weights: &[[[f32; LANES]; TERMS]],
    sums: &mut [[f32; BLOCK]],
    squares: &mut [f32; BLOCK],
) {
    for lanes in 0..BLOCK / LANES {
        let mut weighted = [[0.0_f32; LANES]; TERMS_USED];
        let (mut plain, mut square) = ([0.0_f32; LANES], [0.0_f32; LANES]);
        for (row, weights) in rows.iter().zip(weights) {
            let values = &row.as_chunks::<LANES>().0[lanes];
            for term in 0..TERMS_USED {
                for lane in 0..LANES {
                    weighted[term][lane] += weights[term][lane] * values[lane];
                }
            }
            for lane in 0..LANES {
                if PLAIN {
                    plain[lane] += values[lane];
                }
                if SQUARES {
                    square[lane] += values[lane] * values[lane];
                }
            }
        }
        let first = usize::from(PLAIN);
        if PLAIN {
            sums[0].as_chunks_mut::<LANES>().0[lanes] = plain;
        }
        for term in 0..TERMS_USED {
            sums[first + term].as_chunks_mut::<LANES>().0[lanes] = weighted[term];
        }
        if SQUARES {
            let place = &mut squares.as_chunks_mut::<LANES>().0[lanes];
            for lane in 0..LANES {
                place[lane] = if PLAIN { square[lane] } else { place[lane] + square[lane] };
            }
        }
    }
}
