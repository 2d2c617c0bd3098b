//! Triggers: when a place passes a threshold, or a moment comes; and the frame of that moment as a capture.

use analysis::sequence::{Triggered, find_triggers};
use analysis::session::{Command, Role, Watch, WatchedFor};
use analysis::units::{Kelvin, KelvinDifference, TemperatureUnit};
use leptos::prelude::*;

use super::curves::{Chosen, Curve, curves};
use super::desk::Desk;
use super::moment::moment_words;
use crate::stage::beyond::Beyond;
use crate::stage::recorded::Recorded;
use crate::store::Store;
use crate::widgets::{Choice, NumberField, Picker, Tick};
use crate::wording;

/// More moments than these are counted, not listed.
const LISTED: usize = 50;

const NEGATIVE: &str = "must not be below zero";

const KINDS: [(WatchedFor, &str); 3] = [
    (WatchedFor::Above, "rises above"),
    (WatchedFor::Below, "falls below"),
    (WatchedFor::Moment, "at a time"),
];

/// What is dyed in the picture.
fn beyond(watch: &Watch) -> Option<Beyond> {
    let kelvin = watch.level()?.value();
    Some(Beyond { kelvin, above: watch.watched_for == WatchedFor::Above })
}

/// The place of the watched curve among these; the first where none has its name.
fn place_in(watch: &Watch, all: &[Curve]) -> usize {
    all.iter().position(|curve| curve.name == watch.curve).unwrap_or(0)
}

