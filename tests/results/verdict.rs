//! What contact readings and other units' records do to the verdict that is suggested.

use analysis::board::{PartLimit, Placement, Side};
use analysis::capture::BoardIdentity;
use analysis::comparison::{Became, Suggestion, UnitSurvey, before_and_after, expected_readings, suggest};
use analysis::content_hash::ContentHash;
use analysis::geometry::Point;
use analysis::inspection::{ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, Sign};
use analysis::result::units_csv;
use analysis::session::{Command, Outcome, PictureMarks, Role, Session, UnitNotes, Verdict};
use analysis::units::{Kelvin, TemperatureUnit};

use super::{UNIT_BYTES, comparison, difference, record};

fn voltage_at(target: &str) -> ProbeKey {
    ProbeKey { target: target.to_owned(), quantity: ProbeQuantity::Voltage }
}

fn reading(expected: &str, read: &str, verdict: Option<ProbeVerdict>) -> ProbeReading {
    ProbeReading { expected: expected.to_owned(), read: read.to_owned(), note: String::new(), verdict }
}

/// What is suggested for a unit on which nothing was found, with this voltage entered at U7.
fn suggested_with(reading: ProbeReading) -> Suggestion {
    let mut comparison = comparison("U7");
    comparison.findings.clear();
    comparison.parts.clear();
    let mut session = Session::default();
    session.apply(Command::RecordReading { key: voltage_at("U7"), reading }).unwrap();
    suggest(&session, &comparison)
}

#[test]
fn a_reading_beyond_what_it_should_be_fails_the_unit_and_says_by_what() {
    let beyond = suggested_with(reading("3.3 ± 0.1 V", "2.1", None));
    assert_eq!(beyond.outcome, Outcome::Fail);
    assert_eq!(beyond.reasons, ["The voltage at U7 reads 2.10 V instead of 3.30 V."]);
    assert_eq!(suggested_with(reading("3.3 ± 0.1 V", "3.25", None)).outcome, Outcome::Pass);
    // Words are no numbers: they decide nothing by themselves.
    assert_eq!(suggested_with(reading("as on the last one", "lower", None)).outcome, Outcome::Pass);
    let judged = |verdict| suggested_with(reading("3.3 ± 0.1 V", "2.1", Some(verdict))).outcome;
    assert_eq!(judged(ProbeVerdict::Pass), Outcome::Recheck);
    assert_eq!(judged(ProbeVerdict::Recheck), Outcome::Recheck);
    assert_eq!(judged(ProbeVerdict::Fail), Outcome::Fail);
    assert_eq!(suggested_with(reading("", "", Some(ProbeVerdict::Fail))).outcome, Outcome::Fail);
}

#[test]
fn readings_as_they_should_be_call_a_finding_into_question() {
    let mut comparison = comparison("U7");
    comparison.findings.truncate(1);
    comparison.parts.clear();
    let mut session = Session::default();
    assert_eq!(suggest(&session, &comparison).outcome, Outcome::Fail);
    let reading = reading("5 V", "5.02", None);
    session.apply(Command::RecordReading { key: voltage_at("U7"), reading }).unwrap();
    assert_eq!(suggest(&session, &comparison).outcome, Outcome::Recheck);
}

fn with_other_units(read: &[(&str, &str, Option<ProbeVerdict>)], outcome: Outcome) -> Session {
    let notes = read.iter().map(|(serial, read, verdict)| UnitNotes {
        capture: ContentHash::of(serial.as_bytes()),
        board: BoardIdentity { product: String::new(), serial: (*serial).to_owned() },
        landmarks: Vec::new(),
        landmark_use: analysis::registration::LandmarkUse::Start,
        readings: vec![(voltage_at("U7"), reading("", read, *verdict))],
        part_powers: Vec::new(),
        on_picture: PictureMarks::default(),
        verdict: Some(Verdict { outcome, reason: String::new(), judged_by: String::new() }),
    });
    Session { other_units: notes.collect(), ..Session::default() }
}

