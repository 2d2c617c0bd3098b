//! The sheet's table of contact measurements.

use maud::{Markup, html};

use crate::comparison::{Needless, by_need};
use crate::inspection::{Probe, ProbeKey, ProbeReading, ProbeVerdict, contact_words};
use crate::result::words::{power_word, quantity_word, verdict_word};
use crate::session::Session;

/// What to measure by contact, with what was read, and what was read besides.
///
/// What a reading has made needless stands last, with the reason and nothing to fill in.
pub(super) fn section(session: &Session, asked: Vec<Probe>) -> Markup {
    let was_asked = |key: &ProbeKey| asked.iter().any(|probe| probe.key == *key);
    let besides: Vec<&(ProbeKey, ProbeReading)> =
        session.readings.iter().filter(|(key, _)| !was_asked(key)).collect();
    let none = asked.is_empty() && besides.is_empty();
    let (needed, needless) = by_need(session, asked);
    let numbered = needed.len() + besides.len();
    html! {
        section.probes {
            h2 { "Contact measurements" }
            @if none {
                p { "None asked for." }
            } @else {
                div.scroll { table {
                    thead { tr {
                        th.number scope="col" { "No." } th scope="col" { "Probe on" } th scope="col" { "Measure" }
                        th scope="col" { "Board" } th scope="col" { "Expected" } th scope="col" { "Read" }
                        th scope="col" { "Verdict" }
                    } }
                    @for (index, probe) in needed.iter().enumerate() {
                        (row(index + 1, &probe.key, Some(probe), session))
                    }
                    @for (index, (key, _)) in besides.iter().enumerate() {
                        (row(needed.len() + index + 1, key, None, session))
                    }
                    @for (index, needless) in needless.iter().enumerate() {
                        (needless_row(numbered + index + 1, needless))
                    }
                } }
            }
        }
    }
}

/// A measurement that is no longer needed.
fn needless_row(number: usize, Needless { probe, why }: &Needless) -> Markup {
    html! {
        tbody {
            tr {
                td.number rowspan="2" { (number) }
                td { strong { (probe.key.target) } }
                td { (quantity_word(probe.key.quantity)) }
                td colspan="4" { "no longer needed" }
            }
            tr.reason { td colspan="6" { (why) } }
        }
    }
}

/// One measurement; without a probe that the findings ask for it was taken all the same.
fn row(number: usize, key: &ProbeKey, asked: Option<&Probe>, session: &Session) -> Markup {
    let reading = session.reading(key);
    html! {
        tbody {
            tr {
                td.number rowspan="2" { (number) }
                td { strong { (key.target) } }
                td { (quantity_word(key.quantity)) }
                td { (asked.map_or("", power_word)) }
                td.entry data-label="Expected" { (reading.map_or("", |reading| &reading.expected)) }
                td.entry data-label="Read" { (reading.map_or("", |reading| &reading.read)) }
                @match reading.and_then(|reading| reading.verdict) {
                    Some(ProbeVerdict::Fail) => { td.hot { (verdict_word(ProbeVerdict::Fail)) } }
                    Some(verdict) => { td { (verdict_word(verdict)) } }
                    None => { td.entry data-label="Verdict" {} }
                }
            }
            tr.reason { td colspan="6" {
                @match asked {
                    Some(probe) => {
                        (probe.reason.words(session.temperature_unit))
                        @if let Some(nets) = contact_words(&probe.contacts) { " " (nets) }
                    }
                    None => { "No finding asks for it now." }
                }
                @if let Some(note) = reading.map(|reading| reading.note.trim()).filter(|note| !note.is_empty()) {
                    " " em { "Note: " (note) }
                }
            } }
        }
    }
}
