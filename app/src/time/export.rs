//! The followed places as a table and as files. The one place where files over time are made.

use analysis::sequence::{PlaceSample, TableFrame, TableRegion, TrendColumn, TrendTable, TrendTableError};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::curves::{Chosen, Curve, rate_window_s};
use super::desk::{Desk, Trends};
use super::protocol::Reading;
use crate::notice::Notice;
use crate::platform::{clock, files};

/// The kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// Text with commas.
    Csv,
    /// A workbook for spreadsheets.
    Workbook,
}

/// The chosen curves of the shown span, a row a frame. Reactive.
#[must_use]
pub fn table(
    desk: Desk,
    chosen: Chosen,
    trends: &Trends,
    shown: &[Curve],
    unit: TemperatureUnit,
) -> TrendTable {
    let all = trends.series.span();
    let span = if chosen.only_span.get() { desk.span.get() } else { all.clone() };
    let name = |curve: &Curve| match (curve.fixed, chosen.reading_of(curve)) {
        (Some(_), _) => curve.name.clone(),
        (None, Reading::Mean) => format!("{}, mean", curve.name),
        (None, Reading::Least) => format!("{}, lowest", curve.name),
        (None, Reading::Greatest) => format!("{}, highest", curve.name),
    };
    // A curve is one number a frame, as a point is.
    let doubts = |curve: &Curve| {
        let column = trends.series.uncertainty(curve.place, chosen.reading_of(curve)).iter().enumerate();
        let shown = column.filter(|(at, _)| span.contains(&(all.start + at)));
        shown.map(|(_, doubt)| doubt.is_finite().then_some(f64::from(*doubt))).collect()
    };
    let region = |curve: &Curve| TableRegion {
        name: name(curve),
        is_point: true,
        samples: Vec::new(),
        uncertainties_k: doubts(curve),
    };
    let columns: Vec<&[f32]> =
        shown.iter().map(|curve| trends.series.column(curve.place, chosen.reading_of(curve))).collect();
    let mut table = TrendTable::new(unit, shown.iter().map(region).collect());
    table.rate_window_s = rate_window_s(trends.series.times_s());
    let more = [(chosen.uncertainties, TrendColumn::Uncertainty), (chosen.rates, TrendColumn::Rate)];
    table.columns.extend(more.into_iter().filter(|(wanted, _)| wanted.get()).map(|(_, column)| column));
    for (at, time_s) in trends.series.times_s().iter().enumerate() {
        let frame = all.start + at;
        if span.contains(&frame) {
            let sample = |column: &&[f32]| column.get(at).copied().and_then(single);
            let samples: Vec<_> = columns.iter().map(sample).collect();
            table.push(TableFrame { frame, time_s: Some(*time_s), stamp: String::new() }, &samples);
        }
    }
    table
}

fn single(value: f32) -> Option<PlaceSample> {
    (!value.is_nan()).then_some(PlaceSample {
        least: value,
        least_at: (0, 0),
        mean: value,
        greatest: value,
        greatest_at: (0, 0),
        pixels: 1,
    })
}

/// Downloads a table.
pub fn save(desk: Desk, table: &TrendTable, kind: FileKind) {
    let name = desk.opened.with_untracked(|opened| {
        let name = opened.as_ref().map_or("recording", |opened| opened.recording.name.as_str());
        name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_owned()
    });
    let (ending, media_type) = match kind {
        FileKind::Csv => ("csv", "text/csv"),
        FileKind::Workbook => ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    };
    let file_name = format!("{name}-over-time.{ending}");
    let saved = bytes(table, kind)
        .map_err(|error| (error.to_string(), "Choose fewer curves, or mark a shorter span."))
        .and_then(|bytes| {
            files::download(&file_name, media_type, &bytes)
                .map_err(|message| (message, "Allow downloads for this page."))
        });
    if let Err((message, hint)) = saved {
        desk.store.tell(Notice::trouble(format!("{file_name} was not saved."), hint).because(message));
    }
}

fn bytes(table: &TrendTable, kind: FileKind) -> Result<Vec<u8>, TrendTableError> {
    match kind {
        FileKind::Csv => Ok(table.to_csv()?.into_bytes()),
        FileKind::Workbook => table.to_workbook((clock::milliseconds() / 1000.0) as i64),
    }
}
