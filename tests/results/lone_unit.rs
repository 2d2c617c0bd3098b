//! The sheet of a unit without any known-good board, and the same check beside known-good boards.

use analysis::board::{Footprint, PartLimit, Placement, Side, footprints};
use analysis::capture::CaptureMetadata;
use analysis::comparison::{LoneUnit, TwinReport};
use analysis::content_hash::ContentHash;
use analysis::geometry::{Homography, Point};
use analysis::inspection::{ProbeKey, ProbeQuantity, ProbeReading};
use analysis::population::{Estimate, Trust, TwinCheck, TwinGroup, TwinStanding};
use analysis::radiometry::Rejected;
use analysis::result::{LoneUnitInput, OriginalFile, read_result, write_lone_unit};
use analysis::session::{CaptureRecord, Command, Gauge, GaugePlace, Outcome, Role, Session, Verdict, saved};
use analysis::units::TemperatureUnit;

use super::{
    BASELINE_BYTES, UNIT_BYTES, comparison, flat, is_connected_to_nothing, kelvin, names_its_script, record,
    session, surface, write_with,
};

fn estimate(value: f64, standard_uncertainty: f64) -> Estimate {
    Estimate { value, standard_uncertainty }
}

/// A part this far above the board around it, and this far off its twins.
fn part(designator: &str, step: f64, off: f64, significant: bool) -> TwinStanding {
    TwinStanding {
        designator: designator.to_owned(),
        step: estimate(step, 0.02),
        difference: estimate(off, 0.5),
        probability: if significant { 1e-6 } else { 0.5 },
        significant,
    }
}

fn group(class: &str, value: &str, trust: Trust, parts: Vec<TwinStanding>) -> TwinGroup {
    TwinGroup {
        class: class.to_owned(),
        package: "DPAK".to_owned(),
        value: value.to_owned(),
        center: 8.0,
        spread: 0.3,
        trust,
        parts,
    }
}

fn report(groups: Vec<TwinGroup>, alone: &str) -> TwinReport {
    let check = TwinCheck { groups, alone: vec![alone.to_owned()], unread: vec!["C9".to_owned()] };
    TwinReport { capture: ContentHash::of(UNIT_BYTES), check }
}

/// Four switches of which `odd` runs three kelvin hotter, and two diodes that differ.
fn with_odd_ones(odd: &str) -> TwinReport {
    let switches = vec![
        part("Q1", 8.0, 0.1, false),
        part("Q2", 7.9, -0.1, false),
        part(odd, 11.0, 3.0, true),
        part("Q4", 8.1, 0.2, false),
    ];
    let diodes = vec![part("D1", 6.0, 4.0, true), part("D2", 2.0, -4.0, true)];
    report(
        vec![group("Q", "lamp switch", Trust::Agreeing, switches), group("D", "clamp", Trust::Pair, diodes)],
        "U1",
    )
}

fn nobody_stands_out() -> TwinReport {
    let parts = vec![part("Q1", 8.0, 0.1, false), part("Q2", 7.9, -0.1, false), part("Q4", 8.1, 0.2, false)];
    report(vec![group("Q", "lamp switch", Trust::Agreeing, parts)], "U1")
}

/// Bodies of 6 × 4 pixels in a row, one for each designator.
fn bodies(designators: &[&str]) -> Vec<Footprint> {
    let placement = |(index, designator): (usize, &&str)| Placement {
        designator: (*designator).to_owned(),
        center: Point::new(8.0 + 12.0 * index as f64, 30.0),
        rotation: 0.0,
        side: Side::Top,
        package: "DPAK".to_owned(),
        size: [6.0, 4.0],
        value: String::new(),
    };
    let placements: Vec<_> = designators.iter().enumerate().map(placement).collect();
    let map = Homography::try_from([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]).unwrap();
    footprints(&placements, Side::Top, &map)
}

fn unit(twins: TwinReport) -> LoneUnit {
    let groups = twins.check.groups.iter();
    let designators: Vec<_> =
        groups.flat_map(|group| group.parts.iter().map(|part| part.designator.as_str())).collect();
    let footprints = bodies(&designators);
    LoneUnit {
        surface: surface(35.0),
        emissivity: flat(0.92),
        rejected: Rejected::default(),
        set_aside: 2,
        footprints,
        twins,
    }
}

/// The unit alone, not judged yet.
fn lone_session(product: &str) -> Session {
    let mut session = session(product);
    session.apply(Command::RemoveCapture { hash: ContentHash::of(BASELINE_BYTES) }).unwrap();
    session.apply(Command::WithdrawVerdict).unwrap();
    session
}

fn write(session: &Session, twins: TwinReport) -> String {
    write_lone_unit(&LoneUnitInput {
        session,
        unit: &unit(twins),
        originals: &[OriginalFile { file_name: "suspect.tif", bytes: UNIT_BYTES }],
        written_at: "2031-05-04 10:00",
        software_version: "0.0.0-test",
    })
    .unwrap()
}

