//! The good boards that the unit was held against, each checked against the others.

use maud::{Markup, html};

use crate::comparison::{Comparison, JudgedBy, whole_unit};
use crate::population::{BoardCheck, PopulationSummary};
use crate::result::numbers::{InUnit, number, typeset};
use crate::units::KelvinDifference;

/// The section; empty where a limit decided.
pub(super) fn section(comparison: &Comparison, unit: InUnit) -> Markup {
    let JudgedBy::GoodBoardsSpread(against) = &comparison.judged_by else { return html! {} };
    html! {
        section {
            h2 { "Good boards" }
            p { "This unit as a whole: " (whole_unit(against, unit.0)) }
            (table(&against.baseline, unit))
        }
    }
}

/// The boards, each held against the others, and how they differ.
pub(super) fn table(baseline: &PopulationSummary, unit: InUnit) -> Markup {
    html! {
            div.scroll { table {
                thead { tr {
                    th scope="col" { "Board" } th scope="col" { "Held against the others" }
                    th scope="col" { "Stands out most" } th.number scope="col" { "Power" }
                } }
                tbody { @for board in &baseline.boards { tr {
                    th scope="row" { (board.serial) }
                    td { (check(board)) }
                    td { (board.strongest_part.as_deref().unwrap_or_default()) }
                    td.number { (signed_percent(board.nuisance.power_factor.value - 1.0)) }
                } } }
            } }
            p.note {
                "Median spread of a pixel " (unit.read_size(KelvinDifference::known(baseline.median_spread)))
                " (one standard deviation). Method " (baseline.version) ": " (baseline.method) "."
            }
    }
}

fn signed_percent(share: f64) -> String {
    let written = number(100.0 * share, 1);
    let plus = if written.starts_with('-') || written == "0.0" { "" } else { "+" };
    format!("{plus}{} %", typeset(&written))
}

fn check(board: &BoardCheck) -> Markup {
    html! {
        @match board.probability {
            None => { "too few others to tell" }
            Some(_) if board.outlier => { span.hot { "stands out: to be looked at before it serves as known good" } }
            Some(probability) => {
                "passes: " (number(100.0 * probability, 0)) " % of good boards stand out as far"
            }
        }
    }
}