/// The fold.
#[component]
pub fn TriggersPanel() -> impl IntoView {
    let (store, desk, chosen) = (Store::expect(), expect_context::<Desk>(), expect_context::<Chosen>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let watch = Memo::new(move |_| store.session().with(|session| session.watch.clone()));
    let dyed = RwSignal::new(true);
    let recorded = expect_context::<Recorded>();
    let all = Memo::new(move |_| {
        desk.trends.with(|trends| trends.as_ref().map(|trends| curves(trends)).unwrap_or_default())
    });
    let found = Memo::new(move |_| {
        let curve = watch.with(|watch| all.with(|all| all.get(place_in(watch, all)).cloned()))?;
        let trigger = watch.with(Watch::trigger)?;
        let (place, reading) = curve.series(chosen.reading.get());
        desk.trends.with(|trends| {
            let series = &trends.as_ref()?.series;
            let (times, values) = series.of(place, reading, &series.span())?;
            Some(find_triggers(&times, &values, trigger))
        })
    });
    Effect::new(move || {
        chosen.level.set(watch.with(|watch| watch.level().map(Kelvin::value)));
        recorded.beyond.set(watch.with(beyond).filter(|_| dyed.get()));
    });
    on_cleanup(move || recorded.beyond.set(None));
    let summary = move || match found.with(|found| found.as_ref().map(Vec::len)) {
        Some(count) => format!("Triggers ({})", wording::count(count, "moment")),
        None => "Triggers".to_owned(),
    };
    view! {
        <details class="panel" data-testid="triggers">
            <summary>{summary}</summary>
            <div class="panel-body">
                <p class="remark" hidden=move || !all.with(Vec::is_empty)>
                    "Follow the places through the recording first."
                </p>
                <Statement watch=watch dyed=dyed all=all unit=unit />
                <Moments found=found unit=unit />
            </div>
        </details>
    }
}

#[component]
fn Statement(
    /// What is watched for.
    watch: Memo<Watch>,
    /// Whether what is beyond it is dyed.
    dyed: RwSignal<bool>,
    /// The curves to choose from.
    all: Memo<Vec<Curve>>,
    /// The unit of temperatures.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let store = Store::expect();
    let state = move |change: &dyn Fn(Watch) -> Watch| {
        store.dispatch(Command::WatchFor { watch: change(watch.get_untracked()) });
    };
    let names = Signal::derive(move || all.get().into_iter().map(|curve| curve.name).collect::<Vec<_>>());
    let choose_curve = move |place: usize| {
        let name = all.with_untracked(|all| all.get(place).map(|curve| curve.name.clone()));
        state(&|watch| Watch { curve: name.clone().unwrap_or_default(), ..watch });
    };
    let recorded = expect_context::<Recorded>();
    let dyed_now = move || {
        let beyond = recorded.beyond.get()?;
        let count = recorded.picture.with(|picture| {
            picture.as_ref().ok().and_then(|picture| Some(beyond.count(picture.temperatures()?)))
        })?;
        Some(format!("{} of the picture are beyond it now.", wording::count(count, "pixel")))
    };
    let kind = Signal::derive(move || watch.with(|watch| watch.watched_for));
    let is_moment = move || kind.get() == WatchedFor::Moment;
    let set_threshold = move |typed: Option<f64>| {
        let kelvin = typed.map(|shown| Kelvin::new(unit.get_untracked().read(shown))).transpose();
        match kelvin {
            Ok(threshold) => {
                state(&|watch| Watch { threshold, ..watch });
                None
            }
            Err(error) => Some(error.to_string()),
        }
    };
    let set_hysteresis = move |typed: Option<f64>| {
        let size = unit.get_untracked().show_difference(1.0);
        let back = typed.filter(|typed| *typed >= 0.0).map(|typed| KelvinDifference::new(typed / size));
        let Some(Ok(hysteresis)) = back else { return Some(NEGATIVE.to_owned()) };
        state(&|watch| Watch { hysteresis, ..watch });
        None
    };
    let set_hold = move |typed: Option<f64>| {
        let Some(hold_s) = typed.filter(|typed| *typed >= 0.0) else { return Some(NEGATIVE.to_owned()) };
        state(&|watch| Watch { hold_s, ..watch });
        None
    };
    let set_time = move |at_s: Option<f64>| {
        state(&|watch| Watch { at_s, ..watch });
        None
    };
    let symbol = Signal::derive(move || unit.get().symbol().to_owned());
    let difference = Signal::derive(move || unit.get().difference_symbol().to_owned());
    view! {
        <div class="row">
            <Picker
                label="When this"
                options=names
                chosen=Signal::derive(move || watch.with(|watch| Some(all.with(|all| place_in(watch, all)))))
                choose=choose_curve
                testid="trigger-curve"
            />
            <Choice
                legend="does this"
                quiet=true
                testid="trigger-kind"
                options=KINDS.to_vec()
                chosen=Signal::derive(move || Some(kind.get()))
                choose=move |watched_for| state(&|watch| Watch { watched_for, ..watch })
            />
        </div>
        <div class="fields" hidden=is_moment>
            <NumberField
                label="Threshold"
                unit=symbol
                value=Signal::derive(move || watch.with(|watch| watch.threshold.map(|kelvin| unit.get().show(kelvin.value()))))
                commit=set_threshold
                testid="trigger-threshold"
            />
            <NumberField
                label="Hysteresis: armed again once back by"
                unit=difference
                value=Signal::derive(move || watch.with(|watch| Some(unit.get().show_difference(watch.hysteresis.value()))))
                commit=set_hysteresis
                testid="trigger-hysteresis"
            />
            <NumberField
                label="Counts once it has held for"
                unit="s".to_owned()
                value=Signal::derive(move || watch.with(|watch| Some(watch.hold_s)))
                commit=set_hold
                testid="trigger-hold"
            />
        </div>
        <div class="row" hidden=is_moment>
            <Tick
                label="Colour what is beyond it in the picture"
                on=dyed
                set=move |on| dyed.set(on)
            />
            <span class="remark" data-testid="trigger-beyond">{dyed_now}</span>
        </div>
        <div class="fields" hidden=move || !is_moment()>
            <NumberField
                label="At"
                unit="s".to_owned()
                value=Signal::derive(move || watch.with(|watch| watch.at_s))
                commit=set_time
                testid="trigger-time"
            />
        </div>
    }
}

#[component]
fn Moments(
    /// What was found, once a trigger is stated.
    found: Memo<Option<Vec<Triggered>>>,
    /// The unit of temperatures.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let desk = expect_context::<Desk>();
    let list = move || {
        let found = found.get()?;
        if found.is_empty() {
            return Some(view! { <p class="remark">"It is never set off in this recording."</p> }.into_any());
        }
        let more = found.len().saturating_sub(LISTED);
        let start = desk.trends.with_untracked(|trends| trends.as_ref().map_or(0, |t| t.series.span().start));
        let items = found.into_iter().take(LISTED).map(move |moment| {
            let frame = start + moment.sample;
            let since = if moment.began_s < moment.confirmed_s {
                format!(", since {}", moment_words(moment.began_s))
            } else {
                String::new()
            };
            let words = format!(
                "{}{since} · {}",
                moment_words(moment.confirmed_s),
                wording::temperature(unit.get_untracked(), moment.value)
            );
            let pull = move |role| move |_| desk.pull(frame..frame + 1, role);
            view! {
                <li class="row" data-testid="trigger-moment">
                    <span>{words}</span>
                    <button on:click=move |_| desk.go_to(frame)>"Go there"</button>
                    <button class="quiet" on:click=pull(Role::Unit)>"Pull out as the unit"</button>
                    <button class="quiet" on:click=pull(Role::Baseline)>"as known good"</button>
                    <button class="quiet" on:click=pull(Role::Aside)>"aside"</button>
                </li>
            }
        });
        let items: Vec<_> = items.collect();
        let told = (more > 0).then(|| format!("and {more} more: raise the hysteresis or the hold"));
        Some(view! { <ul>{items}</ul> <p class="remark">{told}</p> }.into_any())
    };
    view! { <div>{list}</div> }
}
