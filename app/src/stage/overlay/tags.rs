//! Names on the picture: of parts, regions, read-outs and findings.

use analysis::board::Footprint;
use analysis::session::GaugePlace;
use leptos::prelude::*;

use super::outlines::ring_of;
use crate::stage::bodies::Bodies;
use crate::stage::look::{Look, Subject};
use crate::stage::outline_path::{Drawn, drawn};
use crate::stage::view::{Spot, View};
use crate::store::Store;
use crate::wording;

/// A part is named once its body is this wide on the screen, CSS pixels.
const NAMED_FROM: f64 = 30.0;

/// A name at a place of the picture.
struct Tag {
    at: Spot,
    text: String,
    class: &'static str,
}

impl Tag {
    fn shown(self, view: View) -> impl IntoView {
        let at = view.to_screen(self.at);
        view! { <text class=self.class x=at.x y=at.y>{self.text}</text> }
    }
}

/// All names.
#[component]
pub fn Tags() -> impl IntoView {
    let look = expect_context::<Look>();
    let bodies = expect_context::<Bodies>();
    let store = Store::expect();
    let tags = move || {
        let view = look.view.get();
        let mut tags = Vec::new();
        if look.parts.get() {
            bodies.all().with(|all| {
                let wide = |body: &Footprint| {
                    let [a, b, c, _] = body.corners;
                    a.distance(b).max(b.distance(c)) * view.scale > NAMED_FROM
                };
                tags.extend(all.iter().filter(|body| wide(body)).map(|body| Tag {
                    at: Spot::new(body.center.x, body.center.y),
                    text: body.designator.clone(),
                    class: "tag part",
                }));
            });
        }
        store.session().with(|session| {
            if look.regions.get() {
                let map = bodies.board_to_picture().get();
                tags.extend(session.surface.regions.iter().filter_map(|region| {
                    let at = head_of(&drawn(&region.outline, map.as_ref())?)?;
                    Some(Tag { at, text: region.name.clone(), class: "tag region" })
                }));
            }
            tags.extend(session.gauges.iter().map(|gauge| Tag {
                at: end_of(gauge.place),
                text: gauge.name.clone(),
                class: "tag gauge",
            }));
        });
        if look.findings.get() {
            let state = store.comparison().get();
            let chosen = look.chosen.get();
            let findings = state.latest().into_iter().flat_map(|comparison| comparison.findings.iter());
            tags.extend(findings.enumerate().map(|(place, finding)| {
                let (center, radius) = ring_of(finding);
                let corner = radius * std::f64::consts::FRAC_1_SQRT_2;
                let name = wording::place_of(finding);
                let class = if chosen == Some(finding.peak_at) { "tag found chosen" } else { "tag found" };
                Tag {
                    at: Spot::new(center.x + corner, center.y - corner),
                    text: format!("{}  {name}", place + 1),
                    class,
                }
            }));
        }
        tags.into_iter().map(|tag| tag.shown(view)).collect::<Vec<_>>()
    };
    let class = move || if look.subject.get() == Subject::Difference { "tags on-pale" } else { "tags" };
    view! { <g class=class>{tags}</g> }
}

/// The place of an outline where its name stands.
fn head_of(outline: &Drawn) -> Option<Spot> {
    match outline {
        Drawn::Closed(places) => places.iter().copied().reduce(|a, b| if b.y < a.y { b } else { a }),
        Drawn::Oval { center, half } => Some(Spot::new(center.x, center.y - half.y)),
        Drawn::Brushed { path, .. } => path.first().copied(),
    }
}

fn end_of(place: GaugePlace) -> Spot {
    match place {
        GaugePlace::Point { at } => Spot::new(at.x + 1.5, at.y - 1.5),
        GaugePlace::Area { from, to } => Spot::new(from.x.max(to.x), from.y.min(to.y)),
        GaugePlace::Line { to, .. } => Spot::new(to.x, to.y),
    }
}
