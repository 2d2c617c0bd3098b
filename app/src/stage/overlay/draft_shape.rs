//! The shape that is being drawn.

use leptos::prelude::*;

use super::points_text;
use crate::stage::look::{Look, Plane, Tool};
use crate::stage::view::Spot;

/// The draft, with the pointer's place as its next one.
#[component]
pub fn DraftShape(
    /// In whose pixels this picture is.
    plane: Signal<Plane>,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let shape = move || {
        let tool = look.tool.get();
        let draft = look.draft.get();
        let first = draft.places.first().copied()?;
        let ahead = draft.ahead.or_else(|| look.cursor.get().map(|cursor| cursor.at)).unwrap_or(first);
        (plane.get() == Plane::Baseline).then(|| match tool {
            Tool::Rectangle | Tool::AreaGauge => {
                let corners = [first, Spot::new(ahead.x, first.y), ahead, Spot::new(first.x, ahead.y)];
                view! { <polygon class="draft" points=points_text(corners) /> }.into_any()
            }
            Tool::Ellipse => view! {
                <ellipse
                    class="draft"
                    cx=(first.x + ahead.x) / 2.0
                    cy=(first.y + ahead.y) / 2.0
                    rx=(first.x - ahead.x).abs() / 2.0
                    ry=(first.y - ahead.y).abs() / 2.0
                />
            }
            .into_any(),
            Tool::Brush => {
                let width = 2.0 * look.brush.get();
                view! { <polyline class="draft brushed" points=points_text(draft.places) stroke-width=width /> }
                    .into_any()
            }
            _ => {
                let places = draft.places.into_iter().chain([ahead]);
                view! { <polyline class="draft" points=points_text(places) /> }.into_any()
            }
        })
    };
    view! { <g>{shape}</g> }
}
