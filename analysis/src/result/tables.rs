//! Findings, parts and probes as CSV (RFC 4180), with units in the headings.

use super::ResultError;
use super::numbers::{InUnit, number};
use super::words::{outcome_word, power_word, quantity_word, sign_word, verdict_word};
use crate::comparison::{Comparison, TwinReport, UnitSurvey, board_to_picture, by_need, kind_of_twins};
use crate::inspection::{ProbeReading, contact_words, explain};
use crate::population::Trust;
use crate::session::Session;
use crate::units::KelvinDifference;

/// A cell of text. A spreadsheet would run one that starts like a formula, so that start is quoted
/// with an apostrophe. A typed number, such as a reading of −12, is no formula and stays a number.
fn text(cell: &str) -> String {
    let runs = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let is_number = cell.parse::<f64>().is_ok_and(f64::is_finite);
    if runs && !is_number { format!("'{cell}") } else { cell.to_owned() }
}

fn optional<T>(value: Option<T>, write: impl Fn(T) -> String) -> String {
    value.map(write).unwrap_or_default()
}

fn temperature_heading(unit: InUnit, what: &str) -> String {
    format!("{what} ({})", unit.0.symbol())
}

fn difference_heading(unit: InUnit, what: &str) -> String {
    format!("{what} ({})", unit.0.difference_symbol())
}

fn write(headings: Vec<String>, rows: impl Iterator<Item = Vec<String>>) -> Result<String, ResultError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(headings)?;
    for row in rows {
        writer.write_record(row)?;
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    // Only text went in.
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The findings, most significant first.
///
/// # Errors
/// [`ResultError::Table`] when the table cannot be written.
pub fn findings_csv(session: &Session, comparison: &Comparison) -> Result<String, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let headings = vec![
        "number".into(),
        "designator".into(),
        "unit is".into(),
        difference_heading(unit, "largest difference"),
        difference_heading(unit, "mean difference"),
        "peak x (baseline px)".into(),
        "peak y (baseline px)".into(),
        "centre x (baseline px)".into(),
        "centre y (baseline px)".into(),
        "area (px)".into(),
        "area (mm2)".into(),
        "distance to part (mm)".into(),
        "difference / tolerance".into(),
        "difference / spread of good boards".into(),
        "peak x (board mm)".into(),
        "peak y (board mm)".into(),
        "change of heat (mW)".into(),
        "change of heat, standard uncertainty (mW)".into(),
        "stands out because of it".into(),
        "usual causes (common practice)".into(),
    ];
    let board = board_to_picture(&session.layout).ok().flatten().map(|map| map.inverse());
    let rows = comparison.findings.iter().enumerate().map(|(index, finding)| {
        let at = board.as_ref().map(|map| map.apply(finding.peak_at));
        let chance = finding.chance.as_ref();
        let watts = chance.and_then(|chance| chance.watts);
        vec![
            (index + 1).to_string(),
            text(finding.designator.as_deref().unwrap_or_default()),
            sign_word(finding.sign).into(),
            unit.difference(finding.peak, 2),
            unit.difference(finding.mean, 2),
            number(finding.peak_at.x, 1),
            number(finding.peak_at.y, 1),
            number(finding.centroid.x, 2),
            number(finding.centroid.y, 2),
            finding.area_px.to_string(),
            optional(finding.area_mm2, |area| number(area, 2)),
            optional(finding.designator_distance_mm, |distance| number(distance, 2)),
            number(finding.significance, 2),
            optional(finding.times_spread(), |times| number(times, 1)),
            optional(at, |at| number(at.x, 2)),
            optional(at, |at| number(at.y, 2)),
            optional(watts, |[change, _]| number(1e3 * change, 1)),
            optional(watts, |[_, uncertainty]| number(1e3 * uncertainty, 1)),
            text(&chance.map(|chance| chance.bathed.join(" ")).unwrap_or_default()),
            explain(finding, session.temperature_unit).causes.into(),
        ]
    });
    write(headings, rows)
}

/// The units of a session, one a line, in the order of the session: what each shows, what the rule suggests, and the
/// verdict. `surveys` are in any order; a unit without one has empty cells.
///
/// # Errors
/// [`ResultError::Table`] when the table cannot be written.
pub fn units_csv(session: &Session, surveys: &[UnitSurvey]) -> Result<String, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let headings = vec![
        "serial number".into(),
        "file".into(),
        "verdict".into(),
        "suggested".into(),
        "findings".into(),
        "first finding".into(),
        difference_heading(unit, "its largest difference"),
        "parts over a limit".into(),
        "power beside the findings (% of good boards)".into(),
        "first measurement".into(),
    ];
    let rows = session.units().map(|record| {
        let survey = surveys.iter().find(|survey| survey.capture == record.hash);
        let first = survey.and_then(|survey| survey.findings.first());
        let probe = survey.and_then(|survey| survey.probes.first());
        vec![
            text(&record.metadata.board.serial),
            text(&record.file_name),
            optional(session.verdict_on(&record.hash), |verdict| outcome_word(verdict.outcome).into()),
            optional(survey, |survey| outcome_word(survey.suggested).into()),
            optional(survey, |survey| survey.findings.len().to_string()),
            optional(first, |finding| text(&finding.probe_target())),
            optional(first, |finding| unit.difference(finding.peak, 2)),
            optional(survey, |survey| survey.over_limit.to_string()),
            optional(survey.and_then(|survey| survey.power_factor), |factor| number(100.0 * factor, 1)),
            optional(probe, |probe| {
                text(&format!("{}: {}", probe.key.target, quantity_word(probe.key.quantity)))
            }),
        ]
    });
    write(headings, rows)
}

