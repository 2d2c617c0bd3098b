//! The bar below the picture: where in the recording one is, playing, events, the marked span, and pulling out.

use analysis::capture::BenchEvent;
use analysis::session::Role;
use leptos::html::Details;
use leptos::prelude::*;

use super::desk::Desk;
use super::holding::HoldStill;
use super::moment::moment_words;
use super::picture::name_of;
use super::playback::{Playback, SPEEDS};
use super::protocol::PictureKind;
use crate::widgets::{Icon, NumberField, Picker, Sign};
use crate::wording;

/// Of more frames no mean is taken while one looks through a recording: each of them is read.
const MOST_BEFORE: f64 = 100.0;

/// Pictures that are always to be had, then those that were worked out.
const ALWAYS: [PictureKind; 6] = [
    PictureKind::Frame,
    PictureKind::Difference,
    PictureKind::Sudden,
    PictureKind::Greatest,
    PictureKind::Least,
    PictureKind::Mean,
];
const WORKED_OUT: [PictureKind; 5] = [
    PictureKind::Steady,
    PictureKind::SteadyUncertainty,
    PictureKind::TimeConstant,
    PictureKind::Amplitude,
    PictureKind::Lag,
];

/// The bar, while a recording is open.
#[component]
pub fn TimeBar() -> impl IntoView {
    let desk = expect_context::<Desk>();
    view! {
        <Show when=move || desk.opened.with(Option::is_some)>
            <section class="time-bar" aria-label="Recording" data-testid="time-bar">
                <Track />
                <Controls />
            </section>
        </Show>
    }
}

/// The way along the recording: a slider with the marked span and the events on it.
#[component]
fn Track() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let last = move || desk.opened.with(|opened| opened.as_ref().map_or(0, |o| o.frames.saturating_sub(1)));
    let share = move |frame: usize| 100.0 * frame as f64 / last().max(1) as f64;
    let slide = move |event| {
        if let Some(frame) = wording::read_number(&event_target_value(&event)) {
            desk.go_to(frame as usize);
        }
    };
    let spoken = move || position(desk, desk.frame.get());
    let span = move || {
        let span = desk.span.get();
        let (from, to) = (share(span.start), share(span.end.saturating_sub(1)));
        format!("left: {from:.3}%; width: {:.3}%", to - from)
    };
    let events = move || {
        desk.timeline.with(|timeline| {
            let timeline = timeline.as_ref()?;
            let ticks = timeline.events().iter().map(|event| {
                let frame = timeline.frame_at(event.at_s).unwrap_or(0);
                let (at_s, words) = (event.at_s, event_words(event));
                let title = format!("{words}, at {}", moment_words(at_s));
                let place = share(frame);
                let leftward = place > 80.0;
                view! {
                    <button
                        class="event"
                        class:leftward=leftward
                        style:left=format!("{place:.3}%")
                        title=title.clone()
                        aria-label=format!("Go to {title}")
                        data-testid="time-event"
                        on:click=move |_| desk.go_to_time(at_s)
                    >
                        <span>{event.name.clone()}</span>
                    </button>
                }
            });
            Some(ticks.collect::<Vec<_>>())
        })
    };
    view! {
        <div class="track">
            <div class="way"><div class="marked" style=span></div></div>
            <input
                type="range"
                min="0"
                max=move || last().to_string()
                step="1"
                aria-label="Frame of the recording"
                aria-valuetext=spoken
                data-testid="time-slider"
                prop:value=move || desk.frame.get().to_string()
                on:input=slide
            />
            <div class="events">{events}</div>
        </div>
    }
}

/// What an event was, with what it changed of the supply.
fn event_words(event: &BenchEvent) -> String {
    let part =
        |value: Option<f64>, unit: &str| value.map(|value| format!("{} {unit}", wording::plain(value)));
    let supply = [part(event.voltage, "V"), part(event.current, "A"), part(event.frequency, "Hz")];
    let supply: Vec<String> = supply.into_iter().flatten().collect();
    if supply.is_empty() { event.name.clone() } else { format!("{} ({})", event.name, supply.join(", ")) }
}

/// Where a frame is. Reactive.
fn position(desk: Desk, frame: usize) -> String {
    let frames = desk.opened.with(|opened| opened.as_ref().map_or(0, |opened| opened.frames));
    let time = desk.time_of(frame).map_or_else(String::new, |time| format!(" · {}", moment_words(time)));
    format!("{} of {frames}{time}", frame + 1)
}

