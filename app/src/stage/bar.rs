//! The controls above the picture: what is shown, how, in which colours, and what lies on it.

use analysis::palette::Palette;
use leptos::html::Details;
use leptos::prelude::*;

use super::Pictures;
use super::look::{Arrangement, Look, Subject, Tool};
use super::recorded::Recorded;
use crate::store::{ComparisonState, Store};
use crate::widgets::{Choice, Icon, Picker, Sign, Tick};

/// All of them.
#[component]
pub fn StageBar() -> impl IntoView {
    let look = expect_context::<Look>();
    let subject = Signal::derive(move || Some(look.subject.get()));
    let arrangement = Signal::derive(move || Some(look.arrangement.get()));
    let two = move || look.arrangement.get() != Arrangement::Single;
    let recorded = expect_context::<Recorded>();
    let pictures = expect_context::<Pictures>();
    let has_spread = Memo::new(move |_| pictures.spread.with(Result::is_ok));
    let subjects = move || {
        let there = Some(Subject::Recording).filter(|_| recorded.there.get());
        let spread = Some(Subject::Spread).filter(|_| has_spread.get());
        Subject::COMPARED
            .into_iter()
            .chain(spread)
            .chain(there)
            .map(|subject| (subject, subject.name()))
            .collect()
    };
    let choice = move || {
        view! {
            <Choice
                legend="Picture"
                quiet=true
                testid="subject"
                options=subjects()
                chosen=subject
                choose=move |subject| look.subject.set(subject)
            />
        }
    };
    view! {
        <div class="stage-bar">
            <Choice
                legend="Arrangement"
                quiet=true
                testid="arrangement"
                options=Arrangement::ALL.map(|a| (a, a.name())).to_vec()
                chosen=arrangement
                choose=move |arrangement| look.arrange(arrangement)
            />
            <div hidden=two>
                {choice}
            </div>
            <span class="grow"></span>
            <ViewMenu />
            <div class="row zoom">
                <button aria-label="Smaller" title="Smaller (−)" on:click=move |_| look.zoom(0.8)>
                    <Icon sign=Sign::Further />
                </button>
                <button aria-label="Larger" title="Larger (+)" on:click=move |_| look.zoom(1.25)>
                    <Icon sign=Sign::Closer />
                </button>
                <button aria-label="Whole picture" title="Whole picture (0)" on:click=move |_| look.fit()>
                    <Icon sign=Sign::Whole />
                </button>
            </div>
        </div>
    }
}

/// Colours and overlays, folded away.
#[component]
fn ViewMenu() -> impl IntoView {
    let look = expect_context::<Look>();
    let menu = NodeRef::<Details>::new();
    let close = move || {
        if let Some(menu) = menu.get_untracked() {
            menu.set_open(false);
        }
    };
    let elsewhere = window_event_listener(leptos::ev::pointerdown, move |event| {
        let inside = menu
            .get_untracked()
            .is_some_and(|menu| menu.contains(Some(&event_target::<web_sys::Node>(&event))));
        if !inside {
            close();
        }
    });
    on_cleanup(move || elsewhere.remove());
    let keys = move |event: web_sys::KeyboardEvent| {
        if event.key() == "Escape" {
            close();
        }
    };
    view! {
        <details class="menu" data-testid="view-menu" node_ref=menu on:keydown=keys>
            <summary>"View"</summary>
            <div class="menu-body">
                <PalettePicker label="Colours of temperatures" palettes=&Palette::RISING chosen=look.rising />
                <PalettePicker label="Colours of differences" palettes=&Palette::DIVERGING chosen=look.diverging />
                <Tick label="Hatch what is not measurable" on=look.hatched set=move |on| look.hatched.set(on) />
                <Tick label="Findings" on=look.findings set=move |on| look.findings.set(on) />
                <Tick label="Part bodies" on=look.parts set=move |on| look.parts.set(on) />
                <Tick label="Regions of the surface" on=look.regions set=move |on| look.regions.set(on) />
                <Tick label="Board places and landmarks" on=look.places set=move |on| look.places.set(on) />
                <Tick label="Blend enlarged pixels" on=look.smooth set=move |on| look.smooth.set(on) />
            </div>
        </details>
    }
}

