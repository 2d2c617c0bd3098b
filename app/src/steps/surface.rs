//! Step 3: what the board is made of, and what it mirrors.

use analysis::radiometry::Surroundings;
use analysis::session::Command;
use analysis::units::{Kelvin, Transmittance};
use leptos::prelude::*;

use super::emissivity_lesson::EmissivityLesson;
use super::emissivity_picture::EmissivityPicture;
use super::finish_form::FinishForm;
use super::input_uncertainty::InputUncertaintyForm;
use super::kelvin_fields::{TemperatureField, needed};
use super::procedures::Procedures;
use super::regions::{NewRegions, Regions};
use super::standing::stated_reflected;
use crate::store::Store;
use crate::widgets::NumberField;
use crate::wording;

/// The third step.
#[component]
pub fn SurfaceStep() -> impl IntoView {
    let store = Store::expect();
    let whole = Signal::derive(move || store.session().with(|session| session.surface.whole.clone()));
    view! {
        <div class="block" data-testid="whole-finish" tabindex="-1">
            <FinishForm
                label="Whole board"
                finish=whole
                change=move |finish| store.dispatch(Command::SetWholeFinish { finish })
                begin=move |()| store.begin_gesture()
                end=move |()| store.end_gesture()
                testid="whole"
            />
            <EmissivityPicture />
            <EmissivityLesson />
        </div>
        <NewRegions />
        <Regions />
        <WhatItMirrors />
        <InputUncertaintyForm />
        <Procedures />
    }
}

/// Reflected temperature and path.
#[component]
fn WhatItMirrors() -> impl IntoView {
    let store = Store::expect();
    let surroundings = Memo::new(move |_| store.session().with(|session| session.surroundings));
    let stated = Memo::new(move |_| store.session().with(|session| stated_reflected(session)));
    let temperature =
        move |read: fn(&Surroundings) -> Kelvin| Signal::derive(move || Some(surroundings.with(read)));
    let set_temperature = move |write: fn(&mut Surroundings, Kelvin)| {
        needed(move |kelvin| {
            let mut surroundings = surroundings.get_untracked();
            write(&mut surroundings, kelvin);
            store.dispatch(Command::SetSurroundings { surroundings });
        })
    };
    let set_transmittance = move |typed: Option<f64>| match Transmittance::new(typed.unwrap_or(1.0)) {
        Ok(transmittance) => {
            let surroundings = Surroundings { transmittance, ..surroundings.get_untracked() };
            store.dispatch(Command::SetSurroundings { surroundings });
            None
        }
        Err(error) => Some(error.to_string()),
    };
    view! {
        <div class="block">
            <h3>"Reflected surroundings, and the path to the camera"</h3>
            <div class="fields">
                <TemperatureField
                    label="Reflected apparent temperature"
                    value=temperature(|s| s.reflected)
                    commit=set_temperature(|s, kelvin| s.reflected = kelvin)
                    testid="reflected"
                />
                <NumberField
                    label="Transmittance of the path"
                    unit=String::new()
                    value=Signal::derive(move || Some(surroundings.get().transmittance.value()))
                    commit=set_transmittance
                />
                <TemperatureField
                    label="Temperature of the path"
                    value=temperature(|s| s.path)
                    commit=set_temperature(|s, kelvin| s.path = kelvin)
                />
            </div>
            <p class="remark" hidden=move || stated.get() == 0>
                {move || {
                    format!("{} in use state the reflected temperature measured for them; this one is used for the others.", wording::count(stated.get(), "capture"))
                }}
            </p>
            <p class="remark">
                "To find the reflected temperature, lay crumpled aluminium foil where the board is and read it with the emissivity at 1. With no window in between the transmittance is 1."
            </p>
        </div>
    }
}
