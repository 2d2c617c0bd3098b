//! Shapes that a person draws, and what lies inside them.

use nalgebra::Vector3;
use serde::{Deserialize, Serialize};

use crate::geometry::{Homography, Point};

/// A shape in the plane `S`, in that plane's own unit. Its edge belongs to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape", rename_all = "kebab-case", bound = "")]
pub enum Outline<S> {
    /// Upright rectangle by two opposite corners, in any order.
    Rectangle {
        /// One corner.
        from: Point<S>,
        /// The opposite corner.
        to: Point<S>,
    },
    /// Upright ellipse inscribed in the rectangle of two opposite corners.
    Ellipse {
        /// One corner of the box around it.
        from: Point<S>,
        /// The opposite corner.
        to: Point<S>,
    },
    /// Closed polygon, even–odd rule.
    Polygon {
        /// Corners in order; at least three.
        corners: Vec<Point<S>>,
    },
    /// A brush pulled along a path.
    Stroke {
        /// The path; a single point is a dot.
        path: Vec<Point<S>>,
        /// Radius of the brush.
        radius: f64,
    },
}

impl<S> Outline<S> {
    /// Whether `point` is inside or on the edge. Never for a point that is not finite.
    #[must_use]
    pub fn contains(&self, point: Point<S>) -> bool {
        match self {
            Self::Rectangle { from, to } => Bounds::of([*from, *to]).is_some_and(|b| b.contains(point)),
            Self::Ellipse { from, to } => {
                let (half_width, half_height) = ((to.x - from.x).abs() / 2.0, (to.y - from.y).abs() / 2.0);
                let across = (point.x - (from.x + to.x) / 2.0) / half_width;
                let down = (point.y - (from.y + to.y) / 2.0) / half_height;
                across * across + down * down <= 1.0
            }
            Self::Polygon { corners } => polygon_contains(corners, point),
            Self::Stroke { path, radius } => match path.as_slice() {
                [dot] => dot.distance(point) <= *radius,
                path => path.windows(2).any(|ends| match ends {
                    [from, to] => distance_to_segment(point, *from, *to) <= *radius,
                    _ => false,
                }),
            },
        }
    }

    /// The smallest upright box around the shape; `None` for a shape without points or not finite.
    #[must_use]
    pub fn bounds(&self) -> Option<Bounds<S>> {
        match self {
            Self::Rectangle { from, to } | Self::Ellipse { from, to } => Bounds::of([*from, *to]),
            Self::Polygon { corners } => Bounds::of(corners.iter().copied()),
            Self::Stroke { path, radius } => {
                let Bounds { least, most } = Bounds::of(path.iter().copied())?;
                Bounds::of([
                    Point::new(least.x - radius, least.y - radius),
                    Point::new(most.x + radius, most.y + radius),
                ])
            }
        }
    }
}

/// An upright box, its edges included.
#[derive(Debug, PartialEq)]
pub struct Bounds<S> {
    /// The corner with the lowest coordinates.
    pub least: Point<S>,
    /// The corner with the highest.
    pub most: Point<S>,
}

impl<S> Bounds<S> {
    /// The box around points; `None` without points or when one is not finite.
    #[must_use]
    pub fn of(points: impl IntoIterator<Item = Point<S>>) -> Option<Self> {
        let mut bounds: Option<Self> = None;
        for point in points {
            if !(point.x.is_finite() && point.y.is_finite()) {
                return None;
            }
            let Self { least, most } = bounds.unwrap_or(Self { least: point, most: point });
            bounds = Some(Self {
                least: Point::new(least.x.min(point.x), least.y.min(point.y)),
                most: Point::new(most.x.max(point.x), most.y.max(point.y)),
            });
        }
        bounds
    }

    fn contains(&self, point: Point<S>) -> bool {
        (self.least.x..=self.most.x).contains(&point.x) && (self.least.y..=self.most.y).contains(&point.y)
    }

    /// The box around this box's image; `None` when the map sends part of it through infinity.
    pub(super) fn mapped<T>(&self, map: &Homography<S, T>) -> Option<Bounds<T>> {
        let Self { least, most } = self;
        let corners = [(least.x, least.y), (most.x, least.y), (most.x, most.y), (least.x, most.y)];
        let depth = |(x, y): (f64, f64)| (map.matrix() * Vector3::new(x, y, 1.0)).z;
        let in_front = corners.into_iter().all(|corner| depth(corner) > 0.0);
        let behind = corners.into_iter().all(|corner| depth(corner) < 0.0);
        if in_front || behind { Bounds::of(corners.map(|(x, y)| map.apply(Point::new(x, y)))) } else { None }
    }
}

impl<S> Clone for Bounds<S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<S> Copy for Bounds<S> {}

/// Even–odd rule, the edge included.
fn polygon_contains<S>(corners: &[Point<S>], point: Point<S>) -> bool {
    let Some(&last) = corners.last() else { return false };
    let mut previous = last;
    let mut inside = false;
    for &corner in corners {
        let (low, high) = if previous.y < corner.y { (previous, corner) } else { (corner, previous) };
        if point.y >= low.y && point.y <= high.y {
            // Which side of the edge, as the area spanned with the point: zero on the edge's line.
            let side = (high.x - low.x) * (point.y - low.y) - (high.y - low.y) * (point.x - low.x);
            let between = point.x >= low.x.min(high.x) && point.x <= low.x.max(high.x);
            if side == 0.0 && between {
                return true;
            }
            // An edge owns its lower end only, so that a corner counts once.
            if point.y < high.y && side > 0.0 {
                inside = !inside;
            }
        }
        previous = corner;
    }
    inside
}

