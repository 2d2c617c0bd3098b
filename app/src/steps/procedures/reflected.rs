//! The reflected apparent temperature, by a reflector or by a direct view.

use analysis::comparison::band_at_the_bench;
use analysis::procedure::{DirectMethod, Record, ReflectorMethod};
use leptos::prelude::*;

use super::Guided;
use super::camera_uncertainty::{CameraUncertainty, StatedCamera};
use super::outcome::{NoRecord, OutcomeCard};
use super::place::{Place, PlaceField};
use super::readings::{ReadingRows, single, three_rows};
use crate::store::Store;

const BY_REFLECTOR: [&str; 5] = [
    "Board unpowered and cool. Crumple a piece of aluminium foil, flatten it again and lay it, bright side up, where the board lies.",
    "Set the camera's emissivity to 1 and its distance to 0, or read the apparent temperature.",
    "Keep camera, lamps and people where they will be during the capture.",
    "Read the mean temperature over the foil. That is the reflected apparent temperature.",
    "Look away, look again: three readings at least.",
];

const BY_DIRECT_VIEW: [&str; 4] = [
    "From where the board lies, find the direction that it mirrors: as steep as the camera looks, on the other side.",
    "Stand at the board and point the camera that way, emissivity 1, distance 0.",
    "Read the mean temperature over what comes into view.",
    "Three readings at least. A hot lamp or a cold window in view makes this method poor: use the foil.",
];

/// By a reflector.
#[component]
pub fn ByReflector() -> impl IntoView {
    let store = Store::expect();
    let (rows, place) = (three_rows(), Place::of_the_bench());
    let camera = StatedCamera::reading(store, rows, &[0]);
    let record = Signal::derive(move || -> Result<Record, NoRecord> {
        let band = store.session().with(|session| band_at_the_bench(session));
        let entered = ReflectorMethod {
            band,
            readings: rows.with(|rows| single(rows)),
            reading_uncertainty: camera.get(),
            foil: None,
        };
        Ok(Record::reflector(entered)?)
    });
    view! {
        <Guided name=ReflectorMethod::NAME steps=&BY_REFLECTOR testid="by-reflector">
            <PlaceField place=place testid="by-reflector" />
            <ReadingRows columns=&["Reading"] rows=rows testid="by-reflector" />
            <CameraUncertainty camera=camera />
            <OutcomeCard record=record place=place testid="by-reflector" />
        </Guided>
    }
}

/// By a direct view.
#[component]
pub fn ByDirectView() -> impl IntoView {
    let (rows, place) = (three_rows(), Place::of_the_bench());
    let camera = StatedCamera::reading(Store::expect(), rows, &[0]);
    let record = Signal::derive(move || -> Result<Record, NoRecord> {
        let readings = rows.with(|rows| single(rows));
        let entered = DirectMethod { readings, reading_uncertainty: camera.get() };
        Ok(Record::direct_view(entered)?)
    });
    view! {
        <Guided name=DirectMethod::NAME steps=&BY_DIRECT_VIEW testid="by-direct-view">
            <PlaceField place=place testid="by-direct-view" />
            <ReadingRows columns=&["Reading"] rows=rows testid="by-direct-view" />
            <CameraUncertainty camera=camera />
            <OutcomeCard record=record place=place testid="by-direct-view" />
        </Guided>
    }
}
