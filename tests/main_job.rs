//! The main job against truth: alignment, corrected temperature, and the seeded faults of the samples.

use std::path::Path;
use std::sync::Arc;

use analysis::board::{GerberLayer, parse_gerber, parse_limits, parse_netlist, parse_placements};
use analysis::capture::{apparent, complete_meaning, parse_sidecar, read_capture, sidecar_names};
use analysis::comparison::{Comparison, JudgedBy, Shelf, board_to_picture, compare};
use analysis::content_hash::ContentHash;
use analysis::frame::{EmissivityFraction, Frame};
use analysis::geometry::Point;
use analysis::inspection::{Contact, Criteria, Rule};
use analysis::radiometry::{Band, BandTable, Surroundings, correct};
use analysis::registration::{self, LandmarkUse};
use analysis::session::{CaptureRecord, Command, Role, Session};
use analysis::synthetic::{
    Fault, Population, RegistrationError, Simulated, Spread, beacon_board, registration_error,
};
use analysis::units::Kelvin;
use serde_json::Value;

/// Units with every spread but placement: parts in place. The camera's noise is 50 mK.
fn in_place(seed: u64) -> Population {
    let population = Population::new(beacon_board(), seed);
    Population { spread: Spread { placement_mm: 0.0, part_rotation: 0.0, ..population.spread }, ..population }
}

fn aligned_off(unit: &Simulated, baseline: &Simulated, size: [f64; 2]) -> RegistrationError {
    let seen =
        |simulated: &Simulated| apparent(&simulated.capture, &simulated.metadata, Band::default()).unwrap();
    let found = registration::align(&seen(unit), &seen(baseline), &[], LandmarkUse::Start).unwrap();
    registration_error(&found.homography, &unit.board_to_pixels, &baseline.board_to_pixels, size).unwrap()
}

/// Asked for: two hundredths of a pixel in the mean over the board and eight at its worst place, at 50 mK of noise.
///
/// The simulated pixels must be sampled finely for it: of three points along a side an edge that runs along the rows
/// passes whole rows of points at once and lies off by up to a sixth of a pixel. Without any noise, two boards all
/// alike then are 0.014 pixels apart in the mean, which no alignment could find.
#[test]
fn units_are_aligned_to_two_hundredths_of_a_pixel_whatever_is_wrong_with_them() {
    let lots = [
        (
            11,
            [
                None,
                Some(Fault::Hot { designator: "Q2", extra_watts: 0.3 }),
                Some(Fault::Dead { designator: "U7" }),
            ],
        ),
        (
            12,
            [
                None,
                Some(Fault::Dead { designator: "U1" }),
                Some(Fault::BuriedShort { center: [36.0, 38.5], radius_mm: 5.0, watts: 0.15 }),
            ],
        ),
    ];
    for (seed, faults) in lots {
        let mut population = in_place(seed);
        population.camera.samples_per_side = 6;
        let unit = |index, fault: &Option<Fault>| population.unit(index, fault.as_ref()).unwrap();
        let (baseline, units) = std::thread::scope(|scope| {
            let unit = &unit;
            let baseline = scope.spawn(move || unit(0, &None));
            let units = (1..).zip(&faults).map(|(index, fault)| scope.spawn(move || unit(index, fault)));
            let units: Vec<_> = units.collect();
            let units: Vec<_> = units.into_iter().map(|unit| unit.join().unwrap()).collect();
            (baseline.join().unwrap(), units)
        });
        for (unit, fault) in units.iter().zip(&faults) {
            let off = aligned_off(unit, &baseline, population.design.size);
            assert!(off.mean_px <= 0.02 && off.worst_px <= 0.08, "lot {seed}, {fault:?}: {off:?}");
        }
    }
}

/// Whether every pixel within `reach` has this pixel's emissivity: the optics mix what lies closer
/// than that to an edge, and no correction can part it again.
fn away_from_edges(emissivity: &Frame<EmissivityFraction>, row: usize, column: usize, reach: usize) -> bool {
    let here = emissivity.at(row, column);
    let around = |center: usize| center.saturating_sub(reach)..=center + reach;
    let (rows, columns) = emissivity.shape();
    around(row).all(|r| around(column).all(|c| r >= rows || c >= columns || emissivity.at(r, c) == here))
}

