//! What is left of misplacement after the alignment: of the whole picture, and of each part.
//!
//! Parts do not sit in quite the same place on every board: a body shifted by a fraction of a pixel
//! shows a bright and a dark edge in the difference, which is no change of temperature.
//!
//! To first order a picture B shifted by s differs by −∇B·s. Each part's own s and turn are the
//! least-squares answer on its body and margin, beside a plane and a multiple of the part's own pattern
//! that stand for a change of temperature, so that a fault is not explained away; drawn towards zero as
//! far as the noise leaves it open. A part that lies a pixel off is beyond the first order: what its
//! place explains is taken from the pattern moved there, and the step repeated on what is left.
//! (B. D. Lucas, T. Kanade, IJCAI 1981; named from memory.)

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::bodies::Body;
use super::pattern::Pattern;
use crate::frame::{Difference, Frame, SurfaceKelvin};

/// How far one part lies from its place on the baseline.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartShift {
    /// Reference designator.
    pub designator: String,
    /// Along x (right) and y (down), pixels.
    pub shift_px: [f64; 2],
    /// Standard uncertainty of either, pixels; the prior's where the part has no edge to tell it.
    pub standard_uncertainty_px: [f64; 2],
    /// How far it is turned in the picture from x towards y, radians.
    pub turn: f64,
}

/// Parts scatter by about this much about their places, pixels (common practice, no source).
const PRIOR_PX: f64 = 0.5;
/// Parts are turned by about this much, radians: half a degree (common practice, no source).
const PRIOR_TURN: f64 = 0.009;
/// No part is taken to be turned further, radians.
const FURTHEST_TURN: f64 = 0.05;
/// No part is taken to have moved further: a larger answer is something else.
const FURTHEST_PX: f64 = 1.5;
const UNKNOWNS: usize = 7;
/// The unknowns of a turn, of a slope and of the pattern's strength are those of ten pixels, or kelvins.
const TEN: f64 = 10.0;
/// Steps of the fit: the first leaves a square of the shift, the second next to nothing.
const STEPS: usize = 3;
/// Neighbouring pixels of a blurred picture share their errors: so many count as one.
const SHARED: f64 = 4.0;

impl PartShift {
    fn unmoved(designator: &str) -> Self {
        Self {
            designator: designator.to_owned(),
            shift_px: [0.0; 2],
            standard_uncertainty_px: [PRIOR_PX; 2],
            turn: 0.0,
        }
    }

    /// How far a place of the part, from its middle, has moved, pixels.
    fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [self.shift_px[0] - self.turn * y, self.shift_px[1] + self.turn * x]
    }
}

/// Pixels between the samples of the whole picture's fit.
const STEP: usize = 2;
/// Slopes below this, K per pixel, tell nothing of a shift.
const LEAST_SLOPE: f32 = 0.2;
/// A place's slopes are told against places this far on both sides of it, as a share of the picture's width.
const ASIDE: f64 = 0.02;
const ITERATIONS: usize = 6;
const REMAINDER_UNKNOWNS: usize = 6;

/// The smooth remainder of an alignment: shift and its change across the picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AlignmentRemainder {
    /// In the middle of the picture, along x and y, pixels.
    pub shift_px: [f64; 2],
    /// Change of either from left to right edge and from top to bottom edge, pixels.
    pub across_px: [[f64; 2]; 2],
}

impl AlignmentRemainder {
    /// None at all.
    pub const NONE: Self = Self { shift_px: [0.0; 2], across_px: [[0.0; 2]; 2] };

    fn at(&self, place: [f64; 2]) -> [f32; 2] {
        [0, 1].map(|axis| {
            let across = self.across_px[axis];
            (self.shift_px[axis] + across[0] * place[0] + across[1] * place[1]) as f32
        })
    }
}

