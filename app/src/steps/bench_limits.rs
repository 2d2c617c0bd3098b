//! What this bench can call: a study of repeat captures, each with the board removed and put back.

use std::collections::BTreeSet;

use analysis::capability::{Component, Repeatability};
use analysis::content_hash::ContentHash;
use analysis::session::Command;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::store::Store;
use crate::widgets::{Choice, Tick};
use crate::wording;

const CONFIDENCES: [(u32, &str); 3] = [(90, "90 %"), (95, "95 %"), (99, "99 %")];

const STEPS: [&str; 4] = [
    "Capture one known-good board at its steady state. That capture is the first known-good one of step 2.",
    "Take the board out, put it back, let it settle, capture again: six times or more.",
    "Load the captures and set them aside in step 2.",
    "Tick them here, the first one included.",
];

/// The study, folded away.
#[component]
pub fn BenchLimits() -> impl IntoView {
    let store = Store::expect();
    let chosen = RwSignal::new(BTreeSet::<ContentHash>::new());
    let confidence = RwSignal::new(95);
    let captures = Memo::new(move |_| {
        store.session().with(|session| {
            let known = session.captures.iter().filter(|record| record.metadata.quantity.is_some());
            known.map(|record| (record.hash.clone(), record.file_name.clone())).collect::<Vec<_>>()
        })
    });
    let ticks = move || {
        captures
            .get()
            .into_iter()
            .map(|(hash, name)| {
                let asked = hash.clone();
                let on = Signal::derive(move || chosen.with(|chosen| chosen.contains(&asked)));
                let set = move |on: bool| {
                    chosen.update(|chosen| {
                        if on {
                            chosen.insert(hash.clone());
                        } else {
                            chosen.remove(&hash);
                        }
                    });
                };
                view! { <Tick label=name on=on set=set /> }
            })
            .collect::<Vec<_>>()
    };
    // In the order of the captures, which is that of the placements.
    let selected = Memo::new(move |_| {
        let chosen = chosen.get();
        captures
            .get()
            .into_iter()
            .map(|(hash, _)| hash)
            .filter(|hash| chosen.contains(hash))
            .collect::<Vec<_>>()
    });
    let study = move |_| {
        store.study_repeats(selected.get_untracked(), f64::from(confidence.get_untracked()) / 100.0);
    };
    let kept = Memo::new(move |_| store.session().with(|session| session.repeatability.clone()));
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let result = move || kept.get().map(|study| view! { <StudyTable study=study unit=unit.get() /> });
    let steps: Vec<_> = STEPS.iter().map(|step| view! { <li>{*step}</li> }).collect();
    view! {
        <details class="block procedure" data-testid="bench-limits">
            <summary>"What this bench can call: a study of repeats"</summary>
            <ol class="guide">{steps}</ol>
            <div class="row">{ticks}</div>
            <Choice
                legend="Confidence"
                options=CONFIDENCES.to_vec()
                chosen=Signal::derive(move || Some(confidence.get()))
                choose=move |chosen| confidence.set(chosen)
            />
            <div class="row">
                <button
                    class="primary"
                    data-testid="study-repeats"
                    disabled=move || selected.with(|selected| selected.len() < 2)
                    on:click=study
                >
                    "Study the repeats"
                </button>
                <button
                    class="quiet"
                    hidden=move || kept.with(Option::is_none)
                    on:click=move |_| store.dispatch(Command::KeepRepeatability { study: None })
                >
                    "Take the study away"
                </button>
            </div>
            {result}
        </details>
    }
}

/// The limits, the widest first.
#[component]
fn StudyTable(
    /// What was found.
    study: Repeatability,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let size = move |kelvin: f64| wording::interval(unit, kelvin);
    let component =
        move |component: Option<Component>| component.map_or_else(|| "–".to_owned(), |c| size(c.sigma));
    let mut regions = study.regions.clone();
    let limit =
        |region: &analysis::capability::RegionLimit| region.drift_left.unwrap_or(region.drift_removed);
    regions.sort_by(|a, b| limit(b).called_beyond.total_cmp(&limit(a).called_beyond));
    let rows: Vec<_> = regions
        .into_iter()
        .map(|region| {
            let whole = limit(&region);
            view! {
                <tr>
                    <th scope="row">{region.name}</th>
                    <td>{size(whole.called_beyond)}</td>
                    <td>{format!("{} to {}", size(whole.interval[0]), size(whole.interval[1]))}</td>
                    <td>{component(region.noise)}</td>
                    <td>{size(region.placement.sigma)}</td>
                </tr>
            }
        })
        .collect();
    let warnings: Vec<_> =
        study.warnings.iter().map(|warning| view! { <li>{warning.to_string()}</li> }).collect();
    let none = warnings.is_empty();
    let drift = component(study.components.drift);
    view! {
        <ul class="caution" hidden=none>{warnings}</ul>
        <p class="penned" data-testid="study-drift">
            {format!(
                "{} placements · drift of the whole picture {drift} (standard deviation)",
                study.components.placements,
            )}
        </p>
        <div class="scrolled">
            <table class="table" data-testid="study-table">
                <thead>
                    <tr>
                        <th scope="col">"Region"</th>
                        <th scope="col">"Called beyond"</th>
                        <th scope="col">"known to lie from"</th>
                        <th scope="col">"Noise"</th>
                        <th scope="col">"Placement"</th>
                    </tr>
                </thead>
                <tbody>{rows}</tbody>
            </table>
        </div>
        <p class="remark">
            "A difference larger than “called beyond” is more than this bench makes of one board by itself. The spread from unit to unit comes on top."
        </p>
    }
}
