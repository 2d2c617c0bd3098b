//! Gerber layers: what independent libraries wrote and read, and the format's own example.
//!
//! The files and what they should hold come from data/gerber/make.py.

use analysis::board::{
    BoardOutline, GerberError, GerberLayer, GerberWarning, Placement, Side, footprints, is_gerber,
    parse_gerber, parse_placements,
};
use analysis::geometry::{BoardMillimeters, Homography, Point};

use proptest::prelude::*;

use super::pictures::board_to_picture;

fn file(name: &str) -> String {
    std::fs::read_to_string(format!("{}/data/gerber/{name}", env!("CARGO_MANIFEST_DIR"))).expect("test data")
}

fn read(name: &str, text: &str) -> (GerberLayer, Vec<GerberWarning>) {
    assert!(is_gerber(text), "{name}");
    parse_gerber(name, text).unwrap()
}

fn outline(text: &str) -> (BoardOutline, Vec<GerberWarning>) {
    match read("profile.gbr", text) {
        (GerberLayer::Outline(outline), warnings) => (outline, warnings),
        (other, _) => panic!("no outline: {other:?}"),
    }
}

fn parts(text: &str) -> (Side, Vec<Placement>, Vec<GerberWarning>) {
    match read("components.gbr", text) {
        (GerberLayer::Components { side, placements }, warnings) => (side, placements, warnings),
        (other, _) => panic!("no parts: {other:?}"),
    }
}

fn area(edge: &[Point<BoardMillimeters>]) -> f64 {
    let next = edge.iter().cycle().skip(1);
    edge.iter().zip(next).map(|(a, b)| a.x * b.y - a.y * b.x).sum::<f64>().abs() / 2.0
}

/// The board of make.py: 80 × 50 mm from (−5, 12.5), corners rounded by 4 mm, an opening of 3 mm radius.
#[test]
fn the_profile_of_an_independent_writer_is_joined_and_its_arcs_follow_within_the_tolerance() {
    for name in ["profile-mm.gbr", "profile-inch.gbr", "profile-comments.gbr"] {
        let (outline, warnings) = outline(&file(name));
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        let corners = outline.corners().unwrap();
        let expected = [(-5.0, 12.5), (75.0, 12.5), (75.0, 62.5), (-5.0, 62.5)];
        for (corner, (x, y)) in corners.iter().zip(expected) {
            // A millionth of an inch is the step of the file in inches.
            assert!((corner.x - x).abs() < 3e-5 && (corner.y - y).abs() < 3e-5, "{name}: {corner:?}");
        }
        // Chords lie inside the arc by the stated 0.01 mm at most: along four quarters of 4 mm radius that is less
        // than 2π · 4 · 0.01 mm² of area.
        let whole = 80.0 * 50.0 - (4.0 - std::f64::consts::PI) * 16.0;
        let lost = whole - area(&outline.loops()[0]);
        assert!((-1e-3..0.26).contains(&lost), "{name}: {lost}");
        let edge = &outline.loops()[0];
        for (a, b) in edge.iter().zip(edge.iter().cycle().skip(1)) {
            let middle = Point::<BoardMillimeters>::new((a.x + b.x) / 2.0, (a.y + b.y) / 2.0);
            let rounded = Point::new(middle.x.clamp(-1.0, 71.0), middle.y.clamp(16.5, 58.5));
            // On the edge every place is 4 mm from the inner rectangle.
            assert!((middle.distance(rounded) - 4.0).abs() < 0.0101, "{name}: {middle:?}");
        }
        if name != "profile-comments.gbr" {
            assert_eq!(outline.loops().len(), 2, "{name}");
            let opening = &outline.loops()[1];
            let centre = Point::new(35.0, 40.0);
            assert!(opening.iter().all(|place| (place.distance(centre) - 3.0).abs() < 1e-4), "{name}");
            assert!(opening.len() > 12, "{name}");
        }
    }
}

/// What stands in components.csv was read by gerbonara from the same files.
#[test]
fn designators_values_turns_and_places_are_those_that_an_independent_reader_finds() {
    let read = [parts(&file("components-top.gbr")), parts(&file("components-bottom.gbr"))];
    let mut found = Vec::new();
    for (side, placements, warnings) in &read {
        assert!(warnings.is_empty(), "{warnings:?}");
        assert!(placements.iter().all(|part| part.side == *side));
        found.extend(placements);
    }
    let table = file("components.csv");
    let rows: Vec<Vec<&str>> = table.lines().skip(1).map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), found.len());
    for (row, part) in rows.iter().zip(found) {
        let number = |column: usize| row[column].parse::<f64>().unwrap();
        assert_eq!(row[0] == "top", part.side == Side::Top);
        assert_eq!((row[1], row[3], row[4]), (&*part.designator, &*part.package, &*part.value));
        assert_eq!(number(2), part.rotation);
        // J1 alone has its reference point on its first pin; make.py says how far from the middle.
        let off = if part.designator == "J1" { 2.5 } else { 0.0 };
        assert!((number(5) + off - part.center.x).abs() < 2e-6, "{part:?}");
        assert!((number(6) - part.center.y).abs() < 2e-6, "{part:?}");
    }
}

