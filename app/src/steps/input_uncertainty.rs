//! How well the inputs of the measurement are known: what every ± on the page follows from.

use analysis::session::Command;
use analysis::uncertainty::{InputUncertainty, SharedInputs};
use analysis::units::KelvinDifference;
use leptos::prelude::*;

use super::kelvin_fields::{IntervalField, needed};
use crate::store::Store;
use crate::widgets::{NumberField, Tick};

/// The form, folded away: its defaults are those of a usual bench.
#[component]
pub fn InputUncertaintyForm() -> impl IntoView {
    let store = Store::expect();
    let inputs = Memo::new(move |_| store.session().with(|session| session.input_uncertainty.clone()));
    let change = move |edit: &dyn Fn(&mut InputUncertainty)| {
        let mut input_uncertainty = inputs.get_untracked();
        edit(&mut input_uncertainty);
        store.dispatch(Command::SetInputUncertainty { input_uncertainty });
    };
    let interval = move |label: &'static str,
                         read: fn(&InputUncertainty) -> KelvinDifference,
                         write: fn(&mut InputUncertainty, KelvinDifference)| {
        let commit = needed(move |typed| change(&|inputs| write(inputs, typed)));
        let value = Signal::derive(move || Some(inputs.with(read)));
        view! { <IntervalField label=label value=value commit=commit /> }
    };
    let fraction = move |label: &'static str,
                         unit: &'static str,
                         scale: f64,
                         read: fn(&InputUncertainty) -> f64,
                         write: fn(&mut InputUncertainty, f64)| {
        let commit = move |typed: Option<f64>| match typed.filter(|typed| (0.0..=0.5 * scale).contains(typed))
        {
            Some(typed) => {
                change(&|inputs| write(inputs, typed / scale));
                None
            }
            None => Some(format!("must be from 0 to {}", 0.5 * scale)),
        };
        let value = Signal::derive(move || Some((inputs.with(read) * scale * 1e4).round() / 1e4));
        view! { <NumberField label=label unit=unit.to_owned() value=value commit=commit /> }
    };
    let shared =
        move |label: &'static str, read: fn(&SharedInputs) -> bool, write: fn(&mut SharedInputs, bool)| {
            let on = Signal::derive(move || inputs.with(|inputs| read(&inputs.shared)));
            view! { <Tick label=label on=on set=move |on| change(&|inputs| write(&mut inputs.shared, on)) /> }
        };
    view! {
        <details class="block" data-testid="input-uncertainty">
            <summary>"How well the inputs are known"</summary>
            <p class="remark">
                "Standard uncertainties, k = 1. A stated limit of ± 2 K that nothing lies beyond is 2/√3 = 1.15 K. Each finish states its own."
            </p>
            <div class="fields">
                {interval("Reflected temperature", |i| i.reflected, |i, typed| i.reflected = typed)}
                {interval("Calibration, at least", |i| i.calibration.least, |i, typed| i.calibration.least = typed)}
                {fraction(
                    "or of the reading in °C",
                    "%",
                    100.0,
                    |i| i.calibration.fraction,
                    |i, typed| i.calibration.fraction = typed,
                )}
                {interval("Drift from capture to capture", |i| i.drift, |i, typed| i.drift = typed)}
                {interval("Noise of a pixel, where not stated", |i| i.netd, |i, typed| i.netd = typed)}
                {interval("Air temperature", |i| i.ambient, |i, typed| i.ambient = typed)}
                {fraction("Transmittance", "", 1.0, |i| i.transmittance, |i, typed| i.transmittance = typed)}
                {interval("Temperature of the path", |i| i.path, |i, typed| i.path = typed)}
            </div>
            <p class="remark">"Unit and baselines share, so that its error cancels in the difference:"</p>
            <div class="row">
                {shared("the camera", |s| s.calibration, |s, on| s.calibration = on)}
                {shared("the surface", |s| s.emissivity, |s, on| s.emissivity = on)}
                {shared("the place at the bench", |s| s.surroundings, |s, on| s.surroundings = on)}
            </div>
            <div class="fields">
                {interval(
                    "Not measurable beyond ±",
                    |i| i.measurable_within,
                    |i, typed| i.measurable_within = typed,
                )}
            </div>
            <p class="remark">
                "Where the 95 % interval is wider than that the picture is hatched: treat the surface or probe."
            </p>
        </details>
    }
}
