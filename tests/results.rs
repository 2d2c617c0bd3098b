//! The result file: self-contained, escaped, and the way back into a session.
#[path = "results/lone_unit.rs"]
mod lone_unit;
#[path = "results/verdict.rs"]
mod verdict;

use analysis::capture::{BoardIdentity, CaptureMetadata, TestConditions};
use analysis::comparison::{Comparison, JudgedBy, SetAside, TwinReport};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::{Homography, Point};
use analysis::inspection::{
    Contact, Finding, LimitedAt, PartReading, Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeReason,
    ProbeVerdict, Sign, Touch,
};
use analysis::procedure::{ContactMethod, ContactRepeat, Record, Yield};
use analysis::radiometry::Rejected;
use analysis::registration::Alignment;
use analysis::result::{
    OriginalFile, RestoreError, ResultInput, UnitAnswer, answer_json, findings_csv, parts_csv, probes_csv,
    read_result, write_result,
};
use analysis::session::{CaptureRecord, Command, Outcome, Role, Session, Verdict, saved};
use analysis::units::{Kelvin, KelvinDifference, TemperatureUnit};

const ROWS: usize = 60;
const COLUMNS: usize = 80;
const BASELINE_BYTES: &[u8] = b"the baseline's file \xff\x00</script>";
const UNIT_BYTES: &[u8] = b"the unit's file";

fn kelvin(value: f64) -> Kelvin {
    Kelvin::new(value).unwrap()
}

fn difference(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap()
}

/// A slope with a warm round spot.
fn surface<Q>(spot: f32) -> Frame<Q> {
    let values = (0..ROWS * COLUMNS).map(|index| {
        let (x, y) = ((index % COLUMNS) as f32, (index / COLUMNS) as f32);
        300.0 + 0.1 * x + spot * (-((x - 50.0).powi(2) + (y - 20.0).powi(2)) / 50.0).exp()
    });
    Frame::from_rows(ROWS, COLUMNS, values.collect()).unwrap()
}

fn flat<Q>(value: f32) -> Frame<Q> {
    Frame::from_rows(ROWS, COLUMNS, vec![value; ROWS * COLUMNS]).unwrap()
}

/// A comparison with one hot and one cold place, made by hand.
fn comparison(designator: &str) -> Comparison {
    let finding = |sign, peak, x, y, designator: Option<&str>| Finding {
        sign,
        peak: difference(peak),
        peak_at: Point::new(x, y),
        mean: difference(peak / 2.0),
        centroid: Point::new(x, y),
        area_px: 40,
        area_mm2: None,
        bounds: [x as u32 - 3, y as u32 - 3, x as u32 + 3, y as u32 + 3],
        designator: designator.map(str::to_owned),
        designator_distance_mm: designator.map(|_| 0.0),
        significance: 6.5,
        chance: None,
    };
    let part = |name: &str, margin: Option<f64>| PartReading {
        callable: None,
        designator: name.to_owned(),
        case: Some(kelvin(370.0)),
        difference: Some(difference(-3.25)),
        case_uncertainty: Some(difference(1.2)),
        power: None,
        junction: None,
        margin: margin.map(difference),
        margin_at: margin.map(|_| LimitedAt::Case),
    };
    let mut shown = surface::<SurfaceKelvin>(25.0).into_array() - 300.0;
    shown[(0, 0)] = f32::NAN;
    Comparison {
        unit_capture: ContentHash::of(UNIT_BYTES),
        judged_by: JudgedBy::Limit { why: "one known-good board".to_owned() },
        emissivity: flat(0.92),
        emissivity_uncertainty: flat(0.02),
        unit_uncertainty: flat(0.9),
        difference_uncertainty: flat(0.3),
        baseline: surface(10.0),
        unit: surface(35.0),
        difference: Frame::new(shown).unwrap(),
        spread: None,
        tolerance: flat(2.0),
        alignment: Alignment {
            homography: Homography::try_from([0.99, 0.01, 2.5, -0.01, 1.01, -3.0, 1e-6, 2e-6, 1.0]).unwrap(),
            residual_px: 0.12,
            overlap: 0.97,
            confidence: 0.93,
        },
        noise: difference(0.08),
        netd: [difference(0.05); 2],
        unit_gain: 1.0,
        rejected: Rejected { no_physical_answer: 1, ..Rejected::default() },
        set_aside: SetAside::default(),
        baseline_count: 1,
        left_out: Vec::new(),
        footprints: Vec::new(),
        findings: vec![
            finding(Sign::Hotter, 25.0, 50.0, 20.0, Some(designator)),
            finding(Sign::Colder, -4.0, 20.0, 40.0, None),
        ],
        parts: vec![part(designator, Some(-2.0)), part("R2", Some(40.0)), part("J1", None)],
        probes: vec![Probe {
            key: ProbeKey { target: designator.to_owned(), quantity: ProbeQuantity::Voltage },
            reason: ProbeReason::Differs {
                place: designator.to_owned(),
                by: difference(25.0),
                tells: "the voltage across it shows whether it is overloaded".to_owned(),
            },
            unpowered: false,
            contacts: vec![Contact {
                net: "=+5V".to_owned(),
                pins: vec!["1".to_owned()],
                touch: Some(Touch { place: "TP2".to_owned(), distance_mm: 3.12, far_side: false }),
            }],
        }],
    }
}