#[component]
fn PalettePicker(
    /// What is coloured.
    label: &'static str,
    /// The palettes to choose from.
    palettes: &'static [Palette],
    /// The one chosen.
    chosen: RwSignal<Palette>,
) -> impl IntoView {
    let names: Vec<String> = palettes.iter().map(|palette| palette.name().to_owned()).collect();
    let place = Signal::derive(move || palettes.iter().position(|palette| *palette == chosen.get()));
    let choose = move |place: usize| {
        if let Some(palette) = palettes.get(place) {
            chosen.set(*palette);
        }
    };
    view! { <Picker label=label options=names chosen=place choose=choose /> }
}

/// What the tool in hand asks for, and the way to lay it down.
#[component]
pub fn ToolAdvice() -> impl IntoView {
    let look = expect_context::<Look>();
    let advice = move || {
        let tool = look.tool.get();
        if tool == Tool::Landmark && look.pending_landmark.with(Option::is_some) {
            "Now click the same place in the unit.".to_owned()
        } else {
            format!("{}: {}", tool.name(), tool.advice())
        }
    };
    let keys = window_event_listener(leptos::ev::keydown, move |event| lay_down_on_escape(look, &event));
    on_cleanup(move || keys.remove());
    view! {
        <div class="tool-advice" role="status" hidden=move || look.tool.get() == Tool::Look>
            <span>{advice}</span>
            <button data-testid="tool-done" on:click=move |_| look.take(Tool::Look)>
                "Done (Esc)"
            </button>
        </div>
    }
}

/// Esc lays the tool down wherever the focus is, but where it means something nearer: a field, a dialog, the open menu.
fn lay_down_on_escape(look: Look, event: &web_sys::KeyboardEvent) {
    let nearer = "input[type=text], textarea, select, dialog, [role=dialog], details.menu[open]";
    let elsewhere =
        event_target::<web_sys::Element>(event).closest(nearer).is_ok_and(|found| found.is_none());
    if event.key() == "Escape" && elsewhere {
        look.take(Tool::Look);
    }
}

/// Why the picture is missing or old, and how far the work is.
#[component]
pub fn StageState() -> impl IntoView {
    let look = expect_context::<Look>();
    let pictures = expect_context::<Pictures>();
    let store = Store::expect();
    let missing = move || pictures.of(look.subject.get()).with(|picture| picture.as_ref().err().cloned());
    let old = move || store.comparison().with(|state| matches!(state, ComparisonState::OutOfDate(..)));
    let progress = move || {
        store.activity().get().map(|progress| {
            let percent = (progress.fraction * 100.0).round();
            let words = if old() { format!("Out of date: {}", progress.stage) } else { progress.stage };
            view! {
                <div class="progress" data-testid="progress">
                    <span>{words}</span>
                    <progress max="100" value=percent aria-label="Progress of the work"></progress>
                    <button on:click=move |_| store.cancel()>"Stop"</button>
                </div>
            }
        })
    };
    let stopped = move || {
        let resting = store.activity().with(Option::is_none);
        let unfinished = store
            .comparison()
            .with(|state| matches!(state, ComparisonState::OutOfDate(..) | ComparisonState::Failed(_)));
        resting && unfinished
    };
    view! {
        <p class="missing" hidden=move || missing().is_none()>
            {missing}
        </p>
        {progress}
        <div class="progress" hidden=move || !stopped()>
            <span>{move || if old() { "Out of date: the work was stopped" } else { "The comparison was not made" }}</span>
            <button data-testid="compare-again" on:click=move |_| store.compare_again()>
                "Compare again"
            </button>
        </div>
    }
}
