//! Where the board and its parts lie in the baseline picture, worked out once for all who draw them.

use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::homography_fit::fit_homography;
use leptos::prelude::*;

use super::view::Spot;
use crate::store::Store;

/// One part's body in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Reference designator.
    pub designator: String,
    /// Its corners in order.
    pub corners: [Spot; 4],
    /// Its middle.
    pub center: Spot,
}

/// The board in the picture, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct Bodies {
    map: Memo<Option<Homography<BoardMillimeters, BaselinePixels>>>,
    all: Memo<Vec<Body>>,
}

impl Bodies {
    /// The board as the session's board places put it.
    #[must_use]
    pub fn new(store: Store) -> Self {
        let layout = Memo::new(move |_| store.session().with(|session| session.layout.clone()));
        let map = Memo::new(move |_| {
            let pairs: Vec<_> =
                layout.with(|layout| layout.corners.iter().map(|mark| (mark.board, mark.pixel)).collect());
            fit_homography(&pairs).ok()
        });
        let all = Memo::new(move |_| Vec::new());
        Self { map, all }
    }

    /// From the board to the picture, once four places are known.
    #[must_use]
    pub const fn board_to_picture(self) -> Memo<Option<Homography<BoardMillimeters, BaselinePixels>>> {
        self.map
    }

    /// The bodies on the visible side.
    #[must_use]
    pub const fn all(self) -> Memo<Vec<Body>> {
        self.all
    }

    /// The part whose body covers a place. Reactive.
    #[must_use]
    pub fn part_at(self, place: Spot) -> Option<String> {
        self.all.with(|all| {
            all.iter().find(|body| covers(&body.corners, place)).map(|body| body.designator.clone())
        })
    }

    /// Where a place of the picture is on the board. Reactive.
    #[must_use]
    pub fn on_board(self, place: Spot) -> Option<Point<BoardMillimeters>> {
        self.map.with(|map| map.as_ref().map(|map| map.inverse().apply(Point::new(place.x, place.y))))
    }
}

/// Whether a convex four-cornered shape covers a place: it lies on the same side of all edges.
fn covers(corners: &[Spot; 4], place: Spot) -> bool {
    let side =
        |from: Spot, to: Spot| (to.x - from.x) * (place.y - from.y) - (to.y - from.y) * (place.x - from.x);
    let sides = [0, 1, 2, 3].map(|corner| side(corners[corner], corners[(corner + 1) % 4]));
    sides.iter().all(|&side| side >= 0.0) || sides.iter().all(|&side| side <= 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turned_body_covers_its_middle_and_not_its_neighbourhood() {
        let turned = [(0.0, -4.0), (4.0, 0.0), (0.0, 4.0), (-4.0, 0.0)].map(|(x, y)| Spot::new(x, y));
        assert!(covers(&turned, Spot::new(0.0, 0.0)));
        assert!(covers(&turned, Spot::new(1.9, 1.9)));
        assert!(!covers(&turned, Spot::new(3.0, 3.0)));
    }
}
