//! Netlists: what an independent library wrote, and what writers in the field are known to do differently.

use analysis::board::{
    Netlist, NetlistError, NetlistWarning, Placement, PointKind, Side, is_netlist, parse_netlist,
};
use analysis::geometry::Point;
use analysis::inspection::{Contact, Nets, ProbeQuantity, contact_words, suggest_probes};

use proptest::prelude::*;

use super::found;
use super::pictures::{board_to_picture, bodies, part, picture};

fn file(name: &str) -> String {
    std::fs::read_to_string(format!("{}/data/netlists/{name}", env!("CARGO_MANIFEST_DIR")))
        .expect("test data")
}

const HEAD: &str = "P  CODE 00\nP  UNITS CUST 0\n";

fn read(records: &str) -> (Netlist, Vec<NetlistWarning>) {
    parse_netlist("board.ipc", &format!("{HEAD}{records}999\n")).unwrap()
}

/// Written with gerbonara 1.6.3; the values are those of BOARD in data/netlists/make.py.
#[test]
fn a_netlist_of_an_independent_writer_is_read_in_both_units() {
    let long = "BEACON_SUPPLY_AFTER_THE_FUSE";
    let (smd, hole) = (PointKind::SurfaceMount, PointKind::ThroughHole);
    let board = [
        (smd, Some("GND"), Some("R1"), Some("2"), [12.7, 5.08], [true, false]),
        (smd, Some(long), Some("R1"), Some("1"), [10.16, 5.08], [true, false]),
        (smd, Some("SIGNAL"), Some("U2"), Some("14"), [-3.81, 25.4], [false, true]),
        (PointKind::Via, Some("GND"), None, None, [2.54, -1.27], [false, false]),
        (hole, Some(long), Some("TP1"), Some("1"), [20.32, 7.62], [true, true]),
        (PointKind::Unplated, None, Some("H1"), Some("1"), [1.27, 1.27], [false, false]),
    ];
    for name in ["inch.ipc", "metric.ipc"] {
        let text = file(name);
        assert!(is_netlist(&text), "{name}");
        let (netlist, warnings) = parse_netlist(name, &text).unwrap();
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        assert_eq!(netlist.points().len(), board.len());
        for (point, (kind, net, designator, pin, at, reached)) in netlist.points().iter().zip(board) {
            assert_eq!((point.kind, point.net.as_deref()), (kind, net));
            assert_eq!((point.designator.as_deref(), point.pin.as_deref()), (designator, pin));
            assert_eq!(point.at, Point::from(at), "{name}");
            assert_eq!([Side::Top, Side::Bottom].map(|side| point.reached_from(side)), reached, "{point:?}");
        }
    }
}

/// Numbers padded with blanks, no turn and no mask, and a blank net for none: as in the example that comes
/// with the tests of pcb-tools (`gerber/tests/resources/ipc-d-356.ipc`); the lines here are invented.
#[test]
fn numbers_padded_with_blanks_and_short_lines_are_read() {
    let (netlist, warnings) = read(
        "317GND              VIA         D  24PA00X  14900Y   1450X 396Y 396\n\
         327VCC              C3    -1          A01X   -850Y   9924X 512Y 591R270\n\
         317                 J1    -6    D  35PA00X  17900Y   8900X 554Y 554R 90\n\
         389BOARD_EDGE         X0Y0 X22500 Y15000 X0\n",
    );
    assert!(warnings.is_empty(), "{warnings:?}");
    let points = netlist.points();
    // 0.0001 inch is 2.54 µm by definition.
    assert_eq!(points[0].at, Point::new(37.846, 3.683));
    assert_eq!(points[1].at, Point::new(-2.159, 25.20696));
    assert!(points[0].kind == PointKind::Via && points[0].from_top && points[0].from_bottom);
    assert_eq!((points[2].net.as_deref(), points[2].pin.as_deref()), (None, Some("6")));
}