fn distance_to_segment<S>(point: Point<S>, from: Point<S>, to: Point<S>) -> f64 {
    let (along_x, along_y) = (to.x - from.x, to.y - from.y);
    let length_squared = along_x * along_x + along_y * along_y;
    let along = if length_squared > 0.0 {
        (((point.x - from.x) * along_x + (point.y - from.y) * along_y) / length_squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    Point::new(from.x + along * along_x, from.y + along * along_y).distance(point)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{BaselinePixels, BoardMillimeters};

    type Shape = Outline<BaselinePixels>;
    type Spot = Point<BaselinePixels>;

    fn inside(shape: &Shape, x: f64, y: f64) -> bool {
        shape.contains(Spot::new(x, y))
    }

    #[test]
    fn a_rectangle_holds_its_edge_whichever_corners_it_was_drawn_by() {
        let shape = Shape::Rectangle { from: Spot::new(5.0, 8.0), to: Spot::new(1.0, 2.0) };
        assert!(inside(&shape, 1.0, 2.0) && inside(&shape, 5.0, 8.0) && inside(&shape, 3.0, 5.0));
        assert!(!inside(&shape, 0.99, 5.0) && !inside(&shape, 3.0, 8.01) && !inside(&shape, f64::NAN, 5.0));
    }

    #[test]
    fn an_ellipse_touches_the_middle_of_its_box_and_leaves_the_corners_out() {
        let shape = Shape::Ellipse { from: Spot::new(0.0, 0.0), to: Spot::new(10.0, 4.0) };
        assert!(inside(&shape, 0.0, 2.0) && inside(&shape, 5.0, 4.0) && inside(&shape, 5.0, 2.0));
        assert!(!inside(&shape, 0.5, 0.5) && !inside(&shape, 9.5, 3.5));
    }

    #[test]
    fn a_polygon_goes_by_the_even_odd_rule_with_its_edge() {
        // A square with a square hole, joined by a slit along x = 0..2 at y = 2.
        let corners = [
            (0.0, 0.0),
            (8.0, 0.0),
            (8.0, 8.0),
            (0.0, 8.0),
            (0.0, 2.0),
            (2.0, 2.0),
            (2.0, 6.0),
            (6.0, 6.0),
            (6.0, 2.0),
            (0.0, 2.0),
        ];
        let shape = Shape::Polygon { corners: corners.map(|(x, y)| Spot::new(x, y)).to_vec() };
        assert!(inside(&shape, 1.0, 1.0) && inside(&shape, 7.0, 4.0) && inside(&shape, 4.0, 7.0));
        assert!(!inside(&shape, 4.0, 4.0), "in the hole");
        assert!(inside(&shape, 8.0, 8.0) && inside(&shape, 0.0, 0.0) && inside(&shape, 4.0, 0.0));
        assert!(!inside(&shape, 8.5, 4.0) && !inside(&shape, -0.5, 8.0) && !inside(&shape, -1.0, 0.0));
    }

    #[test]
    fn a_diagonal_edge_cuts_between_pixel_centers() {
        let shape =
            Shape::Polygon { corners: vec![Spot::new(0.0, 0.0), Spot::new(4.0, 0.0), Spot::new(0.0, 4.0)] };
        assert!(inside(&shape, 2.0, 2.0), "on the edge");
        assert!(inside(&shape, 1.9, 2.0) && !inside(&shape, 2.1, 2.0));
    }

    #[test]
    fn a_stroke_is_as_wide_as_its_brush_and_round_at_the_ends() {
        let shape = Shape::Stroke { path: vec![Spot::new(2.0, 2.0), Spot::new(10.0, 2.0)], radius: 1.0 };
        assert!(inside(&shape, 6.0, 3.0) && inside(&shape, 1.0, 2.0) && inside(&shape, 11.0, 2.0));
        assert!(!inside(&shape, 6.0, 3.1) && !inside(&shape, 1.1, 2.9));
        let dot = Shape::Stroke { path: vec![Spot::new(5.0, 5.0)], radius: 2.0 };
        assert!(inside(&dot, 7.0, 5.0) && !inside(&dot, 7.1, 5.0));
    }

    #[test]
    fn shapes_without_points_hold_nothing() {
        for shape in [
            Shape::Polygon { corners: vec![] },
            Shape::Stroke { path: vec![], radius: 3.0 },
            Shape::Ellipse { from: Spot::new(1.0, 1.0), to: Spot::new(1.0, 1.0) },
        ] {
            assert!(!inside(&shape, 1.0, 1.0), "{shape:?}");
        }
    }

    #[test]
    fn bounds_that_cross_the_horizon_have_no_image() {
        let map = Homography::<BoardMillimeters, BaselinePixels>::try_from([
            1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.1, 0.0, 1.0,
        ])
        .unwrap();
        let bounds = |x: f64| Bounds::of([Point::new(x, 0.0), Point::new(x + 5.0, 5.0)]).unwrap();
        assert!(bounds(-12.0).mapped(&map).is_none());
        assert!(bounds(0.0).mapped(&map).is_some());
    }
}