fn record(name: &str, bytes: &[u8], role: Role) -> CaptureRecord {
    let metadata = CaptureMetadata {
        invented: true,
        conditions: TestConditions { voltage: Some(12.0), current: Some(0.35), ..TestConditions::default() },
        ..CaptureMetadata::default()
    };
    CaptureRecord { hash: ContentHash::of(bytes), file_name: name.to_owned(), role, metadata }
}

fn session(product: &str) -> Session {
    let mut session = Session::default();
    for command in [
        Command::NameBoard { board: BoardIdentity { product: product.into(), serial: "0007".into() } },
        Command::AddCapture { record: record("good.tif", BASELINE_BYTES, Role::Baseline) },
        Command::AddCapture { record: record("suspect.tif", UNIT_BYTES, Role::Unit) },
        Command::Judge {
            verdict: Verdict { outcome: Outcome::Fail, reason: product.into(), judged_by: String::new() },
        },
    ] {
        session.apply(command).unwrap();
    }
    session
}

fn write(session: &Session, comparison: &Comparison) -> String {
    write_with(session, comparison, None)
}

fn write_with(session: &Session, comparison: &Comparison, twins: Option<&TwinReport>) -> String {
    let originals = [
        OriginalFile { file_name: "good.tif", bytes: BASELINE_BYTES },
        OriginalFile { file_name: "suspect.tif", bytes: UNIT_BYTES },
    ];
    write_result(&ResultInput {
        session,
        comparison,
        twins,
        originals: &originals,
        written_at: "2031-05-04 10:00",
        software_version: "0.0.0-test",
    })
    .unwrap()
}

#[test]
fn a_result_file_restores_the_session_and_every_capture_byte_for_byte() {
    let before = session("Supply board <b>\"&'");
    let restored = read_result("r.html", &write(&before, &comparison("U7"))).unwrap();
    assert_eq!(saved::save(&restored.session).unwrap(), saved::save(&before).unwrap());
    let bytes: Vec<&[u8]> = restored.captures.iter().map(|capture| capture.bytes.as_slice()).collect();
    assert_eq!(bytes, [BASELINE_BYTES, UNIT_BYTES]);
    assert_eq!(restored.captures[1].file_name, "suspect.tif");
}

#[test]
fn what_a_person_typed_never_becomes_markup() {
    let hostile = r#"<script>alert(1)</script><img src=x onerror=alert(1)>"'&<!--"#;
    let html = write(&session(hostile), &comparison(hostile));
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    for unescaped in ["<script>alert", "<img src=x", "<!--"] {
        assert!(!html.contains(unescaped), "{unescaped} reached the file");
    }
    // The script and style sheet the policy names are the only ones of their kind.
    assert_eq!(html.matches("<script>").count(), 1);
    assert_eq!(html.matches("<script").count(), html.matches("</script>").count());
}

#[test]
fn the_file_connects_to_nothing() {
    is_connected_to_nothing(&write(&session("board"), &comparison("U7")));
}

fn is_connected_to_nothing(html: &str) {
    assert!(html.contains("default-src 'none'"));
    for loader in ["url(", "@import", "<link", "<iframe", "<form", "<object", "<base", "href=", "fetch("] {
        assert!(!html.contains(loader), "{loader} found");
    }
    for (at, _) in html.match_indices(" src=") {
        assert!(html[at..].starts_with(" src=\"data:image/png;base64,"), "{}", &html[at..at + 40]);
    }
}

