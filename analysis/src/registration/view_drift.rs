//! How far the board in view has moved since a reference frame: small shifts and turns of one recording.
//!
//! The photometric fit of [`refine`](super::refine) on pictures halved once, whose gain follows a board that
//! warms up. Where the board was knocked too far for it, phase correlation gives the start.

use nalgebra::Matrix3;

use super::phase::{Spectrum, side_for};
use super::pyramid::{UnitMap, at_full_size, detail};
use super::quality::{correlation, strength_of_detail};
use super::refine::{Template, refine};
use super::smoothing::halve;
use super::warp::warp;
use super::{CONFIDENCE_NEEDED, SURE};
use crate::frame::{ApparentKelvin, Difference, Frame};
use crate::geometry::Homography;
use crate::homography_fit::MapModel;

/// The fit settles within this, pixels of the halved picture.
const SETTLED: f64 = 0.01;

/// A reference frame that others are held against.
pub struct ReferenceView {
    shape: (usize, usize),
    detail: Frame<Difference>,
    template: Template,
    spectrum: Spectrum,
}

/// Where the board lies in a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewDrift {
    /// From the frame's pixels to the reference's.
    pub map: UnitMap,
    /// The farthest that any corner of the picture has moved, pixels.
    pub moved_px: f64,
    /// Estimated root-mean-square error of that, pixels.
    pub error_px: f64,
}

impl std::fmt::Debug for ReferenceView {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "ReferenceView({:?})", self.shape)
    }
}

impl ReferenceView {
    /// `None` where the frame shows too little detail to hold on to, as before a board is warm.
    #[must_use]
    pub fn new(reference: &Frame<ApparentKelvin>) -> Option<Self> {
        let detail = detail_of(reference)?;
        let spectrum = Spectrum::new(&detail, side_for(detail.shape()));
        Some(Self { shape: reference.shape(), template: Template::new(&detail), detail, spectrum })
    }

    /// Where the board lies in `frame`; the search begins at `near`, where it lay in a frame close by.
    /// `None` where that cannot be said: too little detail, or too unlike the reference.
    ///
    /// # Shape
    /// That of the reference; `None` for any other.
    #[must_use]
    pub fn drift_of(&self, frame: &Frame<ApparentKelvin>, near: &UnitMap) -> Option<ViewDrift> {
        if frame.shape() != self.shape {
            return None;
        }
        let half = halve(frame);
        let own = detail_of(frame)?;
        let close_by = self.fit(&half, &at_half_size(near)?);
        let fitted = match close_by {
            Some(fitted) if fitted.agreement >= SURE => fitted,
            close_by => {
                let spectrum = Spectrum::new(&own, side_for(own.shape()));
                let knocked = self.spectrum.shifts_to(&spectrum, 1).into_iter().find_map(|[x, y]| {
                    let shift = UnitMap::from_matrix(Matrix3::new(1.0, 0.0, -x, 0.0, 1.0, -y, 0.0, 0.0, 1.0));
                    self.fit(&half, &shift.ok()?)
                });
                let found = close_by.into_iter().chain(knocked);
                found
                    .max_by(|a, b| a.agreement.total_cmp(&b.agreement))
                    .filter(|best| best.agreement >= CONFIDENCE_NEEDED)?
            }
        };
        Some(ViewDrift {
            moved_px: farthest(&fitted.map, self.shape),
            map: fitted.map,
            error_px: fitted.error_px,
        })
    }

    /// The fit from a map between halved pictures.
    fn fit(&self, half: &Frame<ApparentKelvin>, start: &UnitMap) -> Option<Fit> {
        let moving = detail(&warp(half, start, self.detail.shape()));
        let fitted = refine(&self.template, &moving, MapModel::Similarity, 1.0, SETTLED)?;
        let agreement = correlation(&self.detail, &moving, &fitted.map, 1);
        let step = at_full_size(&fitted.map, 1).try_inverse()?;
        let map = UnitMap::from_matrix(step * at_full_size(start.matrix(), 1)).ok()?;
        Some(Fit { map, agreement, error_px: 2.0 * fitted.error_px })
    }
}

struct Fit {
    map: UnitMap,
    agreement: f64,
    error_px: f64,
}

/// The detail of a picture halved once, where it stands out of the noise.
fn detail_of(frame: &Frame<ApparentKelvin>) -> Option<Frame<Difference>> {
    let detail = detail(&halve(frame));
    let (found, needed) = strength_of_detail(frame, &detail);
    (found >= needed).then_some(detail)
}

/// A map between pictures as one between their halves.
fn at_half_size(map: &UnitMap) -> Option<UnitMap> {
    let scale = Matrix3::from_diagonal(&nalgebra::Vector3::new(0.5, 0.5, 1.0));
    let back = Matrix3::from_diagonal(&nalgebra::Vector3::new(2.0, 2.0, 1.0));
    Homography::from_matrix(scale * map.matrix() * back).ok()
}

