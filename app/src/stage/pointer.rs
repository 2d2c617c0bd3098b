//! Mouse, pen and fingers on a pane: look, zoom, pinch and draw.

use leptos::html::Div;
use leptos::prelude::*;
use web_sys::{PointerEvent, WheelEvent};

use super::look::{Cursor, Look, Plane, Tool};
use super::placing::place;
use super::view::Spot;
use crate::store::Store;

/// CSS pixels within which a press and its release are a click.
const CLICK: f64 = 5.0;

/// The pointers on one pane.
#[derive(Debug, Clone, Copy)]
pub struct Hands {
    store: Store,
    look: Look,
    pane: NodeRef<Div>,
    plane: Signal<Plane>,
    down: StoredValue<Vec<Finger>>,
}

#[derive(Debug, Clone, Copy)]
struct Finger {
    id: i32,
    began: Spot,
    at: Spot,
    draws: bool,
    strayed: bool,
}

impl Hands {
    /// No pointer yet.
    #[must_use]
    pub fn new(store: Store, look: Look, pane: NodeRef<Div>, plane: Signal<Plane>) -> Self {
        Self { store, look, pane, plane, down: StoredValue::new(Vec::new()) }
    }

    fn on_pane(self, x: i32, y: i32) -> Spot {
        let (left, top) = self.pane.get_untracked().map_or((0.0, 0.0), |pane| {
            let area = pane.get_bounding_client_rect();
            (area.left(), area.top())
        });
        Spot::new(f64::from(x) - left, f64::from(y) - top)
    }

    fn on_picture(self, screen: Spot) -> Spot {
        self.look.view.get_untracked().to_picture(screen)
    }

    fn slack(self) -> f64 {
        CLICK / self.look.view.get_untracked().scale.max(f64::EPSILON)
    }

    fn cursor(self, screen: Spot) -> Cursor {
        Cursor { at: self.on_picture(screen), plane: self.plane.get_untracked() }
    }

    /// A pointer goes down.
    pub fn press(self, event: &PointerEvent) {
        let screen = self.on_pane(event.client_x(), event.client_y());
        if let Some(pane) = self.pane.get_untracked() {
            // Without capture a drag ends at the edge of the pane, which is still usable.
            let _ = pane.set_pointer_capture(event.pointer_id());
        }
        let shape = self.look.tool.get_untracked().shape();
        let first = self.down.with_value(Vec::is_empty);
        let draws = first && event.button() == 0 && shape.is_some();
        if let (true, Some(shape)) = (draws, shape) {
            let at = self.on_picture(screen);
            self.look.draft.update(|draft| draft.press(shape, at));
        } else if !first {
            // A second finger makes it a pinch; what the first began to draw is dropped.
            self.look.draft.update(|draft| *draft = Default::default());
        }
        let finger = Finger { id: event.pointer_id(), began: screen, at: screen, draws, strayed: false };
        self.down.update_value(|down| down.push(finger));
    }

    /// A pointer moves, down or not.
    pub fn motion(self, event: &PointerEvent) {
        let screen = self.on_pane(event.client_x(), event.client_y());
        if event.pointer_type() != "touch" {
            self.look.hover.set(Some(self.cursor(screen)));
        }
        if let Some(shape) = self.look.tool.get_untracked().shape() {
            let (at, slack) = (self.on_picture(screen), self.slack());
            if self.down.with_value(|down| down.len() < 2) {
                self.look.draft.update(|draft| draft.pull(shape, at, slack));
            }
        }
        let before = self.down.get_value();
        let Some(place) = before.iter().position(|finger| finger.id == event.pointer_id()) else { return };
        let mut after = before.clone();
        if let Some(finger) = after.get_mut(place) {
            finger.at = screen;
            finger.strayed |= finger.began.distance(screen) > CLICK;
        }
        let (picture, pane) = (self.look.picture.get_untracked(), self.look.pane.get_untracked());
        match (before.as_slice(), after.as_slice()) {
            ([was], [is]) if !is.draws && is.strayed => {
                let (across, down) = (is.at.x - was.at.x, is.at.y - was.at.y);
                self.look.view.update(|view| *view = view.panned(across, down, picture, pane));
            }
            ([a, b, ..], [c, d, ..]) => {
                let (was, is) = ([a.at, b.at], [c.at, d.at]);
                self.look.view.update(|view| *view = view.pinched(was, is, picture, pane));
            }
            _ => {}
        }
        self.down.set_value(after);
    }

