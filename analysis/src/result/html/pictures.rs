//! The three pictures of a comparison, with each finding drawn at its place.

use maud::{Markup, html};

use super::figure::{Mark, Overlay, Picture, Shows, figure, surface_range};
use super::viewer_data::{Coded, ViewerData, controls};
use crate::comparison::Comparison;
use crate::result::ResultError;
use crate::result::numbers::InUnit;
use crate::session::Session;

/// Pictures on a sheet, and as numbers behind it.
pub(super) struct Illustration {
    /// The section with its script-driven controls, which stay hidden without the script.
    pub(super) section: Markup,
    /// The same pictures for the script.
    pub(super) viewer: ViewerData,
}

/// What differs, beside what it is the difference of.
pub(super) fn of_comparison(session: &Session, comparison: &Comparison) -> Result<Illustration, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let surface = surface_range(&[&comparison.baseline, &comparison.unit], &comparison.emissivity, unit.0);
    let difference = Picture {
        id: "difference",
        name: "Difference, unit minus baseline",
        short_name: "Difference",
        frame: &comparison.difference,
        range: difference_range(session, comparison),
        shows: Shows::Difference,
    };
    let baseline = Picture {
        id: "baseline",
        name: "Baseline, mean of the known-good boards",
        short_name: "Baseline",
        frame: &comparison.baseline,
        range: surface,
        shows: Shows::Temperature,
    };
    let under_test = Picture {
        id: "unit",
        name: "Unit under test, on the baseline's pixels",
        short_name: "Unit",
        frame: &comparison.unit,
        range: surface,
        shows: Shows::Temperature,
    };
    let coded =
        vec![Coded::of(&difference, unit.0), Coded::of(&baseline, unit.0), Coded::of(&under_test, unit.0)];
    let viewer = ViewerData::of(coded)?;
    let marks = Mark::of_findings(&comparison.findings);
    let parts = Overlay { parts: &comparison.footprints, ..Overlay::default() };
    let marked = Overlay { marks: &marks, ..parts };
    let section = html! {
        section.pictures {
            h2 { "Pictures" }
            div.plate {
                div {
                    (figure(&difference, marked, unit, true)?)
                    (controls(&viewer.quantisation))
                }
                div.side {
                    (figure(&baseline, parts, unit, false)?)
                    (figure(&under_test, marked, unit, false)?)
                }
            }
            p.note {
                "Rings mark the largest difference of each finding by its number in the table: a full ring where the unit "
                "is hotter, a broken one where it is colder. Hatched places have no valid reading. Colours end at the ends of their scales; "
                "values beyond keep the end colour."
                @if !comparison.footprints.is_empty() { " Thin outlines are the parts' bodies by the placement file." }
            }
        }
    };
    Ok(Illustration { section, viewer })
}

/// Where the colours of the difference begin and end, K: the same on both sides of zero, wide enough for every
/// finding, rounded outwards to whole degrees of the session's unit.
fn difference_range(session: &Session, comparison: &Comparison) -> [f32; 2] {
    let largest = f64::from(comparison.difference_span(&session.criteria));
    let per_kelvin = session.temperature_unit.show_difference(1.0);
    let end = ((largest * per_kelvin).ceil() / per_kelvin) as f32;
    [-end, end]
}
