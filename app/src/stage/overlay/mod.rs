//! What is drawn on the picture, as vectors, so that it stays crisp at any enlargement.
//!
//! Shapes live in the picture's pixels under one transform; tags and marks keep their size on the screen.

mod draft_shape;
mod label_room;
mod marks;
mod outlines;
mod tags;

use leptos::prelude::*;

use super::look::{Look, Plane, Subject};
use super::recorded::Recorded;
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
                    <outlines::BoardEdges />
                    <outlines::PartShapes />
                    <outlines::RegionShapes />
                    <outlines::GaugeShapes />
                    <outlines::FindingShapes />
                    <SourceEllipse />
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

/// Where the source of a swing lies, over the recording's pictures only.
#[component]
fn SourceEllipse() -> impl IntoView {
    let (look, recorded) = (expect_context::<Look>(), expect_context::<Recorded>());
    move || {
        let [x, y, major, minor, angle] =
            recorded.ellipse.get().filter(|_| look.subject.get() == Subject::Recording)?;
        let turn = format!("translate({x:.3} {y:.3}) rotate({:.2})", angle.to_degrees());
        Some(
            view! { <ellipse class="ellipse" rx=format!("{major:.3}") ry=format!("{minor:.3}") transform=turn /> },
        )
    }
}

/// Places as the `points` of a polygon or polyline.
fn points_text(places: impl IntoIterator<Item = Spot>) -> String {
    places.into_iter().map(|place| format!("{:.2},{:.2}", place.x, place.y)).collect::<Vec<_>>().join(" ")
}