#[test]
fn corrected_temperature_of_dull_surfaces_is_right_to_150_millikelvin() {
    let population = in_place(21);
    for index in 0..2 {
        let unit = population.unit(index, None).unwrap();
        let seen = apparent(&unit.capture, &unit.metadata, Band::default()).unwrap();
        let surroundings = Surroundings { reflected: unit.reflected, ..Surroundings::default() };
        let table = BandTable::new(Band::default());
        let corrected = correct(&seen, &unit.emissivity_truth, &surroundings, &table).unwrap().temperature;
        let (rows, columns) = seen.shape();
        let (mut squares, mut count) = (0.0, 0_u32);
        for row in 0..rows {
            for column in 0..columns {
                let dull = unit.emissivity_truth.at(row, column).is_some_and(|emissivity| emissivity >= 0.85);
                if !dull || !away_from_edges(&unit.emissivity_truth, row, column, 3) {
                    continue;
                }
                if let (Some(got), Some(truth)) =
                    (corrected.at(row, column), unit.surface_truth.at(row, column))
                {
                    squares += f64::from(got - truth).powi(2);
                    count += 1;
                }
            }
        }
        let error = (squares / f64::from(count)).sqrt();
        assert!(count > 100_000, "only {count} pixels were held against the truth");
        assert!(error <= 0.15, "unit {index}: {error:.3} K over {count} pixels");
    }
}

/// The samples as a person would load them: four good boards, one unit, placements, limits and netlist.
fn compare_sample(unit: &str, boards: usize, rule: Rule) -> (Session, Comparison) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let mut session = Session::default();
    let mut shelf = Shelf::new();
    let good =
        ["good-1.tiff", "good-2.tiff", "good-3.tiff", "good-4.tiff"].map(|name| (name, Role::Baseline));
    for (name, role) in good.into_iter().take(boards).chain([(unit, Role::Unit)]) {
        let bytes = std::fs::read(folder.join(name)).unwrap();
        let sidecar = &sidecar_names(name)[0];
        let (mut metadata, warnings) = parse_sidecar(sidecar, &text(sidecar)).unwrap();
        assert_eq!(warnings, [], "{sidecar}");
        let decoded = read_capture(name, &bytes, &metadata).unwrap();
        complete_meaning(&mut metadata, decoded.samples);
        let hash = ContentHash::of(&bytes);
        shelf.insert(hash.clone(), Arc::new(decoded.pixels));
        let record = CaptureRecord { hash, file_name: name.to_owned(), role, metadata };
        session.apply(Command::AddCapture { record }).unwrap();
    }
    let corners = session.captures[0].metadata.corners.iter().map(|corner| corner.on_baseline()).collect();
    let (placements, _) = parse_placements("placement.csv", &text("placement.csv"), None).unwrap();
    let (limits, _) = parse_limits("limits.csv", &text("limits.csv")).unwrap();
    let (netlist, odd) = parse_netlist("netlist.ipc", &text("netlist.ipc")).unwrap();
    assert_eq!(odd, []);
    let criteria = Criteria { rule, ..Criteria::default() };
    for command in [
        Command::LoadNetlist { file_name: "netlist.ipc".to_owned(), netlist },
        Command::SetCriteria { criteria },
        Command::MarkCorners { corners },
        Command::LoadPlacements { file_name: "placement.csv".to_owned(), placements },
        Command::LoadLimits { file_name: "limits.csv".to_owned(), limits },
        Command::SetSurroundings {
            surroundings: Surroundings {
                reflected: Kelvin::from_celsius(22.5).unwrap(),
                ..Surroundings::default()
            },
        },
    ] {
        session.apply(command).unwrap();
    }
    let comparison = compare(&session, &shelf).unwrap();
    assert_eq!(comparison.left_out, []);
    (session, comparison)
}

#[test]
fn a_good_sample_shows_nothing() {
    for (boards, rule) in WAYS {
        let (_, comparison) = compare_sample("good-5.pgm", boards, rule);
        let by_limit = matches!(comparison.judged_by, JudgedBy::Limit { .. });
        assert_eq!(by_limit, rule == Rule::Limit, "three good boards are enough to learn from");
        assert_eq!(comparison.findings, [], "{boards} {rule:?}");
    }
}

/// With how many good boards, and by which rule.
const WAYS: [(usize, Rule); 3] = [(4, Rule::Limit), (3, Rule::GoodBoardsSpread), (4, Rule::GoodBoardsSpread)];

