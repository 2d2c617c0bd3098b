//! The reflected apparent temperature, by a reflector or by a direct view.

use analysis::comparison::band_at_the_bench;
use analysis::procedure::{DirectMethod, Record, ReflectorMethod};
use analysis::units::KelvinDifference;
use leptos::prelude::*;

use super::Guided;
use super::outcome::OutcomeCard;
use super::readings::{ReadingRows, single, three_rows};
use crate::steps::kelvin_fields::{IntervalField, kelvins, needed};
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

/// What a reading of the camera may be off by, if nothing better is known, K.
pub const USUAL_CAMERA: f64 = 0.5;

/// By a reflector.
#[component]
pub fn ByReflector() -> impl IntoView {
    let store = Store::expect();
    let (rows, camera) = (three_rows(), RwSignal::new(kelvins(USUAL_CAMERA)));
    let record = Signal::derive(move || {
        let band = store.session().with(|session| band_at_the_bench(session));
        let entered = ReflectorMethod {
            band,
            readings: rows.with(|rows| single(rows)),
            reading_uncertainty: camera.get(),
            foil: None,
        };
        Record::reflector(entered).map_err(|error| error.to_string())
    });
    view! {
        <Guided name="Reflected temperature, from foil" steps=&BY_REFLECTOR testid="by-reflector">
            <ReadingRows columns=&["Reading"] rows=rows testid="by-reflector" />
            <CameraUncertainty value=camera />
            <OutcomeCard record=record testid="by-reflector" />
        </Guided>
    }
}

/// By a direct view.
#[component]
pub fn ByDirectView() -> impl IntoView {
    let (rows, camera) = (three_rows(), RwSignal::new(kelvins(USUAL_CAMERA)));
    let record = Signal::derive(move || {
        let readings = rows.with(|rows| single(rows));
        let entered = DirectMethod { readings, reading_uncertainty: camera.get() };
        Record::direct_view(entered).map_err(|error| error.to_string())
    });
    view! {
        <Guided name="Reflected temperature, by looking at what the board mirrors" steps=&BY_DIRECT_VIEW testid="by-direct-view">
            <ReadingRows columns=&["Reading"] rows=rows testid="by-direct-view" />
            <CameraUncertainty value=camera />
            <OutcomeCard record=record testid="by-direct-view" />
        </Guided>
    }
}

/// How well the camera's readings are known.
#[component]
pub fn CameraUncertainty(
    /// Standard uncertainty.
    value: RwSignal<KelvinDifference>,
) -> impl IntoView {
    view! {
        <div class="fields">
            <IntervalField
                label="Standard uncertainty of the camera"
                value=Signal::derive(move || Some(value.get()))
                commit=needed(move |typed| value.set(typed))
            />
        </div>
    }
}