/// The whole picture's remainder on `difference`, from the slopes of what is no metal (valid in `plain`).
///
/// Each place is taken against those at equal distances on both sides: a fault's heat, which is as good as level or an even
/// slope over so little of the board, has no say. Least squares with the biweight: parts that sit elsewhere and places
/// that changed are few.
pub(super) fn fit_remainder(
    plain: &Frame<SurfaceKelvin>,
    pattern: &Pattern,
    difference: &Frame<Difference>,
) -> AlignmentRemainder {
    let (rows, columns) = difference.shape();
    let (values, trusted) = (difference.as_slice(), plain.as_slice());
    let seen = |(row, column): (usize, usize)| {
        let pixel = row * columns + column;
        let (x, y) = (-f64::from(pattern.x[pixel]), -f64::from(pattern.y[pixel]));
        let valid = !(values[pixel].is_nan() || trusted[pixel].is_nan() || x.is_nan() || y.is_nan());
        valid.then(|| {
            let [u, v] = place(row, column, (rows, columns));
            (SVector::from([x, y, x * u, x * v, y * u, y * v]), f64::from(values[pixel]))
        })
    };
    type Sample = (SVector<f64, REMAINDER_UNKNOWNS>, f64);
    let aside = ((columns as f64 * ASIDE).round() as usize).max(2);
    let samples: Vec<Sample> = (0..rows)
        .step_by(STEP)
        .flat_map(|row| (0..columns).step_by(STEP).map(move |column| (row, column)))
        .filter(|(row, column)| {
            let pixel = row * columns + column;
            pattern.x[pixel].hypot(pattern.y[pixel]) > LEAST_SLOPE
        })
        .filter_map(|(row, column)| {
            let own = seen((row, column))?;
            let sides = [
                (column >= aside && column + aside < columns)
                    .then(|| [(row, column - aside), (row, column + aside)]),
                (row >= aside && row + aside < rows).then(|| [(row - aside, column), (row + aside, column)]),
            ];
            let pairs = sides.into_iter().flatten().filter_map(|[a, b]| Some((seen(a)?, seen(b)?)));
            let (slopes, value, count) = pairs.fold(
                (SVector::zeros(), 0.0, 0.0),
                |(slopes, value, count): (SVector<f64, REMAINDER_UNKNOWNS>, f64, f64), (a, b)| {
                    (slopes + a.0 + b.0, value + a.1 + b.1, count + 2.0)
                },
            );
            (count > 0.0).then(|| (own.0 - slopes / count, own.1 - value / count))
        })
        .collect();
    let mut solution = SVector::<f64, REMAINDER_UNKNOWNS>::zeros();
    if samples.len() < 10 * REMAINDER_UNKNOWNS {
        return AlignmentRemainder::NONE;
    }
    for _ in 0..ITERATIONS {
        let mut left: Vec<f64> =
            samples.iter().map(|(row, value)| (value - row.dot(&solution)).abs()).collect();
        let middle = left.len() / 2;
        let deviation = 1.4826 * *left.select_nth_unstable_by(middle, f64::total_cmp).1;
        let mut normal = SMatrix::<f64, REMAINDER_UNKNOWNS, REMAINDER_UNKNOWNS>::zeros();
        let mut right = SVector::<f64, REMAINDER_UNKNOWNS>::zeros();
        for (row, value) in &samples {
            let share = (value - row.dot(&solution)) / (4.685 * deviation.max(1e-6));
            if share.abs() < 1.0 {
                let weight = (1.0 - share * share).powi(2);
                normal += row * row.transpose() * weight;
                right += row * (weight * value);
            }
        }
        let ridge =
            SMatrix::<f64, REMAINDER_UNKNOWNS, REMAINDER_UNKNOWNS>::identity() * (normal.trace() * 1e-9);
        let Some(factor) = (normal + ridge).cholesky() else { return AlignmentRemainder::NONE };
        solution = factor.solve(&right);
    }
    let bounded = |shift: f64| if shift.is_finite() { shift.clamp(-FURTHEST_PX, FURTHEST_PX) } else { 0.0 };
    let s: [f64; REMAINDER_UNKNOWNS] = solution.map(bounded).into();
    AlignmentRemainder { shift_px: [s[0], s[1]], across_px: [[s[2], s[3]], [s[4], s[5]]] }
}

/// `difference` with what the remainder explains taken out.
pub(super) fn without_remainder(
    difference: &Frame<Difference>,
    pattern: &Pattern,
    remainder: &AlignmentRemainder,
) -> Frame<Difference> {
    let shape = difference.shape();
    let mut values = difference.view().to_owned();
    for (((row, column), value), (x, y)) in values.indexed_iter_mut().zip(pattern.x.iter().zip(&pattern.y)) {
        let [along, down] = remainder.at(place(row, column, shape));
        *value += x * along + y * down;
    }
    Frame::new(values).unwrap_or_else(|_| difference.clone())
}

