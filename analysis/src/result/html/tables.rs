//! The sheet's tables of a comparison: findings, parts near a limit.

use maud::{Markup, html};

use crate::comparison::{Comparison, board_to_picture, in_warmest_air};
use crate::inspection::{Finding, PartReading, Sign, WorstCase, explain, hard_to_judge};
use crate::result::numbers::{InUnit, count_of, number};
use crate::result::words::sign_word;
use crate::session::Session;
use crate::uncertainty::expanded;
use crate::units::{Kelvin, KelvinDifference};

/// A part with less margin than this is listed, K: about what a change of supplier, airflow or
/// summer's ambient takes away (common practice, no source).
const NEAR_LIMIT_KELVIN: f64 = 10.0;

/// So many parts that are hard to judge are named, the hardest first; the rest are counted.
const MOST_HARD_TO_JUDGE: usize = 8;

/// What differs, most significant first.
pub(super) fn findings(session: &Session, comparison: &Comparison, unit: InUnit) -> Markup {
    let board = board_to_picture(&session.layout).ok().flatten().map(|map| map.inverse());
    let on_board = |finding: &Finding| board.as_ref().map(|map| map.apply(finding.peak_at));
    let among_good_boards = comparison.findings.iter().any(|finding| finding.chance.is_some());
    html! {
        section.findings {
            h2 { "Findings" }
            @if comparison.findings.is_empty() {
                p { "None." }
            } @else {
                div.scroll { table {
                    thead { tr {
                        th.number scope="col" { "No." } th scope="col" { "Part" } th scope="col" { "Unit is" }
                        th.number scope="col" { "Largest" } th.number scope="col" { "Mean" }
                        th.number scope="col" { "Area" } th.number scope="col" { "At pixel" }
                        @if board.is_some() { th.number scope="col" { "On the board" } }
                        th.number scope="col" { (if among_good_boards { "× spread of good boards" } else { "× tolerance" }) }
                    } }
                    @for (index, finding) in comparison.findings.iter().enumerate() { tbody { tr {
                        td.number rowspan="2" { (index + 1) }
                        td { (part_name(finding.designator.as_deref(), finding.designator_distance_mm)) }
                        td class=(if finding.sign == Sign::Hotter { "hot" } else { "cold" }) { (sign_word(finding.sign)) }
                        td.number { (unit.read_difference(finding.peak)) }
                        td.number { (unit.read_difference(finding.mean)) }
                        td.number {
                            @match finding.area_mm2 {
                                Some(area) => { (number(area, 1)) " mm²" }
                                None => { (finding.area_px) " px" }
                            }
                        }
                        td.number { (number(finding.peak_at.x, 0)) ", " (number(finding.peak_at.y, 0)) }
                        @if let Some(at) = on_board(finding) {
                            td.number { (number(at.x, 1)) ", " (number(at.y, 1)) " mm" }
                        }
                        td.number { (number(finding.times_spread().unwrap_or(finding.significance), 1)) }
                    } tr.reason { td colspan=(if board.is_some() { 8 } else { 7 }) { div.told { (explained(finding, unit)) } } } } }
                } }
            }
        }
    }
}

