//! What do these numbers mean? Asked of a capture that does not say, never guessed.

use analysis::capture::Quantity;
use analysis::radiometry::{Correction, Surroundings};
use analysis::session::Command;
use analysis::units::{Emissivity, TemperatureUnit};
use leptos::prelude::*;

use super::calibration_from_set_points::CalibrationFromSetPoints;
use super::quantity_answer::{Kind, QuantityAnswer};
use crate::store::{Question, Store};
use crate::widgets::{Choice, NumberField, Tick};
use crate::wording;

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

/// The emissivity that a camera most often has set.
const CAMERA_EMISSIVITY: f64 = 0.95;

/// The question about one capture; asked again where it was answered before.
#[component]
pub fn QuantityForm(
    /// Which capture asks.
    question: Question,
    /// Hears that the question is over.
    #[prop(into)]
    answered: Callback<()>,
    /// Takes the answer of what is no capture of the session.
    #[prop(optional, into)]
    take: Option<Callback<Quantity>>,
    /// What was answered before for what is no capture of the session.
    #[prop(optional_no_strip)]
    before: Option<Quantity>,
) -> impl IntoView {
    let store = Store::expect();
    let range = question.raw_range;
    let before = before.or_else(|| {
        store.session().with_untracked(|session| {
            session.capture(&question.hash).and_then(|record| record.metadata.quantity.clone())
        })
    });
    // Of a recording only the first frame is known before its numbers mean anything.
    let seen = if take.is_some() { "first frame" } else { "picture" };
    let again = before.is_some();
    let answer = RwSignal::new(QuantityAnswer::of(before.as_ref()));
    let found = range.map_or_else(String::new, |(lo, hi)| {
        format!(
            " The numbers of its {seen} run from {} to {}.",
            wording::plain(lo.into()),
            wording::plain(hi.into())
        )
    });
    let why = if again { "Say it anew." } else { "The file does not say, and nothing is guessed." };
    let quantity = Memo::new(move |_| answer.get().quantity(range));
    let preview = move || {
        let answer = answer.get();
        let (lo, hi) = answer.applied_to(range?)?;
        let text = |value| wording::number(value, 1);
        Some(format!("The {seen} then runs from {} to {} {}.", text(lo), text(hi), answer.result_unit()))
    };
    let hash = question.hash.clone();
    let state = move |all: bool| {
        let Ok(quantity) = quantity.get_untracked() else { return };
        if let Some(take) = take {
            take.run(quantity);
            answered.run(());
            return;
        }
        let session = store.session().get_untracked();
        let mut asked = vec![hash.clone()];
        if all {
            asked.extend(store.questions().get_untracked().into_iter().map(|other| other.hash));
        }
        store.begin_gesture();
        for hash in asked {
            if let Some(record) = session.capture(&hash) {
                let mut metadata = record.metadata.clone();
                metadata.quantity = Some(quantity.clone());
                store.dispatch(Command::DescribeCapture { hash, metadata });
            }
        }
        store.end_gesture();
        answered.run(());
    };
    let state_all = state.clone();
    let unready = move || quantity.with(Result::is_err);
    let others = move || take.is_none() && store.questions().with(Vec::len) > 1;
    view! {
        <div class="block question" data-testid="quantity-question">
            <h3>{format!("What do the numbers in {} mean?", question.file_name)}</h3>
            <p class="remark">{format!("{why}{found}")}</p>
            <Choice
                legend="The numbers are"
                quiet=true
                testid="quantity"
                options=KINDS.to_vec()
                chosen=Signal::derive(move || answer.get().kind)
                choose=move |kind| answer.update(|answer| answer.kind = Some(kind))
            />
            <AsInAnother answer=answer />
            <div hidden=move || answer.get().kind.is_none()>
                <Steps answer=answer />
                <div hidden=move || answer.with(|answer| answer.calibration.is_some())>
                    <ScaleFields answer=answer />
                </div>
                <CalibrationFromSetPoints answer=answer />
            </div>
            <p class="penned">{preview}</p>
            <p class="remark" role="status">{move || quantity.get().err()}</p>
            <div class="row">
                <button
                    class="primary"
                    data-testid="answer-quantity"
                    disabled=unready
                    on:click=move |_| state(false)
                >
                    "That is what they mean"
                </button>
                <button
                    data-testid="answer-quantity-all"
                    hidden=move || !others()
                    disabled=unready
                    on:click=move |_| state_all(true)
                >
                    "The same for all that ask"
                </button>
                <button hidden=!again on:click=move |_| answered.run(())>
                    "Leave it as it was"
                </button>
            </div>
        </div>
    }
}

