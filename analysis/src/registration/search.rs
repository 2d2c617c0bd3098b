//! From a start, good or bad, to the fitted map: the fit at the coarsest level first, the search by the
//! Fourier transform only where that fails, then the fit at ever finer levels.

use nalgebra::Matrix3;

use super::phase::{Spectrum, TurnAndScale, about_middle, side_for};
use super::pyramid::{Pyramid, UnitMap, at_full_size, detail, detail_bridged};
use super::quality::correlation;
use super::refine::{Template, refine};
use crate::frame::{ApparentKelvin, Difference, Frame};
use crate::geometry::{BaselinePixels, Point};
use crate::homography_fit::MapModel;

/// How many turns and scales, and shifts for each, the search looks at, and how many of them it fits.
const TURNS: usize = 6;
const SHIFTS: usize = 3;
const FITTED: usize = 4;

/// The two pictures at every level.
#[derive(Debug)]
pub(super) struct Pictures {
    unit: Pyramid,
    baseline: Pyramid,
    levels: Vec<Level>,
}

/// The baseline at one level.
#[derive(Debug)]
struct Level {
    detail: Frame<Difference>,
    template: Template,
}

/// A map found and how good it is.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    pub(super) map: UnitMap,
    gain: f32,
    /// Root-mean-square error, baseline pixels, by the fit's own scatter.
    pub(super) error_px: f64,
    /// Correlation of the detail at the level of the fit.
    pub(super) agreement: f64,
}

impl Pictures {
    pub(super) fn new(unit: &Frame<ApparentKelvin>, baseline: &Frame<ApparentKelvin>) -> Self {
        let (unit, baseline) = (Pyramid::new(unit), Pyramid::new(baseline));
        let levels = (0..=baseline.coarsest())
            .map(|number| {
                let detail = detail(baseline.level(number));
                Level { template: Template::new(&detail), detail }
            })
            .collect();
        Self { unit, baseline, levels }
    }

    /// The unit and the baseline halved once, with their detail: what is judged to be worth aligning.
    pub(super) fn details_to_judge(&self) -> [Frame<Difference>; 2] {
        let level = 1.min(self.levels.len() - 1);
        [detail(self.unit.level(1)), self.levels[level].detail.clone()]
    }

    /// The fit at the coarsest level, from `start`.
    pub(super) fn place_coarsely(&self, start: &UnitMap) -> Option<Placed> {
        let level = self.levels.len() - 1;
        let similar = self.fit(level, MapModel::Similarity, start, 1.0)?;
        let affine = self.fit(level, MapModel::Affine, &similar.map, similar.gain)?;
        Some(if affine.agreement >= similar.agreement { affine } else { similar })
    }

    /// The fit at every finer level, from a place found at the coarsest.
    pub(super) fn place_finely(&self, coarse: &Placed) -> Option<Placed> {
        let mut placed = coarse.clone();
        let finer = (self.levels.len() - 1).max(1);
        for level in (0..finer).rev() {
            placed = self.fit(level, MapModel::Projective, &placed.map, placed.gain)?;
        }
        Some(placed)
    }

    /// Fits at one level, from `map`.
    pub(super) fn fit(&self, level: usize, model: MapModel, map: &UnitMap, gain: f32) -> Option<Placed> {
        let Level { detail, template } = self.levels.get(level)?;
        let moving = self.moving_detail(level, map, gain);
        let settled = if level == 0 { 0.003 } else { 0.02 };
        let fitted = refine(template, &moving, model, gain, settled)?;
        let stride = if level == 0 { 3 } else { 1 };
        let agreement = correlation(detail, &moving, &fitted.map, stride);
        // The fit leads from the baseline to where the warped unit shows the same.
        let step = at_full_size(&fitted.map, level).try_inverse()?;
        let map = UnitMap::from_matrix(step * map.matrix()).ok()?;
        Some(Placed { map, gain: fitted.gain, error_px: fitted.error_px * (level as f64).exp2(), agreement })
    }

    /// How well the detail agrees under `map` as it is, −1 to 1, and how far off it is, pixels, where the
    /// fit from there settles.
    pub(super) fn judge(&self, map: &UnitMap) -> (f64, Option<f64>) {
        let agreement =
            correlation(&self.levels[0].detail, &self.moving_detail(0, map, 1.0), &Matrix3::identity(), 3);
        let better = self.place_coarsely(map).and_then(|coarse| self.place_finely(&coarse));
        let off = better.filter(|better| better.agreement >= agreement).map(|better| {
            let (rows, columns) = self.baseline.level(0).shape();
            let back = map.inverse().then(&better.map);
            let mut sum = 0.0;
            for i in 0..=4 {
                for j in 0..=4 {
                    let place = Point::<BaselinePixels>::new(
                        (columns as f64 - 1.0) * f64::from(i) / 4.0,
                        (rows as f64 - 1.0) * f64::from(j) / 4.0,
                    );
                    sum += back.apply(place).distance(place).powi(2);
                }
            }
            (sum / 25.0).sqrt().hypot(better.error_px)
        });
        (agreement, off)
    }

    fn moving_detail(&self, level: usize, map: &UnitMap, gain: f32) -> Frame<Difference> {
        let reference = self.baseline.level(level);
        let moving = self.unit.warped_onto(map, level, reference.shape());
        detail_bridged(&moving, reference, gain)
    }

    /// Places found by the Fourier transform about `start` and fitted at the coarsest level, best first.
    pub(super) fn search(&self, start: &UnitMap) -> Vec<Placed> {
        let coarsest = self.levels.len() - 1;
        let turning = coarsest.saturating_sub(1);
        let shape = self.baseline.level(turning).shape();
        let side = side_for(shape);
        let reference = Spectrum::new(&self.levels[turning].detail, side);
        let moving = Spectrum::new(&self.moving_detail(turning, start, 1.0), side);
        let mut turns = reference.turns_and_scales_to(&moving, TURNS);
        turns.push(TurnAndScale { turn: 0.0, scale: 1.0 });

        let full_shape = self.baseline.level(0).shape();
        let coarse_detail = &self.levels[coarsest].detail;
        let coarse_side = side_for(coarse_detail.shape());
        let coarse_reference = Spectrum::new(coarse_detail, coarse_side);
        let mut found: Vec<(f64, UnitMap)> = Vec::new();
        for turn in turns {
            let Some(undo) = about_middle(turn, [0.0, 0.0], full_shape).try_inverse() else { continue };
            let turned = undo * start.matrix();
            let Ok(turned_map) = UnitMap::from_matrix(turned) else { continue };
            let moving = self.moving_detail(coarsest, &turned_map, 1.0);
            for [x, y] in coarse_reference.shifts_to(&Spectrum::new(&moving, coarse_side), SHIFTS) {
                let shift = Matrix3::new(1.0, 0.0, x, 0.0, 1.0, y, 0.0, 0.0, 1.0);
                let agreement = correlation(coarse_detail, &moving, &shift, 1);
                let undo_shift = shift.try_inverse().map(|undo| at_full_size(&undo, coarsest) * turned);
                if let Some(Ok(map)) = undo_shift.map(UnitMap::from_matrix) {
                    found.push((agreement, map));
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut placed: Vec<Placed> =
            found.iter().take(FITTED).filter_map(|(_, map)| self.place_coarsely(map)).collect();
        placed.sort_by(|a, b| b.agreement.total_cmp(&a.agreement));
        placed
    }
}
