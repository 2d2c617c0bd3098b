//! Where each part's body lies in the baseline picture.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::placement::{Placement, Side};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};

/// A part's body on the board and in the baseline picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Footprint {
    /// Reference designator.
    pub designator: String,
    /// The corners of the body in the picture, in order around it.
    pub corners: [Point<BaselinePixels>; 4],
    /// The centre of the body in the picture.
    pub center: Point<BaselinePixels>,
    body: Body,
}

/// No body is thinner than this, mm.
const LEAST_LENGTH_MM: f64 = 0.01;

/// A turned rectangle on the board, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Body {
    center: Point<BoardMillimeters>,
    cosine: f64,
    sine: f64,
    half: [f64; 2],
}

/// The bodies of the parts on `side`, where `board_to_picture` puts them.
///
/// The far side of a board is seen mirrored, which the marks behind the map already tell: only the
/// choice of parts depends on the side. A part that the map sends to infinity or behind the camera
/// is left out.
#[must_use]
pub fn footprints(
    placements: &[Placement],
    side: Side,
    board_to_picture: &Homography<BoardMillimeters, BaselinePixels>,
) -> Vec<Footprint> {
    placements
        .iter()
        .filter(|placement| placement.side == side)
        .filter_map(|placement| Footprint::new(placement, board_to_picture))
        .collect()
}

impl Footprint {
    fn new(placement: &Placement, map: &Homography<BoardMillimeters, BaselinePixels>) -> Option<Self> {
        let (sine, cosine) = placement.rotation.to_radians().sin_cos();
        // A body without extent would lie on neither side of every place, and so contain it.
        let half = placement.size.map(|length| length.abs().max(LEAST_LENGTH_MM) / 2.0);
        let body = Body { center: placement.center, cosine, sine, half };
        let [x, y] = half;
        let board_corners =
            [[-x, -y], [x, -y], [x, y], [-x, y]].map(|[x, y]| body.to_board(Point::new(x, y)));
        // The third homogeneous coordinate changes its sign where the plane passes behind the camera.
        let bottom = map.matrix().row(2);
        let depth = |point: Point<BoardMillimeters>| bottom[0] * point.x + bottom[1] * point.y + bottom[2];
        let side = depth(placement.center);
        let corners = board_corners.map(|corner| map.apply(corner));
        let seen = board_corners.iter().all(|&corner| depth(corner) * side > 0.0)
            && corners.iter().all(|corner| corner.x.is_finite() && corner.y.is_finite());
        seen.then(|| Self {
            designator: placement.designator.clone(),
            corners,
            center: map.apply(placement.center),
            body,
        })
    }

    /// Whether the body covers this place of the picture, its edge included.
    #[must_use]
    pub fn contains(&self, point: Point<BaselinePixels>) -> bool {
        let mut left = false;
        let mut right = false;
        for (from, to) in self.edges() {
            let turn = (to.x - from.x) * (point.y - from.y) - (to.y - from.y) * (point.x - from.x);
            left |= turn > 0.0;
            right |= turn < 0.0;
        }
        !(left && right)
    }

    /// How far this place of the board is from the body, mm; 0 on it.
    #[must_use]
    pub fn distance_mm(&self, point: Point<BoardMillimeters>) -> f64 {
        let (x, y) = (point.x - self.body.center.x, point.y - self.body.center.y);
        let along = self.body.cosine * x + self.body.sine * y;
        let across = self.body.cosine * y - self.body.sine * x;
        let [half_x, half_y] = self.body.half;
        (along.abs() - half_x).max(0.0).hypot((across.abs() - half_y).max(0.0))
    }

    /// Area of the body on the board, mm².
    #[must_use]
    pub fn area_mm2(&self) -> f64 {
        4.0 * self.body.half[0] * self.body.half[1]
    }

    /// The pixels whose centres the body covers, as runs: row and columns, inside a picture of
    /// `shape` (rows, columns). A body between the pixel centres gets the pixel nearest its centre.
    #[must_use]
    pub fn pixel_runs(&self, shape: (usize, usize)) -> Vec<(usize, Range<usize>)> {
        let (rows, columns) = shape;
        let (top, bottom) = range(self.corners.map(|corner| corner.y));
        let mut runs: Vec<(usize, Range<usize>)> = whole_numbers(top, bottom, rows)
            .filter_map(|row| {
                let (left, right) = self.crossings(row as f64)?;
                Some((row, whole_numbers(left, right, columns)))
            })
            .filter(|(_, run)| !run.is_empty())
            .collect();
        let (x, y) = (self.center.x.round(), self.center.y.round());
        let inside = x >= 0.0 && y >= 0.0 && x < columns as f64 && y < rows as f64;
        if runs.is_empty() && inside {
            runs.push((y as usize, x as usize..x as usize + 1));
        }
        runs
    }

    fn edges(&self) -> impl Iterator<Item = (Point<BaselinePixels>, Point<BaselinePixels>)> {
        let [a, b, c, d] = self.corners;
        [(a, b), (b, c), (c, d), (d, a)].into_iter()
    }

