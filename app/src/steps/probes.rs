//! Step 6: contact measurements that confirm or refute each finding.

use analysis::comparison::{ExpectedReading, Needless, by_need, expected_readings, probes_among_twins};
use analysis::inspection::{
    Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, contact_unit, contact_words, deviation,
    read_contact, write_contact,
};
use analysis::session::{Command, Session};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::cautions::ProbeCautions;
use crate::stage::bodies::Bodies;
use crate::stage::look::{Arrangement, Look, Subject};
use crate::store::{ComparisonState, Store, TwinState};
use crate::widgets::{Choice, Icon, Sign, TextField};
use crate::wording;

const VERDICTS: [(ProbeVerdict, &str); 3] =
    [(ProbeVerdict::Pass, "Pass"), (ProbeVerdict::Fail, "Fail"), (ProbeVerdict::Recheck, "Recheck")];

/// The sixth step.
#[component]
pub fn ProbesStep() -> impl IntoView {
    let store = Store::expect();
    let listed = Memo::new(move |_| {
        let session = store.session().get();
        store.comparison().with(|state| probe_list(&session, state, &store.twins())).unwrap_or_default()
    });
    let needless = Memo::new(move |_| listed.with(|(_, needless)| needless.clone()));
    let probes = Memo::new(move |_| listed.with(|(needed, _)| needed.clone()));
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
        <NeedlessProbes needless=needless />
        <FormerReadings listed=listed />
    }
}

/// What a reading at the same place has made needless.
#[component]
fn NeedlessProbes(
    /// Which, and why.
    needless: Memo<Vec<Needless>>,
) -> impl IntoView {
    let items = move || {
        let item = |Needless { probe, why }: Needless| {
            let what = format!("{}: {}", probe.key.target, wording::probe_quantity(probe.key.quantity));
            view! {
                <li>
                    <span class="name">{what}</span>
                    <p class="remark below">{why}</p>
                </li>
            }
        };
        needless.get().into_iter().map(item).collect::<Vec<_>>()
    };
    view! {
        <div class="block" hidden=move || needless.with(Vec::is_empty) data-testid="needless-probes">
            <h3>"No longer needed"</h3>
            <ul class="items">{items}</ul>
        </div>
    }
}

/// What to measure, needless or not: by the comparison, and where there is no known-good board by parts of one kind; `None`
/// before either is worked out.
pub fn probe_list(
    session: &Session,
    state: &ComparisonState,
    twins: &TwinState,
) -> Option<(Vec<Probe>, Vec<Needless>)> {
    let asked = match state.latest() {
        Some(comparison) => comparison.probes.clone(),
        None => probes_among_twins(session, twins.told_instead(session)?),
    };
    Some(by_need(session, asked))
}

