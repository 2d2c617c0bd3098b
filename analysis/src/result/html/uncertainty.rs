//! How well the numbers are known: the inputs, a budget for each finding, and the procedures behind them.

use maud::{Markup, html};

use crate::comparison::Comparison;
use crate::measured_place::{difference_place, unit_place};
use crate::procedure::{DirectMethod, Record, ReflectorMethod, Yield};
use crate::propagation::coverage_factor;
use crate::result::numbers::{InUnit, number};
use crate::session::Session;
use crate::uncertainty::budget::CONFIDENCE;
use crate::uncertainty::{Budget, difference_margins, is_skewed, temperature_interval};
use crate::units::{Kelvin, KelvinDifference};

/// Budgets are given for this many findings, the most significant ones.
const MOST_BUDGETS: usize = 5;

/// The whole section.
pub(super) fn section(session: &Session, comparison: &Comparison, unit: InUnit) -> Markup {
    let budgets: Vec<Markup> = comparison
        .findings
        .iter()
        .take(MOST_BUDGETS)
        .enumerate()
        .filter_map(|(index, finding)| {
            let (row, column) = (finding.peak_at.y.round() as usize, finding.peak_at.x.round() as usize);
            let name = finding.designator.as_deref().unwrap_or("no part");
            finding_budget(session, comparison, unit, &format!("{}. {name}", index + 1), row, column)
        })
        .collect();
    html! {
        section.uncertainty {
            h2 { "Uncertainty" }
            p { (inputs(session, unit)) " " (shared(session, unit)) }
            @for budget in &budgets { (budget) }
            p.note {
                "Combined to first order (JCGM 100:2008); expanded to 95 % with the normal law, k = 1.96. What unit and "
                "baselines share cancels in a difference as far as the two are alike; the unit-to-unit spread is no part of "
                "it and is taken into the tolerance besides."
            }
            (procedures(session, unit))
            (repeats(session, unit))
        }
    }
}

/// How well what the temperatures are worked out with is known.
pub(super) fn inputs(session: &Session, unit: InUnit) -> Markup {
    let known = &session.input_uncertainty;
    let size = |difference: KelvinDifference| unit.read_size(difference);
    html! {
        "Standard uncertainties: reflected temperature " (size(known.reflected))
        "; calibration " (size(known.calibration.least)) " or " (number(100.0 * known.calibration.fraction, 2))
        " % of the reading in °C, the larger; drift from capture to capture " (size(known.drift))
        "; air temperature " (size(known.ambient)) "; transmittance " (number(known.transmittance, 3))
        "; temperature of the path " (size(known.path)) "."
    }
}

/// What unit and baselines have in common.
fn shared(session: &Session, unit: InUnit) -> Markup {
    let known = &session.input_uncertainty;
    let shared: Vec<&str> = [
        (known.shared.calibration, "the camera"),
        (known.shared.emissivity, "the surface"),
        (known.shared.surroundings, "the place at the bench"),
    ]
    .into_iter()
    .filter_map(|(is_shared, name)| is_shared.then_some(name))
    .collect();
    html! {
        @if shared.is_empty() { "Unit and baselines share nothing." }
        @else { "Unit and baselines share " (shared.join(", ")) "." }
        " Beyond ± " (unit.read_size(known.measurable_within)) " a place counts as not measurable."
    }
}