/// The mask's letter one column earlier, blind vias as 307 and the layer of the far face by the count of
/// layers: as KiCad's writer does (`pcbnew/exporters/export_d356.cpp`); the lines here are invented.
#[test]
fn faces_follow_from_access_and_mask() {
    let (netlist, warnings) = read(
        "327/CLOCK           U1    -3          A04X+001000Y-002000X0118Y0118R000S1\n\
         307/CLOCK           VIA        MD0079PA02X+001000Y-002000X0138Y0000R000S0\n\
         317/CLOCK           VIA        MD0079PA00X+001000Y-002000X0138Y0000R000S2\n",
    );
    assert!(warnings.is_empty(), "{warnings:?}");
    let reached: Vec<_> = netlist.points().iter().map(|point| (point.from_top, point.from_bottom)).collect();
    assert_eq!(reached, [(false, true), (false, false), (true, false)]);
}

#[test]
fn a_long_designator_that_pushes_the_columns_and_a_cut_one_are_both_found() {
    let (netlist, _) = read(
        "327GND              CONNECT12-1          A01X+001000Y+002000X0118Y0118R000 S2\n\
         327GND              MODULE-2          A01X+001000Y+002000X0118Y0118R000 S2\n",
    );
    assert_eq!(netlist.of_part("CONNECT12")[0].at, Point::new(2.54, 5.08));
    assert_eq!(netlist.of_part("MODULE7")[0].pin.as_deref(), Some("2"));
    assert!(netlist.of_part("MODUL").is_empty());
}

#[test]
fn what_cannot_be_read_is_told_with_its_line_and_the_rest_stays() {
    let (netlist, warnings) = parse_netlist(
        "board.ipc",
        "C  made by hand\nP  UNITS CUST 1\nP  NNAME1 A_LONG_NAME\nP  NNAME1 ANOTHER\n\
         327NNAME1           R1    -1          A01X+001000Y+002000X0118Y0118R000 S2\n\
         327NNAME2           R1    -2          A01X+001000Y+00Z000X0118Y0118R000 S2\n\
         327NNAME2           R1    -2          A01X+003000Y+002000X0118Y0118R000 S2\n\
         027 X0100Y0100\n?? what\n",
    )
    .unwrap();
    let nets: Vec<_> = netlist.points().iter().map(|point| point.net.as_deref().unwrap()).collect();
    assert_eq!(nets, ["A_LONG_NAME", "NNAME2"]);
    assert_eq!(netlist.points()[1].at, Point::new(3.0, 2.0));
    assert_eq!(
        warnings,
        [
            NetlistWarning::AliasTwice { alias: "NNAME1".into(), line: 4 },
            NetlistWarning::OddRecords { lines: vec![6] },
            NetlistWarning::UnknownLines { lines: vec![9] },
            NetlistWarning::NoEnd,
            NetlistWarning::UnknownAlias { alias: "NNAME2".into() },
        ]
    );
    assert!(warnings[1].to_string().contains("line 6"), "{}", warnings[1]);
}

#[test]
fn a_netlist_without_a_unit_or_a_point_is_refused_with_what_to_do() {
    let record = "327GND              R1    -2          A01X+001000Y+002000X0118Y0118R000 S2\n";
    let refused = |text: &str| parse_netlist("board.ipc", text).unwrap_err();
    let unstated = refused(record);
    assert!(matches!(unstated, NetlistError::UnitUnstated { line: 1, .. }), "{unstated}");
    assert!(unstated.to_string().starts_with("board.ipc, line 1: nothing states the unit"), "{unstated}");
    let unknown = refused(&format!("P  UNITS FURLONGS\n{record}"));
    assert!(matches!(&unknown, NetlistError::UnknownUnit { text, .. } if text == "FURLONGS"), "{unknown}");
    for text in ["", "P  UNITS CUST 0\n999\n", "P  UNITS CUST 0\n327GND\n327\u{b5}\u{b5}\n"] {
        let none = refused(text);
        assert!(matches!(none, NetlistError::NoPoints { .. }), "{none}");
    }
    assert!(!is_netlist("Ref,X (mm),Y (mm)\nR1,1,2\n") && !is_netlist("317,327,367\n317,327,367\n"));
}