#[test]
fn the_samples_gerber_layers_tell_the_same_board_as_its_table_and_its_corners() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let layer = |name: &str| match parse_gerber(name, &text(name)).unwrap() {
        (layer, warnings) if warnings.is_empty() => layer,
        (_, warnings) => panic!("{name}: {warnings:?}"),
    };
    let GerberLayer::Outline(outline) = layer("profile.gbr") else { panic!("no outline") };
    let (sidecar, _) = parse_sidecar("good-1.tiff.json", &text("good-1.tiff.json")).unwrap();
    let marked: Vec<_> = sidecar.corners.iter().map(|mark| mark.board).collect();
    assert_eq!(outline.corners().unwrap().to_vec(), marked);
    let GerberLayer::Components { placements, .. } = layer("components-top.gbr") else { panic!("no parts") };
    let (table, _) = parse_placements("placement.csv", &text("placement.csv"), None).unwrap();
    assert_eq!(placements.len(), table.len());
    for (part, row) in placements.iter().zip(&table) {
        assert_eq!(
            (&part.designator, &part.value, part.rotation),
            (&row.designator, &row.value, row.rotation)
        );
        assert!(part.center.distance(row.center) < 1e-5, "{part:?} {row:?}");
        assert!((0..2).all(|axis| (part.size[axis] - row.size[axis]).abs() < 1e-5), "{part:?} {row:?}");
    }
}

/// What to expect is read off the lines of sample-captures/netlist.ipc.
#[test]
fn the_probes_for_a_seeded_fault_name_its_nets_and_where_to_touch_them() {
    let nets = |unit: &str| {
        let (_, comparison) = compare_sample(unit, 4, Rule::Limit);
        let contacts = comparison.probes.first().unwrap().contacts.clone();
        let touch = |contact: Contact| (contact.net, contact.touch.map(|touch| touch.place));
        contacts.into_iter().map(touch).collect::<Vec<_>>()
    };
    let at = |net: &str, place: &str| (net.to_owned(), Some(place.to_owned()));
    // Q2: the pads made for testing lie 3.5 and 9.2 mm from the middle of its pins.
    let mut lamp_switch = nets("faulty-hot.tiff");
    lamp_switch.sort();
    assert_eq!(lamp_switch, [at("LAMP_GATE", "TP6"), at("LAMP_SENSE", "Q2 pin 3"), at("LAMP_SWITCH", "TP5")]);
    // Two planes touch about (35.9, 37.9) mm: C23 has one pad on each.
    let mut planes = nets("faulty-buried.tiff");
    planes.sort();
    planes.dedup();
    let names: Vec<&str> = planes.iter().map(|(net, _)| net.as_str()).collect();
    assert_eq!(names, ["+3V3", "GND"]);
    assert!(planes.iter().all(|(_, place)| place.is_some()), "{planes:?}");
}

#[test]
fn the_seeded_fault_of_every_faulty_sample_is_found_first_named_and_placed() {
    for (boards, rule) in WAYS {
        faults_are_found(boards, rule);
    }
}

fn faults_are_found(boards: usize, rule: Rule) {
    let truth = include_str!("../sample-captures/truth.json");
    let truth: Value = serde_json::from_str(truth).unwrap();
    let faulty = truth["captures"].as_array().unwrap().iter().filter(|capture| !capture["fault"].is_null());
    let mut checked = 0;
    for capture in faulty {
        let file = capture["file"].as_str().unwrap();
        let fault = &capture["fault"];
        let (session, comparison) = compare_sample(file, boards, rule);
        let first = comparison.findings.first().unwrap_or_else(|| panic!("{file}: nothing found"));
        assert_eq!(first.designator.as_deref(), fault["designator"].as_str(), "{file}: {first:?}");
        let peak = fault["peak_K"].as_f64().unwrap();
        assert_eq!(first.peak.value() > 0.0, peak > 0.0, "{file}");
        // The place: within half the fault's own width.
        let map = board_to_picture(&session.layout).unwrap().unwrap();
        let seeded = Point::new(fault["at_mm"][0].as_f64().unwrap(), fault["at_mm"][1].as_f64().unwrap());
        let width = fault["width_at_half_peak_mm"].as_f64().unwrap();
        for place in [first.peak_at, first.centroid] {
            let away = map.inverse().apply(place).distance(seeded);
            assert!(away <= width / 2.0, "{file}: {away:.1} mm away");
        }
        // Emissivity is left at the default and unit spread adds to the fault: a fifth of it is allowed,
        // and a kelvin for the weak ones.
        let off = (first.peak.value() - peak).abs();
        assert!(off <= 0.2 * peak.abs() + 1.0, "{file}: {} K for {peak} K", first.peak.value());
        checked += 1;
    }
    assert_eq!(checked, 4, "the sample set has four faulty units");
}