/// Every part that has a twin, group by group.
///
/// # Errors
/// [`ResultError::Table`] when the table cannot be written.
pub fn twins_csv(session: &Session, report: &TwinReport) -> Result<String, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let kelvin = |value: f64| unit.difference(KelvinDifference::known(value), 3);
    let headings = vec![
        "designator".into(),
        "kind".into(),
        difference_heading(unit, "above the board around"),
        difference_heading(unit, "above the board around, standard uncertainty"),
        difference_heading(unit, "off its twins"),
        difference_heading(unit, "off its twins, standard uncertainty with what twins differ by"),
        "probability that a healthy one is as far off".into(),
        "stands out".into(),
        "group".into(),
    ];
    let rows = report.check.groups.iter().flat_map(|group| {
        let trust = match group.trust {
            Trust::Agreeing => "agrees",
            Trust::Pair => "pair: either may be the wrong one",
            Trust::Uneven => "uneven: nobody is named",
        };
        group.parts.iter().map(move |part| {
            vec![
                text(&part.designator),
                text(&kind_of_twins(group)),
                kelvin(part.step.value),
                kelvin(part.step.standard_uncertainty),
                kelvin(part.difference.value),
                kelvin(part.difference.standard_uncertainty),
                format!("{:.2e}", part.probability),
                if part.significant { "yes" } else { "no" }.into(),
                trust.into(),
            ]
        })
    });
    write(headings, rows)
}

/// Every placed part on the visible side.
///
/// # Errors
/// [`ResultError::Table`] when the table cannot be written.
pub fn parts_csv(session: &Session, comparison: &Comparison) -> Result<String, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let headings = vec![
        "designator".into(),
        temperature_heading(unit, "case"),
        difference_heading(unit, "mean difference"),
        difference_heading(unit, "case, standard uncertainty"),
        "power (W)".into(),
        temperature_heading(unit, "junction estimate"),
        difference_heading(unit, "junction, standard uncertainty"),
        difference_heading(unit, "margin to limit"),
    ];
    let rows = comparison.parts.iter().map(|part| {
        vec![
            text(&part.designator),
            optional(part.case, |value| unit.temperature(value, 2)),
            optional(part.difference, |value| unit.difference(value, 2)),
            optional(part.case_uncertainty, |value| unit.difference(value, 2)),
            optional(part.power, |power| number(power.watts.value(), 3)),
            optional(part.junction, |junction| unit.temperature(junction.temperature, 2)),
            optional(part.junction.and_then(|junction| junction.standard_uncertainty), |value| {
                unit.difference(value, 2)
            }),
            optional(part.margin, |value| unit.difference(value, 2)),
        ]
    });
    write(headings, rows)
}

/// The probe list with the readings entered so far.
///
/// # Errors
/// [`ResultError::Table`] when the table cannot be written.
pub fn probes_csv(session: &Session, comparison: &Comparison) -> Result<String, ResultError> {
    let headings = [
        "number",
        "put the probe on",
        "measure",
        "board",
        "expected",
        "read",
        "verdict",
        "note",
        "why",
        "nets and where to touch them",
    ]
    .map(String::from)
    .to_vec();
    let (needed, needless) = by_need(session, comparison.probes.clone());
    let needed = needed.iter().map(|probe| (probe, None));
    let needless = needless.iter().map(|needless| (&needless.probe, Some(&needless.why)));
    let rows = needed.chain(needless).enumerate().map(|(index, (probe, needless))| {
        let reason = needless.map_or_else(
            || probe.reason.words(session.temperature_unit),
            |why| format!("No longer needed. {why}"),
        );
        let reading = session.reading(&probe.key);
        let entered = |field: fn(&ProbeReading) -> &str| text(reading.map_or("", field));
        vec![
            (index + 1).to_string(),
            text(&probe.key.target),
            quantity_word(probe.key.quantity).into(),
            power_word(probe).into(),
            entered(|reading| &reading.expected),
            entered(|reading| &reading.read),
            optional(reading.and_then(|reading| reading.verdict), |verdict| verdict_word(verdict).into()),
            entered(|reading| &reading.note),
            text(&reason),
            text(&contact_words(&probe.contacts).unwrap_or_default()),
        ]
    });
    write(headings, rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_run_is_quoted() {
        // The six starts named in the OWASP page "CSV Injection".
        for start in ["=", "+", "-", "@", "\t", "\r"] {
            assert_eq!(text(&format!("{start}1+1")), format!("'{start}1+1"));
        }
        assert_eq!(text("U12"), "U12");
    }

    #[test]
    fn a_negative_number_stays_a_number() {
        assert_eq!(text("-12.1"), "-12.1");
        assert_eq!(text("+5"), "+5");
        assert_eq!(text("-12.1+A1"), "'-12.1+A1");
        assert_eq!(text("-inf"), "'-inf");
    }
}