    /// Where the outline meets the horizontal line at `y`: leftmost and rightmost.
    fn crossings(&self, y: f64) -> Option<(f64, f64)> {
        let mut reach: Option<(f64, f64)> = None;
        for (from, to) in self.edges() {
            if y < from.y.min(to.y) || y > from.y.max(to.y) {
                continue;
            }
            let level = from.y == to.y;
            let share = if level { 0.0 } else { (y - from.y) / (to.y - from.y) };
            let x = from.x + share * (to.x - from.x);
            let (lo, hi) = if level { (x.min(to.x), x.max(to.x)) } else { (x, x) };
            reach = Some(reach.map_or((lo, hi), |(left, right)| (left.min(lo), right.max(hi))));
        }
        reach
    }
}

impl Body {
    fn to_board(self, point: Point<BoardMillimeters>) -> Point<BoardMillimeters> {
        Point::new(
            self.center.x + self.cosine * point.x - self.sine * point.y,
            self.center.y + self.sine * point.x + self.cosine * point.y,
        )
    }
}

fn range(numbers: [f64; 4]) -> (f64, f64) {
    numbers.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &v| (lo.min(v), hi.max(v)))
}

/// The whole numbers from `lo` to `hi` that are below `end`.
fn whole_numbers(lo: f64, hi: f64, end: usize) -> Range<usize> {
    // Rounding in the map must not lose a pixel centre that lies on the edge.
    const SLACK: f64 = 1e-9;
    let first = (lo - SLACK).ceil().max(0.0);
    let last = (hi + SLACK).floor().min(end as f64 - 1.0);
    if first > last { 0..0 } else { first as usize..last as usize + 1 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(center: [f64; 2], rotation: f64, size: [f64; 2]) -> Placement {
        Placement {
            designator: "U1".into(),
            center: Point::from(center),
            rotation,
            side: Side::Top,
            package: String::new(),
            size,
            value: String::new(),
        }
    }

    /// 4 pixels per mm, y up on the board and down in the picture.
    fn map() -> Homography<BoardMillimeters, BaselinePixels> {
        Homography::try_from([4.0, 0.0, 10.0, 0.0, -4.0, 90.0, 0.0, 0.0, 1.0]).unwrap()
    }

    #[test]
    fn a_body_turned_by_a_quarter_covers_the_pixels_of_its_turned_rectangle() {
        let found = footprints(&[part([5.0, 10.0], 90.0, [4.0, 2.0])], Side::Top, &map());
        // Centre at (30, 50); 2 mm wide and 4 mm high after the turn: columns 26 to 34, rows 42 to 58.
        let runs = found[0].pixel_runs((100, 100));
        assert_eq!(runs.len(), 17);
        assert!(runs.iter().all(|(_, run)| *run == (26..35)));
        assert_eq!((runs[0].0, runs[16].0), (42, 58));
        assert!(found[0].contains(Point::new(34.0, 58.0)));
        assert!(!found[0].contains(Point::new(34.5, 50.0)));
        assert!((found[0].area_mm2() - 8.0).abs() < 1e-12);
    }

    #[test]
    fn the_distance_is_measured_on_the_board_from_the_turned_body() {
        let found = footprints(&[part([0.0, 0.0], 45.0, [2.0, 2.0])], Side::Top, &map());
        // The corner of a unit-half-width square turned by 45° reaches √2 along x.
        assert!((found[0].distance_mm(Point::new(3.0, 0.0)) - (3.0 - 2.0_f64.sqrt())).abs() < 1e-12);
        assert_eq!(found[0].distance_mm(Point::new(1.0, 0.0)), 0.0);
    }

    #[test]
    fn a_turned_body_covers_the_pixels_that_it_contains() {
        let found = footprints(&[part([8.0, 10.0], 30.0, [6.0, 3.0])], Side::Top, &map());
        let shape = (80, 60);
        let mut covered = vec![false; shape.0 * shape.1];
        for (row, run) in found[0].pixel_runs(shape) {
            run.for_each(|column| covered[row * shape.1 + column] = true);
        }
        for (index, &covered) in covered.iter().enumerate() {
            let point = Point::new((index % shape.1) as f64, (index / shape.1) as f64);
            assert_eq!(covered, found[0].contains(point), "{point:?}");
        }
        assert!(covered.iter().any(|&covered| covered));
    }

    #[test]
    fn parts_of_the_other_side_outside_the_picture_or_smaller_than_a_pixel_do_no_harm() {
        let mut below = part([5.0, 5.0], 0.0, [1.0, 1.0]);
        below.side = Side::Bottom;
        let outside = part([-500.0, 5.0], 0.0, [1.0, 1.0]);
        let tiny = part([5.03, 10.03], 0.0, [0.0, 0.0]);
        let found = footprints(&[below, outside, tiny], Side::Top, &map());
        assert_eq!(found.len(), 2);
        assert!(found[0].pixel_runs((100, 100)).is_empty());
        assert_eq!(found[1].pixel_runs((100, 100)), vec![(50, 30..31)]);
        assert!(!found[1].contains(Point::new(31.0, 50.0)));
    }

    #[test]
    fn a_part_behind_the_camera_is_left_out() {
        let map = Homography::try_from([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.1, 0.0, 1.0]).unwrap();
        // The third coordinate is 0.1 x + 1: zero at x = −10.
        assert!(footprints(&[part([-10.0, 0.0], 0.0, [2.0, 2.0])], Side::Top, &map).is_empty());
        assert_eq!(footprints(&[part([0.0, 0.0], 0.0, [2.0, 2.0])], Side::Top, &map).len(), 1);
    }
}
