//! How well the camera's readings are known: as the inputs state its calibration, until a person says otherwise.

use analysis::units::{Kelvin, KelvinDifference};
use leptos::prelude::*;

use super::readings::Row;
use crate::steps::kelvin_fields::{IntervalField, kelvins};
use crate::store::Store;

/// The standard uncertainty of the camera's readings that all repeats share.
#[derive(Debug, Clone, Copy)]
pub struct StatedCamera {
    typed: RwSignal<Option<KelvinDifference>>,
    calibration: Memo<KelvinDifference>,
}

impl StatedCamera {
    /// Of readings that stand in these columns: a calibration may be stated as a share of the reading.
    #[must_use]
    pub fn reading(store: Store, rows: RwSignal<Vec<Row>>, columns: &'static [usize]) -> Self {
        let calibration = Memo::new(move |_| {
            let readings: Vec<f64> = rows.with(|rows| {
                let all = rows.iter().flat_map(|row| columns.iter().filter_map(|&column| row[column]));
                all.map(Kelvin::value).collect()
            });
            let stated = store.session().with(|session| session.input_uncertainty.calibration);
            let mean = readings.iter().sum::<f64>() / readings.len() as f64;
            let size = if readings.is_empty() { stated.least.value() } else { stated.at(mean) };
            // No more digits than a person would state.
            kelvins((size * 1000.0).round() / 1000.0)
        });
        Self { typed: RwSignal::new(None), calibration }
    }

    /// The one to go by. Reactive.
    #[must_use]
    pub fn get(self) -> KelvinDifference {
        self.typed.get().unwrap_or_else(|| self.calibration.get())
    }
}

/// The field for it; emptied, it goes by the calibration again.
#[component]
pub fn CameraUncertainty(
    /// What is stated.
    camera: StatedCamera,
) -> impl IntoView {
    let commit = move |typed: Option<KelvinDifference>| {
        camera.typed.set(typed);
        None
    };
    view! {
        <div class="fields">
            <IntervalField
                label="Standard uncertainty of the camera"
                value=Signal::derive(move || Some(camera.get()))
                commit=commit
            />
        </div>
        <p class="remark" hidden=move || camera.typed.with(Option::is_some)>
            "As “How well the inputs are known” states the camera's calibration."
        </p>
    }
}
