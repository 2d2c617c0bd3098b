//! The result as one HTML file that needs nothing else: a filled-in bench sheet.
//!
//! All text goes through `maud`, which escapes it. The file's own policy forbids every connection and
//! every script but the one whose hash it states, so what a person typed can never run.

mod baseline_sheet;
mod conditions;
mod contact;
mod figure;
mod good_boards;
mod labels;
mod lone_unit;
mod method;
mod pictures;
mod read_outs;
mod tables;
mod twins;
mod uncertainty;
mod viewer_data;

pub use baseline_sheet::{BaselineInput, write_baseline};
pub use lone_unit::{LoneUnitInput, write_lone_unit};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use super::numbers::{InUnit, count_of};
use super::restore::session_blocks;
use super::words::outcome_word;
use super::{OriginalFile, ResultError, ResultInput};
use crate::capture::readable_time;
use crate::session::{Outcome, Role, Session};
use viewer_data::ViewerData;

const SHEET: &str = include_str!("sheet.css");
const VIEWER: &str = include_str!("viewer.js");

/// The result as one HTML file, UTF-8.
///
/// It holds the pictures twice, as PNG for every reader and as numbers for the script that reads
/// them out, and the session with its captures, for [`read_result`](super::read_result).
///
/// # Errors
/// [`ResultError`], when a picture or block cannot be encoded.
pub fn write_result(input: &ResultInput<'_>) -> Result<String, ResultError> {
    let ResultInput { session, comparison, .. } = *input;
    let unit = InUnit(session.temperature_unit);
    let pictures::Illustration { section: pictures, viewer } = pictures::of_comparison(session, comparison)?;
    let beside = read_outs::Beside { baseline: &comparison.baseline, difference: &comparison.difference };
    let sections = html! {
        (head_line(session, input.written_at))
        (invented_note(session))
        (at_a_glance(input, unit))
        (pictures)
        (tables::findings(session, comparison, unit))
        (good_boards::section(comparison, unit))
        (tables::parts(session, comparison, unit))
        @if let Some(report) = input.twins { (twins::section(report, unit)) }
        (contact::section(session, comparison.probes.clone()))
        (read_outs::section(session, &comparison.unit, Some(beside), unit))
        (uncertainty::section(session, comparison, unit))
        (conditions::section(session, unit))
        (method::section(input, unit, &viewer.quantisation))
    };
    let sheet = Sheet { session, originals: input.originals, software_version: input.software_version };
    sheet.page(&sections, viewer)
}

/// What every sheet of a unit has around its own sections.
struct Sheet<'a> {
    session: &'a Session,
    originals: &'a [OriginalFile<'a>],
    software_version: &'a str,
}

impl Sheet<'_> {
    /// The file: the sections, what every sheet ends with, the pictures' numbers, the session and the script.
    fn page(&self, sections: &Markup, viewer: ViewerData) -> Result<String, ResultError> {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                (head(self.session, "infrared bench sheet", self.software_version))
                body {
                    main {
                        (sections)
                        (cautions())
                        (signature(self.session))
                        (self.foot())
                    }
                    @for block in viewer.blocks { (block) }
                    @for block in session_blocks(self.session, self.originals)? { (block) }
                    script { (PreEscaped(VIEWER)) }
                }
            }
        };
        Ok(page.into_string())
    }

    fn foot(&self) -> Markup {
        html! {
            footer {
                p {
                    "Written by Boardglow " (self.software_version) ". This file is complete in itself and connects to "
                    "nothing. It holds the session"
                    @if !self.originals.is_empty() {
                        " and " (count_of(self.originals.len(), "original file", "original files"))
                    }
                    ": drop it on the Boardglow page to go on from here."
                }
            }
        }
    }
}

/// The head of every file that is handed on: `kind` says what it is.
fn head(session: &Session, kind: &str, software_version: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta http-equiv="Content-Security-Policy" content=(policy());
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="generator" content={ "Boardglow " (software_version) };
            title { (board_name(session)) " \u{2013} " (kind) }
            style { (PreEscaped(SHEET)) }
        }
    }
}

/// Forbids every connection; names the one script and the one style sheet by their SHA-256
/// (Content Security Policy Level 3, section 2.3.1).
fn policy() -> String {
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text));
    format!(
        "default-src 'none'; script-src 'sha256-{}'; style-src 'sha256-{}'; img-src data: blob:; \
         base-uri 'none'; form-action 'none'",
        hash(VIEWER),
        hash(SHEET)
    )
}

fn board_name(session: &Session) -> &str {
    let product = session.board.product.trim();
    if product.is_empty() { "Unnamed board" } else { product }
}