#[test]
fn another_origin_is_found_from_the_parts_and_other_axes_are_not_taken() {
    let placed = |designator: &str, x: f64, y: f64| Placement {
        designator: designator.to_owned(),
        center: Point::new(x, y),
        rotation: 0.0,
        side: Side::Top,
        package: String::new(),
        size: [2.0, 1.0],
        value: String::new(),
    };
    // In thousandths of a millimetre: middles at (10, 20), (40, 25) and (30, 60) mm.
    let records: String = [("R1", 10, 20), ("R2", 40, 25), ("R3", 30, 60)]
        .iter()
        .flat_map(|(name, x, y)| {
            [(1, x * 1000 - 900), (2, x * 1000 + 900)].map(|(pin, x)| {
                format!("327N{pin:<13}   {name:<6}-{pin:<4}       A01X{x:+07}Y{:+07}\n", y * 1000)
            })
        })
        .collect();
    let (netlist, _) = parse_netlist("board.ipc", &format!("P  UNITS CUST 1\n{records}999\n")).unwrap();
    let moved = [placed("R1", 110.0, 15.0), placed("R2", 140.0, 20.0), placed("R3", 130.0, 55.0)];
    assert_eq!(netlist.shift_to(&moved), Some([100.0, -5.0]));
    let same = [placed("R1", 10.1, 20.0), placed("R2", 40.0, 25.0), placed("R3", 30.0, 60.0)];
    assert_eq!(netlist.shift_to(&same), Some([0.0, 0.0]));
    let downward = [placed("R1", 10.0, -20.0), placed("R2", 40.0, -25.0), placed("R3", 30.0, -60.0)];
    assert_eq!(netlist.shift_to(&downward), None);
    assert_eq!(netlist.shift_to(&[]), None);
}

/// Pads around U1, whose middle lies at (50, 69.75) mm, in an origin 100 mm further to the left.
const AROUND_U1: &str = "P  UNITS CUST 1\n\
    327+5V              U1    -1          A01X-052000Y+069750X1000Y1000R000 S2\n\
    327ENABLE           U1    -2          A01X-050000Y+069750X1000Y1000R000 S2\n\
    327GND              U1    -3          A01X-048000Y+069750X1000Y1000R000 S2\n\
    327N/C              U1    -4          A01X-050000Y+070750X1000Y1000R000 S2\n\
    327N/C              U1    -5          A01X-050000Y+068750X1000Y1000R000 S2\n\
    327+5V              TP2   -1          A01X-050000Y+074750X1000Y1000R000 S2\n\
    327+5V              TP3   -1          A01X-050000Y+089750X1000Y1000R000 S2\n\
    327GND              C9    -2          A01X-046000Y+069750X1000Y1000R000 S2\n\
    327GND              C8    -1          A02X-046000Y+068750X1000Y1000R000 S1\n\
    327LAMP             C8    -2          A02X-025000Y+069750X1000Y1000R000 S1\n\
    317LAMP             VIA        MD0300PA00X-026000Y+069750X0600Y0000R000 S3\n\
    999\n";

fn around_u1() -> Netlist {
    parse_netlist("board.ipc", AROUND_U1).unwrap().0
}

fn placed_u1() -> [Placement; 1] {
    [part("U1", 200.0, 200.0, [5.0, 5.0])]
}

/// Each net with the place to touch, its distance in mm, and a note where that is the other side.
fn touched(contacts: &[Contact]) -> Vec<String> {
    let touch = |contact: &Contact| {
        let touch = contact.touch.as_ref().unwrap();
        let side = if touch.far_side { " (far)" } else { "" };
        format!("{}: {} {:.3}{side}", contact.net, touch.place, touch.distance_mm)
    };
    contacts.iter().map(touch).collect()
}

