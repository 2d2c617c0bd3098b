//! The followed places as a table and as a file. The one place where files over time are made.

use analysis::result::chosen_columns_csv;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::curves::{Chosen, Curve};
use super::desk::{Desk, Trends};
use super::protocol::Reading;
use crate::notice::Notice;
use crate::platform::files;
use crate::wording;

/// Headings with units, and one row a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeTable {
    /// What each column is.
    pub headings: Vec<String>,
    /// The cells, row by row; empty where there is no reading.
    pub rows: Vec<Vec<String>>,
}

/// The chosen curves of the shown span. Reactive.
#[must_use]
pub fn table(
    desk: Desk,
    chosen: Chosen,
    trends: &Trends,
    shown: &[Curve],
    unit: TemperatureUnit,
) -> TimeTable {
    let all = trends.series.span();
    let span = if chosen.only_span.get() { desk.span.get() } else { all.clone() };
    let heading = |curve: &Curve| {
        let which = match (curve.fixed, chosen.reading_of(curve)) {
            (Some(_), _) => "",
            (None, Reading::Mean) => ", mean",
            (None, Reading::Least) => ", lowest",
            (None, Reading::Greatest) => ", highest",
        };
        format!("{}{which} ({})", curve.name, unit.symbol())
    };
    let headings = ["frame".to_owned(), "time (s)".to_owned()];
    let headings = headings.into_iter().chain(shown.iter().map(heading)).collect();
    let columns: Vec<&[f32]> =
        shown.iter().map(|curve| trends.series.column(curve.place, chosen.reading_of(curve))).collect();
    let times = trends.series.times_s().iter().enumerate();
    let rows = times.filter(|(at, _)| span.contains(&(all.start + at))).map(|(at, time)| {
        let cell = |column: &&[f32]| {
            let kelvin = column.get(at).copied().unwrap_or(f32::NAN);
            if kelvin.is_nan() { String::new() } else { format!("{:.3}", unit.show(f64::from(kelvin))) }
        };
        let place = [(all.start + at + 1).to_string(), wording::plain(*time)];
        place.into_iter().chain(columns.iter().map(cell)).collect()
    });
    TimeTable { headings, rows: rows.collect() }
}

/// Downloads a table as CSV.
pub fn save_csv(desk: Desk, table: &TimeTable) {
    let name = desk.opened.with_untracked(|opened| {
        let name = opened.as_ref().map_or("recording", |opened| opened.name.as_str());
        name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_owned()
    });
    let file_name = format!("{name}-over-time.csv");
    let written = chosen_columns_csv(&table.headings, table.rows.iter().cloned())
        .map_err(|error| error.to_string())
        .and_then(|text| files::download(&file_name, "text/csv", text.as_bytes()));
    if let Err(message) = written {
        desk.store.tell(
            Notice::trouble(format!("{file_name} was not saved."), "Allow downloads for this page.")
                .because(message),
        );
    }
}
