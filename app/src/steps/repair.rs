//! The unit on the bench beside its own earlier or later capture: before and after a repair.

use std::cmp::Ordering;

use analysis::comparison::{Became, PlaceChange, before_and_after};
use analysis::session::{CaptureRecord, Session};
use analysis::units::{KelvinDifference, TemperatureUnit};
use leptos::prelude::*;

use crate::platform::clock;
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
    let pair = Memo::new(move |_| store.session().with(|session| pair_of(session, clock::instant)));
    let surveys = Memo::new(move |_| {
        let pair = pair.get()?;
        Some((store.survey_of(&pair.before.hash)?, store.survey_of(&pair.after.hash)?))
    });
    let body = move || {
        let pair = pair.get()?;
        let unit = store.session().with(|session| session.temperature_unit);
        Some(view! { <Told pair=pair surveys=surveys.get() unit=unit /> })
    };
    view! { <div data-testid="repair">{body}</div> }
}

/// The unit's capture and the one of the same serial number next to it in time: the one before it, if there is one.
///
/// `instant` reads a time as one of all time zones.
fn pair_of(session: &Session, instant: impl Fn(&str) -> Option<f64>) -> Option<Pair> {
    let unit = session.unit()?;
    let serial = unit.metadata.board.serial.trim();
    if serial.is_empty() {
        return None;
    }
    let same = session.units().filter(|record| record.metadata.board.serial.trim() == serial);
    let mut same: Vec<_> = same.map(|record| (record, instant(&record.metadata.time))).collect();
    // Where one does not say when it was taken, or less exactly than the others, they keep the order in which they were
    // loaded.
    let alike = |(record, _): &(&CaptureRecord, _)| says(&record.metadata.time) == says(&unit.metadata.time);
    if same.iter().all(|(_, time)| time.is_some()) && same.iter().all(alike) {
        same.sort_by(|(_, a), (_, b)| a.partial_cmp(b).unwrap_or(Ordering::Equal));
    }
    let same: Vec<_> = same.into_iter().map(|(record, _)| record).collect();
    let place = same.iter().position(|record| record.hash == unit.hash)?;
    let (before, after) = match place {
        0 => (same.first()?, same.get(1)?),
        place => (same.get(place - 1)?, same.get(place)?),
    };
    Some(Pair { serial: serial.to_owned(), before: (*before).clone(), after: (*after).clone() })
}

/// Whether an ISO 8601 time states the time of day and its offset from UTC.
fn says(time: &str) -> (bool, bool) {
    time.split_once('T')
        .map_or((false, false), |(_, day)| (true, day.ends_with('Z') || day.contains(['+', '-'])))
}

#[component]
fn Told(
    /// The captures.
    pair: Pair,
    /// What is known of both.
    surveys: Option<(Surveyed, Surveyed)>,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let table = match surveys {
        Some((Surveyed::Failed(why), _) | (_, Surveyed::Failed(why))) => {
            let words = format!("One of the two cannot be judged: {why}.");
            view! { <p class="remark" role="status">{words}</p> }.into_any()
        }
        Some((Surveyed::Told(before), Surveyed::Told(after))) => {
            let changes = before_and_after(&before, &after);
            let count = |became| changes.iter().filter(|change| change.became == became).count();
            let (gone, left, new) = (count(Became::Gone), count(Became::Left), count(Became::New));
            let summary = match (gone, left, new) {
                (0, 0, 0) => "Nothing was found before or after.".to_owned(),
                (_, 0, 0) => format!("Of what was found nothing is left ({gone} gone)."),
                _ => format!("{gone} gone, {left} left, {new} new."),
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
        None | Some(_) => {
            view! { <p class="remark" role="status">"One of the two is being judged …"</p> }.into_any()
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
        Became::Gone => ("outcome pass", "gone"),
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

#[cfg(test)]
mod tests {
    use analysis::capture::{BoardIdentity, CaptureMetadata};
    use analysis::content_hash::ContentHash;
    use analysis::session::Role;

    use super::*;

    /// Minutes after midnight UTC of the times below, by hand.
    fn minutes(time: &str) -> Option<f64> {
        match time {
            "2031-05-04T10:00:00+02:00" => Some(480.0),
            "2031-05-04T09:30:00Z" => Some(570.0),
            // Of no known time zone: as if it were UTC.
            "2031-05-04T09:00:00" => Some(540.0),
            "2031-05-04T08:00:00" => Some(480.0),
            _ => None,
        }
    }

    fn session(times: [&str; 2]) -> Session {
        let capture = |(place, time): (usize, &str)| CaptureRecord {
            hash: ContentHash::of(&[place as u8]),
            file_name: format!("{place}.tiff"),
            role: if place == 0 { Role::Unit } else { Role::Waiting },
            metadata: CaptureMetadata {
                time: time.to_owned(),
                board: BoardIdentity { product: String::new(), serial: "17".to_owned() },
                ..CaptureMetadata::default()
            },
        };
        Session { captures: times.into_iter().enumerate().map(capture).collect(), ..Session::default() }
    }

    fn order(times: [&str; 2]) -> [String; 2] {
        let pair = pair_of(&session(times), minutes).expect("two captures of one serial number");
        [pair.before.file_name, pair.after.file_name]
    }

    #[test]
    fn the_earlier_moment_is_before_whatever_its_time_zone() {
        let (early, late) = ("2031-05-04T10:00:00+02:00", "2031-05-04T09:30:00Z");
        assert_eq!(order([late, early]), ["1.tiff", "0.tiff"]);
        assert_eq!(order([early, late]), ["0.tiff", "1.tiff"]);
        assert_eq!(order(["2031-05-04T09:00:00", "2031-05-04T08:00:00"]), ["1.tiff", "0.tiff"]);
        assert_eq!(order([late, "2031-05-04T08:00:00"]), ["0.tiff", "1.tiff"]);
        // Without both moments the one that was loaded first is before.
        assert_eq!(order([late, ""]), ["0.tiff", "1.tiff"]);
    }
}
