//! Which pixels are a part's body, and which lie close around it.

use crate::board::Footprint;
use crate::geometry::{BaselinePixels, Point};

/// A margin of this many pixels around a body belongs to it where its edge is concerned.
const MARGIN_PX: f64 = 3.0;

/// One part's pixels in a picture, as indices row by row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Body {
    pub(super) designator: String,
    /// The body without its outermost pixels, where it has any left.
    pub(super) inside: Vec<usize>,
    /// The body and its margin, without what another body or its margin has taken.
    pub(super) around: Vec<usize>,
}

/// The parts' pixels in a picture of `shape` (rows, columns), in the order of the footprints.
pub(super) fn bodies(footprints: &[Footprint], shape: (usize, usize)) -> Vec<Body> {
    let (rows, columns) = shape;
    let mut taken = vec![false; rows * columns];
    let mut bodies: Vec<Body> = footprints
        .iter()
        .map(|footprint| {
            let runs = footprint.pixel_runs(shape);
            let whole: Vec<usize> = runs
                .iter()
                .flat_map(|(row, run)| run.clone().map(move |column| row * columns + column))
                .collect();
            let free: Vec<usize> = whole.iter().copied().filter(|&pixel| !taken[pixel]).collect();
            for &pixel in &free {
                taken[pixel] = true;
            }
            Body { designator: footprint.designator.clone(), inside: eroded(&whole, shape), around: free }
        })
        .collect();
    for (body, footprint) in bodies.iter_mut().zip(footprints) {
        let center = footprint.center;
        // Each corner moved out along both sides: close enough to a margin of equal width.
        let grown = footprint.corners.map(|corner| {
            let (x, y) = (corner.x - center.x, corner.y - center.y);
            let length = x.hypot(y).max(1e-9);
            let factor = 1.0 + std::f64::consts::SQRT_2 * MARGIN_PX / length;
            (center.x + x * factor, center.y + y * factor)
        });
        let bounds = |values: [f64; 4], end: usize| {
            let low = values.iter().copied().fold(f64::INFINITY, f64::min).floor().max(0.0);
            let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max).ceil().min(end as f64 - 1.0);
            if low > high { 0..0 } else { low as usize..high as usize + 1 }
        };
        for row in bounds(grown.map(|corner| corner.1), rows) {
            for column in bounds(grown.map(|corner| corner.0), columns) {
                let pixel = row * columns + column;
                if !taken[pixel] && inside(&grown, column as f64, row as f64) {
                    taken[pixel] = true;
                    body.around.push(pixel);
                }
            }
        }
    }
    bodies
}

/// A part against the board close around it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Collared {
    /// The body without its outermost pixels.
    pub(super) inside: Vec<usize>,
    /// Bare board around it, beyond what blur and misplacement reach.
    pub(super) collar: Vec<usize>,
}

/// A collar lies this far from its body, pixels.
const COLLAR_PX: std::ops::RangeInclusive<f64> = 4.0..=9.0;

/// Every part with its collar, in the order of the footprints.
pub(super) fn collared(footprints: &[Footprint], bodies: &[Body], shape: (usize, usize)) -> Vec<Collared> {
    let (rows, columns) = shape;
    let mut taken = vec![false; rows * columns];
    for &pixel in bodies.iter().flat_map(|body| &body.around) {
        taken[pixel] = true;
    }
    let reach = COLLAR_PX.end().ceil();
    let parts = footprints.iter().zip(bodies).map(|(footprint, body)| {
        let span = |read: fn(&Point<BaselinePixels>) -> f64, end: usize| {
            let values = footprint.corners.iter().map(read);
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
            (low - reach).max(0.0) as usize..((high + reach).max(0.0) as usize + 1).min(end)
        };
        let (across, down) = (span(|corner| corner.x, columns), span(|corner| corner.y, rows));
        let near = down.flat_map(|row| across.clone().map(move |column| (row, column)));
        let collar = near.filter(|&(row, column)| {
            let place = Point::new(column as f64, row as f64);
            !taken[row * columns + column]
                && COLLAR_PX.contains(&distance(&footprint.corners, footprint.contains(place), place))
        });
        Collared {
            inside: body.inside.clone(),
            collar: collar.map(|(row, column)| row * columns + column).collect(),
        }
    });
    parts.collect()
}

/// How far a place is from a quadrilateral's outline, pixels; 0 inside.
pub(super) fn distance(
    corners: &[Point<BaselinePixels>; 4],
    inside: bool,
    place: Point<BaselinePixels>,
) -> f64 {
    if inside {
        return 0.0;
    }
    (0..4)
        .map(|index| {
            let (from, to) = (corners[index], corners[(index + 1) % 4]);
            let (dx, dy) = (to.x - from.x, to.y - from.y);
            let length = (dx * dx + dy * dy).max(1e-12);
            let share = (((place.x - from.x) * dx + (place.y - from.y) * dy) / length).clamp(0.0, 1.0);
            place.distance(Point::new(from.x + share * dx, from.y + share * dy))
        })
        .fold(f64::INFINITY, f64::min)
}

/// Whether the convex outline goes around the place.
fn inside(corners: &[(f64, f64); 4], x: f64, y: f64) -> bool {
    let turn = |index: usize| {
        let (from, to) = (corners[index], corners[(index + 1) % 4]);
        (to.0 - from.0) * (y - from.1) - (to.1 - from.1) * (x - from.0)
    };
    (0..4).all(|index| turn(index) >= 0.0) || (0..4).all(|index| turn(index) <= 0.0)
}

/// Pixels whose four neighbours belong too; all of them where that leaves none.
fn eroded(pixels: &[usize], (_, columns): (usize, usize)) -> Vec<usize> {
    let own: std::collections::BTreeSet<usize> = pixels.iter().copied().collect();
    let deep = |&pixel: &usize| {
        [pixel.wrapping_sub(1), pixel + 1, pixel.wrapping_sub(columns), pixel + columns]
            .iter()
            .all(|neighbour| own.contains(neighbour))
    };
    let kept: Vec<usize> = pixels.iter().copied().filter(deep).collect();
    if kept.is_empty() { pixels.to_vec() } else { kept }
}
