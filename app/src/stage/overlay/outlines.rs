//! The board's edge, bodies, regions, read-outs and findings as shapes in the picture's pixels.

use analysis::inspection::{Finding, Sign};
use analysis::session::GaugePlace;
use leptos::prelude::*;

use super::points_text;
use crate::stage::bodies::Bodies;
use crate::stage::look::Look;
use crate::stage::outline_path::{Drawn, drawn};
use crate::stage::view::Spot;
use crate::store::Store;

/// The board's edge and its openings.
#[component]
pub fn BoardEdges() -> impl IntoView {
    let look = expect_context::<Look>();
    let bodies = expect_context::<Bodies>();
    let shapes = move || {
        let edges = if look.parts.get() { bodies.edges().get() } else { Vec::new() };
        let shape = |edge| view! { <polygon class="board-edge" points=points_text(edge) /> };
        edges.into_iter().map(shape).collect::<Vec<_>>()
    };
    view! { <g>{shapes}</g> }
}

/// The bodies of the parts.
#[component]
pub fn PartShapes() -> impl IntoView {
    let look = expect_context::<Look>();
    let bodies = expect_context::<Bodies>();
    let shapes = move || {
        if !look.parts.get() {
            return Vec::new();
        }
        bodies.all().with(|all| {
            all.iter()
                .map(|body| {
                    let corners = body.corners.map(|corner| Spot::new(corner.x, corner.y));
                    view! { <polygon class="part" points=points_text(corners) /> }
                })
                .collect()
        })
    };
    view! { <g>{shapes}</g> }
}

/// The regions with a finish of their own.
#[component]
pub fn RegionShapes() -> impl IntoView {
    let look = expect_context::<Look>();
    let bodies = expect_context::<Bodies>();
    let session = Store::expect().session();
    let surface = Memo::new(move |_| session.with(|session| session.surface.regions.clone()));
    let shapes = move || {
        if !look.regions.get() {
            return Vec::new();
        }
        let to_picture = bodies.board_to_picture().get();
        surface.with(|regions| {
            regions
                .iter()
                .filter_map(|region| drawn(&region.outline, to_picture.as_ref()))
                .map(|outline| view! { <Shape drawn=outline class="region" /> })
                .collect()
        })
    };
    view! { <g>{shapes}</g> }
}

/// One outline as its own kind of element.
#[component]
fn Shape(
    /// What to draw.
    drawn: Drawn,
    /// How it looks.
    class: &'static str,
) -> impl IntoView {
    match drawn {
        Drawn::Closed(places) => view! { <polygon class=class points=points_text(places) /> }.into_any(),
        Drawn::Oval { center, half } => {
            view! { <ellipse class=class cx=center.x cy=center.y rx=half.x ry=half.y /> }.into_any()
        }
        Drawn::Brushed { path, radius } => {
            // A lone dot needs a second place for its round ends to show.
            let path = if let [only] = path.as_slice() { vec![*only, *only] } else { path };
            let class = format!("{class} brushed");
            view! { <polyline class=class points=points_text(path) stroke-width=2.0 * radius /> }.into_any()
        }
    }
}

/// The read-outs.
#[component]
pub fn GaugeShapes() -> impl IntoView {
    let session = Store::expect().session();
    let gauges = Memo::new(move |_| session.with(|session| session.gauges.clone()));
    let shape = |place: GaugePlace| match place {
        GaugePlace::Point { at } => {
            view! { <rect class="gauge" x=at.x - 1.5 y=at.y - 1.5 width="3" height="3" /> }.into_any()
        }
        GaugePlace::Area { from, to } => view! {
            <rect
                class="gauge"
                x=from.x.min(to.x)
                y=from.y.min(to.y)
                width=(from.x - to.x).abs()
                height=(from.y - to.y).abs()
            />
        }
        .into_any(),
        GaugePlace::Line { from, to } => {
            view! { <line class="gauge" x1=from.x y1=from.y x2=to.x y2=to.y /> }.into_any()
        }
    };
    let shapes =
        move || gauges.with(|gauges| gauges.iter().map(|gauge| shape(gauge.place)).collect::<Vec<_>>());
    view! { <g>{shapes}</g> }
}

/// Least and greatest radius of a finding's ring, picture pixels: a wide glow would be ringed right
/// round the board, and says less than the place where it peaks.
const RING: [f64; 2] = [8.0, 40.0];

/// The ring around a finding: its centre on the peak, and its radius.
pub fn ring_of(finding: &Finding) -> (Spot, f64) {
    let [left, top, right, bottom] = finding.bounds.map(f64::from);
    let radius = ((right - left).min(bottom - top) / 2.0 + 1.0).clamp(RING[0], RING[1]);
    (Spot::new(finding.peak_at.x, finding.peak_at.y), radius)
}

/// Rings around the findings.
#[component]
pub fn FindingShapes() -> impl IntoView {
    let look = expect_context::<Look>();
    let state = Store::expect().comparison();
    let shapes = move || {
        let state = state.get();
        let Some(comparison) = state.latest().filter(|_| look.findings.get()) else { return Vec::new() };
        let ringed = |finding: &Finding| {
            let peak_at = finding.peak_at;
            let (center, radius) = ring_of(finding);
            let class = match finding.sign {
                Sign::Hotter => "found warmer",
                Sign::Colder => "found colder",
            };
            view! {
                <circle
                    class=class
                    class:chosen=move || look.chosen.get() == Some(peak_at)
                    cx=center.x
                    cy=center.y
                    r=radius
                />
            }
        };
        comparison.findings.iter().map(ringed).collect::<Vec<_>>()
    };
    view! { <g>{shapes}</g> }
}
