//! The emissivity of every pixel, from captures of the board soaked at known temperatures, unpowered.

use analysis::content_hash::ContentHash;
use analysis::procedure::{ReflectedKnowledge, Soak, SoakedMap};
use analysis::session::{Role, Session};
use analysis::units::{Kelvin, KelvinDifference};
use leptos::prelude::*;

use super::Guided;
use crate::steps::kelvin_fields::{IntervalField, TemperatureField, needed};
use crate::store::Store;
use crate::widgets::Tick;
use crate::wording;

const STEPS: [&str; 5] = [
    "Board unpowered, discharged, all of it at one temperature: on a heated plate or in a warm box, 20 K above the room or more, left to soak. Hot plates burn: follow your site's rules.",
    "Camera and board where they are for the powered captures.",
    "Capture it, load the capture and set it aside in step 2.",
    "State the board's temperature below, from a thermometer in good contact with it.",
    "A second soak at another temperature finds what each pixel mirrors as well.",
];

/// The noise of a camera that states none, K (common practice, no source).
fn usual_noise() -> KelvinDifference {
    KelvinDifference::new(0.05).unwrap_or(KelvinDifference::ZERO)
}

/// What is said of one capture: the board's temperature, where it is a soak.
type Stated = Vec<(ContentHash, Option<Kelvin>)>;

/// The procedure as entered, or what is missing.
fn entered(
    session: &Session,
    stated: &Stated,
    board_uncertainty: KelvinDifference,
    solve: bool,
) -> Result<SoakedMap, String> {
    let soak = |(hash, board): &(ContentHash, Option<Kelvin>)| {
        session.capture(hash)?;
        Some(Soak {
            captures: vec![hash.clone()],
            board: (*board)?,
            board_uncertainty,
            reading_uncertainty: KelvinDifference::ZERO,
        })
    };
    let soaks: Vec<Soak> = stated.iter().filter_map(soak).collect();
    let first = soaks.first().ok_or("State the temperature of at least one capture that was set aside.")?;
    let netd =
        first.captures.first().and_then(|hash| session.capture(hash)).and_then(|record| record.metadata.netd);
    let reflected = if solve {
        ReflectedKnowledge::Solved
    } else {
        ReflectedKnowledge::Stated {
            temperature: session.surroundings.reflected,
            uncertainty: session.input_uncertainty.reflected,
        }
    };
    Ok(SoakedMap {
        band: session.band,
        transmittance: session.surroundings.transmittance,
        path: session.surroundings.path,
        reflected,
        noise: netd.unwrap_or_else(usual_noise),
        uncertainty_limit: SoakedMap::USUAL_LIMIT,
        soaks,
    })
}

/// The procedure.
#[component]
pub fn ByUnpoweredCaptures() -> impl IntoView {
    let store = Store::expect();
    let aside = Memo::new(move |_| {
        store.session().with(|session| {
            let captures = session.with_role(Role::Aside).filter(|record| record.metadata.quantity.is_some());
            captures.map(|record| (record.hash.clone(), record.file_name.clone())).collect::<Vec<_>>()
        })
    });
    let stated = RwSignal::new(Stated::new());
    let uncertainty = RwSignal::new(KelvinDifference::new(0.3).unwrap_or(KelvinDifference::ZERO));
    let solve = RwSignal::new(false);
    let ready = Memo::new(move |_| {
        let session = store.session().get();
        stated.with(|stated| entered(&session, stated, uncertainty.get(), solve.get()))
    });
    let fields = move || {
        aside
            .get()
            .into_iter()
            .enumerate()
            .map(|(place, (hash, name))| {
                let wanted = hash.clone();
                let value = Signal::derive(move || {
                    stated.with(|stated| {
                        stated.iter().find(|(known, _)| *known == wanted).and_then(|(_, board)| *board)
                    })
                });
                let commit = move |typed: Option<Kelvin>| {
                    stated.update(|stated| {
                        stated.retain(|(known, _)| *known != hash);
                        stated.push((hash.clone(), typed));
                    });
                    None
                };
                view! {
                    <TemperatureField
                        label=format!("Board in {name}")
                        value=value
                        commit=commit
                        hint="not a soak"
                        testid=format!("soak-{}", place + 1)
                    />
                }
            })
            .collect::<Vec<_>>()
    };
    let make = move |_| {
        if let Ok(entered) = ready.get_untracked() {
            store.map_emissivity(entered);
        }
    };
    let soaks = move || ready.with(|ready| ready.as_ref().map_or(0, |entered| entered.soaks.len()));
    view! {
        <Guided name="Emissivity of the whole board, unpowered" steps=&STEPS caution=SoakedMap::CAUTION testid="by-soak">
            <p class="remark" hidden=move || !aside.with(Vec::is_empty)>
                "No capture is set aside yet: load one in step 2 and choose “set aside”."
            </p>
            <div class="fields">{fields}</div>
            <div class="fields">
                <IntervalField
                    label="Standard uncertainty of the board's temperature"
                    value=Signal::derive(move || Some(uncertainty.get()))
                    commit=needed(move |typed| uncertainty.set(typed))
                />
            </div>
            <div hidden=move || soaks() < 2>
                <Tick label="Find what each pixel mirrors as well" on=solve set=move |on| solve.set(on) />
            </div>
            <p class="remark" role="status">
                {move || match ready.get() {
                    Ok(entered) => format!("From {}; captures are aligned with the baseline first.", wording::count(entered.soaks.len(), "soak")),
                    Err(what) => what,
                }}
            </p>
            <div class="row">
                <button
                    class="primary"
                    data-testid="by-soak-record"
                    disabled=move || ready.with(Result::is_err)
                    on:click=make
                >
                    "Work the picture out and use it"
                </button>
            </div>
        </Guided>
    }
}
