//! What a finished shape becomes: a region, a read-out, a board place or a landmark.

use analysis::geometry::{BaselinePixels, Point};
use analysis::registration::LandmarkPair;
use analysis::session::{Command, Gauge, GaugePlace, Session};
use analysis::surface::region::PlacedOutline;
use analysis::surface::{Outline, Region};
use leptos::prelude::*;

use super::look::{Cursor, Look, Plane, Tool};
use super::view::Spot;
use crate::notice::Notice;
use crate::store::Store;
use crate::wording;

fn on_baseline(place: Spot) -> Point<BaselinePixels> {
    Point::new(place.x, place.y)
}

/// The outline that a region tool has drawn; `None` for other tools.
fn outline(tool: Tool, places: &[Spot], brush: f64) -> Option<Outline<BaselinePixels>> {
    let (&first, &last) = (places.first()?, places.last()?);
    let (from, to) = (on_baseline(first), on_baseline(last));
    let all = || places.iter().copied().map(on_baseline).collect();
    match tool {
        Tool::Rectangle => Some(Outline::Rectangle { from, to }),
        Tool::Ellipse => Some(Outline::Ellipse { from, to }),
        Tool::Polygon => Some(Outline::Polygon { corners: all() }),
        Tool::Brush => Some(Outline::Stroke { path: all(), radius: brush }),
        _ => None,
    }
}

/// The place that a gauge tool has drawn; `None` for other tools.
fn gauge_place(tool: Tool, places: &[Spot]) -> Option<GaugePlace> {
    let (from, to) = (on_baseline(*places.first()?), on_baseline(*places.last()?));
    match tool {
        Tool::PointGauge => Some(GaugePlace::Point { at: to }),
        Tool::AreaGauge => Some(GaugePlace::Area { from, to }),
        Tool::LineGauge => Some(GaugePlace::Line { from, to }),
        _ => None,
    }
}

/// The first of our letters that no read-out bears.
fn free_letters(session: &Session) -> String {
    let taken = |name: &String| session.gauges.iter().any(|gauge| gauge.name == *name);
    (0..=session.gauges.len()).map(wording::letters).find(|name| !taken(name)).unwrap_or_default()
}

/// Carries out what was drawn on a pane.
pub fn place(store: Store, look: Look, plane: Plane, places: &[Spot]) {
    let tool = look.tool.get_untracked();
    if tool == Tool::Landmark {
        return place_landmark(store, look, plane, places);
    }
    if plane == Plane::UnitOwn {
        return store.tell(Notice::warning(
            "This picture is not aligned yet, so nothing can be placed on it.",
            "Place it on the baseline.",
        ));
    }
    let session = store.session().get_untracked();
    if let Some(outline) = outline(tool, places, look.brush.get_untracked()) {
        let name = format!("Region {}", session.surface.regions.len() + 1);
        let finish = look.finish.get_untracked();
        let region = Region { name, outline: PlacedOutline::Pixels(outline), finish };
        store.dispatch(Command::AddRegion { region });
    } else if let Some(place) = gauge_place(tool, places) {
        store.dispatch(Command::AddGauge { gauge: Gauge { name: free_letters(&session), place } });
        if let GaugePlace::Point { at } = place {
            // What is read out and taken apart below the picture is then the same place.
            look.cursor.set(Some(Cursor { at: Spot::new(at.x, at.y), plane }));
        }
    } else if let (Tool::Corner, Some(&at)) = (tool, places.last()) {
        look.pending_corner.set(Some(on_baseline(at)));
        look.take(Tool::Look);
    }
}

fn place_landmark(store: Store, look: Look, plane: Plane, places: &[Spot]) {
    let Some(&at) = places.last() else { return };
    match (plane, look.pending_landmark.get_untracked()) {
        (Plane::Baseline, _) => look.pending_landmark.set(Some(on_baseline(at))),
        (Plane::UnitOwn, Some(baseline)) => {
            let session = store.session().get_untracked();
            let mut landmarks = session.landmarks.clone();
            landmarks.push(LandmarkPair { unit: Point::new(at.x, at.y), baseline });
            look.pending_landmark.set(None);
            store.dispatch(Command::SetLandmarks { landmarks, landmark_use: session.landmark_use });
        }
        (Plane::UnitOwn, None) => store.tell(Notice::information(
            "A landmark pair begins in the baseline: click the place there first, then here.",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Spot = Spot::new(1.0, 2.0);
    const B: Spot = Spot::new(5.0, 9.0);

    #[test]
    fn each_region_tool_draws_its_own_outline() {
        let (from, to) = (Point::new(1.0, 2.0), Point::new(5.0, 9.0));
        assert_eq!(outline(Tool::Rectangle, &[A, B], 3.0), Some(Outline::Rectangle { from, to }));
        assert_eq!(
            outline(Tool::Brush, &[A, B], 3.0),
            Some(Outline::Stroke { path: vec![from, to], radius: 3.0 })
        );
        assert_eq!(outline(Tool::LineGauge, &[A, B], 3.0), None);
    }

    #[test]
    fn read_outs_take_the_first_free_letter() {
        let gauge = |name: &str| Gauge {
            name: name.to_owned(),
            place: GaugePlace::Point { at: Point::new(0.0, 0.0) },
        };
        let session = Session { gauges: vec![gauge("A"), gauge("C")], ..Session::default() };
        assert_eq!(free_letters(&session), "B");
        assert_eq!(free_letters(&Session::default()), "A");
    }
}
