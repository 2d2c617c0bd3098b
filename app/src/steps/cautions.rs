//! The cautions of working on a powered board. The page informs; local rules decide.

use leptos::prelude::*;

/// Before the board is powered and looked at.
const AT_THE_BENCH: [&str; 5] = [
    "The board is live while it is viewed. Keep hands, tools and loose leads out of it; mains and other \
     dangerous voltages are for people authorised to work on them.",
    "Mains-connected and non-isolated circuits: isolation, residual-current protection and working alone are \
     settled by your local electrical code and site rules, not by this page.",
    "Hot parts burn skin and melt leads. A warm reading on bare metal can be far too low: metal looks cold to \
     the camera.",
    "Capacitors keep their charge after switch-off. Discharge and verify before you touch, or measure resistance.",
    "Paint, tape or powder for emissivity goes on only with the power off, discharged and cool; not on contacts \
     or across insulation distances, and only as its own data sheet allows.",
];

/// Before contact measurements.
const AT_THE_PROBES: [&str; 2] = [
    "Contact measurements bring hands to a live circuit. Use probes, leads and instruments rated for its voltage \
     and category, and follow your local code; leave mains circuits to licensed people.",
    "Where the list says unpowered: switch off, disconnect, discharge, and verify with the meter first.",
];

fn list(cautions: &'static [&'static str]) -> impl IntoView {
    let items: Vec<_> = cautions.iter().map(|caution| view! { <li>{*caution}</li> }).collect();
    view! { <ul class="caution" role="note" aria-label="Cautions">{items}</ul> }
}

/// The cautions of the first step.
#[component]
pub fn BenchCautions() -> impl IntoView {
    list(&AT_THE_BENCH)
}

/// The cautions of the probe list.
#[component]
pub fn ProbeCautions() -> impl IntoView {
    list(&AT_THE_PROBES)
}