fn finding_budget(
    session: &Session,
    comparison: &Comparison,
    unit: InUnit,
    name: &str,
    row: usize,
    column: usize,
) -> Option<Markup> {
    let inputs = &session.input_uncertainty;
    let place = unit_place(session, comparison, row, column)?;
    let temperature = place.budget(inputs).ok()?;
    let apart = difference_place(session, comparison, row, column)?;
    let difference = apart.budget(inputs).ok()?;
    let skewed = is_skewed(place.emissivity.value(), place.emissivity_uncertainty);
    let interval = if skewed { temperature_interval(&place, inputs).ok() } else { None };
    let margins = if skewed { difference_margins(&apart, inputs).ok() } else { None };
    let difference_words = match margins {
        Some(margins) => {
            let measured = f64::from(comparison.difference.at(row, column)?);
            let end = |kelvin: f64| {
                KelvinDifference::new(kelvin)
                    .map_or_else(|_| "unknown".to_owned(), |kelvin| unit.read_difference(kelvin))
            };
            format!("{} to {}", end(measured + margins.low), end(measured + margins.high))
        }
        None => format!("± {}", expanded(&difference, unit)),
    };
    let stated = match interval {
        Some(interval) => {
            let end = |kelvin: f64| {
                Kelvin::new(kelvin)
                    .map_or_else(|_| "unknown".to_owned(), |kelvin| unit.read_temperature(kelvin))
            };
            format!("between {} and {}", end(interval.low), end(interval.high))
        }
        None => format!("{} ± {}", unit.read_temperature(place.temperature), expanded(&temperature, unit)),
    };
    Some(html! {
        h3 { (name) ": " (stated) }
        div.scroll { table {
            thead { tr {
                th scope="col" { "From" } th.number scope="col" { "Temperature" }
                th.number scope="col" { "Share" } th.number scope="col" { "Difference" } th.number scope="col" { "Share" }
            } }
            tbody {
                @for input in inputs_of(&temperature, &difference) {
                    tr {
                        td { (input.name()) }
                        @for budget in [&temperature, &difference] {
                            @match budget.contributions.iter().find(|part| part.input == input) {
                                Some(part) => {
                                    td.number { (unit.read_size(known(part.kelvin))) }
                                    td.number { (number(100.0 * budget.share(part), 0)) " %" }
                                }
                                None => { td.number { "\u{2013}" } td.number { "\u{2013}" } }
                            }
                        }
                    }
                }
                tr {
                    td { strong { "95 %, k = " (number(temperature.coverage_factor, 2)) } }
                    td.number { strong { @if skewed { "see above" } @else { "± " (expanded(&temperature, unit)) } } } td {}
                    td.number { strong { (difference_words) } } td {}
                }
            }
        } }
    })
}

fn inputs_of(temperature: &Budget, difference: &Budget) -> Vec<crate::uncertainty::Input> {
    let mut inputs: Vec<_> = temperature.contributions.iter().map(|part| part.input).collect();
    let further = difference.contributions.iter().map(|part| part.input);
    inputs.extend(further.filter(|input| !temperature.contributions.iter().any(|part| part.input == *input)));
    inputs
}

fn known(kelvin: f64) -> KelvinDifference {
    KelvinDifference::new(kelvin).unwrap_or(KelvinDifference::ZERO)
}

fn expanded(budget: &Budget, unit: InUnit) -> String {
    unit.read_size(known(budget.expanded()))
}

/// The procedures that were recorded at the bench.
pub(super) fn procedures(session: &Session, unit: InUnit) -> Markup {
    html! {
        @if !session.procedures.is_empty() {
            h3 { "Measured at the bench" }
            ol.procedures { @for record in &session.procedures {
                li {
                    strong {
                        (record.title()) @if !record.place().is_empty() { ", at " (record.place()) } ": "
                    } (found(record, unit)) ". " (entered(session, record, unit))
                    @for warning in record.warnings() { " " em { (warning) "." } }
                }
            } }
        }
    }
}