/// Everything to press.
#[component]
fn Controls() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let playback = Playback::new(desk);
    let step = move |by: i64| {
        playback.playing.set(false);
        let frame = desk.frame.get_untracked() as i64 + by;
        desk.go_to(frame.max(0) as usize);
    };
    let names = SPEEDS.map(|speed| format!("{speed} ×")).to_vec();
    let speed = Signal::derive(move || SPEEDS.iter().position(|speed| *speed == playback.speed.get()));
    let choose_speed = move |place: usize| {
        if let Some(speed) = SPEEDS.get(place) {
            playback.set_speed(*speed);
        }
    };
    let turn_name = move || if playback.playing.get() { "Pause" } else { "Play" };
    let turn_sign = move || {
        let sign = if playback.playing.get() { Sign::Pause } else { Sign::Play };
        view! { <Icon sign=sign /> }
    };
    let work = move || {
        desk.work.get().map(|work| {
            let percent = 100 * work.done / work.of.max(1);
            view! {
                <div class="row working" data-testid="time-work">
                    <span>{format!("{}: {} of {}", work.what, work.done, work.of)}</span>
                    <progress max="100" value=percent.to_string() aria-label=work.what></progress>
                    <button data-testid="time-stop" on:click=move |_| desk.stop()>"Stop"</button>
                </div>
            }
        })
    };
    view! {
        <div class="row controls">
            <div class="row tight">
                <button
                    aria-label=turn_name
                    title=turn_name
                    data-testid="time-play"
                    on:click=move |_| playback.turn()
                >
                    {turn_sign}
                </button>
                <button aria-label="One frame back" title="One frame back" on:click=move |_| step(-1)>
                    <Icon sign=Sign::Back />
                </button>
                <button
                    aria-label="One frame on"
                    title="One frame on"
                    data-testid="time-step"
                    on:click=move |_| step(1)
                >
                    <Icon sign=Sign::Forward />
                </button>
                <Picker label="Speed" quiet=true options=names chosen=speed choose=choose_speed testid="time-speed" />
            </div>
            <output data-testid="time-position">{move || position(desk, desk.frame.get())}</output>
            <Faces />
            <Marks />
            <HoldStill />
            <PullMenu />
            {work}
        </div>
        <IntervalQuestion />
    }
}

/// Which picture of the recording is looked at.
#[component]
fn Faces() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let there = Memo::new(move |_| {
        let worked_out = desk.pictures.with(|pictures| WORKED_OUT.map(|kind| pictures.contains_key(&kind)));
        let worked_out =
            WORKED_OUT.into_iter().zip(worked_out).filter(|(_, there)| *there).map(|(kind, _)| kind);
        ALWAYS.into_iter().chain(worked_out).collect::<Vec<_>>()
    });
    let picker = move || {
        let kinds = there.get();
        let names: Vec<String> = kinds.iter().map(|kind| words_of(*kind)).collect();
        let known = kinds.clone();
        let chosen = Signal::derive(move || known.iter().position(|kind| *kind == desk.face.get()));
        let choose = move |place: usize| {
            if let Some(kind) = kinds.get(place) {
                desk.look_at(*kind);
            }
        };
        view! { <Picker label="Picture of the recording" quiet=true options=names chosen=chosen choose=choose testid="time-face" /> }
    };
    let sudden = move || desk.face.get() == PictureKind::Sudden;
    let set_before = move |typed: Option<f64>| match typed.filter(|typed| (1.0..=MOST_BEFORE).contains(typed))
    {
        Some(frames) => {
            desk.count_from_mean_of(frames.round() as usize);
            None
        }
        None => Some(format!("must be from 1 to {MOST_BEFORE}")),
    };
    view! {
        <div class="row tight faces">
            {picker}
            <div class="before" hidden=move || !sudden()>
                <NumberField
                    label="less the mean of"
                    unit="before".to_owned()
                    value=Signal::derive(move || Some(desk.frames_before.get() as f64))
                    commit=set_before
                    testid="time-before"
                />
            </div>
            <button
                class="quiet"
                hidden=sudden
                title="Changes are counted from the frame looked at now"
                data-testid="time-reference"
                on:click=move |_| desk.count_from_here()
            >
                "Count changes from here"
            </button>
        </div>
    }
}