/// A pixel's place, −½ to ½ across the picture.
fn place(row: usize, column: usize, (rows, columns): (usize, usize)) -> [f64; 2] {
    [column as f64 / columns as f64 - 0.5, row as f64 / rows as f64 - 0.5]
}

/// Where each part lies by `difference` (unit minus baseline), and the difference with that taken out.
///
/// Metal (invalid in `plain`) has no say where enough else is left: its reading scatters by itself.
pub(super) fn take_out_shifts(
    baseline: &Frame<SurfaceKelvin>,
    plain: &Frame<SurfaceKelvin>,
    pattern: &Pattern,
    difference: &Frame<Difference>,
    bodies: &[Body],
) -> Placed {
    let places: Vec<Vec<usize>> = bodies
        .iter()
        .map(|body| {
            let is_plain = |&pixel: &usize| !plain.as_slice()[pixel].is_nan();
            let telling: Vec<usize> = body.around.iter().copied().filter(is_plain).collect();
            if telling.len() * 3 >= body.around.len() { telling } else { body.around.clone() }
        })
        .collect();
    let mut shifts: Vec<PartShift> = bodies.iter().map(|body| PartShift::unmoved(&body.designator)).collect();
    let mut misfits = vec![f64::NAN; bodies.len()];
    let mut left = difference.clone();
    for _ in 0..STEPS {
        let parts = bodies.iter().zip(&mut shifts).zip(&mut misfits).zip(&places);
        for (((body, shift), misfit), telling) in parts {
            (*shift, *misfit) = fit_one(baseline, pattern, &left, (shift, middle(body, pattern)), telling);
        }
        left = without_shifts(difference, pattern, bodies, &shifts);
    }
    Placed { shifts, misfits, left }
}

/// Where the parts of a board lie.
pub(super) struct Placed {
    pub(super) shifts: Vec<PartShift>,
    /// Mean square of what each part's place leaves unexplained on it, K²; NaN where it was not fitted.
    pub(super) misfits: Vec<f64>,
    /// The difference with their places taken out, K.
    pub(super) left: Frame<Difference>,
}

/// The middle of a body and its margin, (x, y).
fn middle(body: &Body, pattern: &Pattern) -> [f64; 2] {
    let count = body.around.len().max(1) as f64;
    let places = || body.around.iter().map(|&pixel| pattern.place(pixel));
    [places().map(|p| p[0]).sum::<f64>() / count, places().map(|p| p[1]).sum::<f64>() / count]
}

/// One step from `before`, which `left` has been freed of, about a part's middle.
fn fit_one(
    baseline: &Frame<SurfaceKelvin>,
    pattern: &Pattern,
    left: &Frame<Difference>,
    (before, [x, y]): (&PartShift, [f64; 2]),
    pixels: &[usize],
) -> (PartShift, f64) {
    let (temperatures, left) = (baseline.as_slice(), left.as_slice());
    let valid = || pixels.iter().copied().filter(|&p| !left[p].is_nan() && !temperatures[p].is_nan());
    let count = valid().count() as f64;
    let level = valid().map(|p| f64::from(temperatures[p])).sum::<f64>() / count;
    let row = |pixel: usize| {
        let [px, py] = pattern.place(pixel);
        let (dx, dy) = ((px - x) / TEN, (py - y) / TEN);
        let (along, down) = (f64::from(pattern.x[pixel]), f64::from(pattern.y[pixel]));
        SVector::<f64, UNKNOWNS>::from([
            -along,
            -down,
            along * dy - down * dx,
            1.0,
            dx,
            dy,
            (f64::from(temperatures[pixel]) - level) / TEN,
        ])
    };
    let unmoved = (PartShift::unmoved(&before.designator), f64::NAN);
    if count < 2.0 * UNKNOWNS as f64 {
        return unmoved;
    }
    let [sx, sy] = before.shift_px;
    let known = SVector::<f64, UNKNOWNS>::from([sx, sy, before.turn * TEN, 0.0, 0.0, 0.0, 0.0]);
    // What was taken out is put back to first order, so that the prior draws the whole and not the step
    // towards zero.
    let change = |pixel: usize| f64::from(left[pixel]) + row(pixel).dot(&known);
    let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
    let mut right = SVector::<f64, UNKNOWNS>::zeros();
    for pixel in valid() {
        let row = row(pixel);
        normal += row * row.transpose();
        right += row * change(pixel);
    }
    let ridge = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity() * (normal.trace() * 1e-12);
    let Some(free) = (normal + ridge).cholesky().map(|factor| factor.solve(&right)) else { return unmoved };
    let variance = valid().map(|p| (change(p) - row(p).dot(&free)).powi(2)).sum::<f64>()
        / (count - UNKNOWNS as f64)
        * SHARED;
    // The prior in the data's own measure.
    let mut steadied = normal + ridge;
    for (unknown, prior) in [PRIOR_PX, PRIOR_PX, PRIOR_TURN * TEN].into_iter().enumerate() {
        steadied[(unknown, unknown)] += variance / (prior * prior);
    }
    let Some(factor) = steadied.cholesky() else { return unmoved };
    let solution = factor.solve(&right);
    let covariance = factor.inverse();
    let bounded = |value: f64, end: f64| if value.is_finite() { value.clamp(-end, end) } else { 0.0 };
    let shift = PartShift {
        shift_px: [0, 1].map(|axis| bounded(solution[axis], FURTHEST_PX)),
        standard_uncertainty_px: [0, 1].map(|axis| (variance * covariance[(axis, axis)]).max(0.0).sqrt()),
        turn: bounded(solution[2] / TEN, FURTHEST_TURN),
        ..unmoved.0
    };
    (shift, variance / SHARED)
}

