//! What came out of a procedure, as it is being entered, and the button that keeps it.

use analysis::procedure::{Contribution, Record, Yield};
use analysis::propagation::coverage_factor;
use analysis::session::Command;
use analysis::uncertainty::budget::CONFIDENCE;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::notice::Notice;
use crate::store::Store;
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
                    <span>{wording::percent(share)}</span>
                    <i aria-hidden="true" style:width=format!("{:.1}%", 100.0 * share)></i>
                </li>
            }
        })
        .collect();
    view! { <ul class="shares" aria-label="What the uncertainty is made of">{rows}</ul> }
}

/// The outcome while it is entered; `record` says what is missing where there is none.
#[component]
pub fn OutcomeCard(
    /// What came out, or what is missing.
    #[prop(into)]
    record: Signal<Result<Record, String>>,
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
    let keep = move |_| {
        let Ok(record) = record.get_untracked() else { return };
        let title = record.title();
        store.dispatch(Command::RecordProcedure { record: Box::new(record) });
        store.tell(Notice::information(format!(
            "Recorded: {title}. It stands below the procedures, under “Recorded”, ready to be used."
        )));
    };
    view! {
        <div role="status">{figures}</div>
        <p class="remark" hidden=move || record.with(Result::is_ok)>{move || record.get().err()}</p>
        <div class="row">
            <button
                class="primary"
                data-testid=format!("{testid}-record")
                disabled=move || record.with(Result::is_err)
                on:click=keep
            >
                "Record it"
            </button>
        </div>
    }
}
