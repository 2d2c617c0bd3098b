//! Least, mean and greatest of places in one frame.

use std::ops::Range;

use fearless_simd::{Level, Simd, dispatch, prelude::*};

/// One place's reading in one frame, in the frame's own quantity. Pixels are `(row, column)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceSample {
    /// The least valid value.
    pub least: f32,
    /// Where it is.
    pub least_at: (usize, usize),
    /// The mean of the valid values.
    pub mean: f32,
    /// The greatest valid value.
    pub greatest: f32,
    /// Where it is.
    pub greatest_at: (usize, usize),
    /// How many pixels are valid.
    pub pixels: usize,
}

/// The samples of places that are given as stretches of a frame's values; `None` without a valid pixel.
pub(super) fn read_places(
    values: &[f32],
    columns: usize,
    places: &[Vec<Range<usize>>],
) -> Vec<Option<PlaceSample>> {
    let mut samples = Vec::with_capacity(places.len());
    // The loops are compiled several times over, for as wide registers as the processor may have.
    dispatch!(Level::new(), simd => simd.vectorize(
        #[inline(always)]
        || {
            // A loop, since the closure of an iterator would not be compiled for them.
            for stretches in places {
                samples.push(sample(simd, values, columns, stretches));
            }
        },
    ));
    samples
}

#[inline(always)]
fn sample<S: Simd>(
    simd: S,
    values: &[f32],
    columns: usize,
    stretches: &[Range<usize>],
) -> Option<PlaceSample> {
    let (mut least, mut greatest) = ((f32::INFINITY, 0..0), (f32::NEG_INFINITY, 0..0));
    let (mut sum, mut pixels) = (0.0_f64, 0);
    for stretch in stretches {
        let Some(own) = values.get(stretch.clone()) else { continue };
        let (low, high, part, count) = summary(simd, own);
        if low < least.0 {
            least = (low, stretch.clone());
        }
        if high > greatest.0 {
            greatest = (high, stretch.clone());
        }
        sum += part;
        pixels += count;
    }
    // Only where the extremes turned out to lie are they looked for.
    let place = |(wanted, stretch): (f32, Range<usize>)| {
        let own = values.get(stretch.clone()).unwrap_or_default();
        let found = own.iter().position(|&value| value == wanted).unwrap_or(0);
        ((stretch.start + found) / columns, (stretch.start + found) % columns)
    };
    let mean = (sum / pixels as f64) as f32;
    (pixels > 0).then_some(PlaceSample {
        least: least.0,
        least_at: place(least),
        mean,
        greatest: greatest.0,
        greatest_at: place(greatest),
        pixels,
    })
}

/// Least, greatest, sum and count of the valid values of a stretch.
#[inline(always)]
fn summary<S: Simd>(simd: S, values: &[f32]) -> (f32, f32, f64, usize) {
    // Nearly every stretch is all valid: an invalid value shows in the sum, and only then are they sorted out.
    let (low, high, sum) = of_all(simd, values);
    if sum.is_nan() { of_valid(values) } else { (low, high, sum, values.len()) }
}

/// Least, greatest and sum; the sum is NaN where a value is, the others then mean nothing.
#[inline(always)]
fn of_all<S: Simd>(simd: S, values: &[f32]) -> (f32, f32, f64) {
    /// Registers for each of the three: one alone would wait for its own last result.
    const REGISTERS: usize = 4;
    // Sums are taken from the first value on, so that they keep their digits in f32.
    let base = values.first().copied().unwrap_or(0.0);
    let all = |value: f32| [S::f32s::splat(simd, value); REGISTERS];
    let (mut low, mut high, mut sums) = (all(base), all(base), all(0.0));
    let chunks = values.chunks_exact(REGISTERS * S::f32s::LEN);
    let rest = chunks.remainder();
    for chunk in chunks {
        for register in 0..REGISTERS {
            let start = register * S::f32s::LEN;
            let values = S::f32s::from_slice(simd, &chunk[start..start + S::f32s::LEN]);
            low[register] = values.min(low[register]);
            high[register] = values.max(high[register]);
            sums[register] += values - base;
        }
    }
    let sum_of_rest: f64 = rest.iter().map(|value| f64::from(value - base)).sum();
    let sum =
        sums.iter().flat_map(|lanes| lanes.as_slice()).copied().map(f64::from).sum::<f64>() + sum_of_rest;
    let low = low.iter().flat_map(|lanes| lanes.as_slice()).chain(rest).copied().fold(base, f32::min);
    let high = high.iter().flat_map(|lanes| lanes.as_slice()).chain(rest).copied().fold(base, f32::max);
    (low, high, sum + f64::from(base) * values.len() as f64)
}

/// The same and their count, of the values that are no NaN.
fn of_valid(values: &[f32]) -> (f32, f32, f64, usize) {
    let valid = || values.iter().copied().filter(|value| !value.is_nan());
    let low = valid().fold(f32::INFINITY, f32::min);
    let high = valid().fold(f32::NEG_INFINITY, f32::max);
    (low, high, valid().map(f64::from).sum(), valid().count())
}