#[test]
fn component_layers_of_both_sides_tell_the_same_as_the_same_boards_table() {
    let (mut layers, table) = (Vec::new(), file("placement.csv"));
    for side in ["top", "bottom"] {
        layers.extend(parts(&file(&format!("components-{side}.gbr"))).1);
    }
    let (table, _) = parse_placements("placement.csv", &table, None).unwrap();
    assert_eq!(layers.len(), table.len());
    for (layer, row) in layers.iter().zip(&table) {
        let said = |part: &Placement| {
            (part.designator.clone(), part.side, part.rotation, part.package.clone(), part.value.clone())
        };
        assert_eq!(said(layer), said(row));
        // The file's step is a nanometre, a turned corner is rounded to it.
        assert!(layer.center.distance(row.center) < 2e-6, "{layer:?} {row:?}");
        for axis in [0, 1] {
            assert!((layer.size[axis] - row.size[axis]).abs() < 5e-6, "{layer:?} {row:?}");
        }
    }
    // All parts of make.py lie on its board; from an origin 100 mm away none does.
    let (outline, _) = outline(&file("profile-mm.gbr"));
    assert!(outline.fits(&layers));
    for part in &mut layers {
        part.center.x += 100.0;
    }
    assert!(!outline.fits(&layers));
}

/// The corners that a part's outline has in the file itself, in board millimetres: all layers are seen from the
/// top (specification, 6.3).
fn drawn_corners(text: &str, designator: &str) -> Vec<Point<BoardMillimeters>> {
    let lines = text.lines().skip_while(|line| *line != format!("%TO.C,{designator}*%"));
    let strokes = lines.skip_while(|line| !line.ends_with("D02*")).take_while(|line| line.starts_with('X'));
    let number = |text: &str| text.parse::<f64>().unwrap() / 1e6;
    strokes
        .map(|stroke| {
            let (x, y) = stroke[1..stroke.find('D').unwrap()].split_once('Y').unwrap();
            Point::new(number(x), number(y))
        })
        .take(4)
        .collect()
}

#[test]
fn both_sides_lie_where_the_file_draws_them_the_bottom_on_a_mirrored_picture() {
    // Seen from below the board's x axis runs to the left: 4 pixels a millimetre, x = 0 at column 400.
    let from_below = Homography::try_from([-4.0, 0.0, 400.0, 0.0, -4.0, 479.0, 0.0, 0.0, 1.0]).unwrap();
    for (side, name, turned, map) in [
        (Side::Top, "components-top.gbr", "U1", board_to_picture()),
        (Side::Bottom, "components-bottom.gbr", "Q1", from_below),
    ] {
        let text = file(name);
        let (_, placements, _) = parts(&text);
        let bodies = footprints(&placements, side, &map);
        assert_eq!(bodies.len(), placements.len());
        let body = bodies.iter().find(|body| body.designator == turned).unwrap();
        let drawn = drawn_corners(&text, turned);
        assert_eq!(drawn.len(), 4);
        for corner in drawn {
            let pixel = map.apply(corner);
            let nearest = body.corners.iter().map(|seen| seen.distance(pixel)).fold(f64::INFINITY, f64::min);
            assert!(nearest < 1e-4, "{name}: {pixel:?} {:?}", body.corners);
        }
        let other = if side == Side::Top { Side::Bottom } else { Side::Top };
        assert!(footprints(&placements, other, &map).is_empty());
    }
}

/// The annotated example of The Gerber Layer Format Specification, revision 2024.05, chapter 6.9, in full but for
/// the file attributes on who made it.
const SPECIFIED: &str = "%TF.FileFunction,Component,L1,Top*%\n%TF.FilePolarity,Positive*%\n%FSLAX46Y46*%\n%MOMM*%\n\
    %LPD*%\nG04 Aperture begin list*\n%TA.AperFunction,ComponentMain*%\n%ADD10C,0.3*%\n\
    %TA.AperFunction,ComponentOutline,Courtyard*%\n%ADD11C,0.1*%\n%TA.AperFunction,ComponentPin*%\n\
    %ADD12P,0.36X4X0.0*%\n%ADD13C,0.1*%\n%TD*%\nG04 Aperture end list*\nG04 Begin component info*\nD10*\n\
    %TO.C,R301*%\n%TO.CFtp,R_0805_2012Metric*%\n%TO.CVal,4K7*%\n%TO.CMnt,SMD*%\n%TO.CRot,-90*%\n\
    X218250000Y-73000000D03*\nD11*\nX219250000Y-71310000D02*\nX217250000Y-71310000D01*\n\
    X217250000Y-74690000D01*\nX219250000Y-74690000D01*\nX219250000Y-71310000D01*\nD12*\n%TO.P,R301,1*%\n\
    X218250000Y-72045000D03*\nD13*\n%TO.P,R301,2*%\nX218250000Y-73955000D03*\n%TD*%\n";

