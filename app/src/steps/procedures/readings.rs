//! Repeated readings: a row for each repeat, with one or two temperatures.

use analysis::units::Kelvin;
use leptos::prelude::*;

use crate::stage::look::{Look, Plane};
use crate::stage::shown::pixel_at;
use crate::steps::kelvin_fields::TemperatureField;
use crate::store::Store;
use crate::widgets::{Icon, Sign};
use analysis::session::Role;

/// What one repeat read; one entry a column.
pub type Row = [Option<Kelvin>; 2];

/// As many rows as a procedure asks for at least.
#[must_use]
pub fn three_rows() -> RwSignal<Vec<Row>> {
    RwSignal::new(vec![Row::default(); 3])
}

/// The whole rows of one column.
#[must_use]
pub fn single(rows: &[Row]) -> Vec<Kelvin> {
    rows.iter().filter_map(|row| row[0]).collect()
}

/// The whole rows of two columns.
#[must_use]
pub fn pairs(rows: &[Row]) -> Vec<(Kelvin, Kelvin)> {
    rows.iter().filter_map(|row| row[0].zip(row[1])).collect()
}

/// The table of repeats.
#[component]
pub fn ReadingRows(
    /// What each column holds: one or two.
    columns: &'static [&'static str],
    /// The rows.
    rows: RwSignal<Vec<Row>>,
    /// The column of the camera's own readings, where the picture can fill it.
    #[prop(optional)]
    camera: Option<usize>,
    /// Stable name for the browser tests.
    testid: &'static str,
) -> impl IntoView {
    let count = Memo::new(move |_| rows.with(Vec::len));
    let cell = move |row: usize, column: usize, name: &'static str| {
        let value = Signal::derive(move || rows.with(|rows| rows.get(row).and_then(|row| row[column])));
        let commit = move |typed: Option<Kelvin>| {
            rows.update(|rows| {
                if let Some(row) = rows.get_mut(row) {
                    row[column] = typed;
                }
            });
            None
        };
        let label = format!("{name}, {}", row + 1);
        view! { <TemperatureField label=label value=value commit=commit testid=format!("{testid}-{}-{}", column + 1, row + 1) /> }
    };
    let body = move || {
        (0..count.get())
            .map(|row| {
                let cells: Vec<_> =
                    columns.iter().enumerate().map(|(column, name)| cell(row, column, name)).collect();
                view! { <div class="fields">{cells}</div> }
            })
            .collect::<Vec<_>>()
    };
    let under_cross = under_cross_hair();
    // The same pixel twice is no repeat.
    let fresh = move || {
        let (Some(kelvin), Some(camera)) = (under_cross.get(), camera) else { return false };
        rows.with(|rows| rows.iter().all(|row| row[camera] != Some(kelvin)))
    };
    let take = move |_| {
        let (Some(kelvin), Some(camera)) = (under_cross.get_untracked(), camera) else { return };
        rows.update(|rows| match rows.iter_mut().find(|row| row[camera].is_none()) {
            Some(row) => row[camera] = Some(kelvin),
            None => {
                let mut row = Row::default();
                row[camera] = Some(kelvin);
                rows.push(row);
            }
        });
    };
    view! {
        {body}
        <div class="row">
            <button on:click=move |_| rows.update(|rows| rows.push(Row::default()))>"One more repeat"</button>
            <button
                class="quiet"
                aria-label="Take the last repeat away"
                disabled=move || count.get() < 2
                on:click=move |_| rows.update(|rows| rows.truncate(rows.len().saturating_sub(1)))
            >
                <Icon sign=Sign::Remove />
            </button>
            <button
                hidden=camera.is_none()
                disabled=move || !fresh()
                title="The apparent temperature of the baseline picture, averaged over 3 × 3 pixels"
                on:click=take
            >
                "Take the camera's reading under the cross-hair"
            </button>
        </div>
    }
}

/// What the camera read under the cross-hair, emissivity 1, in the first known-good capture. Reactive.
fn under_cross_hair() -> Memo<Option<Kelvin>> {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    Memo::new(move |_| {
        let cursor = look.cursor.get().filter(|cursor| cursor.plane == Plane::Baseline)?;
        let hash = store
            .session()
            .with(|session| session.with_role(Role::Baseline).next().map(|record| record.hash.clone()))?;
        pixel_at(cursor.at)?;
        let place = analysis::geometry::Point::new(cursor.at.x, cursor.at.y);
        let reading = analysis::inspection::place_reading::read_point(&*store.apparent(&hash)?, place)?;
        Kelvin::new(f64::from(reading.mean)).ok()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_that_are_not_whole_do_not_count() {
        let kelvin = |value| Kelvin::new(value).ok();
        let rows = [[kelvin(300.0), None], [None, kelvin(310.0)], [kelvin(301.0), kelvin(311.0)]];
        assert_eq!(single(&rows).len(), 2);
        assert_eq!(pairs(&rows).len(), 1);
    }
}