/// What the numbers that were entered say, and whether the reading is further off than it may be.
fn reading_told(
    quantity: ProbeQuantity,
    reading: &ProbeReading,
    unit: TemperatureUnit,
) -> Option<(bool, String)> {
    let written = |value| write_contact(quantity, value, unit);
    if let Some(off) = deviation(quantity, reading, unit) {
        let beyond = off.is_beyond();
        let by = match off.tolerance {
            _ if off.expected.is_infinite() || off.read.is_infinite() => String::new(),
            tolerance if quantity == ProbeQuantity::ContactTemperature => {
                let may = wording::interval(unit, tolerance);
                format!(", {} off where {may} may be", wording::interval(unit, off.read - off.expected))
            }
            tolerance => {
                let (is, may) = (written((off.read - off.expected).abs()), written(tolerance));
                format!(", {is} off where {may} may be")
            }
        };
        let own = match off.tolerance_is_stated || off.expected.is_infinite() {
            true => "",
            false => " (our own rule; state another as in 3.3 ± 0.1)",
        };
        let verdict = if beyond { "Beyond what it should be" } else { "As it should be" };
        return Some((
            beyond,
            format!("{verdict}: {} against {}{by}{own}.", written(off.read), written(off.expected)),
        ));
    }
    let unread: Vec<_> = [("expected", &reading.expected), ("read", &reading.read)]
        .into_iter()
        .filter(|(_, text)| !text.trim().is_empty() && read_contact(quantity, text, unit).is_none())
        .map(|(what, text)| format!("“{text}” ({what})"))
        .collect();
    if !unread.is_empty() {
        let example = match quantity {
            ProbeQuantity::ResistanceUnpowered => "such as 4.7 kΩ or open",
            ProbeQuantity::ContactTemperature => "such as 61",
            _ => "such as 3.3 or 12 m, with the unit or without",
        };
        return Some((
            false,
            format!(
                "Kept as words, which nothing is worked out from: {}. A number would be {example}.",
                unread.join(", ")
            ),
        ));
    }
    let read = read_contact(quantity, &reading.read, unit)?;
    Some((false, format!("Read: {}. What it should be is not stated.", written(read.value))))
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
    /// What is asked for now, needless or not.
    listed: Memo<(Vec<Probe>, Vec<Needless>)>,
) -> impl IntoView {
    let store = Store::expect();
    let former = Memo::new(move |_| {
        let is_asked = |key: &ProbeKey| {
            listed.with(|(needed, needless)| {
                let mut asked = needed.iter().chain(needless.iter().map(|needless| &needless.probe));
                asked.any(|probe| probe.key == *key)
            })
        };
        store.session().with(|session| {
            session.readings.iter().filter(|(key, _)| !is_asked(key)).cloned().collect::<Vec<_>>()
        })
    });
    let items = move || {
        let item = |(key, reading): (ProbeKey, ProbeReading)| {
            let verdict = reading.verdict.map(|verdict| wording::probe_verdict(verdict).to_owned());
            let noted = Some(reading.note).filter(|note| !note.is_empty());
            let unit = store.session().with_untracked(|session| session.temperature_unit);
            let read = read_contact(key.quantity, &reading.read, unit);
            let read = read.map_or(reading.read, |read| write_contact(key.quantity, read.value, unit));
            let words = [Some(format!("read {read}")), verdict, noted];
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
    let quantity = probe.key.quantity;
    let sign = contact_unit(quantity, unit);
    let seen = as_seen(store, &probe.key, unit);
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
        let (label, hint) = match label {
            "Expected" => (format!("Expected ({sign})"), seen.clone()),
            "Read" => (format!("Read ({sign})"), String::new()),
            _ => (label.to_owned(), String::new()),
        };
        view! { <TextField label=label value=value commit=commit hint=hint testid=testid /> }
    };
    let told = move || {
        let reading = reading.get();
        reading_told(quantity, &reading, unit).map(|(beyond, words)| {
            view! {
                <p class:remark=!beyond class:beyond=beyond data-testid=format!("probe-{}-told", place + 1)>
                    {words}
                </p>
            }
        })
    };
    let offers = move || {
        let expected = store.session().with(|session| key.with_value(|key| expected_readings(session, key)));
        let offer = |ExpectedReading { text, origin }: ExpectedReading| {
            let taken = text.clone();
            let take = move |_| record(ProbeReading { expected: taken.clone(), ..reading.get_untracked() });
            view! {
                <p class="remark">
                    {format!("{text}, {origin}. ")} <button class="quiet" on:click=take>"Expect this"</button>
                </p>
            }
        };
        let unsaid = reading.with(|reading| reading.expected.trim().is_empty());
        unsaid.then(|| expected.into_iter().map(offer).collect::<Vec<_>>())
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
            let compared = store.comparison().with_untracked(|state| state.latest().is_some());
            if compared && look.arrangement.get_untracked() == Arrangement::Single {
                look.subject.set(Subject::Difference);
            }
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
            {offers}
            {told}
            <Choice
                legend="What the reading says of the place"
                testid=format!("probe-{}-verdict", place + 1)
                options=VERDICTS.to_vec()
                chosen=Signal::derive(move || reading.with(|reading| reading.verdict))
                choose=move |verdict| record(ProbeReading { verdict: Some(verdict), ..reading.get_untracked() })
            />
        </li>
    }
}
