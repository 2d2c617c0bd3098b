//! A region's outline in the baseline's pixels, whatever plane it was drawn in.

use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::surface::Outline;
use analysis::surface::region::PlacedOutline;

use super::view::Spot;

/// An outline ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Drawn {
    /// A polygon.
    Closed(Vec<Spot>),
    /// An upright ellipse.
    Oval {
        /// Its centre.
        center: Spot,
        /// Half its width and height.
        half: Spot,
    },
    /// A path with a brush's width.
    Brushed {
        /// The path.
        path: Vec<Spot>,
        /// The brush's radius.
        radius: f64,
    },
}

/// Corners with which an ellipse on the board is drawn in the picture, where it is no upright ellipse.
const OVAL_CORNERS: usize = 48;

/// The outline in the picture; `None` for one on the board while the board's place is unknown.
#[must_use]
pub fn drawn(
    outline: &PlacedOutline,
    to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
) -> Option<Drawn> {
    match outline {
        PlacedOutline::Pixels(outline) => Some(in_pixels(outline)),
        PlacedOutline::Board(outline) => to_picture.map(|map| on_board(outline, map)),
    }
}

fn in_pixels(outline: &Outline<BaselinePixels>) -> Drawn {
    let spot = |point: &Point<BaselinePixels>| Spot::new(point.x, point.y);
    match outline {
        Outline::Rectangle { from, to } => Drawn::Closed(box_of(from, to).map(|p| spot(&p)).to_vec()),
        Outline::Ellipse { from, to } => Drawn::Oval {
            center: Spot::new((from.x + to.x) / 2.0, (from.y + to.y) / 2.0),
            half: Spot::new((from.x - to.x).abs() / 2.0, (from.y - to.y).abs() / 2.0),
        },
        Outline::Polygon { corners } => Drawn::Closed(corners.iter().map(spot).collect()),
        Outline::Stroke { path, radius } => {
            Drawn::Brushed { path: path.iter().map(spot).collect(), radius: *radius }
        }
    }
}

fn on_board(
    outline: &Outline<BoardMillimeters>,
    map: &Homography<BoardMillimeters, BaselinePixels>,
) -> Drawn {
    let spot = |point: Point<BoardMillimeters>| {
        let place = map.apply(point);
        Spot::new(place.x, place.y)
    };
    match outline {
        Outline::Rectangle { from, to } => Drawn::Closed(box_of(from, to).map(spot).to_vec()),
        Outline::Ellipse { from, to } => {
            let (x, y) = ((from.x + to.x) / 2.0, (from.y + to.y) / 2.0);
            let (a, b) = ((from.x - to.x) / 2.0, (from.y - to.y) / 2.0);
            let corner = |turn: usize| {
                let (sine, cosine) = (std::f64::consts::TAU * turn as f64 / OVAL_CORNERS as f64).sin_cos();
                spot(Point::new(x + a * cosine, y + b * sine))
            };
            Drawn::Closed((0..OVAL_CORNERS).map(corner).collect())
        }
        Outline::Polygon { corners } => Drawn::Closed(corners.iter().copied().map(spot).collect()),
        Outline::Stroke { path, radius } => {
            let scale = path.first().map_or(1.0, |&first| map.scale_at(first));
            Drawn::Brushed { path: path.iter().copied().map(spot).collect(), radius: radius * scale }
        }
    }
}

fn box_of<S>(from: &Point<S>, to: &Point<S>) -> [Point<S>; 4] {
    [Point::new(from.x, from.y), Point::new(to.x, from.y), Point::new(to.x, to.y), Point::new(from.x, to.y)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rectangle_on_the_board_follows_the_board() {
        // Two pixels a millimetre, shifted by (10, 20).
        let map = Homography::try_from([2.0, 0.0, 10.0, 0.0, 2.0, 20.0, 0.0, 0.0, 1.0]).unwrap();
        let outline =
            PlacedOutline::Board(Outline::Rectangle { from: Point::new(0.0, 0.0), to: Point::new(5.0, 3.0) });
        let corners =
            vec![Spot::new(10.0, 20.0), Spot::new(20.0, 20.0), Spot::new(20.0, 26.0), Spot::new(10.0, 26.0)];
        assert_eq!(drawn(&outline, Some(&map)), Some(Drawn::Closed(corners)));
        assert_eq!(drawn(&outline, None), None);
    }
}
