//! The emissivity of every pixel, from captures of the board soaked at known temperatures, unpowered.

use analysis::content_hash::ContentHash;
use analysis::procedure::SoakedMap;
use analysis::session::Role;
use analysis::soaked_board::soaked_map;
use analysis::units::Kelvin;
use leptos::prelude::*;

use super::Guided;
use crate::steps::kelvin_fields::{IntervalField, TemperatureField, kelvins, needed};
use crate::store::Store;
use crate::widgets::Tick;
use crate::wording;

const STEPS: [&str; 5] = [
    "Board unpowered, discharged, all of it at one temperature: on a heated plate or in a warm box, 20 K above the room or more, left to soak. Hot plates burn: follow your site's rules.",
    "Camera and board where they are for the powered captures.",
    "Capture it, load the capture and set it aside in step 2.",
    "State the board's temperature below, from a thermometer in good contact with it.",
    "A second soak at another temperature finds what each pixel mirrors as well.",
];

/// What is said of one capture: the board's temperature, where it is a soak.
type Stated = Vec<(ContentHash, Option<Kelvin>)>;

/// The captures that are soaks, with the board's temperature.
fn soaks(stated: &Stated) -> Vec<(ContentHash, Kelvin)> {
    stated.iter().filter_map(|(hash, board)| Some((hash.clone(), (*board)?))).collect()
}

/// The procedure.
#[component]
pub fn ByUnpoweredCaptures() -> impl IntoView {
    let store = Store::expect();
    let aside = Memo::new(move |_| {
        store.session().with(|session| {
            let captures = session.with_role(Role::Aside).filter(|record| record.metadata.quantity.is_some());
            captures.map(|record| (record.hash.clone(), record.file_name.clone())).collect::<Vec<_>>()
        })
    });
    let stated = RwSignal::new(Stated::new());
    let uncertainty = RwSignal::new(kelvins(0.3));
    let solve = RwSignal::new(false);
    let ready = Memo::new(move |_| {
        let session = store.session().get();
        let soaks = stated.with(soaks);
        soaked_map(&session, &soaks, uncertainty.get(), solve.get()).map_err(|error| error.to_string())
    });
    let fields = move || {
        aside
            .get()
            .into_iter()
            .enumerate()
            .map(|(place, (hash, name))| {
                let wanted = hash.clone();
                let value = Signal::derive(move || {
                    stated.with(|stated| {
                        stated.iter().find(|(known, _)| *known == wanted).and_then(|(_, board)| *board)
                    })
                });
                let commit = move |typed: Option<Kelvin>| {
                    stated.update(|stated| {
                        stated.retain(|(known, _)| *known != hash);
                        stated.push((hash.clone(), typed));
                    });
                    None
                };
                view! {
                    <TemperatureField
                        label=format!("Board in {name}")
                        value=value
                        commit=commit
                        hint="not a soak"
                        testid=format!("soak-{}", place + 1)
                    />
                }
            })
            .collect::<Vec<_>>()
    };
    let make = move |_| {
        if let Ok(entered) = ready.get_untracked() {
            store.map_emissivity(entered);
        }
    };
    let count = move || ready.with(|ready| ready.as_ref().map_or(0, |entered| entered.soaks.len()));
    let wrong = move || count() > 0 && ready.with(Result::is_err);
    view! {
        <Guided name=SoakedMap::NAME steps=&STEPS caution=SoakedMap::CAUTION testid="by-soak">
            <p class="remark" hidden=move || !aside.with(Vec::is_empty)>
                "No capture is set aside yet: load one in step 2 and choose “set aside”."
            </p>
            <div class="fields">{fields}</div>
            <div class="fields">
                <IntervalField
                    label="Standard uncertainty of the board's temperature"
                    value=Signal::derive(move || Some(uncertainty.get()))
                    commit=needed(move |typed| uncertainty.set(typed))
                />
            </div>
            <div hidden=move || count() < 2>
                <Tick label="Find what each pixel mirrors as well" on=solve set=move |on| solve.set(on) />
            </div>
            <p class="remark" class:wrong=wrong role="status">
                {move || match ready.get() {
                    Ok(entered) => format!("From {}; captures are aligned with the baseline first.", wording::count(entered.soaks.len(), "soak")),
                    Err(what) => format!("Still missing: {what}."),
                }}
            </p>
            <div class="row">
                <button
                    class="primary"
                    data-testid="by-soak-record"
                    disabled=move || ready.with(Result::is_err)
                    on:click=make
                >
                    "Work the picture out and use it"
                </button>
            </div>
        </Guided>
    }
}
