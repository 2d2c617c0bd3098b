//! The command-line program on captures made for the purpose.
#![expect(clippy::unwrap_used, reason = "a folder of the test's own making can be written")]

use std::path::Path;
use std::process::{Command, Output};

use analysis::capture::encode_tiff;
use analysis::frame::{ApparentKelvin, Frame};
use analysis::result::read_result;

const ROWS: usize = 120;
const COLUMNS: usize = 160;

/// A made-up board in °C: a few warm parts on a warm plate, shifted by whole pixels, with noise of
/// its own; `extra` kelvin are added to the part in the middle.
fn board(shift: f32, extra: f32, seed: u32) -> Vec<u8> {
    let mut state = seed;
    let mut noise = || {
        // A linear congruential generator (Numerical Recipes' constants), four draws for a bell shape.
        let mut draw = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 16_777_216.0 - 0.5
        };
        (draw() + draw() + draw() + draw()) * 0.08
    };
    let parts = [
        (40.0, 30.0, 12.0),
        (80.0, 60.0, 20.0 + extra),
        (120.0, 35.0, 9.0),
        (35.0, 90.0, 15.0),
        (125.0, 88.0, 7.0),
    ];
    let numbers = (0..ROWS * COLUMNS).map(|index| {
        let (x, y) = ((index % COLUMNS) as f32 - shift, (index / COLUMNS) as f32);
        let part_heat = parts.iter().map(|&(px, py, heat): &(f32, f32, f32)| {
            let inside = |distance: f32, half: f32| 1.0 / (1.0 + ((distance.abs() - half) * 1.5).exp());
            heat * inside(x - px, 7.0) * inside(y - py, 5.0)
        });
        30.0 + 0.02 * x + part_heat.sum::<f32>() + noise()
    });
    let frame = Frame::<ApparentKelvin>::from_rows(ROWS, COLUMNS, numbers.collect()).unwrap();
    encode_tiff(&frame).unwrap()
}

fn sidecar(serial: &str) -> String {
    format!(
        r#"{{"boardglow_sidecar": 1, "quantity": "temperature", "unit": "degC", "ambient_degC": 24,
            "netd_mK": 50, "board": {{"product": "trial", "serial": "{serial}"}}, "invented": true}}"#
    )
}

/// A folder with two good boards, a healthy unit and a hot one.
fn bench() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let captures = [("good-1", 0.0, 0.0), ("good-2", 2.0, 0.0), ("healthy", -3.0, 0.0), ("hot", 4.0, 12.0)];
    for (seed, (name, shift, extra)) in (1..).zip(captures) {
        std::fs::write(folder.path().join(format!("{name}.tif")), board(shift, extra, seed)).unwrap();
        std::fs::write(folder.path().join(format!("{name}.json")), sidecar(name)).unwrap();
    }
    folder
}

fn boardglow(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_boardglow")).current_dir(folder).args(arguments).output().unwrap()
}

fn compare(folder: &Path, rest: &[&str]) -> Output {
    let fixed = ["compare", "--baseline", "good-1.tif", "good-2.tif", "--reflected", "24", "--out", "out"];
    boardglow(folder, &[&fixed, rest].concat())
}

fn error_text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn a_healthy_unit_ends_with_zero_and_one_line() {
    let folder = bench();
    let output = compare(folder.path(), &["--unit", "healthy.tif"]);
    assert_eq!(output.status.code(), Some(0), "{}", error_text(&output));
    assert_eq!(String::from_utf8_lossy(&output.stdout), "healthy: no findings\n");
}

#[test]
fn a_hot_unit_ends_with_one_and_every_file_is_there() {
    let folder = bench();
    let output = compare(folder.path(), &["--unit", "healthy.tif", "hot.tif"]);
    assert_eq!(output.status.code(), Some(1), "{}", error_text(&output));
    assert_eq!(String::from_utf8_lossy(&output.stdout).lines().count(), 2);
    for unit in ["healthy", "hot"] {
        for ending in [".html", "-unit.tif", "-baseline.tif", "-difference.tif", "-findings.csv"] {
            assert!(folder.path().join(format!("out/{unit}{ending}")).is_file(), "{unit}{ending} is missing");
        }
    }
    let text = std::fs::read_to_string(folder.path().join("out/answer.json")).unwrap();
    let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(answer["units"][0]["findings"].as_array().unwrap().len(), 0);
    // The part that was given 12 K lies at (80, 60) of the baseline. An emissivity below 1 makes the
    // surface's difference larger than the apparent one.
    let findings = answer["units"][1]["findings"].as_array().unwrap();
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!((findings[0]["cx"].as_f64().unwrap() - 80.0).abs() < 1.0, "{findings:?}");
    assert!((findings[0]["cy"].as_f64().unwrap() - 60.0).abs() < 1.0, "{findings:?}");
    let peak = findings[0]["delta_K"].as_f64().unwrap();
    assert!((12.0..15.0).contains(&peak), "{peak}");
}

