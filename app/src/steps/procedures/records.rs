//! The procedures that were carried out, and what can be done with what they yield.

use analysis::procedure::{Record, Yield};
use analysis::session::Command;
use leptos::prelude::*;

use super::outcome::headline;
use crate::stage::look::Look;
use crate::store::Store;
use crate::widgets::{Icon, Sign};

/// What was recorded, the latest first.
#[component]
pub fn Records() -> impl IntoView {
    let store = Store::expect();
    let records = Memo::new(move |_| store.session().with(|session| session.procedures.clone()));
    let items = move || {
        let records = records.get();
        let items = records.into_iter().enumerate().rev();
        items.map(|(index, record)| view! { <RecordItem index=index record=record /> }).collect::<Vec<_>>()
    };
    view! {
        <div hidden=move || records.with(Vec::is_empty)>
            <h4>"Recorded"</h4>
            <ul class="items" data-testid="procedure-records">{items}</ul>
        </div>
    }
}

#[component]
fn RecordItem(
    /// Its place in the session.
    index: usize,
    /// The record.
    record: Record,
) -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let title = record.title();
    let kept = record.clone();
    let line = move || headline(&kept, unit.get());
    let uses = match record.yields() {
        Yield::ReflectedTemperature { reflected, uncertainty, .. } => {
            let take = move |_| {
                let session = store.session().get_untracked();
                let surroundings = analysis::radiometry::Surroundings { reflected, ..session.surroundings };
                let mut input_uncertainty = session.input_uncertainty.clone();
                input_uncertainty.reflected = uncertainty;
                store.begin_gesture();
                store.dispatch(Command::SetSurroundings { surroundings });
                store.dispatch(Command::SetInputUncertainty { input_uncertainty });
                store.end_gesture();
            };
            view! { <button data-testid=format!("use-record-{}", index + 1) on:click=take>"Use it for the board"</button> }
                .into_any()
        }
        Yield::Finish { finish, .. } => {
            let whole = finish.clone();
            let for_whole = move |_| store.dispatch(Command::SetWholeFinish { finish: whole.clone() });
            let for_regions = move |_| look.finish.set(finish.clone());
            view! {
                <button data-testid=format!("use-record-{}", index + 1) on:click=for_regions>
                    "Take it as the finish to lay"
                </button>
                <button on:click=for_whole>"Use it for the whole board"</button>
            }
            .into_any()
        }
        Yield::EmissivityMap { picture, uncertainty, .. } => {
            let (map, uncertainty) = (Some(picture), Some(uncertainty));
            let take = move |_| {
                store.dispatch(Command::UseEmissivityMap {
                    map: map.clone(),
                    uncertainty: uncertainty.clone(),
                });
            };
            view! { <button data-testid=format!("use-record-{}", index + 1) on:click=take>"Use this picture"</button> }
                .into_any()
        }
    };
    view! {
        <li data-testid="procedure-record">
            <span class="name">{title}</span>
            <button
                class="quiet"
                aria-label=format!("Take the record away: {title}")
                on:click=move |_| store.dispatch(Command::RemoveProcedure { index })
            >
                <Icon sign=Sign::Remove />
            </button>
            <p class="penned below">{line}</p>
            <div class="row below">{uses}</div>
        </li>
    }
}
