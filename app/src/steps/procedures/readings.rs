//! Repeated readings: a row for each repeat, with one or two temperatures.

use analysis::content_hash::ContentHash;
use analysis::units::Kelvin;
use leptos::prelude::*;

use super::camera_reading::{CameraReading, under_cross_hair};
use super::outcome::NoRecord;
use crate::steps::kelvin_fields::TemperatureField;
use crate::store::Store;
use crate::wording;

/// What one repeat read; one entry a column.
pub type Row = [Option<Kelvin>; 2];

/// As many rows as a procedure asks for at least.
#[must_use]
pub fn three_rows() -> RwSignal<Vec<Row>> {
    RwSignal::new(vec![Row::default(); 3])
}

/// The readings of the first column.
#[must_use]
pub fn single(rows: &[Row]) -> Vec<Kelvin> {
    rows.iter().filter_map(|row| row[0]).collect()
}

/// The repeats that are whole, of procedures with two columns.
///
/// # Errors
/// [`NoRecord::Lacks`] when readings stand there but none makes a whole repeat.
pub fn pairs(rows: &[Row], [first, second]: [&str; 2]) -> Result<Vec<(Kelvin, Kelvin)>, NoRecord> {
    let whole: Vec<_> = rows.iter().filter_map(|row| row[0].zip(row[1])).collect();
    if whole.is_empty() && rows.iter().flatten().any(Option::is_some) {
        let what = format!("No repeat is whole yet: enter “{first}” and “{second}” of the same repeat.");
        return Err(NoRecord::Lacks(what));
    }
    Ok(whole)
}

/// The repeats that lack one of their two readings, where others are whole; counted from 1.
fn halves(rows: &[Row]) -> Vec<usize> {
    let whole = rows.iter().any(|row| row[0].is_some() && row[1].is_some());
    let half = |row: &Row| row[0].is_some() != row[1].is_some();
    let all = rows.iter().enumerate().filter(|(_, row)| whole && half(row));
    all.map(|(index, _)| index + 1).collect()
}

/// What was taken from a picture for a column, so that the same pixel is not taken for a repeat.
#[derive(Debug, Clone, PartialEq)]
struct Taken {
    column: usize,
    from: ContentHash,
    pixel: (usize, usize),
    kelvin: Kelvin,
}

/// The table of repeats.
#[component]
pub fn ReadingRows(
    /// What each column holds: one or two.
    columns: &'static [&'static str],
    /// The rows.
    rows: RwSignal<Vec<Row>>,
    /// The columns of the camera's own readings that the picture can fill.
    #[prop(optional)]
    camera: &'static [usize],
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
    let half = move || {
        let half = if columns.len() == 2 { rows.with(|rows| halves(rows)) } else { Vec::new() };
        let numbers: Vec<_> = half.iter().map(usize::to_string).collect();
        (!numbers.is_empty()).then(|| {
            format!("Not counted, one of its two readings is missing: repeat {}.", numbers.join(", "))
        })
    };
    let from_picture = (!camera.is_empty())
        .then(|| view! { <FromPicture columns=columns rows=rows camera=camera testid=testid /> });
    view! {
        {body}
        <div class="row">
            <button on:click=move |_| rows.update(|rows| rows.push(Row::default()))>"One more repeat"</button>
            <button
                title="Takes the last repeat away"
                disabled=move || count.get() < 2
                on:click=move |_| rows.update(|rows| rows.truncate(rows.len().saturating_sub(1)))
            >
                "One repeat less"
            </button>
        </div>
        <p class="wrong" hidden=move || half().is_none()>{half}</p>
        {from_picture}
    }
}

/// The buttons that take what the camera read under the cross-hair, and which picture that is.
#[component]
fn FromPicture(
    /// What each column holds.
    columns: &'static [&'static str],
    /// The rows.
    rows: RwSignal<Vec<Row>>,
    /// The columns that the picture can fill.
    camera: &'static [usize],
    /// Stable name for the browser tests.
    testid: &'static str,
) -> impl IntoView {
    let store = Store::expect();
    let reading = under_cross_hair();
    let taken = RwSignal::new(Vec::<Taken>::new());
    let known = move |column: usize, reading: &CameraReading| {
        let stands =
            |taken: &Taken| rows.with(|rows| rows.iter().any(|row| row[column] == Some(taken.kelvin)));
        let same = |taken: &&Taken| {
            taken.column == column && taken.from == reading.from && taken.pixel == reading.pixel
        };
        taken.with(|all| all.iter().filter(same).any(stands))
    };
    let take = move |column: usize| {
        let Ok(reading) = reading.get_untracked() else { return };
        let kelvin = reading.kelvin;
        rows.update(|rows| match rows.iter_mut().find(|row| row[column].is_none()) {
            Some(row) => row[column] = Some(kelvin),
            None => {
                let mut row = Row::default();
                row[column] = Some(kelvin);
                rows.push(row);
            }
        });
        taken.update(|all| all.push(Taken { column, from: reading.from, pixel: reading.pixel, kelvin }));
    };
    let buttons: Vec<_> = camera
        .iter()
        .filter_map(|&column| Some((column, *columns.get(column)?)))
        .map(|(column, name)| {
            let able =
                move || reading.with(|reading| reading.as_ref().is_ok_and(|reading| !known(column, reading)));
            view! {
                <button
                    data-testid=format!("{testid}-take-{}", column + 1)
                    disabled=move || !able()
                    on:click=move |_| take(column)
                >
                    {format!("Take it as “{name}”")}
                </button>
            }
        })
        .collect();
    let words = move || {
        let unit = store.session().with(|session| session.temperature_unit);
        reading.with(|reading| match reading {
            Err(why) => why.clone(),
            Ok(reading) => {
                let value = wording::number(unit.show(reading.kelvin.value()), 2);
                let again = camera.iter().all(|&column| known(column, reading));
                let again = if again { " Taken already: the same pixel twice is no repeat, move the cross-hair or change the picture." } else { "" };
                format!("Under the cross-hair: {value} {} apparent, in {}, mean of 3 × 3 pixels.{again}", unit.symbol(), reading.file)
            }
        })
    };
    view! {
        <div class="from-picture">
            <p class="remark" data-testid=format!("{testid}-under-cross-hair")>{words}</p>
            <div class="row">{buttons}</div>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kelvin(value: f64) -> Option<Kelvin> {
        Kelvin::new(value).ok()
    }

    #[test]
    fn rows_that_are_not_whole_do_not_count_and_are_named() {
        let rows = [[kelvin(300.0), None], [None, kelvin(310.0)], [kelvin(301.0), kelvin(311.0)]];
        assert_eq!(single(&rows).len(), 2);
        assert_eq!(pairs(&rows, ["Covered", "Bare"]).map(|pairs| pairs.len()), Ok(1));
        assert_eq!(halves(&rows), [1, 2]);
    }

    #[test]
    fn half_a_repeat_is_not_called_nothing() {
        let Err(NoRecord::Lacks(what)) = pairs(&[[kelvin(300.0), None]], ["Covered", "Bare"]) else {
            panic!("half a repeat is no repeat")
        };
        assert!(what.contains("Bare"), "{what}");
        assert_eq!(pairs(&[[None, None]], ["Covered", "Bare"]), Ok(Vec::new()));
    }
}
