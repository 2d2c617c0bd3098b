//! The sheet's table of contact measurements.

use maud::{Markup, html};

use crate::inspection::{Probe, ProbeKey, ProbeReading, ProbeVerdict, contact_words};
use crate::result::words::{power_word, quantity_word, verdict_word};
use crate::session::Session;

/// What to measure by contact, with what was read, and what was read besides.
pub(super) fn section(session: &Session, asked: &[Probe]) -> Markup {
    let was_asked = |key: &ProbeKey| asked.iter().any(|probe| probe.key == *key);
    let besides: Vec<&(ProbeKey, ProbeReading)> =
        session.readings.iter().filter(|(key, _)| !was_asked(key)).collect();
    html! {
        section.probes {
            h2 { "Contact measurements" }
            @if asked.is_empty() && besides.is_empty() {
                p { "None asked for." }
            } @else {
                div.scroll { table {
                    thead { tr {
                        th.number scope="col" { "No." } th scope="col" { "Probe on" } th scope="col" { "Measure" }
                        th scope="col" { "Board" } th scope="col" { "Expected" } th scope="col" { "Read" }
                        th scope="col" { "Verdict" }
                    } }
                    @for (index, probe) in asked.iter().enumerate() {
                        (row(index + 1, &probe.key, Some(probe), session))
                    }
                    @for (index, (key, _)) in besides.iter().enumerate() {
                        (row(asked.len() + index + 1, key, None, session))
                    }
                } }
            }
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
