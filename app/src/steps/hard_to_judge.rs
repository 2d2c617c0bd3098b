//! Parts on which only a large difference would be called: what the comparison is blind to.

use leptos::prelude::*;

use crate::store::Store;
use crate::wording;

/// A part is listed when it asks for this many times the stated limit.
const DULL: f64 = 2.0;

/// The parts, the least telling first, each with the difference it would take.
#[component]
pub fn HardToJudge() -> impl IntoView {
    let store = Store::expect();
    let dull = Memo::new(move |_| {
        let (limit, unit) = store.session().with(|s| (s.criteria.limit.value(), s.temperature_unit));
        let state = store.comparison().get();
        let parts = state.latest().map(|comparison| comparison.parts.as_slice()).unwrap_or_default();
        let needed = parts.iter().filter_map(|part| Some((part.callable?.value(), part.designator.as_str())));
        let mut dull: Vec<_> = needed.filter(|(needed, _)| *needed > DULL * limit).collect();
        dull.sort_by(|a, b| b.0.total_cmp(&a.0));
        let words = |(needed, name): &(f64, &str)| format!("{name} {}", wording::interval(unit, *needed));
        dull.iter().map(words).collect::<Vec<_>>()
    });
    view! {
        <details class="block" hidden=move || dull.with(Vec::is_empty) data-testid="hard-to-judge">
            <summary>{move || format!("Hard to judge here: {}", wording::count(dull.with(Vec::len), "part"))}</summary>
            <p>{move || dull.with(|dull| dull.join(" · "))}</p>
            <p class="remark">
                "Only differences beyond these would be called on these parts: noise, spread or steep edges cover smaller ones. Treat the surface, add known-good boards, or probe them."
            </p>
        </details>
    }
}
