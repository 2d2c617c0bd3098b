//! Single pixels that stand alone: the detector's, not the scene's.
//!
//! A stuck pixel that nobody listed looks like a small, strong fault. But optics spread whatever is real
//! over its neighbors: through a blur of half a pixel, sharper than any real lens at this pixel size, the
//! four nearest neighbors of the smallest spot rise by an eighth of what its middle does. A pixel, or
//! a pair, that leaves its surroundings while they do not follow at all has not been seen but made.

use crate::frame::{ApparentKelvin, Frame};
use crate::noise::{Pixels, estimate_noise};

/// An isolated pixel leaves its surroundings by this many standard deviations of noise…
const NOISE_MULTIPLE: f32 = 8.0;
/// …and by this many kelvin: a smaller one does no harm, and a picture without noise is no exception.
const LEAST_STEP: f32 = 0.5;
/// …and by this many times what its surroundings, planes taken off, differ among themselves. The top of a
/// warm part leaves its neighbors no further than they differ: the ratio is 1 for a parabola, 2 for a
/// Gaussian of 0.85 pixels and above 4 for a point through optics of half a pixel.
const STEP_PER_BEND: f32 = 2.0;
/// …and by this share of what its surroundings differ, planes and all: on a steep edge a pixel or two between
/// the edge's sides look bent out of it…
const STEP_PER_RANGE: f32 = 0.3;
/// …and, with a partner, which leaves less to tell by, this many times of it.
const PAIRED_STEP_PER_RANGE: f32 = 2.5;
/// The nearest neighbors follow by less than this share of the step. Through a blur of half a pixel (sampled
/// Gaussian, e⁻² = 0.135 of the middle beside it and e⁻⁴ across) they follow by 0.135.
const LEAST_FOLLOWING: f32 = 0.06;

/// Column and row.
type Place = [usize; 2];

/// The picture without its isolated pixels, which are invalid now, and how many they were.
///
/// A pixel, or each of two that touch, is isolated if all of this holds:
/// - It lies beyond the means of all pairs of opposite neighbors, to one side, by 8 standard deviations
///   of the picture's own noise and by 0.5 K. Such means are blind to planes, so a pixel on the flank
///   of a hot part is judged as well as one on even ground. (One of two must lie beyond every neighbor.)
/// - It does so by twice what those means differ among themselves, and by 30 % of what the neighbors
///   differ; one of two by 250 % of that.
/// - The nearest neighbors follow by less than 6 %: they stand out neither of the diagonal ones nor of what
///   lies beyond them, the latter by a mixed second difference, which is blind to edges along the axes.
///
/// Works on the camera's own pixels: interpolation spreads a stuck pixel and makes it look real. A pixel
/// with fewer than two pairs of valid opposite neighbors (on the border, among invalid ones) is kept.
///
/// # Accuracy
/// On the simulated board of the samples, with optics of 0.5 and 0.7 pixels: of steps of 5 to 50 K at random
/// places 98 % of single pixels and 93 % of pairs are found, the rest lies on steep edges; of a picture
/// without any, fewer than one pixel in 100 000 is set aside (`tests/isolated_pixels.rs`).
#[must_use]
pub fn set_aside_isolated(frame: Frame<ApparentKelvin>) -> (Frame<ApparentKelvin>, usize) {
    let sigma = estimate_noise(&frame, Pixels::Own).map_or(0.0, |noise| noise.value() as f32);
    let isolated = Scene::new(&frame, LEAST_STEP.max(NOISE_MULTIPLE * sigma)).isolated();
    if isolated.is_empty() {
        return (frame, 0);
    }
    let mut values = frame.view().to_owned();
    for &[column, row] in &isolated {
        values[(row, column)] = f32::NAN;
    }
    // Of the frame's own shape, so never refused.
    Frame::new(values).map_or((frame, 0), |left| (left, isolated.len()))
}

struct Scene<'a> {
    values: &'a [f32],
    columns: usize,
    least_step: f32,
}

impl<'a> Scene<'a> {
    fn new(frame: &'a Frame<ApparentKelvin>, least_step: f32) -> Self {
        Self { values: frame.as_slice(), columns: frame.shape().1, least_step }
    }

    /// Every isolated pixel, once.
    fn isolated(&self) -> Vec<Place> {
        let mut isolated = Vec::new();
        for place in self.suspects() {
            if self.stands_alone(place, None) {
                isolated.push(place);
                continue;
            }
            let partner = self.extremes_around(place).into_iter().flatten().find(|&partner| {
                self.stands_alone(place, Some(partner)) && self.stands_alone(partner, Some(place))
            });
            isolated.extend(partner.into_iter().flat_map(|partner| [place, partner]));
        }
        isolated.sort_unstable();
        isolated.dedup();
        isolated
    }

