//! What is left of misplacement after the alignment: of the whole picture, and of each part.
//!
//! Parts do not sit in quite the same place on every board: a body shifted by a fraction of a pixel
//! shows a bright and a dark edge in the difference, which is no change of temperature.
//!
//! To first order a picture B shifted by s differs by −∇B·s. Each part's own s is the least-squares
//! answer on its body and margin, beside a plane and a multiple of the part's own pattern that stand
//! for a change of temperature, so that a fault is not explained away; drawn towards zero as far as
//! the noise leaves it open. (B. D. Lucas, T. Kanade, IJCAI 1981, one step; named from memory.)

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::bodies::Body;
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
}

/// Parts scatter by about this much about their places, pixels (common practice, no source).
const PRIOR_PX: f64 = 0.5;
/// No part is taken to have moved further: a larger answer is something else.
const FURTHEST_PX: f64 = 1.5;
const UNKNOWNS: usize = 6;
/// Neighbouring pixels of a blurred picture share their errors: so many count as one.
const SHARED: f64 = 4.0;

/// The slope of a picture, K per pixel; 0 where it cannot be told.
#[derive(Debug, Clone)]
pub(super) struct Gradient {
    pub(super) x: Vec<f32>,
    pub(super) y: Vec<f32>,
}

impl Gradient {
    pub(super) fn of(picture: &Frame<SurfaceKelvin>) -> Self {
        let (rows, columns) = picture.shape();
        let values = picture.as_slice();
        let central = |before: f32, after: f32| {
            let slope = (after - before) / 2.0;
            if slope.is_nan() { 0.0 } else { slope }
        };
        let mut gradient = Self { x: vec![0.0; rows * columns], y: vec![0.0; rows * columns] };
        for row in 0..rows {
            let line = row * columns..(row + 1) * columns;
            for (out, three) in
                gradient.x[line.clone()].iter_mut().skip(1).zip(values[line.clone()].windows(3))
            {
                *out = central(three[0], three[2]);
            }
            if row > 0 && row + 1 < rows {
                let (above, below) = (&values[line.start - columns..], &values[line.end..]);
                for ((out, &above), &below) in gradient.y[line].iter_mut().zip(above).zip(below) {
                    *out = central(above, below);
                }
            }
        }
        gradient
    }
}

/// Pixels between the samples of the whole picture's fit.
const STEP: usize = 2;
/// Slopes below this, K per pixel, tell nothing of a shift.
const LEAST_SLOPE: f32 = 0.2;
const ITERATIONS: usize = 6;

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
/// Least squares with the biweight: parts that sit elsewhere and places that changed are few.
pub(super) fn fit_remainder(
    plain: &Frame<SurfaceKelvin>,
    gradient: &Gradient,
    difference: &Frame<Difference>,
) -> AlignmentRemainder {
    let (rows, columns) = difference.shape();
    let (values, trusted) = (difference.as_slice(), plain.as_slice());
    let samples: Vec<(SVector<f64, UNKNOWNS>, f64)> = (0..rows)
        .step_by(STEP)
        .flat_map(|row| (0..columns).step_by(STEP).map(move |column| (row, column)))
        .filter_map(|(row, column)| {
            let pixel = row * columns + column;
            let (x, y) = (gradient.x[pixel], gradient.y[pixel]);
            let telling = x.hypot(y) > LEAST_SLOPE && !values[pixel].is_nan() && !trusted[pixel].is_nan();
            telling.then(|| {
                let [u, v] = place(row, column, (rows, columns));
                let (x, y) = (-f64::from(x), -f64::from(y));
                (SVector::from([x, y, x * u, x * v, y * u, y * v]), f64::from(values[pixel]))
            })
        })
        .collect();
    let mut solution = SVector::<f64, UNKNOWNS>::zeros();
    if samples.len() < 10 * UNKNOWNS {
        return AlignmentRemainder::NONE;
    }
    for _ in 0..ITERATIONS {
        let mut left: Vec<f64> =
            samples.iter().map(|(row, value)| (value - row.dot(&solution)).abs()).collect();
        let middle = left.len() / 2;
        let deviation = 1.4826 * *left.select_nth_unstable_by(middle, f64::total_cmp).1;
        let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
        let mut right = SVector::<f64, UNKNOWNS>::zeros();
        for (row, value) in &samples {
            let share = (value - row.dot(&solution)) / (4.685 * deviation.max(1e-6));
            if share.abs() < 1.0 {
                let weight = (1.0 - share * share).powi(2);
                normal += row * row.transpose() * weight;
                right += row * (weight * value);
            }
        }
        let ridge = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity() * (normal.trace() * 1e-9);
        let Some(factor) = (normal + ridge).cholesky() else { return AlignmentRemainder::NONE };
        solution = factor.solve(&right);
    }
    let bounded = |shift: f64| if shift.is_finite() { shift.clamp(-FURTHEST_PX, FURTHEST_PX) } else { 0.0 };
    let s: [f64; UNKNOWNS] = solution.map(bounded).into();
    AlignmentRemainder { shift_px: [s[0], s[1]], across_px: [[s[2], s[3]], [s[4], s[5]]] }
}

/// `difference` with what the remainder explains taken out.
pub(super) fn without_remainder(
    difference: &Frame<Difference>,
    gradient: &Gradient,
    remainder: &AlignmentRemainder,
) -> Frame<Difference> {
    let shape = difference.shape();
    let mut values = difference.view().to_owned();
    for (((row, column), value), (x, y)) in values.indexed_iter_mut().zip(gradient.x.iter().zip(&gradient.y))
    {
        let [along, down] = remainder.at(place(row, column, shape));
        *value += x * along + y * down;
    }
    Frame::new(values).unwrap_or_else(|_| difference.clone())
}

