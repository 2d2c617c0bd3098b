//! Marks that keep their size: board places, landmarks, and the cross-hair.

use leptos::prelude::*;

use crate::stage::look::{Look, Plane};
use crate::stage::view::{Spot, View};
use crate::store::Store;

/// Half the size of a mark, CSS pixels.
const ARM: f64 = 7.0;

/// A ring with its number.
fn ring(view: View, at: Spot, text: String, class: &'static str) -> impl IntoView {
    let at = view.to_screen(at);
    view! {
        <g class=class>
            <circle cx=at.x cy=at.y r=ARM />
            <path d=format!("M{} {}h6m-3 -3v6", at.x - 3.0, at.y) />
            <text x=at.x + ARM + 3.0 y=at.y - ARM>
                {text}
            </text>
        </g>
    }
}

/// The marks of one picture.
#[component]
pub fn Marks(
    /// In whose pixels this picture is.
    plane: Signal<Plane>,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let session = Store::expect().session();
    let known = move || {
        if !look.places.get() {
            return Vec::new();
        }
        let view = look.view.get();
        session.with(|session| {
            let landmarks = session.landmarks.iter().enumerate().map(|(place, pair)| {
                let at = match plane.get() {
                    Plane::Baseline => Spot::new(pair.baseline.x, pair.baseline.y),
                    Plane::UnitOwn => Spot::new(pair.unit.x, pair.unit.y),
                };
                ring(view, at, format!("L{}", place + 1), "landmark")
            });
            let corners = session.layout.corners.iter().filter(|_| plane.get() == Plane::Baseline);
            let corners = corners.enumerate().map(|(place, mark)| {
                let at = Spot::new(mark.pixel.x, mark.pixel.y);
                ring(view, at, format!("place {}", place + 1), "corner")
            });
            landmarks.chain(corners).collect::<Vec<_>>()
        })
    };
    let pending = move || {
        let view = look.view.get();
        let waiting = [look.pending_corner.get(), look.pending_landmark.get()];
        waiting
            .into_iter()
            .flatten()
            .filter(|_| plane.get() == Plane::Baseline)
            .map(|at| ring(view, Spot::new(at.x, at.y), "new".to_owned(), "waiting"))
            .collect::<Vec<_>>()
    };
    let cross = move || {
        let cursor = look.cursor.get().filter(|cursor| cursor.plane == plane.get())?;
        let at = look.view.get().to_screen(cursor.at);
        let (x, y) = (at.x, at.y);
        Some(view! {
            <path class="cross" d=format!("M{} {y}h12M{} {y}h12M{x} {}v12M{x} {}v12", x - 16.0, x + 4.0, y - 16.0, y + 4.0) />
        })
    };
    view! { <g class="marks">{known} {pending} {cross}</g> }
}
