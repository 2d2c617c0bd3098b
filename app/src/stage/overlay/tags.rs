//! Names on the picture: of parts, regions, read-outs and findings.

use analysis::board::Footprint;
use analysis::session::GaugePlace;
use leptos::prelude::*;

use super::label_room::{Asked, Given, give_room};
use super::outlines::ring_of;
use crate::stage::bodies::Bodies;
use crate::stage::look::{Look, Subject};
use crate::stage::outline_path::{Drawn, drawn};
use crate::stage::view::Spot;
use crate::store::Store;
use crate::wording;

/// A part is named once its body is this wide on the screen, CSS pixels.
const NAMED_FROM: f64 = 30.0;

/// A name and how it looks.
struct Tag {
    asked: Asked,
    class: &'static str,
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
        let screen = |at: Spot| view.to_screen(at);
        if look.findings.get() {
            let state = store.comparison().get();
            let chosen = look.chosen.get();
            let findings = state.latest().into_iter().flat_map(|comparison| comparison.findings.iter());
            tags.extend(findings.enumerate().map(|(place, finding)| {
                let (center, radius) = ring_of(finding);
                let rank = (place + 1).to_string();
                let asked = Asked {
                    around: screen(center),
                    away: radius * view.scale * std::f64::consts::FRAC_1_SQRT_2,
                    name: format!("{rank}  {}", wording::place_of(finding)),
                    short: rank,
                };
                let class = if chosen == Some(finding.peak_at) { "tag found chosen" } else { "tag found" };
                Tag { asked, class }
            }));
            // The one in hand is named first.
            tags.sort_by_key(|tag| !tag.class.ends_with("chosen"));
        }
        store.session().with(|session| {
            let beside = |at: Spot, name: &String, class| Tag {
                asked: Asked { around: screen(at), away: 3.0, name: name.clone(), short: name.clone() },
                class,
            };
            tags.extend(
                session.gauges.iter().map(|gauge| beside(end_of(gauge.place), &gauge.name, "tag gauge")),
            );
            if look.regions.get() {
                let map = bodies.board_to_picture().get();
                tags.extend(session.surface.regions.iter().filter_map(|region| {
                    let at = head_of(&drawn(&region.outline, map.as_ref())?)?;
                    Some(beside(at, &region.name, "tag region"))
                }));
            }
        });
        if look.parts.get() {
            bodies.all().with(|all| {
                let wide = |body: &Footprint| {
                    let [a, b, c, _] = body.corners;
                    a.distance(b).max(b.distance(c)) * view.scale > NAMED_FROM
                };
                tags.extend(all.iter().filter(|body| wide(body)).map(|body| Tag {
                    asked: Asked {
                        around: screen(Spot::new(body.center.x, body.center.y)),
                        away: 0.0,
                        name: body.designator.clone(),
                        short: String::new(),
                    },
                    class: "tag part",
                }));
            });
        }
        let asked: Vec<_> = tags.iter().map(|tag| tag.asked.clone()).collect();
        let given = give_room(&asked, look.pane.get());
        let shown = |(tag, given): (Tag, Option<Given>)| {
            let Given { at, text } = given?;
            Some(view! { <text class=tag.class x=at.x y=at.y>{text}</text> })
        };
        tags.into_iter().zip(given).filter_map(shown).collect::<Vec<_>>()
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
