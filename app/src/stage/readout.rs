//! The line of readings: what the place under the pointer or cross-hair reads, and why.

use analysis::comparison::{Comparison, JudgedBy};
use analysis::geometry::Point;
use analysis::inspection::Basis;
use analysis::measured_place::difference_place;
use analysis::propagation::Interval;
use analysis::session::Session;
use analysis::surface::{DecidedBy, Finish, finish_at};
use analysis::uncertainty::{
    DifferencePlace, InputUncertainty, TemperaturePlace, difference_margins, is_skewed, temperature_interval,
};
use analysis::units::{Emissivity, TemperatureUnit};
use leptos::prelude::*;

use super::Pictures;
use super::bodies::Bodies;
use super::look::{Arrangement, Cursor, Look, Plane, ScaleKind, Subject};
use super::recorded::{Recorded, value_text};
use super::shown::{Shown, pixel_at};
use super::view::Spot;
use crate::store::{ComparisonState, Store};
use crate::wording;

/// One reading with its name.
struct Reading {
    name: &'static str,
    /// What a person must know not to misread it; mostly empty.
    note: &'static str,
    value: String,
    testid: &'static str,
}

/// Why a difference is not that of the two temperatures shown beside it; `None` where it is.
#[must_use]
pub fn not_just_subtracted(session: &Session, comparison: &Comparison) -> Option<&'static str> {
    match (&comparison.judged_by, session.criteria.basis) {
        (JudgedBy::GoodBoardsSpread(_), _) => {
            Some("unit − baseline, less what air, power and camera changed all over the board")
        }
        (JudgedBy::Limit { .. }, Basis::Absolute) => None,
        (JudgedBy::Limit { .. }, Basis::RiseAboveAmbient) => {
            Some("unit − baseline, each less its own air temperature")
        }
        (JudgedBy::Limit { .. }, Basis::RiseAtEqualPower) => {
            Some("unit − baseline, each less its own air temperature, at equal power")
        }
    }
}

/// What the page can say of a place. Reactive.
fn readings(
    store: Store,
    look: Look,
    pictures: Pictures,
    recorded: Recorded,
    bodies: Bodies,
    cursor: Cursor,
) -> Vec<Reading> {
    let uncertainty_shown =
        look.arrangement.get() == Arrangement::Single && look.subject.get() == Subject::Uncertainty;
    let unit = store.session().with(|session| session.temperature_unit);
    let at = cursor.at;
    let value = |picture: &Result<Shown, String>| {
        let shown = picture.as_ref().ok().filter(|shown| shown.plane == cursor.plane)?;
        shown.at(at).map(f64::from)
    };
    let mut readings = Vec::new();
    let mut say = |name, testid, value: String| readings.push(Reading { name, note: "", value, testid });
    let temperature = |kelvin| wording::temperature(unit, kelvin);
    let compared = (cursor.plane == Plane::Baseline).then(|| compared_places(store, at)).flatten();
    let surely = |place: Option<TemperaturePlace>, kelvin: f64| {
        let inputs = store.session().with(|session| session.input_uncertainty.clone());
        place
            .and_then(|place| temperature_words(unit, &place, &inputs))
            .unwrap_or_else(|| temperature(kelvin))
    };
    if let Some(number) = pictures.recording.with(value) {
        let words = match recorded.scale() {
            ScaleKind::Recorded(measure) => value_text(unit, measure, number),
            _ => temperature(number),
        };
        say("Recording", "reading-recording", format!("{words} · {}", recorded.caption.get()));
    }
    if let Some(kelvin) = pictures.baseline.with(value) {
        say("Baseline", "reading-baseline", surely(compared.map(|compared| compared.baseline), kelvin));
    }
    if let Some(kelvin) = pictures.unit.with(value) {
        say("Unit", "reading-unit", surely(compared.map(|compared| compared.unit), kelvin));
    }
    if let Some(kelvin) = pictures.difference.with(value) {
        let uncertainty = pictures.uncertainty.with(value);
        let margins = compared.and_then(|compared| margins_of(store, &compared));
        let words = match (margins, uncertainty) {
            (Some(Interval { low, high }), _) => {
                wording::difference_between(unit, kelvin + low, kelvin + high)
            }
            (None, Some(expanded)) => wording::difference_within(unit, kelvin, expanded),
            (None, None) => wording::difference(unit, kelvin),
        };
        let note = store.comparison().with(|state| {
            let comparison = state.latest()?;
            store.session().with(|session| not_just_subtracted(session, comparison))
        });
        let name = if note.is_none() { "Difference" } else { "Difference of rise" };
        readings.push(Reading {
            name,
            note: note.unwrap_or_default(),
            value: words,
            testid: "reading-difference",
        });
    }
    let mut say = |name, testid, value: String| readings.push(Reading { name, note: "", value, testid });
    if let Some(expanded) = pictures.uncertainty.with(value).filter(|_| uncertainty_shown) {
        // The map's own value: where the interval leans to one side the difference above has none.
        let half = wording::interval(unit, expanded);
        say("Uncertainty of the difference (the map)", "reading-uncertainty", format!("± {half}"));
    }
    let spread_shown = look.arrangement.get() == Arrangement::Single && look.subject.get() == Subject::Spread;
    if let Some(kelvin) = pictures.spread.with(value).filter(|_| spread_shown) {
        say(
            "Good boards differ here by (standard deviation)",
            "reading-spread",
            wording::interval(unit, kelvin),
        );
    }
    if cursor.plane == Plane::Baseline {
        say("Emissivity", "reading-emissivity", emissivity_at(store, bodies, at));
        if let Some(part) = bodies.part_at(at) {
            say("Part", "reading-part", part);
        }
    }
    say("Place", "reading-place", place_text(bodies, cursor));
    readings
}