#[test]
fn the_specifications_own_example_is_read() {
    let (side, placements, warnings) = parts(&format!("{SPECIFIED}M02*\n"));
    assert_eq!((side, placements.len()), (Side::Top, 1));
    assert!(warnings.is_empty(), "{warnings:?}");
    let part = &placements[0];
    assert_eq!((&*part.designator, &*part.package, &*part.value), ("R301", "R_0805_2012Metric", "4K7"));
    assert_eq!((part.center, part.rotation), (Point::new(218.25, -73.0), -90.0));
    // Only the courtyard is drawn, wider than the part: its name says 2.0 × 1.25 mm, to a hundredth of an inch.
    assert!((part.size[0] - 2.0).abs() < 0.05 && (part.size[1] - 1.25).abs() < 0.05, "{:?}", part.size);
    // Without a telling name the courtyard is what is known: 3.38 mm along the part, 2 mm across.
    let (_, unnamed, _) = parts(&format!("{}M02*\n", SPECIFIED.replace("R_0805_2012Metric", "odd")));
    assert_eq!(unnamed[0].size, [3.38, 2.0]);
}

#[test]
fn commands_in_one_line_or_broken_ones_regions_and_deleted_attributes_are_understood() {
    let text = "G04 100% by hand*%FSLAX24Y24*MOIN*%%TF.FileFunction,Profile,NP*%G01*G36*X+0Y+0D02*X10000D1*\
        Y10000\r\nD01*X0D01*Y0D01*G37*M02*";
    let (outline, warnings) = outline(text);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!((outline.size(), outline.loops()[0].len()), ([25.4, 25.4], 4));

    let body = "%TF.FileFunction,Component,L4,Bot*%%FSLAX46Y46*%%MOMM*%%TA.AperFunction,ComponentMain*%%ADD10C,0.3*%\
        %TD.AperFunction*%%ADD11C,0.1*%D10*%TO.C,U1*%%TO.CPgN,caf\\u00E9*%X1000000Y2000000D03*\
        %TA.AperFunction,ComponentOutline,Body*%G36*X0Y1000000D02*X2000000D01*Y3000000D01*X0D01*Y1000000D01*G37*\
        %TD*%D10*X0Y0D03*D11*X0Y0D03*M02*";
    let (side, placements, warnings) = parts(body);
    assert_eq!((side, placements.len()), (Side::Bottom, 1));
    assert_eq!((placements[0].package.as_str(), placements[0].size), ("café", [2.0, 2.0]));
    let unturned = GerberWarning::RotationUnstated { designators: vec!["U1".into()] };
    assert_eq!(warnings, [unturned, GerberWarning::Nameless { count: 1 }]);
}

/// In the deprecated mode of quarter arcs the centre's offset has no sign: a circle of 1 mm in four.
#[test]
fn quarter_arcs_without_signs_make_a_circle() {
    let text = "%TF.FileFunction,Profile,NP*%\n%FSLAX33Y33*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\nG74*\nG03*\nX1000Y0D02*\n\
        X0Y1000I1000J0D01*\nX-1000Y0I0J1000D01*\nX0Y-1000I1000J0D01*\nX1000Y0I0J1000D01*\nM02*\n";
    let (outline, _) = outline(text);
    let edge = &outline.loops()[0];
    assert!(edge.iter().all(|place| (place.x.hypot(place.y) - 1.0).abs() < 1e-9), "{edge:?}");
    assert!((area(edge) - std::f64::consts::PI).abs() < std::f64::consts::TAU * 0.01);
}

