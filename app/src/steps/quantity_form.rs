//! What do these numbers mean? Asked of a capture that does not say, never guessed.

use analysis::capture::Quantity;
use analysis::radiometry::{Calibration, Correction, Surroundings};
use analysis::session::Command;
use analysis::units::{Emissivity, TemperatureUnit};
use leptos::prelude::*;

use crate::store::{Question, Store};
use crate::widgets::{Choice, NumberField, Tick};
use crate::wording;

/// What the numbers may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Temperature,
    Radiance,
    Counts,
}

const KINDS: [(Kind, &str); 3] = [
    (Kind::Temperature, "Temperature"),
    (Kind::Radiance, "In-band radiance"),
    (Kind::Counts, "Counts, linear in radiance"),
];

const UNITS: [(TemperatureUnit, &str); 3] =
    [(TemperatureUnit::Celsius, "°C"), (TemperatureUnit::Fahrenheit, "°F"), (TemperatureUnit::Kelvin, "K")];

/// Steps of a number that files often use, with their unit.
const STEPS: [(f64, TemperatureUnit, &str); 3] = [
    (1.0, TemperatureUnit::Celsius, "The numbers are °C"),
    (0.01, TemperatureUnit::Kelvin, "Hundredths of a kelvin"),
    (0.1, TemperatureUnit::Kelvin, "Tenths of a kelvin"),
];

/// The answer as it is being written.
#[derive(Debug, Clone, Copy)]
struct Draft {
    kind: RwSignal<Kind>,
    unit: RwSignal<TemperatureUnit>,
    scale: RwSignal<f64>,
    offset: RwSignal<f64>,
    corrected: RwSignal<bool>,
    emissivity: RwSignal<f64>,
}

impl Draft {
    fn new() -> Self {
        Self {
            kind: RwSignal::new(Kind::Temperature),
            unit: RwSignal::new(TemperatureUnit::Celsius),
            scale: RwSignal::new(1.0),
            offset: RwSignal::new(0.0),
            corrected: RwSignal::new(false),
            emissivity: RwSignal::new(0.95),
        }
    }

    fn quantity(self) -> Option<Quantity> {
        let (scale, offset) = (self.scale.get(), self.offset.get());
        Some(match self.kind.get() {
            Kind::Temperature => {
                let emissivity = Emissivity::new(self.emissivity.get()).ok();
                let camera_correction = if self.corrected.get() {
                    Some(Correction { emissivity: emissivity?, surroundings: Surroundings::default() })
                } else {
                    None
                };
                Quantity::Temperature { unit: self.unit.get(), scale, offset, camera_correction }
            }
            Kind::Radiance => Quantity::Radiance { scale, offset },
            Kind::Counts => Quantity::Counts { calibration: Calibration::Linear { gain: scale, offset } },
        })
    }

    fn result_unit(self) -> &'static str {
        if self.kind.get() == Kind::Temperature { self.unit.get().symbol() } else { "W·m⁻²·sr⁻¹" }
    }
}

/// The question about one capture.
#[component]
pub fn QuantityForm(
    /// Which capture asks.
    question: Question,
) -> impl IntoView {
    let store = Store::expect();
    let draft = Draft::new();
    let range = question.raw_range;
    let found = range.map_or_else(String::new, |(lo, hi)| {
        format!(
            " Its numbers run from {} to {}.",
            wording::plain(f64::from(lo)),
            wording::plain(f64::from(hi))
        )
    });
    let preview = move || {
        let (lo, hi) = range?;
        let text = |raw: f32| wording::number(f64::from(raw) * draft.scale.get() + draft.offset.get(), 1);
        Some(format!("The picture then runs from {} to {} {}.", text(lo), text(hi), draft.result_unit()))
    };
    let hash = question.hash.clone();
    let answer = move |all: bool| {
        let Some(quantity) = untrack(|| draft.quantity()) else { return };
        let session = store.session().get_untracked();
        store.begin_gesture();
        for asked in store.questions().get_untracked() {
            if let Some(record) = session.capture(&asked.hash).filter(|_| all || asked.hash == hash) {
                let mut metadata = record.metadata.clone();
                metadata.quantity = Some(quantity.clone());
                store.dispatch(Command::DescribeCapture { hash: asked.hash.clone(), metadata });
            }
        }
        store.end_gesture();
    };
    let answer_all = answer.clone();
    view! {
        <div class="block question" data-testid="quantity-question">
            <h3>{format!("What do the numbers in {} mean?", question.file_name)}</h3>
            <p class="remark">
                {format!("The file does not say, and nothing is guessed.{found}")}
            </p>
            <Choice
                legend="The numbers are"
                quiet=true
                testid="quantity"
                options=KINDS.to_vec()
                chosen=Signal::derive(move || Some(draft.kind.get()))
                choose=move |kind| draft.kind.set(kind)
            />
            <Steps draft=draft />
            <ScaleFields draft=draft />
            <p class="penned">{preview}</p>
            <div class="row">
                <button class="primary" data-testid="answer-quantity" on:click=move |_| answer(false)>
                    "That is what they mean"
                </button>
                <button data-testid="answer-quantity-all" on:click=move |_| answer_all(true)>
                    "The same for all that ask"
                </button>
            </div>
        </div>
    }
}

/// Ready answers for temperatures.
#[component]
fn Steps(
    /// The answer.
    draft: Draft,
) -> impl IntoView {
    let buttons = STEPS.map(|(scale, unit, name)| {
        let take = move |_| {
            draft.scale.set(scale);
            draft.offset.set(0.0);
            draft.unit.set(unit);
        };
        view! { <button on:click=take>{name}</button> }
    });
    view! { <div class="row" hidden=move || draft.kind.get() != Kind::Temperature>{buttons}</div> }
}

/// Scale, offset, unit, and the camera's own correction.
#[component]
fn ScaleFields(
    /// The answer.
    draft: Draft,
) -> impl IntoView {
    let field = move |signal: RwSignal<f64>, may_be: fn(f64) -> bool, complaint: &'static str| {
        move |typed: Option<f64>| match typed.filter(|&typed| may_be(typed)) {
            Some(number) => {
                signal.set(number);
                None
            }
            None => Some(complaint.to_owned()),
        }
    };
    let unit = Signal::derive(move || draft.result_unit().to_owned());
    let temperature = move || draft.kind.get() == Kind::Temperature;
    view! {
        <div class="fields">
            <NumberField
                label="One step of the number is"
                unit=unit
                value=Signal::derive(move || Some(draft.scale.get()))
                commit=field(draft.scale, |v| v != 0.0, "must not be zero")
            />
            <NumberField
                label="A number of zero is"
                unit=unit
                value=Signal::derive(move || Some(draft.offset.get()))
                commit=field(draft.offset, f64::is_finite, "is needed")
            />
        </div>
        <div class="row" hidden=move || !temperature()>
            <Choice
                legend="In"
                quiet=true
                options=UNITS.to_vec()
                chosen=Signal::derive(move || Some(draft.unit.get()))
                choose=move |unit| draft.unit.set(unit)
            />
            <Tick
                label="The camera has already applied an emissivity"
                on=draft.corrected
                set=move |on| draft.corrected.set(on)
            />
        </div>
        <div hidden=move || !(temperature() && draft.corrected.get())>
            <NumberField
                label="Emissivity set in the camera (surroundings 23 °C); it is undone here"
                unit=String::new()
                value=Signal::derive(move || Some(draft.emissivity.get()))
                commit=field(draft.emissivity, |v| v > 0.0 && v <= 1.0, "must be above 0 and at most 1")
            />
        </div>
    }
}