#[test]
fn the_sheet_restores_the_session_the_program_made() {
    let folder = bench();
    compare(folder.path(), &["--unit", "hot.tif"]);
    let html = std::fs::read_to_string(folder.path().join("out/hot.html")).unwrap();
    let restored = read_result("hot.html", &html).unwrap();
    assert_eq!(restored.session.board.serial, "hot");
    let names: Vec<&str> = restored.captures.iter().map(|capture| capture.file_name.as_str()).collect();
    assert_eq!(names, ["good-1.tif", "good-2.tif", "hot.tif"]);
    assert_eq!(restored.captures[2].bytes, std::fs::read(folder.path().join("hot.tif")).unwrap());
}

#[test]
fn a_higher_limit_lets_the_hot_unit_pass() {
    let folder = bench();
    let output = compare(folder.path(), &["--unit", "hot.tif", "--limit", "30"]);
    assert_eq!(output.status.code(), Some(0), "{}", error_text(&output));
}

#[test]
fn stuck_pixels_that_no_sidecar_names_do_not_outrank_the_fault() {
    // The samples without their lists of stuck pixels; Q2 is what sample-captures/truth.json says of faulty-hot.
    let folder = tempfile::tempdir().unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    for name in ["good-1.tiff", "good-2.tiff", "good-3.tiff", "good-4.tiff", "faulty-hot.tiff"] {
        std::fs::copy(samples.join(name), folder.path().join(name)).unwrap();
        let sidecar = std::fs::read_to_string(samples.join(format!("{name}.json"))).unwrap();
        let mut stated: serde_json::Value = serde_json::from_str(&sidecar).unwrap();
        assert!(stated.as_object_mut().unwrap().remove("stuck_pixels").is_some(), "{name} lists none");
        std::fs::write(folder.path().join(format!("{name}.json")), stated.to_string()).unwrap();
    }
    let placement = samples.join("placement.csv");
    let fixed = ["compare", "--baseline", "good-1.tiff", "good-2.tiff", "good-3.tiff", "good-4.tiff"];
    let rest = ["--unit", "faulty-hot.tiff", "--reflected", "22.5", "--out", "out", "--placement"];
    let output = boardglow(folder.path(), &[&fixed[..], &rest, &[placement.to_str().unwrap()]].concat());
    assert_eq!(output.status.code(), Some(1), "{}", error_text(&output));
    assert!(
        error_text(&output).contains("faulty-hot.tiff: note: isolated pixels set aside"),
        "{}",
        error_text(&output)
    );
    let text = std::fs::read_to_string(folder.path().join("out/answer.json")).unwrap();
    let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(answer["units"][0]["findings"][0]["designator"], "Q2", "{}", answer["units"][0]["findings"]);
}

#[test]
fn a_capture_of_unstated_meaning_ends_with_two_and_the_question() {
    let folder = bench();
    std::fs::remove_file(folder.path().join("hot.json")).unwrap();
    let output = compare(folder.path(), &["--unit", "hot.tif"]);
    assert_eq!(output.status.code(), Some(2));
    let error = error_text(&output);
    assert!(error.contains("hot.tif: What do the numbers stand for"), "{error}");
    assert!(error.contains("hot.tif.json"), "{error}");
}

