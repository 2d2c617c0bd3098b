//! How the boards were run when they were captured.

use maud::{Markup, html};

use crate::capture::{TestConditions, readable_time};
use crate::result::numbers::InUnit;
use crate::session::{CaptureRecord, Role, Session};
use crate::units::Kelvin;

/// The stated conditions and those of every capture that was used, one a row.
pub(super) fn section(session: &Session, unit: InUnit) -> Markup {
    let captures = session.with_role(Role::Baseline).chain(session.with_role(Role::Unit));
    html! {
        section.conditions {
            h2 { "Conditions" }
            div.scroll { table {
                thead { tr {
                    th scope="col" { "" } th.number scope="col" { "Voltage" } th.number scope="col" { "Current" }
                    th.number scope="col" { "Power" } th.number scope="col" { "Frequency" }
                    th.number scope="col" { "Warm-up" } th.number scope="col" { "Ambient" }
                    th scope="col" { "Captured" }
                } }
                tbody {
                    (row("For the session", &session.conditions, Some(session.ambient), "", unit))
                    @for record in captures {
                        (row(&role_of(record), &record.metadata.conditions, record.metadata.ambient, &record.metadata.time, unit))
                    }
                }
            } }
            @for (who, notes) in notes(session) { p.note { strong { (who) ": " } (notes) } }
            p.note {
                "A capture without an ambient temperature of its own is taken at the session's. A picture stands for "
                "steady state only after the warm-up that the board needs."
            }
        }
    }
}

fn role_of(record: &CaptureRecord) -> String {
    let role = if record.role == Role::Unit { "Unit" } else { "Baseline" };
    format!("{role} {}", record.file_name)
}

fn row(name: &str, conditions: &TestConditions, ambient: Option<Kelvin>, time: &str, unit: InUnit) -> Markup {
    let stated = |value: Option<f64>, symbol: &str| {
        value.map_or_else(|| "\u{2013}".to_owned(), |value| format!("{} {symbol}", significant(value)))
    };
    html! {
        tr {
            th scope="row" { (name) }
            td.number { (stated(conditions.voltage, "V")) }
            td.number { (stated(conditions.current, "A")) }
            td.number { (stated(conditions.power().map(f64::from), "W")) }
            td.number { (stated(conditions.frequency, "Hz")) }
            td.number { (stated(conditions.warm_up_minutes, "min")) }
            td.number { (ambient.map_or_else(|| "\u{2013}".to_owned(), |ambient| unit.read_temperature(ambient))) }
            td { (readable_time(time)) }
        }
    }
}

/// As typed, without the tail that a product of two decimals grows.
fn significant(value: f64) -> String {
    let rounded = (value * 1e4).round() / 1e4;
    format!("{rounded}")
}

fn notes(session: &Session) -> Vec<(String, &str)> {
    let asked = ("For the session".to_owned(), session.conditions.notes.trim());
    let each =
        session.captures.iter().filter(|record| matches!(record.role, Role::Baseline | Role::Unit)).flat_map(
            |record| {
                [record.metadata.conditions.notes.trim(), record.metadata.notes.trim()]
                    .map(|notes| (role_of(record), notes))
            },
        );
    std::iter::once(asked).chain(each).filter(|(_, notes)| !notes.is_empty()).collect()
}
