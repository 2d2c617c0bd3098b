//! A finish: a row of the material table, or an emissivity of one's own.

use analysis::surface::{Finish, MATERIALS, material};
use analysis::units::Emissivity;
use leptos::prelude::*;

use crate::widgets::{NumberField, Picker, Slider};
use crate::wording;

/// Least and greatest emissivity of the slider, and its step.
const SLIDE: [f64; 3] = [0.02, 1.0, 0.01];

/// What stands for a finish that is no row of the table.
const OWN: &str = "Own value";

/// What stands for a finish that a procedure measured.
const MEASURED: &str = "Measured value";

/// A material picker with slider and fields.
#[component]
pub fn FinishForm(
    /// What the finish is of.
    #[prop(into)]
    label: String,
    /// The finish now.
    #[prop(into)]
    finish: Signal<Finish>,
    /// Takes a finish.
    #[prop(into)]
    change: Callback<Finish>,
    /// A drag begins.
    #[prop(into)]
    begin: Callback<()>,
    /// A drag ends.
    #[prop(into)]
    end: Callback<()>,
    /// Stable name for the browser tests.
    #[prop(into)]
    testid: String,
) -> impl IntoView {
    let names = Signal::derive(move || {
        let own = finish.with(|finish| if finish.measured.is_some() { MEASURED } else { OWN });
        MATERIALS.iter().map(|row| row.name).chain([own]).map(str::to_owned).collect::<Vec<_>>()
    });
    let place = Signal::derive(move || {
        let key = finish.with(|finish| finish.material.clone());
        let row = key.and_then(|key| MATERIALS.iter().position(|row| row.key == key));
        Some(row.unwrap_or(MATERIALS.len()))
    });
    let choose = move |place: usize| match MATERIALS.get(place) {
        Some(row) => change.run(row.finish()),
        None => change.run(Finish { material: None, ..finish.get_untracked() }),
    };
    // A value moved by hand is one's own: neither the table nor a measurement stands behind it any longer.
    let set_emissivity = move |value: f64| match Emissivity::new(value) {
        Ok(emissivity) => {
            change.run(Finish::stated(emissivity, finish.with_untracked(|finish| finish.uncertainty)));
            None
        }
        Err(error) => Some(error.to_string()),
    };
    let source = move || finish.with(Finish::source).map(|source| format!("Source: {source}"));
    let needed = || Some("is needed".to_owned());
    let type_emissivity = move |typed: Option<f64>| typed.map_or_else(needed, set_emissivity);
    let set_uncertainty = move |typed: Option<f64>| match typed.filter(|typed| (0.0..=0.5).contains(typed)) {
        Some(uncertainty) => {
            change.run(Finish { uncertainty, ..finish.get_untracked() });
            None
        }
        None => Some("must be from 0 to 0.5".to_owned()),
    };
    view! {
        <Picker label=label options=names chosen=place choose=choose testid=format!("{testid}-material") />
        <Slider
            label="Emissivity"
            range=SLIDE
            value=Signal::derive(move || finish.with(|finish| finish.emissivity.value()))
            slide=move |value| {
                set_emissivity(value);
            }
            begin=begin
            end=end
            testid=format!("{testid}-slider")
        />
        <div class="fields">
            <NumberField
                label="Emissivity"
                unit=String::new()
                value=Signal::derive(move || finish.with(|finish| Some(finish.emissivity.value())))
                commit=type_emissivity
                testid=format!("{testid}-emissivity")
            />
            <NumberField
                label="Standard uncertainty"
                unit=String::new()
                value=Signal::derive(move || finish.with(|f| Some((f.uncertainty * 1000.0).round() / 1000.0)))
                commit=set_uncertainty
            />
        </div>
        <p class="remark" data-testid=format!("{testid}-source")>{source}</p>
    }
}

/// A finish in one line: its material and emissivity.
#[must_use]
pub fn in_one_line(finish: &Finish) -> String {
    let emissivity = wording::emissivity(finish);
    match &finish.measured {
        Some(measured) => format!("{emissivity}. {measured}"),
        None => {
            let name = finish.material.as_deref().and_then(material).map_or(OWN, |row| row.name);
            format!("{name}, {emissivity}")
        }
    }
}
