//! What came out of a procedure, as it is being entered, and the button that keeps it.

use analysis::procedure::{Contribution, ProcedureError, Record, Yield};
use analysis::propagation::coverage_factor;
use analysis::session::Command;
use analysis::uncertainty::budget::CONFIDENCE;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::place::Place;
use crate::store::Store;
use crate::widgets::ShareBar;
use crate::wording;

/// What a record yields, in one line: the value with its expanded uncertainty.
#[must_use]
pub fn headline(record: &Record, unit: TemperatureUnit) -> String {
    let factor = |degrees| coverage_factor(CONFIDENCE, degrees).unwrap_or(2.0);
    match record.yields() {
        Yield::ReflectedTemperature { reflected, uncertainty, degrees_of_freedom } => {
            let factor = factor(degrees_of_freedom);
            format!(
                "Reflected temperature {} ± {} (95 %, k = {factor:.2})",
                wording::temperature(unit, reflected.value()),
                wording::interval(unit, factor * uncertainty.value()),
            )
        }
        Yield::Finish { finish, degrees_of_freedom } => {
            let factor = factor(degrees_of_freedom);
            format!(
                "Emissivity {:.3} ± {:.3} (95 %, k = {factor:.2})",
                finish.emissivity.value(),
                factor * finish.uncertainty
            )
        }
        Yield::EmissivityMap { valid, pixels, .. } => {
            format!("Emissivity of {} of the picture", wording::percent(valid as f64 / pixels.max(1) as f64))
        }
    }
}

/// The parts of the uncertainty, the largest first, as shares of its square.
#[component]
pub fn Shares(
    /// The parts.
    contributions: Vec<Contribution>,
) -> impl IntoView {
    let whole: f64 = contributions.iter().map(|part| part.uncertainty.powi(2)).sum();
    let mut parts = contributions;
    parts.sort_by(|a, b| b.uncertainty.total_cmp(&a.uncertainty));
    let rows: Vec<_> = parts
        .into_iter()
        .filter(|part| part.uncertainty > 0.0)
        .map(|part| {
            let share = part.uncertainty.powi(2) / whole.max(f64::MIN_POSITIVE);
            view! {
                <li>
                    <span>{part.source.name()}</span>
                    <ShareBar share=share />
                </li>
            }
        })
        .collect();
    view! { <ul class="shares" aria-label="What the uncertainty is made of">{rows}</ul> }
}

/// Why there is no record to keep yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoRecord {
    /// Something is still to be entered.
    Lacks(String),
    /// Something that was entered cannot be right.
    Wrong(String),
}

impl NoRecord {
    /// For an entry that its own type refuses.
    pub fn wrong(error: impl std::error::Error) -> Self {
        Self::Wrong(error.to_string())
    }
}

impl From<ProcedureError> for NoRecord {
    fn from(error: ProcedureError) -> Self {
        match error {
            ProcedureError::NoReadings | ProcedureError::UncertaintyUnknown => Self::Lacks(error.to_string()),
            _ => Self::Wrong(error.to_string()),
        }
    }
}

/// The outcome while it is entered; `record` says what is missing where there is none.
#[component]
pub fn OutcomeCard(
    /// What came out, or what is missing.
    #[prop(into)]
    record: Signal<Result<Record, NoRecord>>,
    /// Where it was carried out.
    place: Place,
    /// Stable name for the browser tests.
    testid: &'static str,
) -> impl IntoView {
    let store = Store::expect();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let figures = move || {
        record.get().ok().map(|record| {
            let heed = record.warnings();
            let none = heed.is_empty();
            let warnings: Vec<_> =
                heed.iter().map(|warning| view! { <li>{warning.to_string()}</li> }).collect();
            view! {
                <p class="penned" data-testid=format!("{testid}-outcome")>{headline(&record, unit.get())}</p>
                <Shares contributions=record.contributions().to_vec() />
                <ul class="caution" hidden=none>{warnings}</ul>
            }
        })
    };
    // The cross-hair moving on to another part makes no new measurement of what stands in the form.
    let recorded = Memo::new(move |_| {
        let Ok(now) = record.get() else { return false };
        let typed = place.is_typed().then(|| place.words());
        store.session().with(|session| {
            session.procedures.iter().any(|kept| match &typed {
                Some(place) => *kept == now.clone().at(place),
                None => *kept == now.clone().at(kept.place()),
            })
        })
    });
    let keep = move |_| {
        let Ok(record) = record.get_untracked() else { return };
        store.dispatch(Command::RecordProcedure { record: Box::new(record.at(&untrack(|| place.words()))) });
    };
    let lacking = move || record.with(|record| record.as_ref().err().cloned());
    let wrong = move || matches!(lacking(), Some(NoRecord::Wrong(_)));
    let why = move || {
        lacking().map(|lacking| match lacking {
            NoRecord::Lacks(what) | NoRecord::Wrong(what) => what,
        })
    };
    view! {
        <div class="figures-out" role="status">{figures}</div>
        <p class:remark=move || !wrong() class:wrong=wrong role="status" hidden=move || record.with(Result::is_ok)>{why}</p>
        <div class="row">
            <button
                class="primary"
                data-testid=format!("{testid}-record")
                disabled=move || record.with(Result::is_err) || recorded.get()
                on:click=keep
            >
                "Record it"
            </button>
            <span class="penned" role="status" data-testid=format!("{testid}-recorded")>
                {move || recorded.get().then_some("Recorded below. Change an entry to record another.")}
            </span>
        </div>
    }
}