    /// A pointer comes up.
    pub fn release(self, event: &PointerEvent) {
        let screen = self.on_pane(event.client_x(), event.client_y());
        let Some(finger) = self.lift(event.pointer_id()) else { return };
        if !self.down.with_value(Vec::is_empty) {
            return;
        }
        if finger.draws {
            self.finish(screen);
        } else if !finger.strayed && event.button() == 0 {
            self.pin(self.cursor(screen));
        }
    }

    /// A pointer is taken away by the browser.
    pub fn cancel(self, event: &PointerEvent) {
        self.lift(event.pointer_id());
        self.look.draft.update(|draft| *draft = Default::default());
    }

    /// The pointer leaves the pane.
    pub fn leave(self) {
        self.look.hover.set(None);
    }

    /// The wheel turns: larger or smaller about the pointer.
    pub fn wheel(self, event: &WheelEvent) {
        event.prevent_default();
        let screen = self.on_pane(event.client_x(), event.client_y());
        // Lines, pages and pixels of different mice come to like steps.
        let turned = event.delta_y().clamp(-120.0, 120.0);
        self.look.zoom_at((-turned / 400.0).exp(), screen);
    }

    /// Presses and releases the tool at the cross-hair, as Enter does.
    pub fn place_at_cross_hair(self) {
        let Some(cursor) = self.look.cursor.get_untracked().filter(|c| c.plane == self.plane.get_untracked())
        else {
            return;
        };
        if let Some(shape) = self.look.tool.get_untracked().shape() {
            self.look.draft.update(|draft| draft.press(shape, cursor.at));
            let screen = self.look.view.get_untracked().to_screen(cursor.at);
            self.finish(screen);
        }
    }

    /// Puts the cross-hair on a place, and the finding there in the foreground.
    pub fn pin(self, cursor: Cursor) {
        self.look.cursor.set(Some(cursor));
        if cursor.plane == Plane::Baseline && self.look.findings.get_untracked() {
            let state = self.store.comparison().get_untracked();
            let found = state.latest().and_then(|comparison| {
                let (x, y) = (cursor.at.x.round(), cursor.at.y.round());
                comparison.findings.iter().find(|finding| {
                    let [left, top, right, bottom] = finding.bounds.map(f64::from);
                    (left..=right).contains(&x) && (top..=bottom).contains(&y)
                })
            });
            if let Some(finding) = found {
                self.look.chosen.set(Some(finding.peak_at));
            }
        }
    }

    /// Closes the polygon being drawn.
    pub fn close(self) {
        if self.look.tool.get_untracked() == Tool::Polygon {
            let places = self.look.draft.try_update(|draft| draft.close()).flatten();
            if let Some(places) = places {
                place(self.store, self.look, self.plane.get_untracked(), &places);
            }
        }
    }

    fn finish(self, screen: Spot) {
        let Some(shape) = self.look.tool.get_untracked().shape() else { return };
        let (at, slack) = (self.on_picture(screen), self.slack());
        let places = self.look.draft.try_update(|draft| draft.release(shape, at, slack)).flatten();
        if let Some(places) = places {
            place(self.store, self.look, self.plane.get_untracked(), &places);
        }
    }

    fn lift(self, id: i32) -> Option<Finger> {
        self.down
            .try_update_value(|down| {
                let place = down.iter().position(|finger| finger.id == id)?;
                Some(down.remove(place))
            })
            .flatten()
    }
}