#[test]
fn the_policy_names_the_hash_of_the_script_that_is_there() {
    names_its_script(&write(&session("board"), &comparison("U7")));
}

/// Content Security Policy Level 3, section 2.3.1: the hash of what stands between the tags, in base64.
fn names_its_script(html: &str) {
    use base64::Engine;
    let script = html.split_once("<script>").unwrap().1.split_once("</script>").unwrap().0;
    let hexadecimal = ContentHash::of(script.as_bytes()).as_str().to_owned();
    let digest: Vec<u8> =
        (0..64).step_by(2).map(|at| u8::from_str_radix(&hexadecimal[at..at + 2], 16).unwrap()).collect();
    let expected = base64::engine::general_purpose::STANDARD.encode(digest);
    assert!(html.contains(&format!("script-src 'sha256-{expected}'")));
}

#[test]
fn captures_that_are_invented_are_called_so() {
    let mut session = session("board");
    assert!(write(&session, &comparison("U7")).contains("Invented captures."));
    for record in &mut session.captures {
        record.metadata.invented = false;
    }
    assert!(!write(&session, &comparison("U7")).contains("Invented captures."));
}

#[test]
fn of_many_parts_that_are_hard_to_judge_the_hardest_are_named_and_the_rest_counted() {
    let mut comparison = comparison("U7");
    let part = comparison.parts[2].clone();
    // The further down, the larger the least difference that would be called.
    comparison.parts = (0..20)
        .map(|place| PartReading {
            designator: format!("X{place}."),
            callable: Some(difference(50.0 + f64::from(place))),
            ..part.clone()
        })
        .collect();
    let html = write(&session("board"), &comparison);
    let told = html.split_once("Hard to judge: 20 parts").unwrap().1.split_once("</p>").unwrap().0;
    let named: Vec<_> = (0..20).filter(|place| told.contains(&format!("X{place}."))).collect();
    assert_eq!(named, (12..20).collect::<Vec<_>>(), "{told}");
    assert!(told.contains("and 12 more"), "{told}");
    comparison.parts.truncate(8);
    assert!(!write(&session("board"), &comparison).contains(" more with smaller ones"));
}

#[test]
fn a_damaged_result_file_is_named_with_what_is_wrong() {
    let whole = write(&session("board"), &comparison("U7"));
    assert!(matches!(read_result("page.html", "<p>a page</p>"), Err(RestoreError::NoResult { .. })));

    // A capture's bytes exchanged for others of the same form: only the hash can tell.
    let hash = ContentHash::of(UNIT_BYTES);
    let other = format!("id=\"capture-{}\">", ContentHash::of(BASELINE_BYTES));
    let packed = whole.split_once(&other).unwrap().1.split_once("</script>").unwrap().0;
    let at = whole.find(&format!("id=\"capture-{hash}\">")).unwrap();
    let start = at + whole[at..].find('>').unwrap() + 1;
    let end = start + whole[start..].find("</script>").unwrap();
    let swapped = format!("{}{packed}{}", &whole[..start], &whole[end..]);
    let error = read_result("r.html", &swapped).unwrap_err().to_string();
    assert!(error.contains("r.html") && error.contains("suspect.tif"), "{error}");

    // Cut anywhere, the file is refused, never half restored.
    let first = whole.find("id=\"boardglow-session\"").unwrap();
    let last = whole.rfind("</script>\n<script>").unwrap();
    for cut in (first..last).step_by(97) {
        if whole.is_char_boundary(cut) {
            assert!(read_result("r.html", &whole[..cut]).is_err(), "cut at {cut}");
        }
    }
}

