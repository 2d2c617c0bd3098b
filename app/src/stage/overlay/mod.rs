//! What is drawn on the picture, as vectors, so that it stays crisp at any enlargement.
//!
//! Shapes live in the picture's pixels under one transform; tags and marks keep their size on the screen.

mod draft_shape;
mod marks;
mod outlines;
mod tags;

use leptos::prelude::*;

use super::look::{Look, Plane};
use super::view::Spot;

/// Everything over one picture.
#[component]
pub fn Overlay(
    /// In whose pixels the picture is.
    plane: Signal<Plane>,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let transform = move || {
        let view = look.view.get();
        let origin = view.to_screen(Spot::default());
        format!("matrix({0} 0 0 {0} {1} {2})", view.scale, origin.x, origin.y)
    };
    let on_baseline = move || plane.get() == Plane::Baseline;
    view! {
        <svg class="overlay" aria-hidden="true">
            <g class="shapes" transform=transform>
                <Show when=on_baseline>
                    <outlines::PartShapes />
                    <outlines::RegionShapes />
                    <outlines::GaugeShapes />
                    <outlines::FindingShapes />
                </Show>
                <draft_shape::DraftShape plane=plane />
            </g>
            <Show when=on_baseline>
                <tags::Tags />
            </Show>
            <marks::Marks plane=plane />
        </svg>
    }
}

/// Places as the `points` of a polygon or polyline.
fn points_text(places: impl IntoIterator<Item = Spot>) -> String {
    places.into_iter().map(|place| format!("{:.2},{:.2}", place.x, place.y)).collect::<Vec<_>>().join(" ")
}