/// How far a map moves the corner that it moves most, pixels.
fn farthest(map: &UnitMap, (rows, columns): (usize, usize)) -> f64 {
    let (right, bottom) = (columns as f64 - 1.0, rows as f64 - 1.0);
    let corners = [[0.0, 0.0], [right, 0.0], [0.0, bottom], [right, bottom]];
    let moved = corners.map(|[x, y]| {
        let there = map.apply([x, y].into());
        (there.x - x).hypot(there.y - y)
    });
    moved.into_iter().fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Parts on a board, moved by (x, y), `heat` times as warm as at the end, with noise of its own.
    fn board(x: f64, y: f64, heat: f64, seed: u32) -> Frame<ApparentKelvin> {
        turned(0.0, [x, y], heat, seed)
    }

    /// The place that board and picture are turned about.
    const PIVOT: [f64; 2] = [110.0, 80.0];

    /// The same, first turned by so many degrees.
    fn turned(degrees: f64, [x, y]: [f64; 2], heat: f64, seed: u32) -> Frame<ApparentKelvin> {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let mut state = seed;
        let mut draw = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5
        };
        let parts = [
            (60.0, 40.0, 16.0),
            (120.0, 70.0, 25.0),
            (170.0, 50.0, 9.0),
            (50.0, 110.0, 12.0),
            (160.0, 115.0, 7.0),
        ];
        let inside = |distance: f64, half: f64| 1.0 / (1.0 + ((distance.abs() - half) * 1.2).exp());
        let values = (0..160 * 220).map(|index| {
            let (u, v) = (f64::from(index % 220) - x - PIVOT[0], f64::from(index / 220) - y - PIVOT[1]);
            let (column, row) = (PIVOT[0] + cos * u + sin * v, PIVOT[1] - sin * u + cos * v);
            let warm: f64 =
                parts.iter().map(|(px, py, k)| k * inside(column - px, 11.0) * inside(row - py, 7.0)).sum();
            let noise = 0.09 * (draw() + draw() + draw() + draw());
            (298.0 + heat * (warm + 0.01 * column) + noise) as f32
        });
        Frame::from_rows(160, 220, values.collect()).unwrap()
    }

    #[test]
    fn a_drift_of_parts_of_a_pixel_is_found_while_the_board_warms_up() {
        let view = ReferenceView::new(&board(0.0, 0.0, 1.0, 1)).unwrap();
        for (seed, (x, y, heat)) in
            (2..).zip([(0.0, 0.0, 0.5), (0.4, -0.3, 0.3), (1.7, 0.8, 0.7), (-3.2, 2.5, 1.0)])
        {
            let drift = view.drift_of(&board(x, y, heat, seed), &UnitMap::identity()).unwrap();
            let there = drift.map.apply([110.0 + x, 80.0 + y].into());
            let off = (there.x - 110.0).hypot(there.y - 80.0);
            // The accuracy that an alignment promises.
            assert!(off < 0.1, "{x} {y}: {off}, stated {}", drift.error_px);
            assert!((drift.moved_px - x.hypot(y)).abs() < 0.3, "{x} {y}: {}", drift.moved_px);
        }
    }

    #[test]
    fn a_turn_is_found_as_well_as_a_shift() {
        let view = ReferenceView::new(&board(0.0, 0.0, 1.0, 1)).unwrap();
        for (seed, (degrees, shift)) in (7..).zip([(0.5, [0.0, 0.0]), (-0.5, [1.3, -0.6])]) {
            let frame = turned(degrees, shift, 0.8, seed);
            let drift = view.drift_of(&frame, &UnitMap::identity()).unwrap();
            let (sin, cos) = f64::to_radians(degrees).sin_cos();
            // Two parts at opposite ends, which a shift alone would leave 0.6 pixels off.
            for [x, y] in [[50.0, 110.0], [170.0, 50.0]] {
                let (u, v) = (x - PIVOT[0], y - PIVOT[1]);
                let seen = [PIVOT[0] + shift[0] + cos * u - sin * v, PIVOT[1] + shift[1] + sin * u + cos * v];
                let there = drift.map.apply(seen.into());
                let off = (there.x - x).hypot(there.y - y);
                assert!(off < 0.1, "{degrees}° and {shift:?}: {off}, stated {}", drift.error_px);
            }
        }
    }

    #[test]
    fn a_board_that_was_knocked_is_found_again() {
        let view = ReferenceView::new(&board(0.0, 0.0, 1.0, 1)).unwrap();
        let drift = view.drift_of(&board(19.0, -13.0, 0.8, 5), &UnitMap::identity()).unwrap();
        let there = drift.map.apply([129.0, 67.0].into());
        assert!((there.x - 110.0).hypot(there.y - 80.0) < 0.1, "{there:?}");
    }

    #[test]
    fn a_cold_board_gives_nothing_to_hold_on_to() {
        assert!(ReferenceView::new(&board(0.0, 0.0, 0.0, 1)).is_none());
        let view = ReferenceView::new(&board(0.0, 0.0, 1.0, 1)).unwrap();
        assert_eq!(view.drift_of(&board(0.0, 0.0, 0.0, 3), &UnitMap::identity()), None);
        assert_eq!(view.drift_of(&board(0.0, 0.0, 1.0, 3).map(|_| f32::NAN), &UnitMap::identity()), None);
    }
}