/// The words between the tags of what a person reads, a blank for every tag.
fn read_text(html: &str) -> String {
    let main = html.split_once("<main>").unwrap().1.split_once("</main>").unwrap().0;
    let mut within = false;
    let letter = |letter: char| {
        let shown = match (within, letter) {
            (_, '<') | (true, '>') => ' ',
            (true, _) => return None,
            (false, letter) => letter,
        };
        within = letter == '<' || (within && letter != '>');
        Some(shown)
    };
    main.chars().filter_map(letter).collect()
}

fn section<'a>(html: &'a str, class: &str) -> &'a str {
    let start = html.find(&format!("<section class=\"{class}\">")).expect(class);
    &html[start..start + html[start..].find("</section>").unwrap()]
}

#[test]
fn it_restores_the_session_and_the_capture_byte_for_byte() {
    let mut before = lone_session("Lamp <b>\"&'");
    let verdict =
        Verdict { outcome: Outcome::Recheck, reason: "Q3 < Q4 & \"so\"".into(), judged_by: "N".into() };
    before.apply(Command::Judge { verdict }).unwrap();
    let restored = read_result("r.html", &write(&before, with_odd_ones("Q3"))).unwrap();
    assert_eq!(saved::save(&restored.session).unwrap(), saved::save(&before).unwrap());
    let captures: Vec<_> = restored
        .captures
        .iter()
        .map(|capture| (capture.file_name.as_str(), capture.bytes.as_slice()))
        .collect();
    assert_eq!(captures, [("suspect.tif", UNIT_BYTES)]);
}

#[test]
fn what_a_person_typed_never_becomes_markup() {
    let hostile = r#"<script>alert(1)</script><img src=x onerror=alert(1)>"'&<!--"#;
    let mut session = lone_session(hostile);
    session.captures[0].file_name = hostile.to_owned();
    session.captures[0].metadata.notes = hostile.to_owned();
    let key = ProbeKey { target: hostile.to_owned(), quantity: ProbeQuantity::Voltage };
    let text = || hostile.to_owned();
    let reading = ProbeReading { expected: text(), read: text(), note: text(), verdict: None };
    let verdict = Verdict { outcome: Outcome::Fail, reason: text(), judged_by: text() };
    for command in [Command::RecordReading { key, reading }, Command::Judge { verdict }] {
        session.apply(command).unwrap();
    }
    session.gauges.push(Gauge { name: text(), place: GaugePlace::Point { at: Point::new(3.0, 3.0) } });
    let mut twins = with_odd_ones(hostile);
    twins.check.groups[0].package = text();
    twins.check.groups[0].value = text();
    twins.check.alone = vec![text()];
    twins.check.unread = vec![text()];
    let html = write(&session, twins);
    for unescaped in ["<script>alert", "<img src=x", "<!--"] {
        assert!(!html.contains(unescaped), "{unescaped} reached the file");
    }
    // Product, file, note, reading (four), verdict (two), read-out, part, kind, and what is left open.
    assert!(html.matches("&lt;script&gt;alert(1)&lt;/script&gt;").count() > 14);
    assert_eq!(html.matches("<script>").count(), 1);
    assert_eq!(html.matches("<script").count(), html.matches("</script>").count());
}

#[test]
fn it_connects_to_nothing_and_its_policy_names_its_script() {
    let html = write(&lone_session("board"), with_odd_ones("Q3"));
    is_connected_to_nothing(&html);
    names_its_script(&html);
}

#[test]
fn every_part_that_stands_out_has_its_sentence_its_ring_and_its_kind_in_the_table_of_all() {
    let html = write(&lone_session("board"), with_odd_ones("Q3"));
    let twins = read_text(&format!("<main>{}</main>", section(&html, "twins")));
    // 11.0 K above the board and 3.0 K off: the others lie at 8.0 K; 3.0 / 0.5 is six times.
    let sentence = "Q3 is 11.00 K above the board close around it, its 3 twins in the middle 8.00 K above: 6 times the 0.50 K";
    assert!(twins.contains(sentence), "{twins}");
    assert!(
        twins.contains("D1 or D2") && twins.contains("Of two it cannot be told which is wrong."),
        "{twins}"
    );
    for told in ["Q1 +8.0 K, Q2 +7.9 K, Q3 +11.0 K, Q4 +8.1 K", "Q3 +3.0 K", "one of the two", "U1", "C9"] {
        assert!(twins.contains(told), "{told}: {twins}");
    }
    assert!(read_text(&html).contains("2 parts stand out among their like (2 kinds looked at)."));
    // Rings at the bodies' middles: Q3 is the third of them, at 8 + 2 · 12; both diodes bear the pair's number.
    let pictures = section(&html, "pictures");
    assert!(pictures.contains("cx=\"32.0\" cy=\"30.0\""), "{pictures}");
    for label in [">1 Q3<", ">2 D1<", ">2 D2<", ">Q1<"] {
        assert!(pictures.contains(label), "{label}");
    }
    assert!(!pictures.contains(">Q3<"), "a part that is ringed is named once");
}

