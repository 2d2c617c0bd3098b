//! What contact readings and other units' records do to the verdict that is suggested.

use analysis::board::{Placement, Side};
use analysis::capture::BoardIdentity;
use analysis::comparison::{Became, Suggestion, UnitSurvey, before_and_after, expected_readings, suggest};
use analysis::content_hash::ContentHash;
use analysis::geometry::Point;
use analysis::inspection::{ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, Sign};
use analysis::session::{Command, Outcome, PictureMarks, Role, Session, UnitNotes, Verdict};

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
    assert_eq!(expected[0].text, "3.32 V ± 99.4 mV");
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
    assert_eq!(told, [("U7", Became::Mended), ("finding at (20, 40)", Became::Left), ("R2", Became::New)]);
    assert_eq!(changes[0].before.map(|kelvin| kelvin.value()), Some(25.0));
    assert_eq!(changes[0].after.map(|kelvin| kelvin.value()), Some(0.1));
    // The same sense is part of being the same: a hot place that is cold after a repair is new.
    let mut colder = full.clone();
    colder.findings.truncate(1);
    colder.findings[0].sign = Sign::Colder;
    let became: Vec<_> = before_and_after(&full, &colder).iter().map(|change| change.became).collect();
    assert_eq!(became, [Became::Mended, Became::Mended, Became::New]);
}