/// What was entered for a procedure.
fn entered(session: &Session, record: &Record, unit: InUnit) -> String {
    let list = |readings: Vec<Kelvin>| {
        readings.into_iter().map(|kelvin| unit.read_temperature(kelvin)).collect::<Vec<_>>().join(", ")
    };
    match record {
        Record::ReflectedByReflector {
            entered: ReflectorMethod { readings, reading_uncertainty, .. },
            ..
        }
        | Record::ReflectedByDirectView { entered: DirectMethod { readings, reading_uncertainty }, .. } => {
            format!(
                "Readings {}; camera u = {}.",
                list(readings.clone()),
                unit.read_stated(*reading_uncertainty)
            )
        }
        Record::EmissivityByContact { entered, .. } => format!(
            "Thermometer {} (u = {}); camera {} (u = {}); reflected temperature {} (u = {}).",
            list(entered.repeats.iter().map(|repeat| repeat.contact).collect()),
            unit.read_stated(entered.contact_uncertainty),
            list(entered.repeats.iter().map(|repeat| repeat.apparent).collect()),
            unit.read_stated(entered.camera_uncertainty),
            unit.read_temperature(entered.surroundings.reflected),
            unit.read_stated(entered.reflected_uncertainty)
        ),
        Record::EmissivityByReference { entered, .. } => format!(
            "Covered {}; bare {}; camera u = {}; emissivity of the cover {:.3} (u = {:.3}); reflected temperature {} \
             (u = {}).",
            list(entered.repeats.iter().map(|repeat| repeat.covered).collect()),
            list(entered.repeats.iter().map(|repeat| repeat.bare).collect()),
            unit.read_stated(entered.camera_uncertainty),
            entered.reference.value(),
            entered.reference_uncertainty,
            unit.read_temperature(entered.surroundings.reflected),
            unit.read_stated(entered.reflected_uncertainty)
        ),
        Record::Cavity { entered, .. } => format!(
            "{} mm deep (u = {} mm), {} mm wide (u = {} mm), walls {:.2} (u = {:.2}).",
            entered.depth.value(),
            entered.depth_uncertainty,
            entered.diameter.value(),
            entered.diameter_uncertainty,
            entered.wall.value(),
            entered.wall_uncertainty
        ),
        Record::EmissivityMap { entered, .. } => {
            let soak = |soak: &crate::procedure::Soak| {
                let names: Vec<_> = soak.captures.iter().map(|hash| session.file_name_of(hash)).collect();
                format!(
                    "{} with the board at {} (u = {})",
                    names.join(", "),
                    unit.read_temperature(soak.board),
                    unit.read_stated(soak.board_uncertainty)
                )
            };
            format!("From {}.", entered.soaks.iter().map(soak).collect::<Vec<_>>().join("; "))
        }
    }
}

/// What repeat captures said of the bench.
fn repeats(session: &Session, unit: InUnit) -> Markup {
    let Some(study) = &session.repeatability else { return html! {} };
    let mut regions: Vec<_> = study
        .regions
        .iter()
        .map(|region| (region, region.drift_left.unwrap_or(region.drift_removed)))
        .collect();
    regions.sort_by(|a, b| b.1.called_beyond.total_cmp(&a.1.called_beyond));
    let limits = regions
        .iter()
        .map(|(region, limit)| format!("{} {}", region.name, unit.read_size(known(limit.called_beyond))));
    html! {
        h3 { "What this bench can call" }
        p {
            "From " (study.components.placements) " placements of one board, a difference is more than the bench makes of "
            "it by itself (" (number(100.0 * study.settings.confidence, 0)) " %) when it exceeds: "
            (limits.collect::<Vec<_>>().join(", ")) "."
        }
        @for warning in &study.warnings { p.note { (warning) "." } }
    }
}

fn found(record: &Record, unit: InUnit) -> String {
    let factor = |degrees| coverage_factor(CONFIDENCE, degrees).unwrap_or(2.0);
    match record.yields() {
        Yield::ReflectedTemperature { reflected, uncertainty, degrees_of_freedom } => {
            let factor = factor(degrees_of_freedom);
            let half = unit.read_size(known(factor * uncertainty.value()));
            format!("{} ± {half} (95 %, k = {factor:.2})", unit.read_temperature(reflected))
        }
        Yield::Finish { finish, degrees_of_freedom } => {
            let factor = factor(degrees_of_freedom);
            format!(
                "{:.3} ± {:.3} (95 %, k = {factor:.2})",
                finish.emissivity.value(),
                factor * finish.uncertainty
            )
        }
        Yield::EmissivityMap { valid, pixels, .. } => {
            format!("{} of {} pixels", number(valid as f64, 0), number(pixels as f64, 0))
        }
    }
}
