//! A shape while it is being drawn, by mouse, finger or keyboard.
//!
//! A rectangle can be pulled from corner to corner, or set by two clicks, or by Enter at two places
//! of the cross-hair: dragging is never the only way.

use super::view::Spot;

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// One place.
    Place,
    /// Two opposite corners or two ends.
    TwoEnds,
    /// Any number of corners, closed at the first one.
    Polygon,
    /// A path pulled with a brush.
    Stroke,
}

/// The places set so far.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Draft {
    /// In the order they were set.
    pub places: Vec<Spot>,
    /// Where the pointer is, not yet set.
    pub ahead: Option<Spot>,
    pressed: bool,
}

impl Draft {
    /// The pointer goes down.
    pub fn press(&mut self, shape: Shape, at: Spot) {
        self.pressed = true;
        self.ahead = Some(at);
        let begins = match shape {
            Shape::TwoEnds => self.places.is_empty(),
            Shape::Stroke => true,
            Shape::Place | Shape::Polygon => false,
        };
        if begins {
            self.places = vec![at];
        }
    }

    /// The pointer moves. `slack` is the least distance that counts as a move, in picture pixels.
    pub fn pull(&mut self, shape: Shape, at: Spot, slack: f64) {
        self.ahead = Some(at);
        let far = self.places.last().is_none_or(|last| last.distance(at) > slack);
        if shape == Shape::Stroke && self.pressed && far {
            self.places.push(at);
        }
    }

    /// The pointer comes up. Returns the places of a finished shape, and is then empty again.
    pub fn release(&mut self, shape: Shape, at: Spot, slack: f64) -> Option<Vec<Spot>> {
        self.pressed = false;
        let finished = match shape {
            Shape::Place => {
                self.places = vec![at];
                true
            }
            Shape::TwoEnds => {
                let far = self.places.first().is_some_and(|first| first.distance(at) > slack);
                if far {
                    self.places.push(at);
                }
                far
            }
            Shape::Polygon => {
                let closes =
                    self.places.len() >= 3 && self.places.first().is_some_and(|p| p.distance(at) <= slack);
                if !closes && self.places.last().is_none_or(|p| p.distance(at) > 0.0) {
                    self.places.push(at);
                }
                closes
            }
            Shape::Stroke => !self.places.is_empty(),
        };
        finished.then(|| self.take())
    }

    /// Closes a polygon that has at least three corners.
    pub fn close(&mut self) -> Option<Vec<Spot>> {
        (self.places.len() >= 3).then(|| self.take())
    }

    fn take(&mut self) -> Vec<Spot> {
        std::mem::take(self).places
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Spot = Spot::new(10.0, 10.0);
    const B: Spot = Spot::new(40.0, 30.0);
    const C: Spot = Spot::new(10.0, 30.0);

    fn click(draft: &mut Draft, shape: Shape, at: Spot) -> Option<Vec<Spot>> {
        draft.press(shape, at);
        draft.release(shape, at, 1.0)
    }

    #[test]
    fn a_rectangle_is_pulled_or_set_by_two_clicks() {
        let mut pulled = Draft::default();
        pulled.press(Shape::TwoEnds, A);
        pulled.pull(Shape::TwoEnds, C, 1.0);
        assert_eq!(pulled.release(Shape::TwoEnds, B, 1.0), Some(vec![A, B]));

        let mut clicked = Draft::default();
        assert_eq!(click(&mut clicked, Shape::TwoEnds, A), None);
        assert_eq!(click(&mut clicked, Shape::TwoEnds, B), Some(vec![A, B]));
        assert_eq!(clicked, Draft::default());
    }

    #[test]
    fn a_polygon_closes_at_its_first_corner_and_needs_three() {
        let mut draft = Draft::default();
        assert_eq!(click(&mut draft, Shape::Polygon, A), None);
        assert_eq!(click(&mut draft, Shape::Polygon, B), None);
        assert_eq!(draft.close(), None);
        assert_eq!(click(&mut draft, Shape::Polygon, C), None);
        assert_eq!(click(&mut draft, Shape::Polygon, A), Some(vec![A, B, C]));
    }

    #[test]
    fn a_stroke_keeps_the_path_of_the_pointer_without_its_tremble() {
        let mut draft = Draft::default();
        draft.press(Shape::Stroke, A);
        draft.pull(Shape::Stroke, Spot::new(10.2, 10.0), 1.0);
        draft.pull(Shape::Stroke, B, 1.0);
        assert_eq!(draft.release(Shape::Stroke, B, 1.0), Some(vec![A, B]));
    }

    #[test]
    fn a_place_needs_one_click() {
        assert_eq!(click(&mut Draft::default(), Shape::Place, A), Some(vec![A]));
    }
}
