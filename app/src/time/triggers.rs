//! Triggers: when a place passes a threshold, or a moment comes; and the frame of that moment as a capture.

use analysis::sequence::{Crossing, Trigger, Triggered, find_triggers};
use analysis::session::Role;
use analysis::units::TemperatureUnit;
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

/// What sets it off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Above,
    Below,
    At,
}

const KINDS: [(Kind, &str); 3] =
    [(Kind::Above, "rises above"), (Kind::Below, "falls below"), (Kind::At, "at a time")];

/// A trigger as it is being stated, provided as a context so that the next recording is watched alike.
/// Temperatures are kelvin.
#[derive(Debug, Clone, Copy)]
pub struct StatedTrigger {
    kind: RwSignal<Kind>,
    /// By its name, which the next recording's curves may have too.
    curve: RwSignal<String>,
    threshold: RwSignal<Option<f64>>,
    hysteresis: RwSignal<f64>,
    hold_s: RwSignal<f64>,
    at_s: RwSignal<Option<f64>>,
    dyed: RwSignal<bool>,
}

impl StatedTrigger {
    /// Nothing stated yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            kind: RwSignal::new(Kind::Above),
            curve: RwSignal::new(String::new()),
            threshold: RwSignal::new(None),
            hysteresis: RwSignal::new(1.0),
            hold_s: RwSignal::new(0.0),
            at_s: RwSignal::new(None),
            dyed: RwSignal::new(true),
        }
    }

    /// The place of its curve among these; the first where none has its name. Reactive.
    fn place_in(self, all: &[Curve]) -> usize {
        self.curve.with(|name| all.iter().position(|curve| curve.name == *name)).unwrap_or(0)
    }

    /// What is dyed in the picture. Reactive.
    fn beyond(self) -> Option<Beyond> {
        let above = match self.kind.get() {
            Kind::At => return None,
            Kind::Above => true,
            Kind::Below => false,
        };
        let kelvin = self.threshold.get().filter(|_| self.dyed.get())?;
        Some(Beyond { kelvin, above })
    }

    /// The trigger, once it is stated. Reactive.
    fn trigger(self) -> Option<Trigger> {
        let crossing = match self.kind.get() {
            Kind::At => return self.at_s.get().map(Trigger::At),
            Kind::Above => Crossing::Above,
            Kind::Below => Crossing::Below,
        };
        Some(Trigger::Threshold {
            crossing,
            threshold: self.threshold.get()?,
            hysteresis: self.hysteresis.get(),
            hold_s: self.hold_s.get(),
        })
    }
}

impl Default for StatedTrigger {
    fn default() -> Self {
        Self::new()
    }
}

/// The fold.
#[component]
pub fn TriggersPanel() -> impl IntoView {
    let (store, desk, chosen) = (Store::expect(), expect_context::<Desk>(), expect_context::<Chosen>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let stated = expect_context::<StatedTrigger>();
    let recorded = expect_context::<Recorded>();
    let all = Memo::new(move |_| {
        desk.trends.with(|trends| trends.as_ref().map(|trends| curves(trends)).unwrap_or_default())
    });
    let found = Memo::new(move |_| {
        let curve: Curve = all.with(|all| all.get(stated.place_in(all)).cloned())?;
        let trigger = stated.trigger()?;
        let (place, reading) = curve.series(chosen.reading.get());
        desk.trends.with(|trends| {
            let series = &trends.as_ref()?.series;
            let (times, values) = series.of(place, reading, &series.span())?;
            Some(find_triggers(&times, &values, trigger))
        })
    });
    Effect::new(move || {
        let level = stated.threshold.get().filter(|_| stated.kind.get() != Kind::At);
        chosen.level.set(level);
        recorded.beyond.set(stated.beyond());
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
                <Statement stated=stated all=all unit=unit />
                <Moments found=found unit=unit />
            </div>
        </details>
    }
}

#[component]
fn Statement(
    /// What is being stated.
    stated: StatedTrigger,
    /// The curves to choose from.
    all: Memo<Vec<Curve>>,
    /// The unit of temperatures.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let names = Signal::derive(move || all.get().into_iter().map(|curve| curve.name).collect::<Vec<_>>());
    let choose_curve = move |place: usize| {
        let name = all.with_untracked(|all| all.get(place).map(|curve| curve.name.clone()));
        stated.curve.set(name.unwrap_or_default());
    };
    let recorded = expect_context::<Recorded>();
    let dyed_now = move || {
        let beyond = recorded.beyond.get()?;
        let count = recorded.picture.with(|picture| {
            picture.as_ref().ok().and_then(|picture| Some(beyond.count(picture.temperatures()?)))
        })?;
        Some(format!("{} of the picture are beyond it now.", wording::count(count, "pixel")))
    };
    let of_threshold = move || stated.kind.get() == Kind::At;
    let set_threshold = move |typed: Option<f64>| {
        stated.threshold.set(typed.map(|shown| unit.get_untracked().read(shown)));
        None
    };
    let not_negative =
        |signal: RwSignal<f64>, size: f64, typed: Option<f64>| match typed.filter(|v| *v >= 0.0) {
            Some(value) => {
                signal.set(value / size);
                None
            }
            None => Some("must not be below zero".to_owned()),
        };
    let set_time = move |typed: Option<f64>| {
        stated.at_s.set(typed);
        None
    };
    let symbol = Signal::derive(move || unit.get().symbol().to_owned());
    let difference = Signal::derive(move || unit.get().difference_symbol().to_owned());
    view! {
        <div class="row">
            <Picker
                label="When this"
                options=names
                chosen=Signal::derive(move || Some(all.with(|all| stated.place_in(all))))
                choose=choose_curve
                testid="trigger-curve"
            />
            <Choice
                legend="does this"
                quiet=true
                testid="trigger-kind"
                options=KINDS.to_vec()
                chosen=Signal::derive(move || Some(stated.kind.get()))
                choose=move |kind| stated.kind.set(kind)
            />
        </div>
        <div class="fields" hidden=of_threshold>
            <NumberField
                label="Threshold"
                unit=symbol
                value=Signal::derive(move || stated.threshold.get().map(|kelvin| unit.get().show(kelvin)))
                commit=set_threshold
                testid="trigger-threshold"
            />
            <NumberField
                label="Armed again once it is back by"
                unit=difference
                value=Signal::derive(move || Some(unit.get().show_difference(stated.hysteresis.get())))
                commit=move |typed| not_negative(stated.hysteresis, unit.get_untracked().show_difference(1.0), typed)
                testid="trigger-hysteresis"
            />
            <NumberField
                label="Counts once it has held for"
                unit="s".to_owned()
                value=Signal::derive(move || Some(stated.hold_s.get()))
                commit=move |typed| not_negative(stated.hold_s, 1.0, typed)
                testid="trigger-hold"
            />
        </div>
        <div class="row" hidden=of_threshold>
            <Tick
                label="Dye what is beyond it in the picture"
                on=stated.dyed
                set=move |on| stated.dyed.set(on)
            />
            <span class="remark" data-testid="trigger-beyond">{dyed_now}</span>
        </div>
        <div class="fields" hidden=move || !of_threshold()>
            <NumberField
                label="At"
                unit="s".to_owned()
                value=Signal::derive(move || stated.at_s.get())
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
            let words = format!(
                "{}, counted from {} on · {}",
                moment_words(moment.confirmed_s),
                moment_words(moment.began_s),
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
