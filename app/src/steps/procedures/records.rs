//! The procedures that were carried out, and what can be done with what they yield.

use analysis::procedure::{Record, Yield};
use analysis::session::Command;
use leptos::prelude::*;
use wasm_bindgen::JsCast;

use super::outcome::headline;
use crate::notice::Notice;
use crate::stage::look::Look;
use crate::store::Store;
use crate::widgets::{Icon, Sign};
use crate::wording;

/// What was recorded, the latest first, by the numbers they have in the result file.
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
        <div class="block" hidden=move || records.with(Vec::is_empty)>
            <h3>"Recorded"</h3>
            <ul class="items" data-testid="procedure-records">{items}</ul>
        </div>
    }
}

/// A record as it is called: its number, what was found and how, and where.
fn name_of(index: usize, record: &Record) -> String {
    let place = record.place();
    let at = if place.is_empty() { String::new() } else { format!(", at {place}") };
    format!("{}. {}{at}", index + 1, record.title())
}

/// Brings a block of this step before the eyes, and the keyboard with it.
fn go_to(block: &str) {
    let found = document().query_selector(&format!("[data-testid={block}]")).ok().flatten();
    if let Some(block) = found.and_then(|block| block.dyn_into::<web_sys::HtmlElement>().ok()) {
        // A block that takes no focus is still scrolled to.
        let _ = block.focus();
        block.scroll_into_view();
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
    let title = name_of(index, &record);
    let kept = record.clone();
    let line = move || headline(&kept, unit.get());
    let testid = format!("use-record-{}", index + 1);
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
                store.tell(Notice::information(format!(
                    "The board's reflected temperature is now {}, as measured.",
                    wording::temperature(unit.get_untracked(), reflected.value())
                )));
            };
            view! { <button data-testid=testid on:click=take>"Use it for the board"</button> }.into_any()
        }
        Yield::Finish { finish, .. } => {
            let whole = finish.clone();
            let for_whole = move |_| {
                let emissivity = wording::emissivity(&whole);
                store.dispatch(Command::SetWholeFinish { finish: whole.clone() });
                store.tell(Notice::information(format!(
                    "The whole board now has the measured emissivity {emissivity}; regions keep their own."
                )));
                go_to("whole-finish");
            };
            let for_regions = move |_| {
                let emissivity = wording::emissivity(&finish);
                look.finish.set(finish.clone());
                store.tell(Notice::information(format!(
                    "The next region gets the measured emissivity {emissivity}. Now click a part in the picture and lay it over, or draw the region."
                )));
                go_to("new-regions");
            };
            view! {
                <button data-testid=testid on:click=for_regions>"Use it for a region …"</button>
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
                store.tell(Notice::information("The picture of emissivities is now used below all regions."));
            };
            view! { <button data-testid=testid on:click=take>"Use this picture"</button> }.into_any()
        }
    };
    view! {
        <li data-testid="procedure-record">
            <span class="name">{title.clone()}</span>
            <button
                class="quiet"
                aria-label=format!("Take the record away: {title}")
                title="Take this record away"
                on:click=move |_| store.dispatch(Command::RemoveProcedure { index })
            >
                <Icon sign=Sign::Remove />
            </button>
            <p class="penned below">{line}</p>
            <div class="row below">{uses}</div>
        </li>
    }
}