    /// The few pixels worth a closer look. The mask (1 −2 1; −2 4 −2; 1 −2 1) makes at least twice its step
    /// of a pixel alone or of each of two; beside an invalid pixel it says nothing.
    fn suspects(&self) -> Vec<Place> {
        let suspicious = 2.0 * self.least_step;
        let mut suspects = Vec::new();
        let mut down = vec![0.0_f32; self.columns];
        let lines: Vec<&[f32]> = self.values.chunks_exact(self.columns).collect();
        for (row, lines) in (1..).zip(lines.windows(3)) {
            let [above, here, below] = lines else { continue };
            for (((down, above), here), below) in down.iter_mut().zip(*above).zip(*here).zip(*below) {
                *down = above - 2.0 * here + below;
            }
            for (column, around) in (1..).zip(down.windows(3)) {
                let response = around[0] - 2.0 * around[1] + around[2];
                // NaN is suspicious too.
                let even = response.abs() < suspicious;
                if !even && !here[column].is_nan() {
                    suspects.push([column, row]);
                }
            }
        }
        suspects
    }

    /// The highest and the lowest neighbor.
    fn extremes_around(&self, place: Place) -> [Option<Place>; 2] {
        let near = || {
            AROUND.iter().filter_map(move |&offset| {
                let near = moved(place, offset)?;
                Some((self.at(Some(near)), near)).filter(|(value, _)| !value.is_nan())
            })
        };
        let by_value = |a: &(f32, Place), b: &(f32, Place)| a.0.total_cmp(&b.0);
        [near().max_by(by_value), near().min_by(by_value)].map(|found| found.map(|(_, near)| near))
    }

    /// Whether a pixel is isolated when `partner`, one of its neighbors, is left out of account.
    fn stands_alone(&self, place: Place, partner: Option<Place>) -> bool {
        let here = self.at(Some(place));
        let valid = |place: Option<Place>| if place == partner { f32::NAN } else { self.at(place) };
        let around = AROUND.map(|offset| valid(moved(place, offset)));
        let means: [f32; 4] = std::array::from_fn(|index| 0.5 * (around[index] + around[index + 4]));
        if means.iter().filter(|mean| !mean.is_nan()).count() < 2 {
            return false;
        }
        let (mean_ends, ends) = (ends(means), ends(around));
        let [lowest, highest] = if partner.is_none() { mean_ends } else { ends };
        let (step, sign) = if here > highest { (here - highest, 1.0) } else { (lowest - here, -1.0) };
        let per_range = if partner.is_none() { STEP_PER_RANGE } else { PAIRED_STEP_PER_RANGE };
        let leaves = step > self.least_step
            && step > STEP_PER_BEND * (mean_ends[1] - mean_ends[0])
            && step > per_range * (ends[1] - ends[0]);
        let follows = |by: f32| sign * by >= LEAST_FOLLOWING * step;
        // Around one of two the diagonal neighbors are no measure: some touch the other.
        let level = 0.5 * (means[0] + means[2] - means[1] - means[3]);
        leaves
            && !(partner.is_none() && follows(level))
            && self.standing_out(place, partner).is_some_and(|by| !follows(by))
    }

    /// By how much the nearest neighbors stand out of what lies beyond them: the mean of
    /// (near − beside) − (beyond − corner) over the four directions and both sides. What touches
    /// `partner` is left out, because a real partner would warm it.
    fn standing_out(&self, place: Place, partner: Option<Place>) -> Option<f32> {
        let touches = |near: Place| {
            partner.is_some_and(|partner| near[0].abs_diff(partner[0]) + near[1].abs_diff(partner[1]) <= 1)
        };
        let value = |x: isize, y: isize| {
            let near = moved(place, [x, y]);
            if near.is_some_and(touches) { f32::NAN } else { self.at(near) }
        };
        let (mut sum, mut count) = (0.0, 0_u8);
        for [x, y] in [[0, -1], [1, 0], [0, 1], [-1, 0]] {
            for side in [-1, 1] {
                let [aside_x, aside_y] = [side * y, side * x];
                let term = value(x, y) - value(x + aside_x, y + aside_y) - value(2 * x, 2 * y)
                    + value(2 * x + aside_x, 2 * y + aside_y);
                if !term.is_nan() {
                    sum += term;
                    count += 1;
                }
            }
        }
        (count > 0).then(|| sum / f32::from(count))
    }

    /// The value, NaN outside or where invalid.
    fn at(&self, place: Option<Place>) -> f32 {
        let inside = place.filter(|[column, _]| *column < self.columns);
        inside
            .and_then(|[column, row]| self.values.get(row * self.columns + column).copied())
            .unwrap_or(f32::NAN)
    }
}

/// The eight neighbors, clockwise; the second four lie opposite of the first.
const AROUND: [[isize; 2]; 8] = [[0, -1], [1, -1], [1, 0], [1, 1], [0, 1], [-1, 1], [-1, 0], [-1, -1]];

fn moved([column, row]: Place, [x, y]: [isize; 2]) -> Option<Place> {
    Some([column.checked_add_signed(x)?, row.checked_add_signed(y)?])
}

/// The lowest and the highest of the valid ones.
fn ends<const COUNT: usize>(values: [f32; COUNT]) -> [f32; 2] {
    // `min` and `max` pass over NaN.
    values.into_iter().fold([f32::INFINITY, f32::NEG_INFINITY], |[lowest, highest], value| {
        [lowest.min(value), highest.max(value)]
    })
}
