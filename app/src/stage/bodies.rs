//! Where the board and its parts lie in the baseline picture, worked out once for all who draw them.

use analysis::board::{Footprint, footprints};
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::homography_fit::fit_homography;
use leptos::prelude::*;

use super::look::{Arrangement, Look, Subject};
use super::recorded::Recorded;
use super::view::Spot;
use crate::store::Store;

/// The board in the picture, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct Bodies {
    map: Memo<Option<Homography<BoardMillimeters, BaselinePixels>>>,
    all: Memo<Vec<Footprint>>,
    edges: Memo<Vec<Vec<Spot>>>,
}

impl Bodies {
    /// The board as the session's board places put it, and in a recording's picture as its own do.
    #[must_use]
    pub fn new(store: Store, look: Look, recorded: Recorded) -> Self {
        let layout = Memo::new(move |_| store.session().with(|session| session.layout.clone()));
        let corners = Memo::new(move |_| {
            let own =
                look.arrangement.get() == Arrangement::Single && look.subject.get() == Subject::Recording;
            let own = if own { recorded.corners.get() } else { Vec::new() };
            if own.is_empty() { layout.with(|layout| layout.corners.clone()) } else { own }
        });
        let map = Memo::new(move |_| {
            let pairs: Vec<_> =
                corners.with(|corners| corners.iter().map(|mark| (mark.board, mark.pixel)).collect());
            fit_homography(&pairs).ok()
        });
        let all = Memo::new(move |_| {
            map.with(|map| {
                let map = map.as_ref()?;
                Some(layout.with(|layout| footprints(&layout.placements, layout.side, map)))
            })
            .unwrap_or_default()
        });
        let edges = Memo::new(move |_| {
            map.with(|map| {
                let map = map.as_ref()?;
                layout.with(|layout| {
                    let drawn = layout.outline.loops().iter().map(|edge| {
                        edge.iter().map(|&corner| map.apply(corner)).map(|at| Spot::new(at.x, at.y)).collect()
                    });
                    // A place behind the camera has no image.
                    let seen =
                        |edge: &Vec<Spot>| edge.iter().all(|spot| spot.x.is_finite() && spot.y.is_finite());
                    Some(drawn.filter(seen).collect())
                })
            })
            .unwrap_or_default()
        });
        Self { map, all, edges }
    }

    /// From the board to the picture, once four places are known.
    #[must_use]
    pub const fn board_to_picture(self) -> Memo<Option<Homography<BoardMillimeters, BaselinePixels>>> {
        self.map
    }

    /// The bodies on the visible side.
    #[must_use]
    pub const fn all(self) -> Memo<Vec<Footprint>> {
        self.all
    }

    /// The board's edge and its openings, as polygons.
    #[must_use]
    pub const fn edges(self) -> Memo<Vec<Vec<Spot>>> {
        self.edges
    }

    /// The part whose body covers a place. Reactive.
    #[must_use]
    pub fn part_at(self, place: Spot) -> Option<String> {
        let place = Point::new(place.x, place.y);
        self.all.with(|all| all.iter().find(|body| body.contains(place)).map(|body| body.designator.clone()))
    }

    /// The middle of a part's body in the picture. Not reactive.
    #[must_use]
    pub fn center_of(self, designator: &str) -> Option<Point<BaselinePixels>> {
        self.all.with_untracked(|all| {
            all.iter().find(|body| body.designator == designator).map(|body| body.center)
        })
    }

    /// The corners of a part's body on the board. Not reactive.
    #[must_use]
    pub fn corners_on_board(self, designator: &str) -> Option<Vec<Point<BoardMillimeters>>> {
        let back = self.map.with_untracked(|map| map.as_ref().map(Homography::inverse))?;
        self.all.with_untracked(|all| {
            let body = all.iter().find(|body| body.designator == designator)?;
            Some(body.corners.iter().map(|&corner| back.apply(corner)).collect())
        })
    }

    /// Where a place of the picture is on the board. Reactive.
    #[must_use]
    pub fn on_board(self, place: Spot) -> Option<Point<BoardMillimeters>> {
        self.map.with(|map| map.as_ref().map(|map| map.inverse().apply(Point::new(place.x, place.y))))
    }
}