/// A pixel's place, −½ to ½ across the picture.
fn place(row: usize, column: usize, (rows, columns): (usize, usize)) -> [f64; 2] {
    [column as f64 / columns as f64 - 0.5, row as f64 / rows as f64 - 0.5]
}

/// Each part's shift on `difference` (unit minus `baseline`).
///
/// Metal (invalid in `plain`) has no say where enough else is left: its reading scatters by itself.
pub(super) fn fit_shifts(
    baseline: &Frame<SurfaceKelvin>,
    plain: &Frame<SurfaceKelvin>,
    gradient: &Gradient,
    difference: &Frame<Difference>,
    bodies: &[Body],
) -> Vec<PartShift> {
    bodies
        .iter()
        .map(|body| {
            let is_plain = |&pixel: &usize| !plain.as_slice()[pixel].is_nan();
            let telling: Vec<usize> = body.around.iter().copied().filter(is_plain).collect();
            let enough = telling.len() * 3 >= body.around.len();
            fit_one(
                baseline,
                gradient,
                difference,
                &body.designator,
                if enough { &telling } else { &body.around },
            )
        })
        .collect()
}

fn fit_one(
    baseline: &Frame<SurfaceKelvin>,
    gradient: &Gradient,
    difference: &Frame<Difference>,
    designator: &str,
    pixels: &[usize],
) -> PartShift {
    let columns = baseline.shape().1;
    let (temperatures, changes) = (baseline.as_slice(), difference.as_slice());
    let place = |pixel: usize| ((pixel % columns) as f64, (pixel / columns) as f64);
    let valid = || pixels.iter().copied().filter(|&p| !changes[p].is_nan() && !temperatures[p].is_nan());
    let count = valid().count() as f64;
    let mean = |of: &dyn Fn(usize) -> f64| valid().map(of).sum::<f64>() / count;
    let (x, y) = (mean(&|p| place(p).0), mean(&|p| place(p).1));
    let level = mean(&|p| f64::from(temperatures[p]));
    let row = |pixel: usize| {
        let (px, py) = place(pixel);
        SVector::<f64, UNKNOWNS>::from([
            -f64::from(gradient.x[pixel]),
            -f64::from(gradient.y[pixel]),
            1.0,
            (px - x) / 10.0,
            (py - y) / 10.0,
            (f64::from(temperatures[pixel]) - level) / 10.0,
        ])
    };
    let unmoved = PartShift {
        designator: designator.to_owned(),
        shift_px: [0.0; 2],
        standard_uncertainty_px: [PRIOR_PX; 2],
    };
    if count < 2.0 * UNKNOWNS as f64 {
        return unmoved;
    }
    let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
    let mut right = SVector::<f64, UNKNOWNS>::zeros();
    for pixel in valid() {
        let row = row(pixel);
        normal += row * row.transpose();
        right += row * f64::from(changes[pixel]);
    }
    let ridge = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity() * (normal.trace() * 1e-12);
    let Some(free) = (normal + ridge).cholesky().map(|factor| factor.solve(&right)) else { return unmoved };
    let variance = valid().map(|p| (f64::from(changes[p]) - row(p).dot(&free)).powi(2)).sum::<f64>()
        / (count - UNKNOWNS as f64)
        * SHARED;
    // The prior in the data's own measure.
    let mut steadied = normal + ridge;
    for axis in 0..2 {
        steadied[(axis, axis)] += variance / (PRIOR_PX * PRIOR_PX);
    }
    let Some(factor) = steadied.cholesky() else { return unmoved };
    let solution = factor.solve(&right);
    let covariance = factor.inverse();
    let bounded = |shift: f64| if shift.is_finite() { shift.clamp(-FURTHEST_PX, FURTHEST_PX) } else { 0.0 };
    PartShift {
        shift_px: [bounded(solution[0]), bounded(solution[1])],
        standard_uncertainty_px: [0, 1].map(|axis| (variance * covariance[(axis, axis)]).max(0.0).sqrt()),
        ..unmoved
    }
}

/// `difference` with what the shifts explain taken out.
pub(super) fn without_shifts(
    difference: &Frame<Difference>,
    gradient: &Gradient,
    bodies: &[Body],
    shifts: &[PartShift],
) -> Frame<Difference> {
    let mut values = difference.view().to_owned();
    if let Some(values) = values.as_slice_mut() {
        for (body, shift) in bodies.iter().zip(shifts) {
            let [x, y] = shift.shift_px.map(|s| s as f32);
            for &pixel in &body.around {
                values[pixel] += gradient.x[pixel] * x + gradient.y[pixel] * y;
            }
        }
    }
    // The shape is that of a frame that exists.
    Frame::new(values).unwrap_or_else(|_| difference.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let gradient = Gradient::of(&baseline);
        let around: Vec<usize> = (0..1600)
            .filter(|pixel| (8..33).contains(&(pixel % 40)) && (8..33).contains(&(pixel / 40)))
            .collect();
        let body = Body { designator: "U1".to_owned(), inside: around.clone(), around };
        let bodies = [body];
        let shifts = fit_shifts(&baseline, &baseline, &gradient, &difference, &bodies);
        let left = without_shifts(&difference, &gradient, &bodies, &shifts);
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
