//! Step 2: which pictures there are and what each is for.

use analysis::capture::{Quantity, readable_time};
use analysis::content_hash::ContentHash;
use analysis::session::{CaptureRecord, Command, Role};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::placement_unit::PlacementUnitForm;
use super::quantity_form::QuantityForm;
use super::recording::RecordingItem;
use crate::store::Store;
use crate::time::desk::Desk;
use crate::time::live_folder::LiveFolder;
use crate::widgets::{DropZone, Icon, Picker, Sign};
use crate::wording;

const ROLES: [Role; 4] = [Role::Baseline, Role::Unit, Role::Waiting, Role::Aside];

/// What a drop zone takes, in one line.
pub const TAKES: &str = "TIFF, PGM or CSV pictures with their sidecar, recordings of many frames, placement and limit tables, netlists (IPC-D-356), board outlines and component layers (Gerber), or an earlier result file";

/// The second step.
#[component]
pub fn CapturesStep() -> impl IntoView {
    let store = Store::expect();
    let desk = expect_context::<Desk>();
    let hashes = Memo::new(move |_| {
        store
            .session()
            .with(|session| session.captures.iter().map(|record| record.hash.clone()).collect::<Vec<_>>())
    });
    view! {
        <DropZone
            title="Drop captures here, or choose files"
            remark=TAKES
            testid="add-files"
            take=move |files| desk.take_files(files)
        />
        <For each=move || store.questions().get() key=|question| question.hash.clone() let:question>
            <QuantityForm question=question answered=|()| () />
        </For>
        <RecordingItem />
        <LiveFolder />
        <details class="block">
            <summary>"A recording in numbered files of one frame each"</summary>
            <DropZone
                title="Drop all its files together, or choose them"
                remark="TIFF or PGM with a number in each name, and one sidecar for all; a number that is missing is a dropped frame"
                testid="numbered-files"
                take=move |files| desk.open_numbered(files)
            />
        </details>
        {move || store.placement_question().get().map(|question| view! { <PlacementUnitForm question=question /> })}
        <ul class="items" data-testid="captures">
            <For each=move || hashes.get() key=Clone::clone let:hash>
                <CaptureItem hash=hash />
            </For>
        </ul>
        <div class="row">
            <button data-testid="load-sample-again" on:click=move |_| store.load_sample()>
                "Load the sample board (invented)"
            </button>
            <button data-testid="load-sample-recording-again" on:click=move |_| desk.load_sample()>
                "Load the sample recording (invented)"
            </button>
            <button data-testid="start-afresh" on:click=move |_| store.start_afresh()>
                "Start afresh"
            </button>
        </div>
    }
}

/// One capture with its role.
#[component]
fn CaptureItem(
    /// Which.
    hash: ContentHash,
) -> impl IntoView {
    let store = Store::expect();
    let wanted = hash.clone();
    let record = Memo::new(move |_| store.session().with(|session| session.capture(&wanted).cloned()));
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let asked_again = RwSignal::new(false);
    let asking = hash.clone();
    let question = move || {
        let question = asked_again.get().then(|| store.question_of(&asking)).flatten();
        let over = move |()| asked_again.set(false);
        question.map(
            |question| view! { <div class="below"><QuantityForm question=question answered=over /></div> },
        )
    };
    let answered = move || record.with(|r| r.as_ref().is_some_and(|r| r.metadata.quantity.is_some()));
    let name = move || record.with(|record| record.as_ref().map(|record| record.file_name.clone()));
    let measured = hash.clone();
    let size = move || store.shape(&measured).map(|(rows, columns)| format!("{columns} × {rows} pixels · "));
    let known = move || record.with(|record| record.as_ref().map(|record| known_of(record, unit.get())));
    let invented = move || record.with(|record| record.as_ref().is_some_and(|r| r.metadata.invented));
    let role = Signal::derive(move || {
        let role = record.with(|record| record.as_ref().map(|record| record.role))?;
        ROLES.iter().position(|known| *known == role)
    });
    let (assigned, removed) = (hash.clone(), hash);
    let roles: Vec<String> = ROLES.map(|role| wording::role(role).to_owned()).to_vec();
    let choose = move |place: usize| {
        if let Some(&role) = ROLES.get(place) {
            store.dispatch(Command::AssignRole { hash: assigned.clone(), role });
        }
    };
    view! {
        <li data-testid="capture">
            <span class="name">{name}</span>
            <button
                class="quiet"
                title="Take this capture out"
                aria-label=move || format!("Take out {}", name().unwrap_or_default())
                on:click=move |_| store.dispatch(Command::RemoveCapture { hash: removed.clone() })
            >
                <Icon sign=Sign::Remove />
            </button>
            <div class="below">
                <Picker
                    label="What this capture shows"
                    quiet=true
                    options=roles
                    chosen=role
                    choose=choose
                />
            </div>
            <p class="remark below">
                {size} {known} <span hidden=move || !invented()>" · invented: shows no real board"</span>
                <button
                    class="quiet"
                    data-testid="change-quantity"
                    hidden=move || !answered() || asked_again.get()
                    title="Say anew what the numbers of this capture mean"
                    on:click=move |_| asked_again.set(true)
                >
                    "Change the meaning of its numbers"
                </button>
            </p>
            {question}
        </li>
    }
}

/// What a capture says of itself, in one line.
fn known_of(record: &CaptureRecord, unit: TemperatureUnit) -> String {
    let metadata = &record.metadata;
    let meaning = match &metadata.quantity {
        None => "meaning of the numbers not known yet".to_owned(),
        Some(Quantity::Temperature { camera_correction: Some(_), .. }) => {
            "temperatures corrected by the camera, undone here".to_owned()
        }
        Some(Quantity::Temperature { .. }) => "apparent temperatures".to_owned(),
        Some(Quantity::Radiance { .. }) => "in-band radiance".to_owned(),
        Some(Quantity::Counts { .. }) => "detector counts with calibration".to_owned(),
    };
    let netd = metadata.netd.map(|netd| format!("NETD {} K", wording::plain(netd.value())));
    let conditions = &metadata.conditions;
    let supply = conditions.voltage.zip(conditions.current);
    let supply = supply
        .map(|(voltage, current)| format!("{} V, {} A", wording::plain(voltage), wording::plain(current)));
    let ambient =
        metadata.ambient.map(|ambient| format!("air {}", wording::temperature(unit, ambient.value())));
    let stated = |text: &String| Some(text.clone()).filter(|text| !text.is_empty());
    let serial = stated(&metadata.board.serial).map(|serial| format!("serial {serial}"));
    let taken = stated(&metadata.time).map(|time| readable_time(&time));
    let facts = [serial, taken, Some(meaning), supply, ambient, netd];
    facts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}
