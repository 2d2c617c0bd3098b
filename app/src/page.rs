//! The page as a whole: the first visit, and the bench with its sheet and its picture.

use std::time::Duration;

use leptos::prelude::*;
use web_sys::{DragEvent, KeyboardEvent};

use crate::notice::{Gravity, Notice};
use crate::stage::{self, Stage};
use crate::steps::{OpenStep, Sheet, Step, TAKES};
use crate::store::{SavedState, Store};
use crate::time::desk::Desk;
use crate::time::panels::TimePanels;
use crate::time::timeline::TimeBar;
use crate::tour::{Tour, TourStop};
use crate::widgets::{DropZone, Icon, Picker, Sign, ThemeSwitch, files_of, provide_theme};
use analysis::session::Command;
use analysis::units::TemperatureUnit;

/// After this time what is merely worth knowing has been read.
const READ_BY_THEN: Duration = Duration::from_secs(12);

const UNITS: [TemperatureUnit; 3] =
    [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit, TemperatureUnit::Kelvin];

/// The whole page.
#[component]
pub fn Page() -> impl IntoView {
    let store = Store::expect();
    stage::provide(store);
    let desk = Desk::provide(store);
    provide_theme();
    let open = OpenStep(RwSignal::new(Some(Step::Captures)));
    provide_context(open);
    let tour = TourStop(RwSignal::new(None));
    provide_context(tour);
    // The welcome goes once there is anything at all to work on, or where a person asks for the bare sheet.
    let bare = RwSignal::new(false);
    let begun = Memo::new(move |_| {
        let loaded = store
            .session()
            .with(|session| !session.captures.is_empty() || !session.layout.placements.is_empty());
        let asked = bare.get() || store.placement_question().with(Option::is_some);
        asked || loaded || desk.opened.with(Option::is_some)
    });
    let over = RwSignal::new(false);
    let keys = window_event_listener(leptos::ev::keydown, move |event| undo_keys(store, &event));
    on_cleanup(move || keys.remove());
    let drop = move |event: DragEvent| {
        over.set(false);
        // A drop zone within the page has taken the files already.
        if event.default_prevented() {
            return;
        }
        event.prevent_default();
        desk.take_files(files_of(event.data_transfer().and_then(|transfer| transfer.files())));
    };
    view! {
        <div
            on:dragover=move |event: DragEvent| {
                event.prevent_default();
                over.set(true);
            }
            on:dragleave=move |event: DragEvent| {
                if event.related_target().is_none() {
                    over.set(false);
                }
            }
            on:drop=drop
        >
            <Show when=move || begun.get() fallback=move || view! { <Welcome bare=bare /> }>
                <main class="page" data-over=move || over.get().to_string()>
                    <Head />
                    <section class="sheet" aria-label="Bench sheet">
                        <Sheet />
                    </section>
                    <AfterAFrame>
                        <Stage
                            below=|| view! { <TimeBar /> }
                            panels=|| view! { <TimePanels /> }
                        />
                    </AfterAFrame>
                </main>
                <Tour />
            </Show>
            <Notices />
        </div>
    }
}

/// Draws its children one frame later: sheet and stage at once would hold up the page too long.
#[component]
fn AfterAFrame(children: ChildrenFn) -> impl IntoView {
    let due = RwSignal::new(false);
    request_animation_frame(move || due.set(true));
    view! { <Show when=move || due.get()>{children()}</Show> }
}

/// Ctrl+Z and Ctrl+Shift+Z, except where a person is typing and the browser undoes the typing.
fn undo_keys(store: Store, event: &KeyboardEvent) {
    let typing =
        event_target::<web_sys::Element>(event).matches("input[type=text], textarea").unwrap_or(false);
    let command = event.ctrl_key() || event.meta_key();
    if typing || !command {
        return;
    }
    match (event.key().to_lowercase().as_str(), event.shift_key()) {
        ("z", false) => store.undo(),
        ("z", true) | ("y", false) => store.redo(),
        _ => return,
    }
    event.prevent_default();
}

