//! The sheet of a unit without any known-good board: its picture, and its parts of one kind against each other.

use maud::{Markup, html};

use super::figure::{Mark, Overlay, Picture, Shows, figure, surface_range};
use super::pictures::Illustration;
use super::viewer_data::{Coded, Quantisation, ViewerData, controls};
use super::{
    Sheet, conditions, contact, head_line, invented_note, method, read_outs, reason, twins, uncertainty,
};
use crate::board::Footprint;
use crate::comparison::{
    LoneUnit, TwinReport, how_many_stand_out, name_of_standing, probes_among_twins, standing_out,
};
use crate::population::Trust;
use crate::result::numbers::InUnit;
use crate::result::{OriginalFile, ResultError};
use crate::session::Session;
use crate::units::KelvinDifference;

/// What the sheet of a lone unit is made from.
#[derive(Debug, Clone, Copy)]
pub struct LoneUnitInput<'a> {
    /// What the person said and did.
    pub session: &'a Session,
    /// What the unit shows by itself.
    pub unit: &'a LoneUnit,
    /// The captures and emissivity pictures that the session names.
    pub originals: &'a [OriginalFile<'a>],
    /// When the file is written, as it is to be printed.
    pub written_at: &'a str,
    /// The version of the software that writes it.
    pub software_version: &'a str,
}

/// The result of a unit without known-good boards as one HTML file, UTF-8; with picture, numbers and session inside as in
/// [`write_result`](super::write_result).
///
/// # Errors
/// [`ResultError`], when a picture or block cannot be encoded.
pub fn write_lone_unit(input: &LoneUnitInput<'_>) -> Result<String, ResultError> {
    let LoneUnitInput { session, unit: shown, .. } = *input;
    let unit = InUnit(session.temperature_unit);
    let Illustration { section: picture, viewer } = illustrate(shown, unit)?;
    let asked = probes_among_twins(session, &shown.twins);
    let sections = html! {
        (head_line(session, input.written_at))
        (invented_note(session))
        (at_a_glance(session, &shown.twins, unit))
        (picture)
        (twins::section(&shown.twins, unit))
        @if !asked.is_empty() || !session.readings.is_empty() { (contact::section(session, asked)) }
        (read_outs::section(session, &shown.surface, None, unit))
        section.uncertainty {
            h2 { "Uncertainty" }
            p { (uncertainty::inputs(session, unit)) }
            p.note {
                "A part and the board close around it are seen in one picture: what shifts the whole picture alike cancels "
                "between them, a wrong emissivity of either does not."
            }
            (uncertainty::procedures(session, unit))
        }
        (conditions::section(session, unit))
        (method_section(input, unit, &viewer.quantisation))
    };
    let sheet = Sheet { session, originals: input.originals, software_version: input.software_version };
    sheet.page(&sections, viewer)
}

/// What was looked at, and that it is no comparison with a good board.
fn at_a_glance(session: &Session, report: &TwinReport, unit: InUnit) -> Markup {
    let listed = standing_out(report);
    html! {
        section.glance {
            p {
                "No known-good board: parts of one kind were held against each other. "
                @match listed.first() {
                    None => { strong { (how_many_stand_out(report)) } }
                    Some((group, part)) => {
                        strong { (how_many_stand_out(report)) } " Surest: " strong { (name_of_standing(group, part)) }
                        ", " (unit.read_difference(KelvinDifference::known(part.difference.value))) " off its like."
                    }
                }
            }
            p.note {
                "This check never shows a unit to be good. What all parts of one kind share, and what has no like on the board, "
                "shows nothing here"
                @if session.layout.limits.is_empty() { "." } @else { "; stated limits are held only beside known-good boards." }
            }
            (reason(session))
        }
    }
}

/// The unit's surface with its parts, those that stand out ringed.
fn illustrate(shown: &LoneUnit, unit: InUnit) -> Result<Illustration, ResultError> {
    let surface = Picture {
        id: "unit",
        name: "Unit under test, surface temperature",
        short_name: "Unit",
        frame: &shown.surface,
        range: surface_range(&[&shown.surface], &shown.emissivity, unit.0),
        shows: Shows::Temperature,
    };
    let viewer = ViewerData::of(vec![Coded::of(&surface, unit.0)])?;
    let marks = marks(shown);
    let overlay = Overlay { parts: &shown.footprints, names: true, marks: &marks };
    let section = html! {
        section.pictures {
            h2 { "Picture" }
            (figure(&surface, overlay, unit, true)?)
            (controls(&viewer.quantisation))
            p.note {
                @if !marks.is_empty() {
                    "Rings mark the parts that stand out by their number in the table: a full ring where a part is warmer than its "
                    "like, a broken one where it is cooler. "
                }
                "Hatched places have no valid reading. Colours end at the ends of their scale; values beyond keep the end "
                "colour. Thin outlines are the parts' bodies by the placement file; a name that finds no room is left out."
            }
        }
    };
    Ok(Illustration { section, viewer })
}

/// The parts that stand out, with their number in the table; of two that differ both.
fn marks(shown: &LoneUnit) -> Vec<Mark> {
    let listed = standing_out(&shown.twins);
    let numbered = listed.into_iter().enumerate().flat_map(|(index, (group, part))| {
        let parts: Vec<_> = match group.trust {
            Trust::Pair => group.parts.iter().collect(),
            Trust::Agreeing | Trust::Uneven => vec![part],
        };
        parts.into_iter().map(move |part| (index + 1, part))
    });
    let body = |designator: &str| shown.footprints.iter().find(|body| body.designator == designator);
    numbered
        .filter_map(|(number, part)| {
            let body = body(&part.designator)?;
            let hotter = part.difference.value > 0.0;
            let area_px = area_px(body);
            Some(Mark { at: body.center, area_px, hotter, number, name: part.designator.clone() })
        })
        .collect()
}

/// The area of a body in the picture (the polygon's, by its corners).
fn area_px(body: &Footprint) -> f64 {
    let next = body.corners.iter().cycle().skip(1);
    body.corners.iter().zip(next).map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>().abs() / 2.0
}

fn method_section(input: &LoneUnitInput<'_>, unit: InUnit, quantisation: &Quantisation) -> Markup {
    let LoneUnitInput { session, unit: shown, .. } = *input;
    let (rows, columns) = shown.surface.shape();
    html! {
        section.method {
            h2 { "Method" }
            dl {
                (method::entry("Correction", method::correction(session, unit)))
                (method::entry("Emissivity", method::emissivity(session)))
                (method::entry("Parts of one kind", twins::rule(session, unit)))
                (method::entry("Invalid pixels", html! {
                    @if shown.set_aside > 0 {
                        "Isolated pixels that stood alone were taken for the detector's and set aside: " (shown.set_aside) ". "
                    }
                    "Of " (rows * columns) " pixels " (method::missing(&shown.surface)) " have no temperature (of these "
                    (shown.rejected.no_physical_answer) " none that is physical with this emissivity and surroundings)."
                }))
                (method::entry("Numbers in this file", method::steps_of_numbers(quantisation, unit)))
                (method::entry("Software", html! { "Boardglow " (input.software_version) }))
                (method::entry("Captures", method::captures(session)))
            }
        }
    }
}
