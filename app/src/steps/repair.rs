//! The unit on the bench beside its own earlier or later capture: before and after a repair.

use std::sync::Arc;

use analysis::comparison::{Became, PlaceChange, UnitSurvey, before_and_after};
use analysis::session::{CaptureRecord, Session};
use analysis::units::{KelvinDifference, TemperatureUnit};
use leptos::prelude::*;

use crate::store::{Store, Surveyed};
use crate::wording;

/// The two captures, the earlier first.
#[derive(Debug, Clone, PartialEq)]
struct Pair {
    serial: String,
    before: CaptureRecord,
    after: CaptureRecord,
}

/// What was found before and what is left, where two captures state the unit's serial number.
#[component]
pub fn Repair() -> impl IntoView {
    let store = Store::expect();
    let pair = Memo::new(move |_| store.session().with(|session| pair_of(session)));
    let surveys = Memo::new(move |_| {
        let pair = pair.get()?;
        let told = |record: &CaptureRecord| match store.survey_of(&record.hash) {
            Some(Surveyed::Told(survey)) => Some(survey),
            _ => None,
        };
        Some((told(&pair.before)?, told(&pair.after)?))
    });
    let body = move || {
        let pair = pair.get()?;
        let unit = store.session().with(|session| session.temperature_unit);
        Some(view! { <Told pair=pair surveys=surveys.get() unit=unit /> })
    };
    view! { <div data-testid="repair">{body}</div> }
}

/// The unit's capture and the one of the same serial number next to it in time: the one before it, if there is one.
fn pair_of(session: &Session) -> Option<Pair> {
    let unit = session.unit()?;
    let serial = unit.metadata.board.serial.trim();
    if serial.is_empty() {
        return None;
    }
    let mut same: Vec<_> =
        session.units().filter(|record| record.metadata.board.serial.trim() == serial).collect();
    // Times are ISO 8601; captures that state none keep the order in which they were loaded.
    same.sort_by(|a, b| a.metadata.time.cmp(&b.metadata.time));
    let place = same.iter().position(|record| record.hash == unit.hash)?;
    let (before, after) = match place {
        0 => (same.first()?, same.get(1)?),
        place => (same.get(place - 1)?, same.get(place)?),
    };
    Some(Pair { serial: serial.to_owned(), before: (*before).clone(), after: (*after).clone() })
}

#[component]
fn Told(
    /// The captures.
    pair: Pair,
    /// What both show, once it is known.
    surveys: Option<(Arc<UnitSurvey>, Arc<UnitSurvey>)>,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let table = match surveys {
        None => view! { <p class="remark" role="status">"One of the two is being judged …"</p> }.into_any(),
        Some((before, after)) => {
            let changes = before_and_after(&before, &after);
            let count = |became| changes.iter().filter(|change| change.became == became).count();
            let (mended, left, new) = (count(Became::Mended), count(Became::Left), count(Became::New));
            let summary = match (mended, left, new) {
                (0, 0, 0) => "Nothing was found before or after.".to_owned(),
                (_, 0, 0) => format!("Of what was found nothing is left ({mended} gone)."),
                _ => format!("{mended} gone, {left} left, {new} new."),
            };
            let rows = changes.iter().map(|change| row(change, unit)).collect::<Vec<_>>();
            view! {
                <p>
                    <strong>{summary}</strong>
                </p>
                <div class="scroll" hidden=changes.is_empty()>
                    <table class="plain" data-testid="before-and-after">
                        <thead>
                            <tr>
                                <th scope="col">"Place"</th>
                                <th scope="col" class="number">"Before"</th>
                                <th scope="col" class="number">"After"</th>
                                <th scope="col">"Is"</th>
                            </tr>
                        </thead>
                        <tbody>{rows}</tbody>
                    </table>
                </div>
            }
            .into_any()
        }
    };
    view! {
        <h4>{format!("Serial number {} before and after", pair.serial)}</h4>
        <p class="remark">
            {format!(
                "Before: {}; after: {}. Where a finding is gone its part's mean difference stands instead.",
                capture_words(&pair.before),
                capture_words(&pair.after)
            )}
        </p>
        {table}
    }
}

fn capture_words(record: &CaptureRecord) -> String {
    match record.metadata.time.as_str() {
        "" => record.file_name.clone(),
        time => format!("{}, {}", record.file_name, analysis::capture::readable_time(time)),
    }
}

fn row(change: &PlaceChange, unit: TemperatureUnit) -> impl IntoView + use<> {
    let shown = |difference: Option<KelvinDifference>| {
        difference.map_or_else(|| "–".to_owned(), |kelvin| wording::difference(unit, kelvin.value()))
    };
    let (class, word) = match change.became {
        Became::Mended => ("outcome pass", "gone"),
        Became::Left => ("outcome fail", "left"),
        Became::New => ("outcome recheck", "new"),
    };
    view! {
        <tr>
            <th scope="row">{change.place.clone()}</th>
            <td class="number">{shown(change.before)}</td>
            <td class="number">{shown(change.after)}</td>
            <td class="tight">
                <span class=class>{word}</span>
            </td>
        </tr>
    }
}
