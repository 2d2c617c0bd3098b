//! Pictures at falling resolution, and the detail in them that an alignment holds on to.

use nalgebra::Matrix3;

use super::smoothing::{gaussian_blur, halve};
use super::warp::warp;
use crate::frame::{ApparentKelvin, Difference, Frame};
use crate::geometry::{BaselinePixels, Homography, UnitPixels};
use crate::quantile::quantile;

/// The detail kept lies between these standard deviations, in pixels of its level: finer is noise,
/// coarser is the smooth heat of ambient, power and faults, which says nothing of where the board lies.
const FINEST: f32 = 0.8;
const COARSEST: f32 = 4.0;
/// The coarsest level keeps at least this many pixels on its shorter side.
const SMALLEST_SIDE: usize = 45;

/// A map from the unit's pixels to the baseline's.
pub(super) type UnitMap = Homography<UnitPixels, BaselinePixels>;

/// A picture and its halvings: pixel (x, y) of level n lies at (2ⁿ x, 2ⁿ y) of the picture itself.
#[derive(Debug)]
pub(super) struct Pyramid {
    levels: Vec<Frame<ApparentKelvin>>,
}

impl Pyramid {
    /// Halves `frame` down to [`SMALLEST_SIDE`].
    pub(super) fn new(frame: &Frame<ApparentKelvin>) -> Self {
        let mut levels = vec![frame.clone()];
        let mut newest = halve(frame);
        while newest.shape().0.min(newest.shape().1) >= SMALLEST_SIDE {
            let next = halve(&newest);
            levels.push(std::mem::replace(&mut newest, next));
        }
        Self { levels }
    }

    /// The number of the coarsest level; 0 is the picture itself.
    pub(super) fn coarsest(&self) -> usize {
        self.levels.len() - 1
    }

    /// A level, the coarsest for any number beyond it.
    pub(super) fn level(&self, number: usize) -> &Frame<ApparentKelvin> {
        &self.levels[number.min(self.coarsest())]
    }

    /// This unit as `map` brings it onto level `number` of a baseline whose level has `shape`; read from
    /// the own level whose pixels come closest in size, so that nothing aliases.
    pub(super) fn warped_onto(
        &self,
        map: &UnitMap,
        number: usize,
        shape: (usize, usize),
    ) -> Frame<ApparentKelvin> {
        let (rows, columns) = self.levels[0].shape();
        let middle = crate::geometry::Point::new(columns as f64 * 0.5, rows as f64 * 0.5);
        let own = (number as f64 - map.scale_at(middle).log2()).round().max(0.0) as usize;
        let own = own.min(self.coarsest());
        let matrix = scaling(-(number as f64)) * map.matrix() * scaling(own as f64);
        let level_map = UnitMap::from_matrix(matrix).unwrap_or_else(|_| UnitMap::identity());
        warp(self.level(own), &level_map, shape)
    }
}

/// The map that multiplies coordinates by two to the power `exponent`.
fn scaling(exponent: f64) -> Matrix3<f64> {
    Matrix3::from_diagonal(&nalgebra::Vector3::new(exponent.exp2(), exponent.exp2(), 1.0))
}

/// A map within level `number`, in pixels of the picture itself.
pub(super) fn at_full_size(level_map: &Matrix3<f64>, number: usize) -> Matrix3<f64> {
    scaling(number as f64) * level_map * scaling(-(number as f64))
}

/// The detail of `frame`: its smooth part taken off, its noise damped; invalid where `frame` is.
pub(super) fn detail(frame: &Frame<ApparentKelvin>) -> Frame<Difference> {
    let fine = gaussian_blur(frame, FINEST).into_array();
    let coarse = gaussian_blur(frame, COARSEST).into_array();
    Frame::new(fine - coarse).unwrap_or_else(|_| frame.map(|_| f32::NAN))
}

/// The detail of `moving` where part of it is missing: the gap is bridged by `reference`, shifted in
/// temperature to match, so that the edge of the overlap is no edge in the detail. Invalid in the gap.
pub(super) fn detail_bridged(
    moving: &Frame<ApparentKelvin>,
    reference: &Frame<ApparentKelvin>,
    gain: f32,
) -> Frame<Difference> {
    let mut gaps: Vec<f32> = (moving.as_slice().iter().zip(reference.as_slice()))
        .step_by(7)
        .map(|(moving, reference)| moving - gain * reference)
        .filter(|gap| !gap.is_nan())
        .collect();
    let whole = moving.count_valid() == moving.as_slice().len();
    let Some(offset) = quantile(&mut gaps, 0.5).filter(|_| !whole) else {
        return detail(moving);
    };
    let mut bridged = moving.view().to_owned();
    bridged.zip_mut_with(&reference.view(), |value, reference| {
        if value.is_nan() {
            *value = gain * reference + offset;
        }
    });
    let Ok(bridged) = Frame::new(bridged) else { return detail(moving) };
    let mut found = detail(&bridged).into_array();
    found.zip_mut_with(&moving.view(), |value, moving| {
        if moving.is_nan() {
            *value = f32::NAN;
        }
    });
    Frame::new(found).unwrap_or_else(|_| detail(moving))
}
