//! The emissivity of one place, against a contact thermometer or a surface of known emissivity.

use analysis::comparison::band_at_the_bench;
use analysis::procedure::{ContactMethod, ContactRepeat, Record, ReferenceMethod, ReferenceRepeat};
use analysis::units::{Emissivity, KelvinDifference};
use leptos::prelude::*;

use super::Guided;
use super::camera_uncertainty::{CameraUncertainty, StatedCamera};
use super::outcome::{NoRecord, OutcomeCard};
use super::place::{Place, PlaceField};
use super::readings::{ReadingRows, pairs, three_rows};
use crate::steps::kelvin_fields::{IntervalField, kelvins, needed};
use crate::store::Store;
use crate::widgets::NumberField;
use crate::wording;

/// The columns of the contact method.
const THERMOMETER_AND_CAMERA: [&str; 2] = ["Thermometer", "Camera"];

/// The columns of the reference method.
const COVERED_AND_BARE: [&str; 2] = ["Covered", "Bare"];

const BY_CONTACT: [&str; 5] = [
    "Measure the reflected temperature first, from foil, record it and press “Use it for the board”.",
    "Warm the part evenly, 20 K above the room or more, and let it settle. On a live board keep to insulated probes and your local rules.",
    "Fix a fine thermocouple to the place, with as little mass and as much contact as you can.",
    "Read the thermometer and, at the same place, the camera's apparent temperature with emissivity 1.",
    "Three pairs at least, some minutes apart.",
];

const BY_REFERENCE: [&str; 5] = [
    "Power off, discharged, cool: put tape or a coating of known emissivity on part of the surface, or right beside it on the same metal. Never on contacts or across insulation distances.",
    "Measure the reflected temperature first, from foil, record it and press “Use it for the board”.",
    "Warm the part evenly, 20 K above the room or more, and let both places reach one temperature.",
    "Read the camera's apparent temperature, emissivity 1, on the covered and on the bare place.",
    "Three pairs at least, some minutes apart.",
];

/// Against a contact thermometer.
#[component]
pub fn ByContact() -> impl IntoView {
    let store = Store::expect();
    let (rows, place) = (three_rows(), Place::of_a_part());
    let camera = StatedCamera::reading(store, rows, &[1]);
    let contact = RwSignal::new(kelvins(0.3));
    let record = Signal::derive(move || -> Result<Record, NoRecord> {
        let session = store.session().get();
        let repeats = rows.with(|rows| pairs(rows, THERMOMETER_AND_CAMERA))?;
        let entered = ContactMethod {
            band: band_at_the_bench(&session),
            surroundings: session.surroundings,
            reflected_uncertainty: session.input_uncertainty.reflected,
            contact_uncertainty: contact.get(),
            camera_uncertainty: camera.get(),
            reading_noise: KelvinDifference::ZERO,
            repeats: repeats
                .into_iter()
                .map(|(contact, apparent)| ContactRepeat { contact, apparent })
                .collect(),
        };
        Ok(Record::contact(entered)?)
    });
    view! {
        <Guided name=ContactMethod::NAME steps=&BY_CONTACT caution=ContactMethod::CAUTION testid="by-contact">
            <ReflectedUsed />
            <PlaceField place=place testid="by-contact" />
            <ReadingRows columns=&THERMOMETER_AND_CAMERA rows=rows camera=&[1] testid="by-contact" />
            <div class="fields">
                <IntervalField
                    label="Standard uncertainty of the thermometer"
                    value=Signal::derive(move || Some(contact.get()))
                    commit=needed(move |typed| contact.set(typed))
                />
            </div>
            <CameraUncertainty camera=camera />
            <OutcomeCard record=record place=place testid="by-contact" />
        </Guided>
    }
}

/// Against tape or a coating.
#[component]
pub fn ByReference() -> impl IntoView {
    let store = Store::expect();
    let (rows, place) = (three_rows(), Place::of_a_part());
    let camera = StatedCamera::reading(store, rows, &[0, 1]);
    let (reference, uncertainty) = (RwSignal::new(0.95), RwSignal::new(0.01));
    let record = Signal::derive(move || -> Result<Record, NoRecord> {
        let session = store.session().get();
        let repeats = rows.with(|rows| pairs(rows, COVERED_AND_BARE))?;
        let entered = ReferenceMethod {
            band: band_at_the_bench(&session),
            surroundings: session.surroundings,
            reflected_uncertainty: session.input_uncertainty.reflected,
            reference: Emissivity::new(reference.get()).map_err(NoRecord::wrong)?,
            reference_uncertainty: uncertainty.get(),
            camera_uncertainty: camera.get(),
            reading_noise: KelvinDifference::ZERO,
            repeats: repeats.into_iter().map(|(covered, bare)| ReferenceRepeat { covered, bare }).collect(),
        };
        Ok(Record::reference(entered)?)
    });
    let set_reference = move |typed: Option<f64>| match Emissivity::new(typed.unwrap_or(0.0)) {
        Ok(emissivity) => {
            reference.set(emissivity.value());
            None
        }
        Err(error) => Some(error.to_string()),
    };
    let set_uncertainty = move |typed: Option<f64>| match typed.filter(|typed| (0.0..=0.5).contains(typed)) {
        Some(typed) => {
            uncertainty.set(typed);
            None
        }
        None => Some("must be from 0 to 0.5".to_owned()),
    };
    view! {
        <Guided name=ReferenceMethod::NAME steps=&BY_REFERENCE caution=ReferenceMethod::CAUTION testid="by-reference">
            <ReflectedUsed />
            <PlaceField place=place testid="by-reference" />
            <ReadingRows columns=&COVERED_AND_BARE rows=rows camera=&[0, 1] testid="by-reference" />
            <div class="fields">
                <NumberField
                    label="Emissivity of tape or coating"
                    unit=String::new()
                    value=Signal::derive(move || Some(reference.get()))
                    commit=set_reference
                />
                <NumberField
                    label="Standard uncertainty of that"
                    unit=String::new()
                    value=Signal::derive(move || Some(uncertainty.get()))
                    commit=set_uncertainty
                />
            </div>
            <CameraUncertainty camera=camera />
            <p class="remark">"The camera's own error is common to both readings and mostly cancels."</p>
            <OutcomeCard record=record place=place testid="by-reference" />
        </Guided>
    }
}

/// The reflected temperature that the procedure goes by: the board's.
#[component]
fn ReflectedUsed() -> impl IntoView {
    let store = Store::expect();
    let words = move || {
        store.session().with(|session| {
            let unit = session.temperature_unit;
            format!(
                "Reflected temperature used: {}, standard uncertainty {}.",
                wording::temperature(unit, session.surroundings.reflected.value()),
                wording::interval(unit, session.input_uncertainty.reflected.value()),
            )
        })
    };
    view! { <p class="penned">{words}</p> }
}