/// The answer of a capture that says what its numbers mean: most often the rest of a series is alike.
#[component]
fn AsInAnother(
    /// The answer.
    answer: RwSignal<QuantityAnswer>,
) -> impl IntoView {
    let store = Store::expect();
    let known = Memo::new(move |_| {
        store.session().with(|session| {
            let mut known: Vec<(String, QuantityAnswer)> = Vec::new();
            for record in &session.captures {
                let said = QuantityAnswer::of(record.metadata.quantity.as_ref());
                if said.kind.is_some() && !known.iter().any(|(_, other)| *other == said) {
                    known.push((record.file_name.clone(), said));
                }
            }
            known
        })
    });
    let buttons = move || {
        let button = |(name, said): (String, QuantityAnswer)| {
            view! { <button on:click=move |_| answer.set(said.clone())>{format!("As in {name}")}</button> }
        };
        known.get().into_iter().map(button).collect::<Vec<_>>()
    };
    view! { <div class="row">{buttons}</div> }
}

/// Ready answers for temperatures.
#[component]
fn Steps(
    /// The answer.
    answer: RwSignal<QuantityAnswer>,
) -> impl IntoView {
    let buttons = STEPS.map(|(scale, unit, name)| {
        let taken = move || {
            answer.with(|answer| answer.scale == Some(scale) && answer.offset == 0.0 && answer.unit == unit)
        };
        let take = move |_| {
            answer.update(|answer| (answer.scale, answer.offset, answer.unit) = (Some(scale), 0.0, unit));
        };
        view! {
            <button aria-pressed=move || taken().to_string() on:click=take>
                {name}
            </button>
        }
    });
    view! {
        <div class="row" hidden=move || answer.get().kind != Some(Kind::Temperature)>
            {buttons}
        </div>
    }
}

/// Scale, offset, unit, and the camera's own correction.
#[component]
fn ScaleFields(
    /// The answer.
    answer: RwSignal<QuantityAnswer>,
) -> impl IntoView {
    let unit = Signal::derive(move || answer.get().result_unit().to_owned());
    let set_scale = move |typed: Option<f64>| match typed.filter(|&scale| scale != 0.0) {
        Some(scale) => {
            answer.update(|answer| answer.scale = Some(scale));
            None
        }
        None => Some("must be a number other than zero".to_owned()),
    };
    let set_offset = move |typed: Option<f64>| {
        answer.update(|answer| answer.offset = typed.unwrap_or(0.0));
        None
    };
    let set_emissivity = move |typed: Option<f64>| match Emissivity::new(typed.unwrap_or(0.0)) {
        Ok(emissivity) => {
            answer.update(|answer| {
                let surroundings = answer.camera_correction.map(|before| before.surroundings);
                let surroundings = surroundings.unwrap_or_default();
                answer.camera_correction = Some(Correction { emissivity, surroundings });
            });
            None
        }
        Err(error) => Some(error.to_string()),
    };
    let set_corrected = move |on: bool| {
        let usual = Emissivity::new(CAMERA_EMISSIVITY).ok().filter(|_| on);
        let usual = usual.map(|emissivity| Correction { emissivity, surroundings: Surroundings::default() });
        answer.update(|answer| answer.camera_correction = usual);
    };
    let temperature = move || answer.get().kind == Some(Kind::Temperature);
    let corrected = Signal::derive(move || answer.get().camera_correction.is_some());
    view! {
        <div class="fields">
            <NumberField
                label="One step of the number is"
                unit=unit
                value=Signal::derive(move || answer.get().scale)
                commit=set_scale
                testid="quantity-scale"
            />
            <NumberField
                label="A number of zero is"
                unit=unit
                value=Signal::derive(move || Some(answer.get().offset))
                commit=set_offset
            />
        </div>
        <div class="row" hidden=move || !temperature()>
            <Choice
                legend="In"
                quiet=true
                options=UNITS.to_vec()
                chosen=Signal::derive(move || Some(answer.get().unit))
                choose=move |unit| answer.update(|answer| answer.unit = unit)
            />
            <Tick label="The camera has already applied an emissivity" on=corrected set=set_corrected />
        </div>
        <div hidden=move || !(temperature() && corrected.get())>
            <NumberField
                label="Emissivity set in the camera (surroundings 23 °C); it is undone here"
                unit=String::new()
                value=Signal::derive(move || answer.get().camera_correction.map(|applied| applied.emissivity.value()))
                commit=set_emissivity
            />
        </div>
    }
}