/// The place in both pictures, once they are compared and up to date. Reactive.
fn compared_places(store: Store, at: Spot) -> Option<DifferencePlace> {
    let (row, column) = pixel_at(at)?;
    let session = store.session().get();
    match store.comparison().get() {
        ComparisonState::Ready(comparison) => difference_place(&session, &comparison, row, column),
        _ => None,
    }
}

/// How far below and above a difference its 95 % interval reaches, where ± would be wrong. Reactive.
fn margins_of(store: Store, place: &DifferencePlace) -> Option<Interval> {
    if !is_skewed(place.unit.emissivity.value(), place.unit.emissivity_uncertainty) {
        return None;
    }
    store.session().with(|session| difference_margins(place, &session.input_uncertainty).ok())
}

/// A temperature with its 95 % interval: as ± where that is right, else from where to where.
fn temperature_words(
    unit: TemperatureUnit,
    place: &TemperaturePlace,
    inputs: &InputUncertainty,
) -> Option<String> {
    if is_skewed(place.emissivity.value(), place.emissivity_uncertainty) {
        let interval = temperature_interval(place, inputs).ok()?;
        return Some(wording::temperature_between(unit, interval.low, interval.high));
    }
    let expanded = place.budget(inputs).ok()?.expanded();
    Some(wording::temperature_within(unit, place.temperature.value(), expanded))
}

/// The emissivity a place is corrected with, and what decides it. Reactive.
fn emissivity_at(store: Store, bodies: Bodies, at: Spot) -> String {
    let map = bodies.board_to_picture().get();
    store.session().with(|session| {
        let (decided_by, finish) = finish_at(&session.surface, Point::new(at.x, at.y), map.as_ref());
        let origin = match decided_by {
            DecidedBy::Region(index) => session.surface.regions.get(index).map(|region| region.name.clone()),
            DecidedBy::Whole if session.surface.map.is_some() => Some("emissivity picture".to_owned()),
            DecidedBy::Whole => None,
        };
        let used = used_at(store, at).unwrap_or_else(|| finish.clone());
        let measured = if finish.measured.is_some() { ", measured" } else { "" };
        format!("{}{measured} · {}", wording::emissivity(&used), origin.as_deref().unwrap_or("whole board"))
    })
}

/// The emissivity that the comparison used at a place: an emissivity picture has one for each pixel. Reactive.
fn used_at(store: Store, at: Spot) -> Option<Finish> {
    let (row, column) = pixel_at(at)?;
    let ComparisonState::Ready(comparison) = store.comparison().get() else { return None };
    let emissivity = Emissivity::new(f64::from(comparison.emissivity.at(row, column)?)).ok()?;
    let uncertainty = f64::from(comparison.emissivity_uncertainty.at(row, column)?);
    Some(Finish::stated(emissivity, uncertainty))
}

fn place_text(bodies: Bodies, cursor: Cursor) -> String {
    let pixel = format!("{}, {} px", wording::number(cursor.at.x, 0), wording::number(cursor.at.y, 0));
    let board = bodies.on_board(cursor.at).filter(|_| cursor.plane == Plane::Baseline);
    match board {
        Some(point) => {
            format!("{pixel} · {}, {} mm", wording::number(point.x, 1), wording::number(point.y, 1))
        }
        None => pixel,
    }
}

/// The line of readings. Only the cross-hair's is read out, not every place a mouse passes.
#[component]
pub fn ReadOut() -> impl IntoView {
    let look = expect_context::<Look>();
    let pictures = expect_context::<Pictures>();
    let bodies = expect_context::<Bodies>();
    let store = Store::expect();
    let recorded = expect_context::<Recorded>();
    let items = move || {
        let readings = look.read_at().map(|cursor| readings(store, look, pictures, recorded, bodies, cursor));
        readings.map(|readings| {
            readings
                .into_iter()
                .map(|reading| {
                    view! {
                        <div>
                            <dt>{reading.name} <span class="note">{reading.note}</span></dt>
                            <dd data-testid=reading.testid>{reading.value}</dd>
                        </div>
                    }
                })
                .collect::<Vec<_>>()
        })
    };
    let spoken = move || {
        look.cursor.get().map(|cursor| {
            let readings = readings(store, look, pictures, recorded, bodies, cursor);
            readings
                .into_iter()
                .map(|reading| format!("{} {}", reading.name, reading.value))
                .collect::<Vec<_>>()
                .join(", ")
        })
    };
    let empty = move || look.read_at().is_none();
    view! {
        <div class="readout" data-testid="readout">
            <dl hidden=empty>{items}</dl>
            <p hidden=move || !empty()>"Point at the picture to read it; click to leave the cross-hair there."</p>
            <p class="unseen" aria-live="polite">{spoken}</p>
        </div>
    }
}