#[test]
fn a_parts_nets_come_with_the_test_point_beside_it_or_its_own_pin() {
    let (netlist, placements, map) = (around_u1(), placed_u1(), board_to_picture());
    let top = Nets::new(&netlist, Side::Top, &placements, Some(&map)).unwrap();
    // By hand from the lines above: three points of +5V, of which TP2 is 5 mm off the middle of the pins and
    // TP3 too far; the one pin of ENABLE; ground, though it has as many points, last.
    assert_eq!(
        touched(&top.of_part("U1")),
        ["+5V: TP2 5.000", "ENABLE: U1 pin 2 0.000", "GND: U1 pin 3 2.000",]
    );
    assert_eq!(top.of_part("U1")[2].pins, ["3"]);
    assert!(top.of_part("U9").is_empty());
    // From below only C8's pad of GND is bare; the rest is told as reached from the other side.
    let bottom = Nets::new(&netlist, Side::Bottom, &placements, Some(&map)).unwrap();
    assert_eq!(
        touched(&bottom.of_part("U1")),
        ["+5V: TP2 5.000 (far)", "ENABLE: U1 pin 2 0.000 (far)", "GND: C8 pin 1 4.123",]
    );
    assert!(Nets::new(&Netlist::default(), Side::Top, &placements, Some(&map)).is_none());
}

#[test]
fn a_place_on_no_part_names_the_nets_close_to_it_through_the_picture() {
    let (netlist, placements, map) = (around_u1(), placed_u1(), board_to_picture());
    let nets = Nets::new(&netlist, Side::Top, &placements, Some(&map)).unwrap();
    // 4 pixels are 1 mm: pixel (300, 200) is (75, 69.75) mm, and (-25, 69.75) mm to the netlist.
    let contacts = nets.around(Point::new(300.0, 200.0));
    assert_eq!(touched(&contacts), ["LAMP: C8 pin 2 0.000 (far)"]);
    assert!(nets.around(Point::new(420.0, 200.0)).is_empty());
    let unplaced = Nets::new(&netlist, Side::Top, &placements, None).unwrap();
    assert!(unplaced.around(Point::new(300.0, 200.0)).is_empty() && !unplaced.of_part("U1").is_empty());
}

#[test]
fn the_probe_list_names_nets_where_two_points_are_measured_between() {
    let (netlist, placements, map) = (around_u1(), placed_u1(), board_to_picture());
    let nets = Nets::new(&netlist, Side::Top, &placements, Some(&map)).unwrap();
    let warm = picture(480, 640, |x, y| if (x - 200.0).hypot(y - 200.0) <= 8.0 { 20.0 } else { 0.0 });
    let findings = found(&warm, &bodies(&placements));
    let probes = suggest_probes(&findings, &[], &placements, Some(&nets));
    let without = suggest_probes(&findings, &[], &placements, None);
    let keys = |probes: &[analysis::inspection::Probe]| -> Vec<_> {
        probes.iter().map(|probe| probe.key.clone()).collect()
    };
    assert_eq!(keys(&probes), keys(&without));
    assert!(without.iter().all(|probe| probe.contacts.is_empty()));
    for probe in &probes {
        let in_its_path = probe.key.quantity == ProbeQuantity::Current;
        assert_eq!(probe.contacts.is_empty(), in_its_path, "{probe:?}");
    }
    assert_eq!(
        contact_words(&probes[0].contacts).unwrap(),
        "Nets: +5V (pin 1) at TP2, 5.0 mm away; ENABLE (pin 2) at U1 pin 2, 0.0 mm away; \
         GND (pin 3) at U1 pin 3, 2.0 mm away."
    );
    assert_eq!(contact_words(&[]), None);
}

proptest! {
    #[test]
    fn any_text_is_a_netlist_or_an_error_that_names_the_file(
        records in prop::collection::vec("[0379CPUS][0-9]7[A-Z0-9 /+.µ-]{0,80}", 0..12),
        noise in any::<String>(),
    ) {
        for text in [records.join("\n"), format!("{HEAD}{}", records.join("\n")), noise] {
            if let Err(error) = parse_netlist("board.ipc", &text) {
                prop_assert!(error.to_string().starts_with("board.ipc"), "{error}");
            }
        }
    }
}
