//! Step 6: contact measurements that confirm or refute each finding.

use analysis::inspection::{Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, contact_words};
use analysis::session::Command;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::cautions::ProbeCautions;
use crate::stage::bodies::Bodies;
use crate::stage::look::Look;
use crate::store::Store;
use crate::widgets::{Choice, Icon, Sign, TextField};
use crate::wording;

const VERDICTS: [(ProbeVerdict, &str); 3] =
    [(ProbeVerdict::Pass, "Pass"), (ProbeVerdict::Fail, "Fail"), (ProbeVerdict::Recheck, "Recheck")];

/// The sixth step.
#[component]
pub fn ProbesStep() -> impl IntoView {
    let store = Store::expect();
    let probes = Memo::new(move |_| {
        let state = store.comparison().get();
        state.latest().map(|comparison| comparison.probes.clone()).unwrap_or_default()
    });
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    view! {
        <ProbeCautions />
        <p class="remark" hidden=move || !probes.with(Vec::is_empty)>
            "Nothing to measure: the list follows from the findings of step 5."
        </p>
        <ol data-testid="probes">
            <For each=move || probes.get().into_iter().enumerate() key=move |(place, probe)| (*place, probe.key.clone(), probe.reason.words(unit.get()), contact_words(&probe.contacts)) let((place, probe))>
                <ProbeItem place=place probe=probe unit=unit.get_untracked() />
            </For>
        </ol>
        <FormerReadings probes=probes />
    }
}

/// What the picture says of a contact temperature: what the thermometer should then read.
fn as_seen(store: Store, key: &ProbeKey, unit: TemperatureUnit) -> String {
    if key.quantity != ProbeQuantity::ContactTemperature {
        return String::new();
    }
    store.comparison().with_untracked(|state| {
        let parts = state.latest().map(|comparison| comparison.parts.as_slice()).unwrap_or_default();
        let case = parts.iter().find(|part| part.designator == key.target).and_then(|part| part.case);
        case.map_or_else(String::new, |case| format!("{} as seen", wording::temperature(unit, case.value())))
    })
}

/// Readings whose finding is gone: kept, since they were taken.
#[component]
fn FormerReadings(
    /// What is asked for now.
    probes: Memo<Vec<Probe>>,
) -> impl IntoView {
    let store = Store::expect();
    let former = Memo::new(move |_| {
        let asked = probes.get();
        let is_asked = |key: &ProbeKey| asked.iter().any(|probe| probe.key == *key);
        store.session().with(|session| {
            session.readings.iter().filter(|(key, _)| !is_asked(key)).cloned().collect::<Vec<_>>()
        })
    });
    let items = move || {
        let item = |(key, reading): (ProbeKey, ProbeReading)| {
            let verdict = reading.verdict.map(|verdict| wording::probe_verdict(verdict).to_owned());
            let noted = Some(reading.note).filter(|note| !note.is_empty());
            let words = [Some(format!("read {}", reading.read)), verdict, noted];
            let words = words.into_iter().flatten().collect::<Vec<_>>().join(" · ");
            let what = format!("{}: {}", key.target, wording::probe_quantity(key.quantity));
            let remove = move |_| store.dispatch(Command::RemoveReading { key: key.clone() });
            view! {
                <li>
                    <span class="name">{what.clone()}</span>
                    <button class="quiet" aria-label=format!("Take away {what}") on:click=remove>
                        <Icon sign=Sign::Remove />
                    </button>
                    <p class="remark below">{words}</p>
                </li>
            }
        };
        former.get().into_iter().map(item).collect::<Vec<_>>()
    };
    view! {
        <div class="block" hidden=move || former.with(Vec::is_empty) data-testid="former-readings">
            <h3>"Measured earlier, no longer asked for"</h3>
            <ul class="items">{items}</ul>
        </div>
    }
}

/// One measurement.
#[component]
fn ProbeItem(
    /// Its place in the list, from 0.
    place: usize,
    /// What to measure.
    probe: Probe,
    /// The unit the person reads.
    unit: TemperatureUnit,
) -> impl IntoView {
    let store = Store::expect();
    let key = StoredValue::new(probe.key.clone());
    let reading = Memo::new(move |_| {
        store.session().with(|session| {
            let entered = session.readings.iter().find(|(entered, _)| key.with_value(|key| key == entered));
            entered.map(|(_, reading)| reading.clone()).unwrap_or_default()
        })
    });
    let record = move |reading: ProbeReading| {
        store.dispatch(Command::RecordReading { key: key.get_value(), reading });
    };
    let expected = as_seen(store, &probe.key, unit);
    let text = move |label: &'static str,
                     read: fn(&ProbeReading) -> &String,
                     write: fn(&mut ProbeReading, String)| {
        let value = Signal::derive(move || reading.with(|reading| read(reading).clone()));
        let commit = move |typed: String| {
            let mut reading = reading.get_untracked();
            write(&mut reading, typed);
            record(reading);
        };
        let testid = format!("probe-{}-{}", place + 1, label.to_lowercase());
        let hint = if label == "Expected" { expected.clone() } else { String::new() };
        view! { <TextField label=label value=value commit=commit hint=hint testid=testid /> }
    };
    let (look, bodies) = (expect_context::<Look>(), expect_context::<Bodies>());
    let target = probe.key.target.clone();
    let find = move |_| {
        let found = store.comparison().with_untracked(|state| {
            let findings =
                state.latest().map(|comparison| comparison.findings.as_slice()).unwrap_or_default();
            findings.iter().find(|finding| finding.probe_target() == target).map(|finding| finding.peak_at)
        });
        if let Some(place) = found.or_else(|| bodies.center_of(&target)) {
            look.go_to(place);
        }
    };
    let unpowered = probe.unpowered.then(|| view! { <strong>" — board unpowered and discharged"</strong> });
    view! {
        <li class="probe" data-testid=format!("probe-{}", place + 1)>
            <div class="row">
                <span class="what">
                    {format!("{}. {}: {}", place + 1, probe.key.target, wording::probe_quantity(probe.key.quantity))}
                    {unpowered}
                </span>
                <button class="quiet" on:click=find>"Show"</button>
            </div>
            <p class="remark">{probe.reason.words(unit)}</p>
            {contact_words(&probe.contacts).map(|nets| view! { <p class="remark" data-testid="nets">{nets}</p> })}
            <div class="fields">
                {text("Expected", |r| &r.expected, |r, text| r.expected = text)}
                {text("Read", |r| &r.read, |r, text| r.read = text)}
                {text("Note", |r| &r.note, |r, text| r.note = text)}
            </div>
            <Choice
                legend="What the reading says"
                quiet=true
                testid=format!("probe-{}-verdict", place + 1)
                options=VERDICTS.to_vec()
                chosen=Signal::derive(move || reading.with(|reading| reading.verdict))
                choose=move |verdict| record(ProbeReading { verdict: Some(verdict), ..reading.get_untracked() })
            />
        </li>
    }
}