#[test]
fn what_passed_units_read_is_what_the_next_one_should_read() {
    let three = [("12", "3.30", None), ("13", "3.32 V", None), ("14", "3340 mV", None)];
    let expected = expected_readings(&with_other_units(&three, Outcome::Pass), &voltage_at("U7"));
    // Mean 3.32 V; s = 0.02 V; t(95 %, 2) = 4.303 by every table of Student's t; 4.303 · 0.02 · √(4/3) = 0.0994 V.
    assert_eq!(expected.len(), 1);
    assert_eq!(expected[0].text, "3.320 V ± 0.100 V");
    assert!(expected[0].origin.ends_with("12, 13, 14"), "{expected:?}");
    let one = [("12", "3.30", None)];
    assert_eq!(
        expected_readings(&with_other_units(&one, Outcome::Pass), &voltage_at("U7"))[0].text,
        "3.30 V"
    );
    let none = |session: Session| expected_readings(&session, &voltage_at("U7")).is_empty();
    assert!(none(with_other_units(&three, Outcome::Fail)), "a unit that failed is no model");
    let failed = [("12", "1.2", Some(ProbeVerdict::Fail))];
    assert!(none(with_other_units(&failed, Outcome::Pass)), "nor is a reading that failed");
}

#[test]
fn what_is_expected_holds_the_readings_that_it_comes_from() {
    // Fine readings, equal ones, and what the next healthy unit may read one digit off.
    for (read, next) in [(["2.5040", "2.5041", "2.5042"], "2.5043"), (["3.30", "3.30", "3.30"], "3.31")] {
        let units: Vec<_> = ["12", "13", "14"].into_iter().zip(read).map(|(s, r)| (s, r, None)).collect();
        let offered = expected_readings(&with_other_units(&units, Outcome::Pass), &voltage_at("U7"));
        for read in read.into_iter().chain([next]) {
            let told = suggested_with(reading(&offered[0].text, read, None));
            assert_eq!(told.outcome, Outcome::Pass, "{read} against {}", offered[0].text);
        }
        assert_eq!(suggested_with(reading(&offered[0].text, "3.1", None)).outcome, Outcome::Fail);
    }
    // Twenty equal readings: Student's t falls to 2.09 and the interval below the last digit.
    let serials: Vec<_> = (0..20).map(|serial| serial.to_string()).collect();
    let equal: Vec<_> = serials.iter().map(|serial| (serial.as_str(), "3.30", None)).collect();
    let offered = expected_readings(&with_other_units(&equal, Outcome::Pass), &voltage_at("U7"));
    assert_eq!(suggested_with(reading(&offered[0].text, "3.31", None)).outcome, Outcome::Pass);
}

#[test]
fn one_unit_counts_once_and_only_who_was_read_is_named() {
    let again = [("12", "3.10", None), ("13", "open", None), ("14", "as usual", None), ("12", "3.30", None)];
    let offered = expected_readings(&with_other_units(&again, Outcome::Pass), &voltage_at("U7"));
    assert_eq!(offered[0].text, "3.30 V");
    assert!(offered[0].origin.ends_with("passed: 12"), "{offered:?}");
}

#[test]
fn the_warmth_of_other_units_is_no_model() {
    let mut session = with_other_units(&[("12", "61 °C", None), ("13", "62 °C", None)], Outcome::Pass);
    let key = ProbeKey { quantity: ProbeQuantity::ContactTemperature, ..voltage_at("U7") };
    for notes in &mut session.other_units {
        notes.readings[0].0 = key.clone();
    }
    assert_eq!(expected_readings(&session, &key), []);
}

#[test]
fn a_temperature_that_was_read_stays_when_another_unit_is_shown() {
    let key = ProbeKey { quantity: ProbeQuantity::ContactTemperature, ..voltage_at("U7") };
    let mut session = Session::default();
    session.apply(Command::ShowTemperaturesIn { unit: TemperatureUnit::Celsius }).unwrap();
    session.apply(Command::RecordReading { key: key.clone(), reading: reading("61", "62", None) }).unwrap();
    session.apply(Command::ShowTemperaturesIn { unit: TemperatureUnit::Fahrenheit }).unwrap();
    let kept = session.reading(&key).unwrap();
    assert_eq!((kept.expected.as_str(), kept.read.as_str()), ("61 °C", "62 °C"));
}

#[test]
fn a_thermometer_that_contradicts_the_picture_fails_no_unit_until_it_is_judged() {
    let key = ProbeKey { quantity: ProbeQuantity::ContactTemperature, ..voltage_at("U7") };
    let mut comparison = comparison("U7");
    comparison.findings.clear();
    comparison.probes.clear();
    comparison.parts.clear();
    let suggested = |verdict| {
        let mut session = Session::default();
        let reading = reading("95", "70", verdict);
        session.apply(Command::RecordReading { key: key.clone(), reading }).unwrap();
        suggest(&session, &comparison).outcome
    };
    assert_eq!(suggested(None), Outcome::Recheck);
    assert_eq!(suggested(Some(ProbeVerdict::Fail)), Outcome::Fail);
}