/// The first visit: what the page does, and the two ways in.
#[component]
fn Welcome(
    /// Set where the person wants the sheet without any capture.
    bare: RwSignal<bool>,
) -> impl IntoView {
    let store = Store::expect();
    let desk = expect_context::<Desk>();
    let tour = expect_context::<TourStop>();
    // Until the last visit's session is back, or is known not to come, a new one would be overwritten.
    let busy = move || !store.restored().get() || store.activity().with(Option::is_some);
    let sample = move |_| {
        tour.begin();
        store.load_sample();
    };
    view! {
        <main class="welcome">
            <div class="form">
                <h1>"Boardglow" <small>"Bench sheet for powered boards under an infrared camera"</small></h1>
                <p class="lead">
                    "Compares captures of a powered board with known-good ones, corrects for the surface, names what differs and lists where to put the probes. Nothing leaves this machine."
                </p>
                <DropZone
                    title="Drop captures here, or choose files"
                    remark=TAKES
                    testid="files"
                    take=move |files| desk.take_files(files)
                />
                <p class="remark">
                    "Powered boards, mains and hot parts can hurt: step 1 lists the cautions; your local rules decide."
                </p>
                <p class="or">"or"</p>
                <button class="primary" data-testid="load-sample" disabled=busy on:click=sample>
                    "Load the sample board (invented)"
                </button>
                <button class="quiet" data-testid="load-sample-recording" disabled=busy on:click=move |_| desk.load_sample()>
                    "Load a sample recording: a board warming up (invented)"
                </button>
                <button class="quiet" data-testid="bare-sheet" disabled=busy on:click=move |_| bare.set(true)>
                    "Watch a folder, or open numbered files: go to the empty sheet"
                </button>
                <button class="quiet" hidden=move || !store.can_undo() on:click=move |_| store.undo()>
                    "Bring the last session back (undo)"
                </button>
                <p class="remark" hidden=move || store.saved_state().get() != SavedState::AnotherTab>
                    "Another tab of this page is open and keeps its own session: what you do here is not kept. Save the result file before you leave."
                </p>
                <p class="remark" role="status">
                    {move || store.activity().get().map(|progress| format!("{} …", progress.stage))}
                </p>
            </div>
        </main>
    }
}

/// The line above everything.
#[component]
fn Head() -> impl IntoView {
    let store = Store::expect();
    let kept = move || match store.saved_state().get() {
        SavedState::Saved => "Kept in this browser",
        SavedState::Saving => "Keeping …",
        SavedState::AnotherTab => "Not kept: another tab of this page is open",
        SavedState::Unavailable => "Not kept: this browser stores nothing. Save the result file.",
    };
    let names: Vec<String> = UNITS.map(|unit| unit.symbol().to_owned()).to_vec();
    let chosen = Signal::derive(move || {
        let unit = store.session().with(|session| session.temperature_unit);
        UNITS.iter().position(|known| *known == unit)
    });
    let choose = move |place: usize| {
        if let Some(&unit) = UNITS.get(place) {
            store.dispatch(Command::ShowTemperaturesIn { unit });
        }
    };
    view! {
        <header class="head">
            <h1>"Boardglow"</h1>
            <span class="kept" role="status" data-testid="saved-state">{kept}</span>
            <span class="grow"></span>
            <button
                aria-label="Undo"
                title="Undo (Ctrl+Z)"
                data-testid="undo"
                disabled=move || !store.can_undo()
                on:click=move |_| store.undo()
            >
                <Icon sign=Sign::Undo />
            </button>
            <button
                aria-label="Redo"
                title="Redo (Ctrl+Shift+Z)"
                data-testid="redo"
                disabled=move || !store.can_redo()
                on:click=move |_| store.redo()
            >
                <Icon sign=Sign::Redo />
            </button>
            <Picker
                label="Temperatures in"
                quiet=true
                options=names
                chosen=chosen
                choose=choose
                testid="temperature-unit"
            />
            <ThemeSwitch />
        </header>
    }
}

/// What there is to tell.
#[component]
fn Notices() -> impl IntoView {
    let store = Store::expect();
    view! {
        <div class="notices" data-testid="notices" aria-live="polite">
            <For each=move || store.notices().get() key=|notice| notice.id let:notice>
                <NoticeCard notice=notice />
            </For>
        </div>
    }
}

#[component]
fn NoticeCard(
    /// What to tell.
    notice: Notice,
) -> impl IntoView {
    let store = Store::expect();
    let id = notice.id;
    if notice.gravity == Gravity::Information {
        set_timeout(move || store.dismiss(id), READ_BY_THEN);
    }
    let kind = match notice.gravity {
        Gravity::Information => "information",
        Gravity::Warning => "warning",
        Gravity::Trouble => "trouble",
    };
    let cause = (!notice.detail.is_empty()).then(|| {
        view! {
            <details>
                <summary>"Cause"</summary>
                <p class="remark">{notice.detail}</p>
            </details>
        }
    });
    view! {
        <div class="notice" data-kind=kind data-testid="notice">
            <p>{notice.what}</p>
            <button class="quiet" aria-label="Dismiss" on:click=move |_| store.dismiss(id)>
                <Icon sign=Sign::Remove />
            </button>
            <p class="remark">{notice.hint}</p>
            {cause}
        </div>
    }
}