#[test]
fn what_cannot_be_used_is_refused_with_file_reason_and_what_to_do() {
    let refused = |text: &str| parse_gerber("board.gbr", text).unwrap_err();
    let other = parse_gerber("copper.gbr", &file("copper.gbr")).unwrap_err();
    assert!(matches!(&other, GerberError::OtherLayer { function, .. } if function == "Copper,L1,Top,Signal"));
    assert!(
        other.to_string().starts_with("copper.gbr: ") && other.to_string().contains("Profile"),
        "{other}"
    );
    let head = "%TF.FileFunction,Profile,NP*%\n";
    let square = "%FSLAX33Y33*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\nX0Y0D02*\nX9000D01*\nY9000D01*\nX0D01*\n";
    assert!(matches!(refused(square), GerberError::LayerUnstated { .. }));
    assert!(matches!(refused(head), GerberError::Unstated { missing: "the unit (MO)", .. }));
    assert!(matches!(refused(&format!("{head}%MOMM*%\n")), GerberError::Unstated { .. }));
    let open = refused(&format!("{head}{square}M02*\n"));
    assert!(matches!(open, GerberError::NotClosed { at: [0.0, _], .. }), "{open}");
    let empty = refused(&format!("{head}%FSLAX33Y33*%\n%MOMM*%\nM02*\n"));
    assert!(matches!(empty, GerberError::NoOutline { .. }), "{empty}");
    let panel = refused(&format!("{head}%FSLAX33Y33*%\n%MOMM*%\n%SRX2Y2I10J10*%\nM02*\n"));
    assert!(matches!(panel, GerberError::Unsupported { line: 4, .. }), "{panel}");
    let step = refused(&format!("{head}{}", square.replace("FSLA", "FSLI")));
    assert!(matches!(step, GerberError::Unsupported { .. }), "{step}");
    let nobody = refused(&SPECIFIED.replace("ComponentMain", "ComponentPin"));
    assert!(matches!(nobody, GerberError::NoParts { .. }), "{nobody}");
    for error in [open, empty, panel, step, nobody] {
        assert!(error.to_string().starts_with("board.gbr"), "{error}");
    }
    assert!(!is_gerber("Ref,X (mm),Y (mm)\nR1,1,2\n") && !is_gerber("P  UNITS CUST 0\n999\n"));
}

#[test]
fn what_is_odd_is_told_with_its_line_and_the_rest_stays() {
    let text = "%TF.FileFunction,Profile,NP*%\n%FSLAX33Y33*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\nX0Y0D02*\nX9000D01*\n\
        Y9000D01*\n??*\nX9999999999999Y0D01*\nX0Y0D01*\nX20000Y0D02*\nX21000D01*\n";
    let (outline, warnings) = outline(text);
    assert_eq!(outline.size(), [9.0, 9.0]);
    let expected = [
        GerberWarning::OddCommands { lines: vec![9, 10] },
        GerberWarning::NoEnd,
        GerberWarning::LooseLines { count: 1 },
    ];
    assert_eq!(warnings, expected);
    assert!(warnings[0].to_string().contains("line 9, 10"), "{}", warnings[0]);
}

#[test]
fn pieces_that_all_end_in_one_place_take_no_time() {
    // Their other ends lie 0.04 mm apart, too far to be one.
    let star: String = (0..20_000).map(|ray| format!("X0Y0D02*\nX900000Y{}D01*\n", 40 * ray)).collect();
    let text =
        format!("%TF.FileFunction,Profile,NP*%\n%FSLAX33Y33*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\n{star}M02*\n");
    assert!(matches!(parse_gerber("star.gbr", &text), Err(GerberError::NotClosed { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]
    #[test]
    fn any_text_is_a_layer_or_an_error_that_names_the_file(
        component in any::<bool>(),
        words in prop::collection::vec(
            prop_oneof![
                "[XYIJDG+0-9-]{1,16}",
                "G0?[1-4]|G3[67]|G5[45]|G7[0-5]|G9[01]|D1[0-3]|M0[0-3]",
                "X-?[0-9]{1,13}(Y[+-]?[0-9]{1,13})?(I-?[0-9]{1,8})?(J-?[0-9]{1,8})?D0?[1-3]",
                "%(TO|TA|TD|TF|AD|AM|SR|AB|LP|IR|OF|MI|FS|MO)[ -~µé€]{0,24}",
                "%TO\\.(C|P|N|CRot|CVal|CFtp|CPgN|CMnt)(,[ -~µ😀\\\\u0-9]{0,8}){0,3}",
                "%TA\\.AperFunction(,(ComponentMain|ComponentOutline|FiducialPad|Body|Courtyard|µ|)){0,3}",
                "%ADD1[0-3](C|R|P|µ),[0-9.X-]{0,8}",
            ],
            0..60,
        ),
        format in "[LTD]?[AI]?X[0-9]{0,2}Y[0-9]{0,2}",
        noise in any::<String>(),
    ) {
        let function = if component { "Component,L1,Top" } else { "Profile,NP" };
        let body: String = words
            .iter()
            .map(|word| if word.starts_with('%') { format!("{word}*%\n") } else { format!("{word}*\n") })
            .collect();
        for format in ["LAX46Y46", &format] {
            let text = format!("%TF.FileFunction,{function}*%\n%FS{format}*%\n%MOMM*%\n{body}{noise}");
            for text in [&text, &noise] {
                if let Err(error) = parse_gerber("board.gbr", text) {
                    prop_assert!(error.to_string().starts_with("board.gbr"), "{error}");
                }
            }
        }
    }
}