#[test]
fn that_nothing_stands_out_is_no_pass() {
    let says_pass = |html: &str| {
        let text = read_text(html);
        text.split(|letter: char| !letter.is_alphabetic()).any(|word| word.eq_ignore_ascii_case("pass"))
    };
    let html = write(&lone_session("board"), nobody_stands_out());
    let text = read_text(&html);
    assert!(text.contains("No part stands out among its like (1 kind looked at)."), "{text}");
    assert!(text.contains("does not make the unit good") && text.contains("never shows a unit to be good"));
    assert!(text.contains("What all twins share, such as a wrong supply, shows nothing."));
    assert!(text.contains("not given"), "the verdict is a person's");
    assert!(!says_pass(&html) && !html.contains("class=\"stamp pass\""), "{text}");
    // No two of a kind: less still is known.
    let text = read_text(&write(&lone_session("board"), report(Vec::new(), "U1")));
    assert!(text.contains("nothing is known of this unit"), "{text}");
    // A person's own verdict stands there as the person gave it.
    let mut judged = lone_session("board");
    let verdict = Verdict { outcome: Outcome::Pass, reason: String::new(), judged_by: String::new() };
    judged.apply(Command::Judge { verdict }).unwrap();
    assert!(says_pass(&write(&judged, nobody_stands_out())));
}

#[test]
fn limits_that_nobody_held_are_said_not_to_have_been_held() {
    let mut session = lone_session("board");
    let told = "stated limits are held only beside known-good boards";
    assert!(!write(&session, nobody_stands_out()).contains(told));
    session.layout.limits = vec![PartLimit {
        designator: "Q1".to_owned(),
        max_case: Some(kelvin(380.0)),
        max_junction: None,
        power: None,
        path: None,
    }];
    assert!(write(&session, nobody_stands_out()).contains(told));
}

#[test]
fn readings_stand_there_once_there_are_any_and_in_the_unit_of_the_person() {
    let mut session = lone_session("board");
    assert!(!write(&session, nobody_stands_out()).contains("Contact measurements"));
    let key = ProbeKey { target: "Q3".to_owned(), quantity: ProbeQuantity::Voltage };
    let reading = ProbeReading { expected: "3.3 V".into(), read: "2.1 V".into(), ..ProbeReading::default() };
    session.apply(Command::RecordReading { key, reading }).unwrap();
    session.apply(Command::ShowTemperaturesIn { unit: TemperatureUnit::Fahrenheit }).unwrap();
    let html = write(&session, with_odd_ones("Q3"));
    assert!(section(&html, "probes").contains("2.1 V"));
    // A difference of 3 K is one of 5.4 °F, by definition of the scale.
    assert!(section(&html, "twins").contains("Q3 +5.4 °F"));
}

#[test]
fn beside_known_good_boards_the_same_section_follows_the_parts() {
    let (twins, session) = (with_odd_ones("Q3"), session("board"));
    let html = write_with(&session, &comparison("U7"), Some(&twins));
    assert_eq!(section(&html, "twins"), section(&write(&lone_session("board"), twins), "twins"));
    let place = |class: &str| html.find(&format!("<section class=\"{class}\">")).unwrap();
    assert!(place("parts") < place("twins") && place("twins") < place("probes"));
    assert!(!write_with(&session, &comparison("U7"), None).contains("<section class=\"twins\">"));
}

#[test]
fn other_captures_of_the_session_are_called_what_they_are() {
    let mut session = session("board");
    let further = |name: &str, role| CaptureRecord {
        metadata: CaptureMetadata::default(),
        ..record(name, name.as_bytes(), role)
    };
    session.captures.extend([
        further("next.tif", Role::Waiting),
        further("spoiled.tif", Role::Aside),
        further("emissivity.tif", Role::Aside),
    ]);
    session.surface.map = Some(ContentHash::of(b"emissivity.tif"));
    let text = read_text(&write_with(&session, &comparison("U7"), None));
    let row = |name: &str| text[text.rfind(name).unwrap()..].split("µm").next().unwrap().to_owned();
    for (name, is) in [
        ("good.tif", "baseline"),
        ("suspect.tif", "unit"),
        ("next.tif", "another unit of this session"),
        ("spoiled.tif", "set aside"),
        ("emissivity.tif", "emissivity picture"),
    ] {
        assert!(row(name).contains(is), "{}", row(name));
    }
    assert!(!text.contains("not used"));
}
