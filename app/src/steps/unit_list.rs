//! The session's units side by side: what each shows, what the rule suggests, what was judged.

use analysis::comparison::UnitSurvey;
use analysis::content_hash::ContentHash;
use analysis::session::{CaptureRecord, Command, Outcome, Role};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::repair::Repair;
use crate::store::{Store, Surveyed};
use crate::widgets::Picker;
use crate::wording;

/// The units, where there are several. A click takes one onto the bench.
#[component]
pub fn UnitList() -> impl IntoView {
    let store = Store::expect();
    let units =
        Memo::new(move |_| store.session().with(|session| session.units().cloned().collect::<Vec<_>>()));
    // The part whose difference is followed over the units; the first finding's until one is chosen.
    let followed = RwSignal::new(None::<String>);
    let parts = Memo::new(move |_| {
        let state = store.comparison().get();
        let parts = state.latest().map(|comparison| comparison.parts.as_slice()).unwrap_or_default();
        parts.iter().map(|part| part.designator.clone()).collect::<Vec<_>>()
    });
    let part = Memo::new(move |_| {
        followed.get().or_else(|| {
            let state = store.comparison().get();
            state.latest()?.findings.iter().find_map(|finding| finding.designator.clone())
        })
    });
    let place = Signal::derive(move || {
        let part = part.get()?;
        parts.with(|parts| parts.iter().position(|known| *known == part))
    });
    let choose = move |place: usize| followed.set(parts.with_untracked(|parts| parts.get(place).cloned()));
    let picker = move || {
        let options = parts.get();
        (!options.is_empty() && part.with(Option::is_some)).then(|| {
            view! {
                <Picker
                    label="Follow over the units"
                    options=options
                    chosen=place
                    choose=choose
                    testid="followed-part"
                />
            }
        })
    };
    view! {
        <div class="block" hidden=move || units.with(|units| units.len() < 2)>
            <h3>"Units in this session"</h3>
            <div class="scroll">
                <table class="plain" data-testid="units">
                    <thead>
                        <tr>
                            <th scope="col">"Unit"</th>
                            <th scope="col">"Shows"</th>
                            <th scope="col" class="number">{move || part.get().map(|part| format!("{part}, mean"))}</th>
                            <th scope="col">"Verdict"</th>
                        </tr>
                    </thead>
                    <tbody>
                        <For each=move || units.get() key=|unit| (unit.hash.clone(), unit.metadata.board.serial.clone()) let:unit>
                            <UnitRow unit=unit part=part.into() />
                        </For>
                    </tbody>
                </table>
            </div>
            {picker}
            <div class="row">
                <button data-testid="save-units" on:click=move |_| store.save_units_csv()>"All units as CSV"</button>
            </div>
            <Repair />
            <p class="remark">
                "Press a unit to take it onto the bench: findings, probes and verdict below are then its own, and are kept when you go on. Captures of one serial number are held against each other, before and after a repair."
            </p>
        </div>
    }
}

#[component]
fn UnitRow(
    /// Its capture.
    unit: CaptureRecord,
    /// The part to follow.
    part: Signal<Option<String>>,
) -> impl IntoView {
    let store = Store::expect();
    let hash = StoredValue::new(unit.hash.clone());
    let name = match unit.metadata.board.serial.as_str() {
        "" => unit.file_name.clone(),
        serial => serial.to_owned(),
    };
    let shown = Memo::new(move |_| store.survey_of(&hash.get_value()));
    let on_bench = Memo::new(move |_| {
        store
            .session()
            .with(|session| session.unit().is_some_and(|unit| hash.with_value(|hash| *hash == unit.hash)))
    });
    let scale = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let judged = Memo::new(move |_| {
        store.session().with(|session| session.verdict_on(&hash.get_value()).map(|verdict| verdict.outcome))
    });
    let take_up = move |_| {
        let hash: ContentHash = hash.get_value();
        store.dispatch(Command::AssignRole { hash, role: Role::Unit });
    };
    let power = move || match shown.get() {
        Some(Surveyed::Told(survey)) => power_of(&survey),
        _ => String::new(),
    };
    let shows = move || match shown.get() {
        None => "not judged yet".to_owned(),
        Some(Surveyed::Awaited) => "being judged …".to_owned(),
        Some(Surveyed::Failed(why)) => why,
        Some(Surveyed::Told(survey)) => findings_of(&survey, scale.get()),
    };
    let at_part = move || {
        let part = part.get()?;
        let Some(Surveyed::Told(survey)) = shown.get() else { return None };
        let (_, difference) = survey.parts.iter().find(|(designator, _)| *designator == part)?;
        difference.map(|difference| wording::difference(scale.get(), difference.value()))
    };
    let verdict = move || match (judged.get(), shown.get()) {
        (Some(outcome), _) => Some(verdict_words("", outcome)),
        (None, Some(Surveyed::Told(survey))) => Some(verdict_words("suggested: ", survey.suggested)),
        (None, _) => None,
    };
    view! {
        <tr data-testid="unit-row" aria-current=move || on_bench.get().then_some("true")>
            <th scope="row">
                <button class="quiet" title=unit.file_name.clone() on:click=take_up aria-pressed=move || on_bench.get().to_string()>
                    {name}
                </button>
            </th>
            <td>{shows} <span class="aside">{power}</span></td>
            <td class="number">{at_part}</td>
            <td class="tight">{verdict}</td>
        </tr>
    }
}

fn verdict_words(before: &'static str, outcome: Outcome) -> impl IntoView {
    let word = wording::outcome(outcome);
    view! {
        {before}
        <span class=format!("outcome {word}")>{word}</span>
    }
}

fn findings_of(survey: &UnitSurvey, unit: TemperatureUnit) -> String {
    let Some(first) = survey.findings.first() else {
        return match survey.over_limit {
            0 => "nothing beyond good boards".to_owned(),
            over => format!("{} over the limit", wording::count(over, "part")),
        };
    };
    let more = match survey.findings.len() {
        1 => String::new(),
        findings => format!(" and {} more", findings - 1),
    };
    // A number and its unit stay together in the narrow column.
    let peak = wording::difference(unit, first.peak.value()).replace(' ', "\u{a0}");
    format!("{}, peak {peak}{more}", wording::place_of(first))
}

/// How its total power differs, where that is known.
fn power_of(survey: &UnitSurvey) -> String {
    let change = survey.power_factor.map(|factor| wording::signed_percent(factor - 1.0));
    change.map_or_else(String::new, |change| format!("the rest {change} power"))
}
