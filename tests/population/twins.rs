//! Parts of one kind against each other on one simulated board, no good board known.
//!
//! The board is an invented lamp driver: the sample board's outline and
//! planes with other parts on it.

use std::sync::Arc;

use analysis::capture::CornerMark;
use analysis::comparison::{
    CannotCheckTwins, Shelf, can_check_twins, check_twins, left_open, probes_among_twins,
    suggest_among_twins, unit_alone,
};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, RawNumber};
use analysis::inspection::ProbeReading;
use analysis::population::{
    FalseAlarms, OneBoard, Trust, TwinCheck, TwinStanding, UsualSpread, compare_twins,
};
use analysis::radiometry::Surroundings;
use analysis::session::{CaptureRecord, Command, Outcome, Role, Session};
use analysis::synthetic::{BoardDesign, Fault, Pour, beacon_board};
use analysis::units::{Kelvin, KelvinDifference, TemperatureUnit};

use super::simulated::{Bench, Corrected, SPREAD};

/// Eight switches, six controllers and four shunts, all of a kind doing the same work.
fn lamp_driver() -> BoardDesign {
    let sample = beacon_board();
    let part = |like: &str, designator, x: usize, y: usize, power| {
        let mut part = sample.part(like).unwrap().clone();
        (part.designator, part.center) = (designator, [x as f64, y as f64]);
        (part.rotation, part.power) = (0.0, power);
        part
    };
    let mut parts = Vec::new();
    let switches = ["Q1", "Q2", "Q3", "Q4", "Q5", "Q6", "Q7", "Q8"];
    for (index, designator) in switches.into_iter().enumerate() {
        parts.push(part("Q2", designator, 14 + 24 * (index % 4), 58 - 38 * (index / 4), 0.20));
    }
    for (index, designator) in ["U1", "U2", "U3", "U4", "U5", "U6"].into_iter().enumerate() {
        parts.push(part("U6", designator, 26 + 24 * (index % 3), 58 - 38 * (index / 3), 0.10));
    }
    for (index, designator) in ["R1", "R2", "R3", "R4"].into_iter().enumerate() {
        parts.push(part("R1", designator, 14 + 24 * index, 39, 0.10));
    }
    // Every switch has an outer layer of copper to itself, alike for all.
    let pours = (0..8).map(|index| {
        let (x, y) = (14 + 24 * (index % 4), 58 - 38 * (index / 4));
        Pour {
            from: [f64::from(x) - 9.0, f64::from(y) - 9.0],
            to: [f64::from(x) + 9.0, f64::from(y) + 9.0],
            sheet_conductance: 2.0 * sample.sheet_conductance,
        }
    });
    let pours = pours.collect();
    BoardDesign { product: "Lamp driver (invented)", parts, patches: Vec::new(), pours, ..sample }
}

fn check(bench: &Bench, unit: &Corrected) -> TwinCheck {
    let board = OneBoard {
        surface: &bench.trusted(unit),
        ambient: unit.ambient,
        noise: KelvinDifference::new(bench.population.camera.netd).unwrap(),
        usual: UsualSpread::default(),
        false_alarms: FalseAlarms::default(),
    };
    compare_twins(&board, &bench.population.design.placements(), &bench.footprints())
}

#[test]
fn the_part_that_differs_from_its_twins_is_named_with_its_size_and_healthy_boards_are_left_alone() {
    let bench = Bench::of(lamp_driver(), SPREAD, 51);
    for unit in bench.units(1..4) {
        let found = check(&bench, &unit);
        assert_eq!((found.groups.len(), found.unread.len(), found.alone.len()), (3, 0, 0), "{found:?}");
        assert!(found.groups.iter().all(|group| group.trust == Trust::Agreeing), "{found:?}");
        assert_eq!(found.named(), Vec::<&TwinStanding>::new());
    }
    for (index, (designator, step)) in (20..).zip([("Q6", 0.10), ("Q3", -0.12), ("U2", 0.05), ("R3", -0.05)])
    {
        let found = check(&bench, &bench.unit(index, Some(&Fault::Hot { designator, extra_watts: step })));
        let named = found.named();
        let [differs] = named.as_slice() else { panic!("{designator}: {named:?}") };
        assert_eq!(differs.designator, designator);
        // A step follows the power: it differs by the share that the power does.
        let share = step / bench.population.design.part(designator).unwrap().power;
        let twins = differs.step.value - differs.difference.value;
        let off = differs.difference.value - share * twins;
        assert!(off.abs() < 2.0 * differs.difference.standard_uncertainty, "{differs:?}: {off} K off");
    }
}