fn words_of(kind: PictureKind) -> String {
    match kind {
        PictureKind::Frame => "This frame".to_owned(),
        PictureKind::Difference => "Change since a frame".to_owned(),
        PictureKind::Sudden => "Change since just before".to_owned(),
        PictureKind::Greatest => "Highest in the span".to_owned(),
        PictureKind::Least => "Lowest in the span".to_owned(),
        PictureKind::Mean => "Mean of the span".to_owned(),
        kind => name_of(kind).to_owned(),
    }
}

/// The marked span.
#[component]
fn Marks() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let whole = move || {
        let frames = desk.opened.with(|opened| opened.as_ref().map_or(0, |opened| opened.frames));
        desk.span.with(|span| *span == (0..frames))
    };
    let from = move |_| {
        let (now, end) = (desk.frame.get_untracked(), desk.span.with_untracked(|span| span.end));
        desk.mark(now, if end > now { end - 1 } else { desk.last() });
    };
    let to = move |_| {
        let (now, start) = (desk.frame.get_untracked(), desk.span.with_untracked(|span| span.start));
        desk.mark(if start <= now { start } else { 0 }, now);
    };
    let words = move || {
        if whole() {
            "Span: all".to_owned()
        } else {
            desk.span.with(|span| format!("Span: {} to {}", span.start + 1, span.end))
        }
    };
    view! {
        <div class="row tight" role="group" aria-label="Marked span">
            <span class="remark" data-testid="time-span">{words}</span>
            <button class="quiet" data-testid="time-mark-in" on:click=from>"From here"</button>
            <button class="quiet" data-testid="time-mark-out" on:click=to>"To here"</button>
            <button class="quiet" hidden=whole on:click=move |_| desk.mark(0, desk.last())>"All"</button>
        </div>
    }
}

/// Pulling a frame or the span's mean out as a capture.
#[component]
fn PullMenu() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let menu = NodeRef::<Details>::new();
    let mean = RwSignal::new(false);
    let pull = move |role: Role| {
        let frame = desk.frame.get_untracked();
        let span = if mean.get_untracked() { desk.span.get_untracked() } else { frame..frame + 1 };
        desk.pull(span, role);
        if let Some(menu) = menu.get_untracked() {
            menu.set_open(false);
        }
    };
    let buttons = [
        (Role::Unit, "As the unit under test", "pull-unit"),
        (Role::Baseline, "As a known-good board", "pull-baseline"),
        (Role::Aside, "Set aside", "pull-aside"),
    ]
    .map(|(role, words, testid)| {
        view! { <button data-testid=testid on:click=move |_| pull(role)>{words}</button> }
    });
    let keys = move |event: web_sys::KeyboardEvent| {
        if event.key() == "Escape"
            && let Some(menu) = menu.get_untracked()
        {
            menu.set_open(false);
        }
    };
    let choice = move |is_mean: bool, words: &'static str| {
        view! {
            <label class="tick">
                <input
                    type="radio"
                    name="pulled"
                    prop:checked=move || mean.get() == is_mean
                    on:change=move |_| mean.set(is_mean)
                />
                {words}
            </label>
        }
    };
    view! {
        <details class="menu upward" data-testid="pull-menu" node_ref=menu on:keydown=keys>
            <summary>"Pull out a capture"</summary>
            <div class="menu-body">
                {choice(false, "This frame, as it is in the file")}
                {choice(true, "The mean of the marked span")}
                {buttons}
                <p class="remark">"It enters the session with its time, like any capture."</p>
            </div>
        </details>
    }
}

/// Asked where nobody stated when the frames were taken.
#[component]
fn IntervalQuestion() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let commit = move |typed: Option<f64>| match typed.filter(|seconds| *seconds > 0.0) {
        Some(seconds) => {
            desk.state_interval(seconds);
            None
        }
        None => Some("must be above zero".to_owned()),
    };
    view! {
        <div class="row interval" hidden=move || desk.timeline.with(Option::is_some)>
            <p class="remark">"Nobody said when the frames were taken, so nothing can be told over time yet."</p>
            <NumberField
                label="From one frame to the next"
                unit="s".to_owned()
                value=Signal::derive(|| None)
                commit=commit
                testid="time-interval"
            />
        </div>
    }
}
