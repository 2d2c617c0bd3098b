//! The known-good boards as one file: what a unit will be held against months from now.

use maud::{DOCTYPE, Markup, html};

use super::{board_name, conditions, good_boards, head};
use crate::capture::readable_time;
use crate::comparison::LearnedBaseline;
use crate::population::PartSpread;
use crate::result::numbers::InUnit;
use crate::result::restore::session_blocks;
use crate::result::{OriginalFile, ResultError};
use crate::session::Session;
use crate::units::{Kelvin, KelvinDifference};

/// What a baseline file is made from.
#[derive(Debug, Clone, Copy)]
pub struct BaselineInput<'a> {
    /// A session without units, see [`Session::baseline_only`].
    pub session: &'a Session,
    /// What its boards say.
    pub learned: &'a LearnedBaseline,
    /// The captures and emissivity pictures that the session names.
    pub originals: &'a [OriginalFile<'a>],
    /// When the file is written, as it is to be printed.
    pub written_at: &'a str,
    /// The version of the software that writes it.
    pub software_version: &'a str,
}

/// The baseline as one HTML file that anyone can read, with session and captures inside for
/// [`read_result`](crate::result::read_result). The boards are learned from again where it is opened, so a later
/// method never meets numbers of an earlier one.
///
/// # Errors
/// [`ResultError`], when the session or a capture cannot be embedded.
pub fn write_baseline(input: &BaselineInput<'_>) -> Result<String, ResultError> {
    let BaselineInput { session, learned, .. } = *input;
    let unit = InUnit(session.temperature_unit);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            (head(session, "known-good boards", input.software_version))
            body {
                main {
                    header { div.title {
                        p.kind { "Known-good boards" }
                        h1 { (board_name(session)) }
                        p.note { "Written " (readable_time(input.written_at)) " by Boardglow " (input.software_version) "." }
                    } }
                    section {
                        h2 { "Good boards" }
                        @match learned.population() {
                            Some(baseline) => { (good_boards::table(&baseline.summary, unit)) }
                            None => { p { "Three boards or more would tell how good boards differ; until then a limit decides." } }
                        }
                    }
                    @if let Some(baseline) = learned.population() { (parts(&baseline.summary.parts, unit)) }
                    (conditions::section(session, unit))
                    footer { p {
                        "This file is complete in itself and connects to nothing. Drop it on the Boardglow page, then the "
                        "captures of the units to judge. It holds the captures themselves: what is learned from them is "
                        "learned again when it is opened."
                    } }
                }
                @for block in session_blocks(session, input.originals)? { (block) }
            }
        }
    };
    Ok(page.into_string())
}

fn parts(parts: &[PartSpread], unit: InUnit) -> Markup {
    let size = |kelvin: Option<f64>| {
        let written = kelvin.and_then(|kelvin| KelvinDifference::new(kelvin).ok()).map(|k| unit.read_size(k));
        written.unwrap_or_else(|| "\u{2013}".to_owned())
    };
    html! {
        @if !parts.is_empty() {
            section {
                h2 { "Parts" }
                div.scroll { table {
                    thead { tr {
                        th scope="col" { "Part" } th.number scope="col" { "Mean" }
                        th.number scope="col" { "Good boards differ by" }
                        th.number scope="col" { "Called from" }
                    } }
                    tbody { @for part in parts { tr {
                        th scope="row" { (part.designator) }
                        td.number { @if let Ok(mean) = Kelvin::new(part.mean) { (unit.read_temperature(mean)) } }
                        td.number { (size(part.spread)) }
                        td.number { (size(part.tellable)) }
                    } } }
                } }
                p.note {
                    "One standard deviation with which one more good board differs from the mean, and the least difference "
                    "that would be called on the part alone at five false alarms in a hundred good boards."
                }
            }
        }
    }
}