#[test]
fn one_bad_unit_does_not_keep_the_others_from_being_compared() {
    let folder = bench();
    std::fs::write(folder.path().join("broken.tif"), b"II*\0").unwrap();
    std::fs::write(folder.path().join("broken.json"), sidecar("broken")).unwrap();
    let output = compare(folder.path(), &["--unit", "broken.tif", "healthy.tif"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_text(&output).contains("broken.tif"), "{}", error_text(&output));
    assert!(folder.path().join("out/healthy.html").is_file());
}

#[test]
fn bad_arguments_end_with_two_and_name_what_is_wrong() {
    let folder = bench();
    for (arguments, expected) in [
        (&["--unit", "absent.tif"][..], "absent.tif"),
        (&["--unit", "hot.tif", "--limit=-1"], "--limit"),
        (&["--unit", "hot.tif", "--limit", "nan"], "--limit"),
        (&["--unit", "hot.tif", "--ambient", "-300"], "--ambient"),
        (&["--unit", "hot.tif", "./hot.tif"], "hot"),
        (&["--unit", "good-1.tif"], "good-1.tif"),
        (&["--unit", "hot.tif", "--emissivity", "hot.json"], "hot.json"),
        (&["--unit", "hot.tif", "--basis", "guess"], "guess"),
    ] {
        let output = compare(folder.path(), arguments);
        let error = error_text(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {error}");
        assert!(error.contains(expected), "{arguments:?}: {error}");
        assert!(!error.contains("panicked"), "{error}");
    }
}

#[test]
fn an_emissivity_statement_with_regions_is_taken() {
    let folder = bench();
    let regions = r#"{"whole": {"emissivity": 0.9, "uncertainty": 0.02},
        "regions": [{"name": "shield", "outline": {"plane": "pixels", "shape": "rectangle", "from": [110, 80], "to": [140, 96]},
                     "finish": {"emissivity": 0.5, "uncertainty": 0.1}}]}"#;
    std::fs::write(folder.path().join("regions.json"), regions).unwrap();
    let output = compare(folder.path(), &["--unit", "healthy.tif", "--emissivity", "regions.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", error_text(&output));
    let html = std::fs::read_to_string(folder.path().join("out/healthy.html")).unwrap();
    let restored = read_result("healthy.html", &html).unwrap();
    assert_eq!(restored.session.surface.regions[0].name, "shield");
}

/// Four pixels a millimetre, y upward from row 120, so that the part in the middle lies at (20, 15) mm.
fn with_corners(folder: &Path) {
    let corner = |x: u32, y: u32| format!(r#"{{"mm": [{x}, {y}], "pixel": [{}, {}]}}"#, 4 * x, 120 - 4 * y);
    let corners = [corner(0, 0), corner(40, 0), corner(40, 30), corner(0, 30)].join(",");
    let stated = sidecar("good-1").replacen('{', &format!(r#"{{"corners": [{corners}],"#), 1);
    std::fs::write(folder.join("good-1.json"), stated).unwrap();
}

const PROFILE: &str = "%TF.FileFunction,Profile,NP*%\n%FSLAX33Y33*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\nX0Y0D02*\n\
    X40000D01*\nY30000D01*\nX0D01*\nY0D01*\nM02*\n";
const LAYER: &str = "%TF.FileFunction,Component,L1,Top*%\n%FSLAX33Y33*%\n%MOMM*%\n%TA.AperFunction,ComponentMain*%\n\
    %ADD10C,0.3*%\n%TA.AperFunction,ComponentOutline,Body*%\n%ADD11C,0.1*%\n%TD*%\nD10*\n%TO.C,U5*%\n%TO.CRot,0*%\n\
    X20000Y15000D03*\nD11*\nX18000Y14000D02*\nX22000D01*\nY16000D01*\nX18000D01*\nY14000D01*\n%TD*%\nM02*\n";
const NETLIST: &str = "P  UNITS CUST 1\n\
    327LAMP             U5    -1          A01X+018500Y+015000X1000Y1000R000 S2\n\
    327GND              U5    -2          A01X+021500Y+015000X1000Y1000R000 S2\n999\n";

#[test]
fn gerber_layers_name_the_hot_part_and_a_netlist_its_nets() {
    let folder = bench();
    with_corners(folder.path());
    for (name, text) in [("edge.gbr", PROFILE), ("top.gbr", LAYER), ("nets.ipc", NETLIST)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let layers = ["--unit", "hot.tif", "--placement", "edge.gbr", "top.gbr"];
    let output = compare(folder.path(), &[&layers[..], &["--netlist", "nets.ipc"]].concat());
    assert_eq!(output.status.code(), Some(1), "{}", error_text(&output));
    let text = std::fs::read_to_string(folder.path().join("out/answer.json")).unwrap();
    let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(answer["units"][0]["findings"][0]["designator"], "U5", "{answer}");
    let html = std::fs::read_to_string(folder.path().join("out/hot.html")).unwrap();
    let sheet = "LAMP (pin 1) at U5 pin 1";
    assert!(html.contains(sheet), "the sheet does not say {sheet}");
    let layout = read_result("hot.html", &html).unwrap().session.layout;
    assert_eq!((layout.placement_file.as_str(), layout.placements[0].size), ("top.gbr", [4.0, 2.0]));
    assert_eq!((layout.outline_file.as_str(), layout.outline.size()), ("edge.gbr", [40.0, 30.0]));
    assert_eq!((layout.netlist_file.as_str(), layout.netlist.points().len()), ("nets.ipc", 2));

    let without = compare(folder.path(), &layers);
    assert_eq!(without.status.code(), Some(1), "{}", error_text(&without));
    assert!(!std::fs::read_to_string(folder.path().join("out/hot.html")).unwrap().contains("LAMP"));
}

#[test]
fn board_files_that_cannot_be_used_end_with_two_and_say_why() {
    let folder = bench();
    let copper = PROFILE.replace("Profile,NP", "Copper,L1,Top");
    std::fs::write(folder.path().join("copper.gbr"), copper).unwrap();
    std::fs::write(folder.path().join("unitless.ipc"), NETLIST.replace("P  UNITS CUST 1\n", "")).unwrap();
    for (flag, name, expected) in [
        ("--placement", "copper.gbr", "Copper,L1,Top"),
        ("--netlist", "unitless.ipc", "line 1: nothing states the unit"),
        ("--netlist", "absent.ipc", "absent.ipc"),
    ] {
        let output = compare(folder.path(), &["--unit", "healthy.tif", flag, name]);
        let error = error_text(&output);
        assert_eq!(output.status.code(), Some(2), "{name}: {error}");
        assert!(error.contains(name) && error.contains(expected), "{name}: {error}");
    }
}

#[test]
fn parts_of_one_kind_are_held_against_each_other_without_any_good_board() {
    let folder = tempfile::tempdir().unwrap();
    let sample = |name: &str| format!("{}/../sample-captures/{name}", env!("CARGO_MANIFEST_DIR"));
    let (unit, placement) = (sample("good-1.tiff"), sample("placement.csv"));
    let fixed = ["twins", "--unit", &unit, "--reflected", "23", "--out", "out"];
    let output = boardglow(folder.path(), &[&fixed[..], &["--placement", &placement]].concat());
    // A healthy board, by sample-captures/truth.json.
    assert_eq!(output.status.code(), Some(0), "{}", error_text(&output));
    let table = std::fs::read_to_string(folder.path().join("out/good-1-twins.csv")).unwrap();
    // Eight capacitors of 100 nF in one package, by the placement file.
    assert_eq!(table.matches("\"C, 0603, 100 nF\"").count(), 8, "{table}");
    let sheet = std::fs::read_to_string(folder.path().join("out/good-1.html")).unwrap();
    let restored = read_result("good-1.html", &sheet).unwrap();
    assert_eq!(restored.captures[0].bytes, std::fs::read(&unit).unwrap());

    let output = boardglow(folder.path(), &fixed);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        error_text(&output).contains("a placement table with packages and values"),
        "{}",
        error_text(&output)
    );
}

/// A recording of greymaps one after the other: a plate with one warm part whose corners are known.
fn recording(folder: &Path) -> std::path::PathBuf {
    let frames = (0..6_u16).flat_map(|frame| {
        let numbers = (0..60 * 80).flat_map(move |index| {
            let (column, row) = (index % 80, index / 80);
            let part = (30..50).contains(&column) && (20..40).contains(&row);
            // 0.01 K a step from 0 °C: 30 °C, the part 2 K a frame more.
            (3000 + if part { 200 * frame } else { 0 }).to_be_bytes()
        });
        b"P5\n80 60\n65535\n".iter().copied().chain(numbers).collect::<Vec<u8>>()
    });
    let path = folder.join("run.pgm");
    std::fs::write(&path, frames.collect::<Vec<u8>>()).unwrap();
    let sidecar = r#"{"boardglow_sidecar": 1, "quantity": "temperature", "unit": "degC", "scale": 0.01, "offset": 0,
        "frame_interval_s": 2.5, "invented": true, "corners": [
        {"pixel": [0, 59], "mm": [0, 0]}, {"pixel": [79, 59], "mm": [79, 0]},
        {"pixel": [79, 0], "mm": [79, 59]}, {"pixel": [0, 0], "mm": [0, 59]}]}"#;
    std::fs::write(folder.join("run.pgm.json"), sidecar).unwrap();
    let placement =
        "designator,x_mm,y_mm,rotation_deg,side,package,size_x_mm,size_y_mm\nU1,39.5,29.5,0,top,QFP,18,18\n";
    std::fs::write(folder.join("placement.csv"), placement).unwrap();
    path
}

fn sequence(folder: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_boardglow"));
    command.current_dir(folder).args(["sequence", "run.pgm", "--out", "trend.csv"]).args(more);
    command.output().unwrap()
}

#[test]
fn the_parts_of_a_recording_are_followed_into_a_table() {
    let folder = tempfile::tempdir().unwrap();
    recording(folder.path());
    let done = sequence(folder.path(), &["--placement", "placement.csv", "--reflected", "30"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let table = std::fs::read_to_string(folder.path().join("trend.csv")).unwrap();
    let rows: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 7, "{table}");
    assert_eq!(rows[0][..3], ["frame", "time (s)", "Picture mean (°C)"]);
    let place = |name: &str| rows[0].iter().position(|heading| *heading == name).unwrap();
    let (mean, doubt) = (place("U1 mean (°C)"), place("U1 standard uncertainty (K)"));
    let number = |row: usize, column: usize| rows[row][column].parse::<f64>().unwrap();
    assert_eq!((rows[3][0], rows[3][1]), ("3", "5"));
    // A plate at the reflected temperature looks the same at any emissivity; the part warms evenly above it.
    assert!((number(1, mean) - 30.0).abs() < 0.01, "{table}");
    assert!(number(6, mean) > 40.0 && number(6, mean) > number(5, mean), "{table}");
    assert!(number(6, doubt) > 1.0 && number(6, doubt) < 5.0, "{table}");
}

#[test]
fn tables_of_two_sides_count_together_and_the_recording_may_come_last() {
    let folder = tempfile::tempdir().unwrap();
    recording(folder.path());
    let headings = "designator,x_mm,y_mm,rotation_deg,side,package,size_x_mm,size_y_mm\n";
    // U1 stands here as well, elsewhere, and U2 where the plate stays at 30 °C.
    let second = format!("{headings}U1,8,8,0,top,QFP,4,4\nU2,8,50,0,top,QFP,4,4\n");
    std::fs::write(folder.path().join("second.csv"), second).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_boardglow"));
    command.current_dir(folder.path()).args(["sequence", "--reflected", "30", "--out", "trend.csv"]);
    let tables = ["--placement", "placement.csv", "--placement", "second.csv"];
    let done = command.args(tables).arg("run.pgm").output().unwrap();
    assert!(done.status.success(), "{}", error_text(&done));
    let told = "second.csv: note: left out, as placement.csv has them already: U1\n";
    assert!(error_text(&done).contains(told), "{}", error_text(&done));
    let table = std::fs::read_to_string(folder.path().join("trend.csv")).unwrap();
    let rows: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    let last = |name: &str| {
        let place = rows[0].iter().position(|heading| *heading == name).unwrap();
        rows[6][place].parse::<f64>().unwrap()
    };
    // 2 K a frame in the sixth frame, as the first table places it.
    assert!(last("U1 mean (°C)") > 40.0 && (last("U2 mean (°C)") - 30.0).abs() < 0.01, "{table}");
}

#[test]
fn a_recording_without_times_or_meaning_is_asked_for_them() {
    let folder = tempfile::tempdir().unwrap();
    recording(folder.path());
    for (sidecar, asked) in [
        (
            "{\"boardglow_sidecar\": 1, \"quantity\": \"temperature\", \"unit\": \"K\", \"scale\": 1, \"offset\": 0}",
            "frame_interval_s",
        ),
        ("{\"boardglow_sidecar\": 1, \"frame_interval_s\": 1}", "run.pgm.json"),
    ] {
        std::fs::write(folder.path().join("run.pgm.json"), sidecar).unwrap();
        let done = sequence(folder.path(), &[]);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(done.status.code() == Some(2) && told.contains(asked), "{told}");
    }
}
