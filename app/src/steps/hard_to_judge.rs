//! Parts on which only a large difference would be called: what the comparison is blind to.

use analysis::inspection::{PartReading, hard_to_judge};
use analysis::units::KelvinDifference;
use leptos::prelude::*;

use crate::store::Store;
use crate::wording;

/// The parts, the least telling first, each with the difference it would take.
#[component]
pub fn HardToJudge() -> impl IntoView {
    let store = Store::expect();
    let dull = Memo::new(move |_| {
        let (criteria, unit) = store.session().with(|s| (s.criteria, s.temperature_unit));
        let state = store.comparison().get();
        let parts = state.latest().map(|comparison| comparison.parts.as_slice()).unwrap_or_default();
        let words = |(part, needed): (&PartReading, KelvinDifference)| {
            (part.designator.clone(), wording::interval(unit, needed.value()))
        };
        hard_to_judge(parts, &criteria).into_iter().map(words).collect::<Vec<_>>()
    });
    let items = move || {
        let item = |(part, needed): (String, String)| {
            view! {
                <div>
                    <dt>{part}</dt>
                    <dd>{needed}</dd>
                </div>
            }
        };
        dull.get().into_iter().map(item).collect::<Vec<_>>()
    };
    view! {
        <details class="block" hidden=move || dull.with(Vec::is_empty) data-testid="hard-to-judge">
            <summary>{move || format!("Hard to judge here: {}", wording::count(dull.with(Vec::len), "part"))}</summary>
            <dl class="columns">{items}</dl>
            <p class="remark">
                "Only differences beyond these would be called on these parts: noise, spread or steep edges cover smaller ones. Treat the surface, add known-good boards, or probe them."
            </p>
        </details>
    }
}
