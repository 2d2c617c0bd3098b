//! How much a picture holds to align by, and how well two aligned pictures agree.

use nalgebra::Matrix3;

use super::pyramid::UnitMap;
use super::warp::Source;
use crate::frame::{ApparentKelvin, Difference, Frame};
use crate::geometry::Point;
use crate::noise::{Pixels, estimate_noise};
use crate::quantile::quantile;
use crate::units::KelvinDifference;

/// Detail beyond this quantile of its size is cut down to it, so that one hot part does not decide.
const CLIP_AT: f64 = 0.99;

/// Correlation of the detail of two pictures where both are valid, gain and offset removed, −1 to 1.
/// `map` leads from the reference's pixels to the moving picture's; every `stride`-th pixel counts.
pub(super) fn correlation(
    reference: &Frame<Difference>,
    moving: &Frame<Difference>,
    map: &Matrix3<f64>,
    stride: usize,
) -> f64 {
    let source = Source::new(moving.as_slice(), moving.shape());
    let (rows, columns) = reference.shape();
    let values = reference.as_slice();
    let (mut here, mut there) = (Vec::new(), Vec::new());
    for row in (0..rows).step_by(stride) {
        for column in (0..columns).step_by(stride) {
            let (x, y) = (column as f64, row as f64);
            let depth = 1.0 / (map[(2, 0)] * x + map[(2, 1)] * y + map[(2, 2)]);
            let seen = source.at(
                (map[(0, 0)] * x + map[(0, 1)] * y + map[(0, 2)]) * depth,
                (map[(1, 0)] * x + map[(1, 1)] * y + map[(1, 2)]) * depth,
            );
            let value = values[row * columns + column];
            if !seen.is_nan() && !value.is_nan() {
                here.push(value);
                there.push(seen);
            }
        }
    }
    clip(&mut here);
    clip(&mut there);
    pearson(&here, &there)
}

fn clip(values: &mut [f32]) {
    let mut sizes: Vec<f32> = values.iter().map(|v| v.abs()).collect();
    let most = quantile(&mut sizes, CLIP_AT).unwrap_or(0.0);
    values.iter_mut().for_each(|v| *v = v.clamp(-most, most));
}

/// Pearson's correlation; 0 where a side does not vary or fewer than 16 numbers are given.
fn pearson(a: &[f32], b: &[f32]) -> f64 {
    let n = a.len().min(b.len());
    if n < 16 {
        return 0.0;
    }
    let mean = |values: &[f32]| values.iter().map(|v| f64::from(*v)).sum::<f64>() / n as f64;
    let (mean_a, mean_b) = (mean(a), mean(b));
    let (mut aa, mut ab, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in a.iter().zip(b) {
        let (a, b) = (f64::from(*a) - mean_a, f64::from(*b) - mean_b);
        aa += a * a;
        ab += a * b;
        bb += b * b;
    }
    let strength = (aa * bb).sqrt();
    if strength > 0.0 { ab / strength } else { 0.0 }
}

/// How strong the strongest detail of a picture is (its 99 % quantile), and how strong it must be to rise
/// above the picture's own noise, both kelvin. `half` is the picture halved once, `detail` its detail.
pub(super) fn strength_of_detail(frame: &Frame<ApparentKelvin>, detail: &Frame<Difference>) -> (f64, f64) {
    /// What halving and the finest smoothing leave of independent noise: at most this share.
    const NOISE_LEFT: f64 = 0.12;
    /// The 99 % quantile of Gaussian noise is 2.6 standard deviations; detail must be well beyond it.
    const SIGMAS: f64 = 8.0;
    /// A camera's steps and rounding, kelvin.
    const FAINTEST: f64 = 2e-3;
    let mut sizes: Vec<f32> = detail.as_slice().iter().filter(|v| !v.is_nan()).map(|v| v.abs()).collect();
    let found = f64::from(quantile(&mut sizes, CLIP_AT).unwrap_or(0.0));
    let noise = estimate_noise(frame, Pixels::Own).map_or(0.0, KelvinDifference::value);
    (found, (SIGMAS * NOISE_LEFT * noise).max(FAINTEST))
}

/// The fraction of a baseline's pixels on which `map` puts a valid pixel of `unit`; every second pixel
/// of every second row counts.
pub(super) fn overlap(unit: &Frame<ApparentKelvin>, shape: (usize, usize), map: &UnitMap) -> f64 {
    let back = map.inverse();
    let (mut covered, mut all) = (0_usize, 0_usize);
    for row in (0..shape.0).step_by(2) {
        for column in (0..shape.1).step_by(2) {
            let place = back.apply(Point::new(column as f64, row as f64));
            let (x, y) = ((place.x + 0.5).floor(), (place.y + 0.5).floor());
            all += 1;
            if x >= 0.0 && y >= 0.0 && unit.at(y as usize, x as usize).is_some() {
                covered += 1;
            }
        }
    }
    covered as f64 / all.max(1) as f64
}