#[test]
fn a_resistor_should_read_what_its_value_says() {
    let resistor = Placement {
        designator: "R9".to_owned(),
        center: Point::new(1.0, 2.0),
        rotation: 0.0,
        side: Side::Top,
        package: "0603".to_owned(),
        size: [1.6, 0.8],
        value: "4.7 kΩ".to_owned(),
    };
    let mut session = Session::default();
    session.layout.placements.push(resistor);
    let key = ProbeKey { target: "R9".to_owned(), quantity: ProbeQuantity::ResistanceUnpowered };
    assert_eq!(expected_readings(&session, &key)[0].text, "4.70 kΩ");
    assert_eq!(expected_readings(&session, &voltage_at("R9")), []);
}

#[test]
fn a_repaired_unit_shows_what_is_gone_what_is_left_and_what_is_new() {
    let session = Session { captures: vec![record("u", UNIT_BYTES, Role::Unit)], ..Session::default() };
    let full = UnitSurvey::of(&session, &comparison("U7"));
    // After: the hot place at U7 is gone and its mean is back; the cold place on no part is there still, a little
    // off; R2 is hot now.
    let mut after = full.clone();
    let mut hot = after.findings.remove(0);
    after.findings[0].peak_at = Point::new(22.0, 41.0);
    hot.designator = Some("R2".to_owned());
    after.findings.push(hot);
    after.parts = vec![("U7".to_owned(), Some(difference(0.1)))];
    let changes = before_and_after(&full, &after);
    let told: Vec<_> = changes.iter().map(|change| (change.place.as_str(), change.became)).collect();
    assert_eq!(told, [("U7", Became::Gone), ("finding at (20, 40)", Became::Left), ("R2", Became::New)]);
    assert_eq!(changes[0].before.map(|kelvin| kelvin.value()), Some(25.0));
    assert_eq!(changes[0].after.map(|kelvin| kelvin.value()), Some(0.1));
    // The same sense is part of being the same: a hot place that is cold after a repair is new.
    let mut colder = full.clone();
    colder.findings.truncate(1);
    colder.findings[0].sign = Sign::Colder;
    let became: Vec<_> = before_and_after(&full, &colder).iter().map(|change| change.became).collect();
    assert_eq!(became, [Became::Gone, Became::Gone, Became::New]);
}

#[test]
fn a_lot_is_a_table_with_a_line_for_each_unit_judged_or_not() {
    let captures = vec![record("u", UNIT_BYTES, Role::Unit), record("w", b"waits", Role::Waiting)];
    let session = Session { captures, ..Session::default() };
    let survey = UnitSurvey::of(&session, &comparison("U7"));
    let table = units_csv(&session, std::slice::from_ref(&survey)).unwrap();
    let lines: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(lines.len(), 3, "{table}");
    let cell = |line: usize, heading: &str| {
        let column = lines[0].iter().position(|cell| cell.starts_with(heading)).unwrap();
        lines[line][column]
    };
    assert_eq!(
        (cell(1, "suggested"), cell(1, "findings")),
        ("fail", survey.findings.len().to_string().as_str())
    );
    assert_eq!((cell(1, "first finding"), cell(1, "its largest difference")), ("U7", "25.00"));
    assert_eq!((cell(2, "file"), cell(2, "suggested"), cell(2, "verdict")), ("w", "", ""));
}

/// A case at 96.85 °C in air of 23 °C, with 107 °C allowed: in air of 60 °C it would be 37 K warmer.
#[test]
fn a_part_over_its_limit_in_the_warmest_air_alone_makes_a_recheck_that_says_so() {
    let mut comparison = comparison("U7");
    comparison.findings.clear();
    comparison.parts.truncate(1);
    comparison.parts[0].margin = Some(difference(10.0));
    let celsius = |value| Kelvin::from_celsius(value).ok();
    let mut session = Session::default();
    session.layout.limits = vec![PartLimit {
        designator: comparison.parts[0].designator.clone(),
        max_case: celsius(107.0),
        max_junction: None,
        power: None,
        path: None,
    }];
    assert_eq!(suggest(&session, &comparison).outcome, Outcome::Pass);
    session.datasheet.worst_ambient = celsius(60.0);
    let Suggestion { outcome, reasons } = suggest(&session, &comparison);
    assert_eq!(outcome, Outcome::Recheck);
    assert!(reasons[0].contains("60 °C") && reasons[0].contains("26.9 K"), "{reasons:?}");
    session.datasheet.worst_ambient = celsius(30.0);
    assert_eq!(suggest(&session, &comparison).outcome, Outcome::Pass);
}
