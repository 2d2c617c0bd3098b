//! Step 1: which board, how it is run, and the cautions of running it.

use analysis::capture::{BoardIdentity, TestConditions};
use analysis::radiometry::Band;
use analysis::session::{Command, Session};
use leptos::prelude::*;

use super::bench_limits::BenchLimits;
use super::cautions::BenchCautions;
use super::kelvin_fields::{TemperatureField, needed};
use crate::store::Store;
use crate::widgets::{NumberField, TextArea, TextField};

/// The first step.
#[component]
pub fn BoardStep() -> impl IntoView {
    view! {
        <BenchCautions />
        <Identity />
        <Conditions />
        <Circumstances />
        <BenchLimits />
    }
}

#[component]
fn Identity() -> impl IntoView {
    let store = Store::expect();
    let board = move |read: fn(&BoardIdentity) -> &String| {
        Signal::derive(move || store.session().with(|session| read(&session.board).clone()))
    };
    let rename = move |change: fn(&mut BoardIdentity, String)| {
        move |text: String| {
            let mut board = store.session().get_untracked().board.clone();
            change(&mut board, text);
            store.dispatch(Command::NameBoard { board });
        }
    };
    view! {
        <div class="block">
            <h3>"Board"</h3>
            <div class="fields">
                <TextField
                    label="Product"
                    testid="product"
                    value=board(|board| &board.product)
                    commit=rename(|board, text| board.product = text)
                />
                <TextField
                    label="Serial number of the unit"
                    testid="serial"
                    value=board(|board| &board.serial)
                    commit=rename(|board, text| board.serial = text)
                />
            </div>
        </div>
    }
}

/// A field of the conditions: how it is read and written.
type ConditionField = (fn(&TestConditions) -> Option<f64>, fn(&mut TestConditions, Option<f64>));

#[component]
fn Conditions() -> impl IntoView {
    let store = Store::expect();
    let field = move |label: &'static str, unit: &'static str, (read, write): ConditionField| {
        let value = Signal::derive(move || store.session().with(|session| read(&session.conditions)));
        let commit = move |typed: Option<f64>| {
            if typed.is_some_and(|typed| typed < 0.0) {
                return Some("must not be negative".to_owned());
            }
            let mut conditions = store.session().get_untracked().conditions.clone();
            write(&mut conditions, typed);
            store.dispatch(Command::SetConditions { conditions });
            None
        };
        view! { <NumberField label=label unit=unit.to_owned() value=value commit=commit hint="not stated" /> }
    };
    let notes = Signal::derive(move || store.session().with(|session| session.conditions.notes.clone()));
    let note = move |notes: String| {
        let conditions = TestConditions { notes, ..store.session().get_untracked().conditions.clone() };
        store.dispatch(Command::SetConditions { conditions });
    };
    view! {
        <div class="block">
            <h3>"Supply"</h3>
            <div class="fields">
                {field("Voltage", "V", (|c| c.voltage, |c, v| c.voltage = v))}
                {field("Current", "A", (|c| c.current, |c, v| c.current = v))}
                {field("Frequency", "Hz", (|c| c.frequency, |c, v| c.frequency = v))}
                {field("Warm-up before the capture", "min", (|c| c.warm_up_minutes, |c, v| c.warm_up_minutes = v))}
                <TextArea label="Load, firmware, fixture" value=notes commit=note />
            </div>
        </div>
    }
}

#[component]
fn Circumstances() -> impl IntoView {
    let store = Store::expect();
    let ambient = Signal::derive(move || store.session().with(|session| Some(session.ambient)));
    let set_ambient = needed(move |ambient| store.dispatch(Command::SetAmbient { ambient }));
    let band = move |read: fn(&Session) -> f64| {
        Signal::derive(move || store.session().with(|session| Some(read(session))))
    };
    let set_band = move |lower: Option<f64>, upper: Option<f64>| {
        let band = store.session().get_untracked().band;
        let lower = lower.unwrap_or(band.lower().value());
        match Band::new(lower, upper.unwrap_or(band.upper().value())) {
            Ok(band) => {
                store.dispatch(Command::SetBand { band });
                None
            }
            Err(error) => Some(error.to_string()),
        }
    };
    view! {
        <div class="block">
            <h3>"Where a capture does not state its own"</h3>
            <div class="fields">
                <TemperatureField label="Air around the board" value=ambient commit=set_ambient />
                <NumberField
                    label="Camera band from"
                    unit="µm".to_owned()
                    value=band(|s| s.band.lower().value())
                    commit=move |typed| set_band(typed, None)
                />
                <NumberField
                    label="Camera band to"
                    unit="µm".to_owned()
                    value=band(|s| s.band.upper().value())
                    commit=move |typed| set_band(None, typed)
                />
            </div>
            <p class="remark">
                "View the board a little off the perpendicular: straight on, the camera sees its own reflection. Capture once the temperatures stand still."
            </p>
        </div>
    }
}
