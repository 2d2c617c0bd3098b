//! Parts of one kind on the unit against each other: who stands out, all kinds, and what this leaves open.

use maud::{Markup, html};

use crate::comparison::{
    TwinReport, kind_of_twins, left_open, name_of_standing, standing_out, stands_out, who_of_kind,
};
use crate::population::{TwinGroup, TwinStanding};
use crate::result::numbers::{InUnit, number};
use crate::session::Session;
use crate::units::KelvinDifference;

/// The section.
pub(super) fn section(report: &TwinReport, unit: InUnit) -> Markup {
    let listed = standing_out(report);
    html! {
        section.twins {
            h2 { "Parts of one kind, against each other" }
            @if listed.is_empty() {
                p { (nobody(report)) }
            } @else {
                (those(&listed, unit))
            }
            @if !report.check.groups.is_empty() { (kinds(&report.check.groups, unit)) }
            h3 { "What this cannot tell" }
            ul { @for words in left_open(&report.check) { li { (words) } } }
        }
    }
}

/// That nobody stands out, which is no pass.
pub(super) fn nobody(report: &TwinReport) -> &'static str {
    if report.check.groups.is_empty() {
        "No two parts of one kind could be read, so none was held against another: nothing is known of this unit."
    } else {
        "No part stands out among its like. That alone does not make the unit good: it says only that parts of one kind \
         are alike."
    }
}

/// Those that stand out, the surest first.
fn those(listed: &[(&TwinGroup, &TwinStanding)], unit: InUnit) -> Markup {
    let difference = |kelvin: f64| unit.read_difference(KelvinDifference::known(kelvin));
    html! {
        div.scroll { table {
            thead { tr {
                th.number scope="col" { "No." } th scope="col" { "Part" } th scope="col" { "Kind" }
                th.number scope="col" { "Off its like" }
            } }
            @for (index, (group, part)) in listed.iter().enumerate() { tbody {
                tr {
                    td.number rowspan="2" { (index + 1) }
                    td { strong { (name_of_standing(group, part)) } }
                    td { (kind_of_twins(group)) }
                    td class=(if part.difference.value > 0.0 { "number hot" } else { "number cold" }) { (difference(part.difference.value)) }
                }
                tr.reason { td colspan="3" { div.told { (stands_out(group, part, unit.0)) } } }
            } }
        } }
        p.note {
            "What such parts differ by is one standard deviation, with what measuring adds. A part that works differently from "
            "its like stands out as a faulty one does."
        }
    }
}

/// Every kind with its parts.
fn kinds(groups: &[TwinGroup], unit: InUnit) -> Markup {
    let difference = |kelvin: f64| unit.read_difference(KelvinDifference::known(kelvin));
    let parts = |group: &TwinGroup| {
        let part = |part: &TwinStanding| format!("{} {}", part.designator, difference(part.step.value));
        group.parts.iter().map(part).collect::<Vec<_>>().join(", ")
    };
    html! {
        h3 { "All kinds" }
        div.scroll { table.kinds {
            thead { tr {
                th scope="col" { "Kind" } th scope="col" { "Stands out" } th.number scope="col" { "In the middle" }
                th scope="col" { "Each part above the board around it" }
            } }
            tbody { @for group in groups {
                @let somebody = group.parts.iter().any(|part| part.significant);
                tr {
                    th scope="row" { (kind_of_twins(group)) }
                    td { @if somebody { strong { (who_of_kind(group, difference)) } } @else { (who_of_kind(group, difference)) } }
                    td.number { (difference(group.center)) }
                    td { (parts(group)) }
                }
            } }
        } }
    }
}

/// How it is decided who stands out.
pub(super) fn rule(session: &Session, unit: InUnit) -> Markup {
    let criteria = &session.criteria;
    html! {
        "Each part is taken by how much warmer its body is than the board close around it (a plane through its collar), and "
        "held against the median of the others with its class letters, package and value. They usually differ by "
        (number(100.0 * criteria.twins.usual_share, 1)) " % of that (standard deviation, as stated), moderated by what they themselves show. A part counts when "
        "a healthy one would be as far off on at most " (criteria.false_alarms_per_hundred)
        " of 100 boards, over all parts together (Benjamini and Hochberg 1995), and from "
        (unit.read_size(criteria.least_difference)) " on. Bare metal is left out."
    }
}