/// What the finding means, as a person can act on it.
fn explained(finding: &Finding, unit: InUnit) -> Markup {
    let words = explain(finding, unit.0);
    html! {
        (words.what)
        @for told in [&words.power, &words.bathed] { @if !told.is_empty() { " " (sentence(told)) } }
        " Usual causes (common practice): " (words.causes) "."
    }
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

fn part_name(designator: Option<&str>, distance_mm: Option<f64>) -> Markup {
    html! {
        @match designator {
            None => { span.faint { "no part named" } }
            Some(designator) => {
                strong { (designator) }
                @if let Some(distance) = distance_mm.filter(|&distance| distance > 0.05) {
                    span.faint { " nearest, " (number(distance, 1)) " mm off" }
                }
            }
        }
    }
}

/// Parts over a stated limit or near it, the least margin first.
pub(super) fn parts(session: &Session, comparison: &Comparison, unit: InUnit) -> Markup {
    let limited = comparison.parts.iter().filter(|part| part.margin.is_some()).count();
    let near = unit.read_size(KelvinDifference::known(NEAR_LIMIT_KELVIN));
    let or_dash = |text: Option<String>| text.unwrap_or_else(|| "\u{2013}".to_owned());
    let temperature = |value: Option<Kelvin>| or_dash(value.map(|value| unit.read_temperature(value)));
    let within = |value: Option<Kelvin>, standard: Option<KelvinDifference>| match (value, standard) {
        (Some(value), Some(standard)) => {
            let half = f64::from(expanded(standard.value() as f32));
            format!("{} ± {}", unit.read_temperature(value), unit.read_size(KelvinDifference::known(half)))
        }
        (value, _) => temperature(value),
    };
    let junction = |part: &PartReading| {
        let bound = if part.junction.is_some_and(|junction| junction.is_upper_bound) { "≤ " } else { "" };
        let known = part.junction.map(|junction| (junction.temperature, junction.standard_uncertainty));
        format!("{bound}{}", within(known.map(|known| known.0), known.and_then(|known| known.1)))
    };
    let air = session.datasheet.worst_ambient;
    let worst = |part: &PartReading| in_warmest_air(session, comparison, part);
    let left_in_worst_air =
        |part: &PartReading| worst(part).map_or(f64::INFINITY, |worst| worst.margin.value());
    let mut listed: Vec<(&PartReading, f64)> = comparison
        .parts
        .iter()
        .filter_map(|part| Some((part, part.margin?.value())))
        .filter(|&(part, margin)| margin.min(left_in_worst_air(part)) < NEAR_LIMIT_KELVIN)
        .collect();
    listed.sort_by(|a, b| a.1.total_cmp(&b.1));
    let keeps = |worst: Option<WorstCase>| {
        or_dash(
            worst
                .and_then(|worst| worst.power_that_keeps)
                .map(|[watts, _]| format!("{} W", number(watts, 2))),
        )
    };
    let difference =
        |value: Option<KelvinDifference>| or_dash(value.map(|value| unit.read_difference(value)));
    html! {
        section.parts {
            h2 { "Parts over or near a limit" }
            @if !listed.is_empty() {
                div.scroll { table {
                    thead { tr {
                        th scope="col" { "Part" } th.number scope="col" { "Case" } th.number scope="col" { "at most" }
                        th.number scope="col" { "Junction, estimated" } th.number scope="col" { "at most" }
                        th.number scope="col" { "Against baseline" } th.number scope="col" { "Margin" }
                        @if let Some(air) = air {
                            th.number scope="col" { "Margin in " (unit.read_temperature(air)) " air" }
                            th.number scope="col" { "Power that keeps it" }
                        }
                        th scope="col" { "" }
                    } }
                    tbody { @for (part, _) in &listed {
                        @let limit = session.layout.limits.iter().find(|limit| limit.designator == part.designator);
                        tr {
                            td { strong { (part.designator) } }
                            td.number { (within(part.case, part.case_uncertainty)) }
                            td.number { (temperature(limit.and_then(|limit| limit.max_case))) }
                            td.number { (junction(part)) }
                            td.number { (temperature(limit.and_then(|limit| limit.max_junction))) }
                            td.number { (difference(part.difference)) }
                            td.number { (difference(part.margin)) }
                            @if air.is_some() {
                                @let worst = worst(part);
                                td.number { (difference(worst.map(|worst| worst.margin))) }
                                td.number { (keeps(worst)) }
                            }
                            td {
                                @if part.is_over_limit() { span.hot { "over" } }
                                @else if left_in_worst_air(part) < 0.0 { span.hot { "over in warmer air" } }
                                @else { "near" }
                            }
                        }
                    } }
                } }
            }
            p.note {
                @if session.layout.placements.is_empty() {
                    "No placement file was loaded, so no part was held against a limit."
                } @else {
                    "Of " (count_of(comparison.parts.len(), "part", "parts")) " on the visible side, "
                    (limited) " could be held against a stated limit; " (limited - listed.len()) " of them have "
                    (near) " or more left. A junction estimate stands on power and thermal path and is no measurement; ± is half of a 95 % interval, ≤ an upper bound by θ-JC."
                    @if air.is_some() { " In warmer air every temperature is taken to rise with it; the power that keeps a limit holds when the whole board's power changes alike." }
                }
            }
            @let dull = hard_to_judge(&comparison.parts, &session.criteria);
            @if !dull.is_empty() {
                p.note {
                    strong { "Hard to judge: " (count_of(dull.len(), "part", "parts")) ". " }
                    "Noise, spread or steep edges cover anything smaller than the difference given: "
                    (dull.iter().take(MOST_HARD_TO_JUDGE).map(|(part, needed)| format!("{} {}", part.designator, unit.read_size(*needed))).collect::<Vec<_>>().join(", "))
                    @if dull.len() > MOST_HARD_TO_JUDGE { " and " (dull.len() - MOST_HARD_TO_JUDGE) " more with smaller ones" }
                    "."
                }
            }
        }
    }
}