/// A session with this unit and no known-good board.
fn with_unit_alone(bench: &Bench, unit: &Corrected) -> (Session, Shelf) {
    let (hash, map) = (ContentHash::of(b"unit"), ContentHash::of(b"emissivities"));
    let emissivity = Frame::<RawNumber>::new(bench.emissivity.view().to_owned()).unwrap();
    let shelf = Shelf::from([
        (hash.clone(), Arc::new(unit.simulated.capture.clone())),
        (map.clone(), Arc::new(emissivity)),
    ]);
    let metadata = unit.simulated.metadata.clone();
    let corners = metadata.corners.iter().copied().map(CornerMark::on_baseline).collect();
    let record = CaptureRecord { hash, file_name: "unit.tiff".to_owned(), role: Role::Unit, metadata };
    let placements = bench.population.design.placements();
    let reflected = Kelvin::new(unit.ambient.value() + bench.population.reflected_offset).unwrap();
    let mut session = Session::default();
    for command in [
        Command::SetSurroundings { surroundings: Surroundings { reflected, ..Surroundings::default() } },
        Command::AddCapture { record },
        Command::UseEmissivityMap { map: Some(map), uncertainty: None },
        Command::LoadPlacements { file_name: "placement.csv".to_owned(), placements },
        Command::MarkCorners { corners },
    ] {
        session.apply(command).unwrap();
    }
    (session, shelf)
}

#[test]
fn a_unit_without_any_good_board_names_its_odd_part_from_the_files_alone() {
    let bench = Bench::of(lamp_driver(), SPREAD, 51);
    let unit = bench.unit(20, Some(&Fault::Hot { designator: "Q6", extra_watts: 0.10 }));
    let (session, shelf) = with_unit_alone(&bench, &unit);
    let report = check_twins(&session, &shelf, &unit_alone(&session, &shelf).unwrap()).unwrap();
    let named: Vec<_> = report.check.named().iter().map(|part| part.designator.as_str()).collect();
    assert_eq!(named, ["Q6"]);
    let suggestion = suggest_among_twins(&session, &report).unwrap();
    assert_eq!(suggestion.outcome, Outcome::Recheck);
    assert!(suggestion.reasons[0].starts_with("Q6 is "), "{suggestion:?}");
    assert_eq!(left_open(&report.check).len(), 1, "every part has its twins here");

    // It is probed as a hot transistor is, with sound ones of its kind to compare; a reading beyond what it should be
    // decides.
    let probes = probes_among_twins(&session, &report);
    assert!(probes.iter().all(|probe| probe.key.target == "Q6") && probes[0].unpowered, "{probes:?}");
    let words = probes[0].reason.words(TemperatureUnit::Celsius);
    assert!(words.contains("hotter than its like") && words.contains("Measure Q"), "{words}");
    assert!(!words.contains("Measure Q6") && !words.contains(", Q6"), "{words}");
    let mut read = session.clone();
    let reading = ProbeReading { expected: "3.3".into(), read: "0.2".into(), ..ProbeReading::default() };
    read.apply(Command::RecordReading { key: probes[1].key.clone(), reading }).unwrap();
    assert_eq!(suggest_among_twins(&read, &report).unwrap().outcome, Outcome::Fail);

    let mut unmarked = session.clone();
    unmarked.apply(Command::MarkCorners { corners: Vec::new() }).unwrap();
    assert_eq!(can_check_twins(&unmarked), Err(CannotCheckTwins::NotPlaced));
    let mut unplaced = session;
    unplaced.apply(Command::LoadPlacements { file_name: String::new(), placements: Vec::new() }).unwrap();
    assert_eq!(can_check_twins(&unplaced), Err(CannotCheckTwins::NoParts));
}