/// `difference` with what the parts' places explain taken out.
fn without_shifts(
    difference: &Frame<Difference>,
    pattern: &Pattern,
    bodies: &[Body],
    shifts: &[PartShift],
) -> Frame<Difference> {
    let mut values = difference.view().to_owned();
    if let Some(values) = values.as_slice_mut() {
        for (body, shift) in bodies.iter().zip(shifts) {
            let [x, y] = middle(body, pattern);
            for &pixel in &body.around {
                let [px, py] = pattern.place(pixel);
                values[pixel] -= pattern.moved(pixel, shift.at([px - x, py - y]));
            }
        }
    }
    // The shape is that of a frame that exists.
    Frame::new(values).unwrap_or_else(|_| difference.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kelvin;

    /// A warm body with soft edges, its middle at (x, 20), and its unit of change.
    fn body_at(x: f64, height: f64) -> Vec<f32> {
        let edge = |from: f64| 1.0 / (1.0 + (from / 0.8).exp());
        (0..40 * 40)
            .map(|pixel| {
                let (dx, dy) = (f64::from(pixel % 40) - x, f64::from(pixel / 40) - 20.0);
                (300.0 + height * edge(dx.abs() - 8.0) * edge(dy.abs() - 8.0)) as f32
            })
            .collect()
    }

    fn shift_seen(unit: &[f32]) -> (PartShift, f32) {
        let baseline = body_at(20.0, 10.0);
        let difference = unit.iter().zip(&baseline).map(|(unit, baseline)| unit - baseline).collect();
        let baseline = Frame::from_rows(40, 40, baseline).unwrap();
        let difference = Frame::from_rows(40, 40, difference).unwrap();
        let pattern = Pattern::of(&baseline, None, Kelvin::ROOM);
        let around: Vec<usize> = (0..1600)
            .filter(|pixel| (8..33).contains(&(pixel % 40)) && (8..33).contains(&(pixel / 40)))
            .collect();
        let body = Body { designator: "U1".to_owned(), inside: around.clone(), around };
        let bodies = [body];
        let Placed { shifts, left, .. } =
            take_out_shifts(&baseline, &baseline, &pattern, &difference, &bodies);
        let largest = left.as_slice().iter().fold(0.0_f32, |largest, value| largest.max(value.abs()));
        (shifts[0].clone(), largest)
    }

    #[test]
    fn a_body_moved_by_a_third_of_a_pixel_is_moved_back() {
        let (shift, left) = shift_seen(&body_at(20.3, 10.0));
        assert!((shift.shift_px[0] - 0.3).abs() < 0.05 && shift.shift_px[1].abs() < 0.02, "{shift:?}");
        // The edge showed 10 K / (4 · 0.8 px) · 0.3 px ≈ 0.9 K.
        assert!(left < 0.25, "{left} K left");
    }

    #[test]
    fn a_hotter_body_is_not_taken_for_a_moved_one() {
        let (shift, left) = shift_seen(&body_at(20.0, 13.0));
        assert!(shift.shift_px.iter().all(|shift| shift.abs() < 0.02), "{shift:?}");
        assert!((left - 3.0).abs() < 0.05, "{left} K left");
    }
}