/// One labelled blank of the form; an empty value leaves the blank open, to be filled in by hand.
fn blank(label: &str, value: &str) -> Markup {
    html! { div.blank { dt { (label) } dd { (value) } } }
}

/// One labelled fact of the form, which nobody can add by hand afterwards.
fn fact(label: &str, value: &str) -> Markup {
    blank(label, if value.trim().is_empty() { "not stated" } else { value })
}

fn head_line(session: &Session, written_at: &str) -> Markup {
    let unit_capture = session.unit();
    let captured = unit_capture.map_or("", |record| record.metadata.time.as_str());
    let outcome = session.verdict.as_ref().map(|verdict| verdict.outcome);
    let class = match outcome {
        Some(Outcome::Pass) => "stamp pass",
        Some(Outcome::Fail) => "stamp fail",
        Some(Outcome::Recheck) => "stamp recheck",
        None => "stamp open",
    };
    html! {
        header {
            div.title {
                p.kind { "Infrared bench sheet" }
                h1 { (board_name(session)) }
            }
            div class=(class) {
                span { "Verdict" }
                strong { (outcome.map_or("not given", outcome_word)) }
            }
            dl.blanks {
                (fact("Serial number", &session.board.serial))
                (fact("Captured", &readable_time(captured)))
                (blank("Written", &readable_time(written_at)))
                (fact("Unit's capture", unit_capture.map_or("", |record| record.file_name.as_str())))
            }
        }
    }
}

fn invented_note(session: &Session) -> Markup {
    let invented: Vec<&str> = session
        .captures
        .iter()
        .filter(|record| matches!(record.role, Role::Baseline | Role::Unit) && record.metadata.invented)
        .map(|record| record.file_name.as_str())
        .collect();
    html! {
        @if !invented.is_empty() {
            p.invented {
                strong { "Invented captures. " }
                (invented.join(", "))
                @if invented.len() == 1 { " comes" } @else { " come" }
                " from a simulation and " @if invented.len() == 1 { "shows" } @else { "show" } " no real board."
            }
        }
    }
}

fn at_a_glance(input: &ResultInput<'_>, unit: InUnit) -> Markup {
    let ResultInput { session, comparison, .. } = *input;
    let largest =
        comparison.findings.iter().max_by(|a, b| a.peak.value().abs().total_cmp(&b.peak.value().abs()));
    let over = comparison.parts_over_limit().count();
    html! {
        section.glance {
            p {
                @match largest {
                    None => {
                        "No place differs from the known-good "
                        (if comparison.baseline_count == 1 { "board" } else { "boards" }) " beyond its tolerance."
                    }
                    Some(finding) => {
                        strong { (count_of(comparison.findings.len(), "place", "places")) }
                        @if comparison.findings.len() == 1 { " differs" } @else { " differ" }
                        " from " (count_of(comparison.baseline_count, "known-good board", "known-good boards"))
                        " beyond tolerance; the largest by " strong { (unit.read_difference(finding.peak)) }
                        @if let Some(designator) = &finding.designator {
                            (if finding.is_beside() { " beside " } else { " at " }) strong { (designator) }
                        }
                        "."
                    }
                }
                @if over > 0 {
                    " " strong { (count_of(over, "part", "parts")) } (if over == 1 { " is" } else { " are" }) " over a limit."
                }
            }
            (reason(session))
        }
    }
}

/// Why the unit was judged as it was.
fn reason(session: &Session) -> Markup {
    html! {
        @if let Some(verdict) = &session.verdict {
            @if !verdict.reason.is_empty() { blockquote { (verdict.reason) } }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section.cautions {
            h2 { "Cautions" }
            ul {
                li {
                    "A board under power can shock, burn or catch fire. Mains and stored charge (capacitors, "
                    "batteries, inductors) can kill, also after the supply is off. Prove that it is dead before "
                    "touching; measure resistance only on an unpowered, discharged board."
                }
                li {
                    "Hot parts stay hot. A part can be hotter than it looks: bare metal reads cold, and a picture "
                    "shows surfaces, not junctions."
                }
                li {
                    "Tape, paint or powder that raises emissivity changes cooling, creepage and insulation. Apply "
                    "it with the board unpowered and discharged, never to live parts; take it off as its maker says."
                }
                li {
                    "Contact measurement on energised equipment is work for people trained and, where the law asks "
                    "for it, licensed to do it. Local codes, the site's rules and the equipment maker's instructions "
                    "come before this sheet."
                }
            }
        }
    }
}

fn signature(session: &Session) -> Markup {
    let judged_by = session.verdict.as_ref().map_or("", |verdict| verdict.judged_by.as_str());
    html! {
        dl."blanks signature" {
            (blank("Judged by", judged_by))
            (blank("Checked by", ""))
            (blank("Date and signature", ""))
        }
    }
}
