//! Least, mean and greatest of places in one frame.

use std::ops::Range;

use fearless_simd::{Level, Simd, dispatch};

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

/// As many pixels at once as let the compiler use its widest registers.
const LANES: usize = 16;

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
                samples.push(sample(values, columns, stretches));
            }
        },
    ));
    samples
}

#[inline(always)]
fn sample(values: &[f32], columns: usize, stretches: &[Range<usize>]) -> Option<PlaceSample> {
    let (mut least, mut greatest) = ((f32::INFINITY, 0..0), (f32::NEG_INFINITY, 0..0));
    let (mut sum, mut pixels) = (0.0_f64, 0);
    for stretch in stretches {
        let Some(own) = values.get(stretch.clone()) else { continue };
        let (low, high, part, count) = summary(own);
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
fn summary(values: &[f32]) -> (f32, f32, f64, usize) {
    // Nearly every stretch is all valid: an invalid value shows in the sum, and only then are they sorted out.
    let all = summary_of::<false>(values);
    if all.2.is_nan() { summary_of::<true>(values) } else { all }
}

#[inline(always)]
fn summary_of<const INVALID: bool>(values: &[f32]) -> (f32, f32, f64, usize) {
    // Sums are taken from the first value on, so that they keep their digits in f32.
    let base = if INVALID { values.iter().find(|value| !value.is_nan()) } else { values.first() };
    let base = base.copied().unwrap_or(0.0);
    let (mut low, mut high) = ([f32::INFINITY; LANES], [f32::NEG_INFINITY; LANES]);
    let (mut sums, mut counts) = ([0.0_f32; LANES], [0_u32; LANES]);
    let mut take = |lane: usize, value: f32| {
        let valid = !INVALID || !value.is_nan();
        low[lane] = if value < low[lane] { value } else { low[lane] };
        high[lane] = if value > high[lane] { value } else { high[lane] };
        sums[lane] += if valid { value - base } else { 0.0 };
        if INVALID {
            counts[lane] += u32::from(valid);
        }
    };
    let (chunks, rest) = values.as_chunks::<LANES>();
    for chunk in chunks {
        for (lane, &value) in chunk.iter().enumerate() {
            take(lane, value);
        }
    }
    for (lane, &value) in rest.iter().enumerate() {
        take(lane, value);
    }
    let count = if INVALID { counts.iter().map(|&count| count as usize).sum() } else { values.len() };
    let sum = sums.iter().copied().map(f64::from).sum::<f64>() + f64::from(base) * count as f64;
    let low = low.iter().copied().fold(f32::INFINITY, f32::min);
    let high = high.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    (low, high, sum, count)
}