#[test]
fn the_tables_keep_numbers_and_quote_formulas() {
    let mut session = session("board");
    let comparison = comparison("=HYPERLINK(\"x\")");
    let key = comparison.probes[0].key.clone();
    let reading = ProbeReading {
        expected: "-12".into(),
        read: "@cmd".into(),
        note: String::new(),
        verdict: Some(ProbeVerdict::Fail),
    };
    session.apply(Command::RecordReading { key, reading }).unwrap();

    let findings = findings_csv(&session, &comparison).unwrap();
    let rows: Vec<&str> = findings.lines().collect();
    assert!(rows[0].contains("largest difference (K)"), "{}", rows[0]);
    assert!(rows[1].starts_with("1,\"'=HYPERLINK(\"\"x\"\")\",hotter,25.00,12.50,"), "{}", rows[1]);
    assert!(rows[2].starts_with("2,,colder,-4.00,-2.00,"), "{}", rows[2]);

    let probes = probes_csv(&session, &comparison).unwrap();
    assert!(probes.contains(",voltage (V),powered,-12,'@cmd,fail,"), "{probes}");
    assert!(probes.contains("Nets: =+5V (pin 1) at TP2, 3.1 mm away."), "{probes}");
}

#[test]
fn the_tables_are_in_the_unit_the_person_reads() {
    // 370 K = 206.33 °F and a difference of −3.25 K is −5.85 °F, by definition of the scale.
    let mut session = session("board");
    session.apply(Command::ShowTemperaturesIn { unit: TemperatureUnit::Fahrenheit }).unwrap();
    let parts = parts_csv(&session, &comparison("U7")).unwrap();
    let mut rows = parts.lines();
    assert!(rows.next().unwrap().starts_with("designator,case (°F),mean difference (°F)"));
    assert!(rows.next().unwrap().starts_with("U7,206.33,-5.85,"));
}

#[test]
fn the_answer_is_in_baseline_pixels_and_signed_kelvin() {
    let text = answer_json(&[UnitAnswer::new("suspect", "suspect-unit.tif", &comparison("U7"))]).unwrap();
    let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
    let unit = &answer["units"][0];
    assert_eq!(unit["name"], "suspect");
    assert_eq!(unit["frame"], "baseline");
    assert_eq!(unit["temperature_map"], "suspect-unit.tif");
    assert_eq!(unit["homography"].as_array().unwrap().len(), 9);
    assert_eq!(unit["homography"][2], 2.5);
    assert_eq!(unit["findings"][0]["designator"], "U7");
    assert_eq!(unit["findings"][1]["delta_K"], -4.0);
    assert_eq!(unit["findings"][1]["cx"], 20.0);
    assert_eq!(unit["findings"][1]["area_px"], 40);
    assert!(unit["findings"][1]["designator"].is_null());
}

/// A report is to list each input with the uncertainty it was given (JCGM 100:2008, 7.2.1 and 7.2.3, from memory).
#[test]
fn measured_emissivities_name_their_procedure_and_records_their_uncertainties() {
    let at = |place: &str, contact: f64| {
        let repeats = [0.0, 0.1, 0.2]
            .map(|by| ContactRepeat { contact: kelvin(contact + by), apparent: kelvin(328.0 + by) });
        let method = ContactMethod {
            band: Session::default().band,
            surroundings: Session::default().surroundings,
            reflected_uncertainty: difference(0.71),
            contact_uncertainty: difference(0.33),
            camera_uncertainty: difference(1.27),
            reading_noise: KelvinDifference::ZERO,
            repeats: repeats.to_vec(),
        };
        Record::contact(method).unwrap().at(place)
    };
    let (first, second) = (at("U3 <lid>", 330.0), at("T1", 331.0));
    let Yield::Finish { finish, .. } = first.yields() else { panic!("a contact method yields a finish") };
    let mut session = session("board");
    for command in [
        Command::RecordProcedure { record: Box::new(first) },
        Command::RecordProcedure { record: Box::new(second) },
        Command::SetWholeFinish { finish },
    ] {
        session.apply(command).unwrap();
    }
    let html = write(&session, &comparison("U7"));
    let origin = format!("Measured at the bench: {}, at U3 &lt;lid&gt;, 3 repeats", ContactMethod::NAME);
    assert!(html.contains(&origin), "the table names where the value comes from");
    assert!(!html.contains("stated by the person"));
    for said in ["u = 0.33", "u = 1.27", "u = 0.71", "at U3 &lt;lid&gt;", "at T1"] {
        assert!(html.contains(said), "{said}");
    }
    let restored = read_result("r.html", &html).unwrap();
    assert_eq!(restored.session.surface.whole, session.surface.whole);
    assert_eq!(restored.session.procedures, session.procedures);
}
