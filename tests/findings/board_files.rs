//! Placement and limits files in the manners that programs write them.

use analysis::board::{
    BoardFileError, LengthUnit, LimitWarning, PartLimit, PartPower, Placement, PlacementWarning, PowerOrigin,
    PowerReading, Side, ThermalPath, junction, parse_limits, parse_placements,
};
use analysis::units::{Kelvin, KelvinDifference, Watts};
use proptest::prelude::*;

fn file(name: &str) -> String {
    std::fs::read_to_string(format!("{}/data/board/{name}", env!("CARGO_MANIFEST_DIR"))).expect("test data")
}

fn parse(text: &str) -> (Vec<Placement>, Vec<PlacementWarning>) {
    parse_placements("parts.csv", text, None).expect("a placement file")
}

#[test]
fn one_board_written_in_five_manners_is_the_same_board() {
    // 500 mil = 0.5 inch = 12.7 mm: the inch is 25.4 mm exactly.
    let (expected, warnings) = parse(&file("comma-millimeters.csv"));
    assert_eq!(warnings, []);
    assert_eq!(expected.len(), 3);
    assert_eq!((expected[0].center.x, expected[0].center.y), (12.7, 25.4));
    assert_eq!(expected[1].value, "10 uF, 16 V");
    assert_eq!((expected[2].side, expected[2].rotation, expected[2].size), (Side::Bottom, -45.5, [5.0, 5.0]));
    for name in ["semicolon-decimal-comma.csv", "tab-mil-remarks.txt", "inches-quoted.csv", "suffixes.csv"] {
        assert_eq!(parse(&file(name)), (expected.clone(), vec![]), "{name}");
    }
}

#[test]
fn headings_are_found_in_the_usual_spellings() {
    for designator in ["Designator", "RefDes", "REFERENCE", "Ref", "Ref. Des.", "Part", "Component Name"] {
        for (x, y) in
            [("X", "Y"), ("PosX", "PosY"), ("Mid X", "Mid Y"), ("Center-X", "Center-Y"), ("X_Pos", "Y_Pos")]
        {
            let text =
                format!("Value,{designator},{x} (mm),{y}[mm],Rotation,Side,Size\n1k,R9,3,4,90,B,2x1\n");
            let (parts, warnings) = parse(&text);
            assert_eq!(warnings, [], "{text}");
            assert_eq!(
                (parts[0].designator.as_str(), parts[0].center.x, parts[0].center.y),
                ("R9", 3.0, 4.0)
            );
            assert_eq!(
                (parts[0].side, parts[0].size, parts[0].value.as_str()),
                (Side::Bottom, [2.0, 1.0], "1k")
            );
        }
    }
}

#[test]
fn size_columns_come_before_the_package_name() {
    let (parts, _) =
        parse("Ref,X mm,Y mm,Package,Length (mil),Width (mil)\nR1,0,0,0603,100,50\nR2,1,1,0603,,\n");
    assert_eq!(parts[0].size, [2.54, 1.27]);
    assert_eq!(parts[1].size, [1.524, 0.762]);
    let (parts, _) = parse("Ref,X mm,Y mm,Width,Height\nU1,0,0,7,4\n");
    assert_eq!(parts[0].size, [7.0, 4.0]);
}

#[test]
fn a_unit_that_nobody_states_is_asked_for() {
    let text = "Ref,X,Y\nR1,1000,500\nR2,3000,1500\n";
    let error = parse_placements("parts.csv", text, None).unwrap_err();
    assert_eq!(error, BoardFileError::UnitUnstated { file_name: "parts.csv".into(), span: [2000.0, 1000.0] });
    assert!(error.to_string().starts_with("parts.csv: ") && error.to_string().contains("2000 by 1000"));
    let (mils, _) = parse_placements("parts.csv", text, Some(LengthUnit::Mil)).unwrap();
    let (millimeters, _) = parse_placements("parts.csv", text, Some(LengthUnit::Millimeter)).unwrap();
    assert_eq!((mils[0].center.x, millimeters[0].center.x), (25.4, 1000.0));
}

#[test]
fn what_a_file_leaves_open_is_said() {
    let (parts, warnings) = parse("Ref,X(mm),Y(mm)\nR1,1,2\nR1,3,4\nJ1,5,6\nTotal 2,,\n,7,8\n");
    assert_eq!(parts.len(), 2);
    assert_eq!(parts[0].center.x, 1.0);
    assert_eq!(
        warnings,
        [
            PlacementWarning::SideUnstated,
            PlacementWarning::RotationUnstated,
            PlacementWarning::DuplicateDesignator { designator: "R1".into(), line: 3 },
            PlacementWarning::SizeAssumed { designators: vec!["R1".into(), "J1".into()] },
            PlacementWarning::Incomplete { lines: vec![5, 6] },
        ]
    );
}

#[test]
fn an_error_names_file_line_and_cell() {
    let line_and_column = |text: &str| match parse_placements("parts.csv", text, None).unwrap_err() {
        BoardFileError::Cell { line, column, .. } => (line, column),
        other => panic!("{other}"),
    };
    let text = "remark\n\nRef,X(mm),Y(mm),Side,Rot\nR1,1,2,top,0\n\nR2,east,2,top,0\n";
    let message = parse_placements("parts.csv", text, None).unwrap_err().to_string();
    assert_eq!(
        message,
        "parts.csv, line 6: the x of R2 reads \"east\": write a length such as 12.5, 12.5mm or 484mil"
    );
    assert_eq!(line_and_column("Ref,X(mm),Y(mm),Side\nR1,1,2,inside\n"), (2, "side"));
    assert_eq!(line_and_column("Ref,X(mm),Y(mm),Rot\nR1,1,2,north\n"), (2, "rotation"));
    assert_eq!(line_and_column("Ref,X(mm),Y(mm),Width,Height\nR1,1,2,0,3\n"), (2, "body size"));
    // A decimal comma among decimal points is refused, not read as 125.
    assert_eq!(line_and_column("Ref;X(mm);Y(mm)\nR1;1.5;2.5\nR2;12,5;3.0\n"), (3, "x"));
    for text in ["", "hello", "Ref,Side\nR1,top\n", "\u{feff}", "\"", "Ref,X,Y"] {
        let error = parse_placements("parts.csv", text, None).unwrap_err();
        assert!(error.to_string().starts_with("parts.csv: "), "{error}");
    }
}

#[test]
fn limits_are_read_and_their_gaps_are_said() {
    let (limits, warnings) = parse_limits("limits.csv", &file("limits.csv")).unwrap();
    let expected = PartLimit {
        designator: "U2".into(),
        max_case: Some(Kelvin::from_celsius(105.0).unwrap()),
        max_junction: Some(Kelvin::from_celsius(125.0).unwrap()),
        power: Some(Watts::new(0.51).unwrap()),
        path: Some(ThermalPath::PsiJunctionTop { kelvin_per_watt: 6.1 }),
    };
    assert_eq!(limits[0], expected);
    assert_eq!(limits[1].path, Some(ThermalPath::ThetaJunctionCase { kelvin_per_watt: 98.7 }));
    assert_eq!((limits[2].max_junction, limits[2].power, limits[2].path), (None, None, None));
    assert_eq!(warnings, []);

    let (limits, warnings) = parse_limits(
        "limits.csv",
        "Ref;Max Case (degF);Tj max [K];Power (mW);Psi-JT (K/W);Theta-JC\nU1;212;398,15;510;6,1;20\nU3;;400;;;\n",
    )
    .unwrap();
    assert!((limits[0].max_case.unwrap().to_celsius() - 100.0).abs() < 1e-9);
    assert!((limits[0].max_junction.unwrap().value() - 398.15).abs() < 1e-9);
    assert!((limits[0].power.unwrap().value() - 0.51).abs() < 1e-12);
    assert_eq!(
        warnings,
        [
            LimitWarning::JunctionUnchecked { designators: vec!["U3".into()] },
            LimitWarning::BothPaths { designators: vec!["U1".into()] },
        ]
    );
    let error = parse_limits("limits.csv", "Ref,max_case_degC,power_W\nU1,105,-1\n").unwrap_err().to_string();
    assert!(error.starts_with("limits.csv, line 2: the power of U1"), "{error}");
    let error = parse_limits("limits.csv", "Ref,max_case_degC\nU1,-300\n").unwrap_err().to_string();
    assert!(error.contains("above absolute zero"), "{error}");
}

#[test]
fn junction_estimates_agree_with_worked_cases() {
    // T_J = T_T + P · ψ-JT (JESD51-2A). The first two are a worked answer that a maker of linear
    // regulators gave in public support (6-pin leadless package, 95.26 °C on top, 0.51 W): 98.37 °C
    // with ψ-JT 6.1 K/W, and 145.6 °C when θ-JC(top) 98.7 K/W is misused for it. The others take
    // published figures of three packages at a load of our own and add by hand.
    let psi = |kelvin_per_watt| ThermalPath::PsiJunctionTop { kelvin_per_watt };
    let theta = |kelvin_per_watt| ThermalPath::ThetaJunctionCase { kelvin_per_watt };
    let cases = [
        (95.26, 0.51, psi(6.1), 98.37, 0.005),
        (95.26, 0.51, theta(98.7), 145.6, 0.05),
        (85.0, 0.8, psi(2.6), 87.08, 1e-9),
        (72.4, 1.5, psi(0.2), 72.7, 1e-9),
        (60.0, 2.0, psi(0.4), 60.8, 1e-9),
    ];
    for (top, power, path, expected, rounding) in cases {
        let case = Kelvin::from_celsius(top).unwrap();
        let estimate = junction(case, Some(KelvinDifference::ZERO), &stated(power, 0.0), &path, 0.0).unwrap();
        let celsius = estimate.temperature.to_celsius();
        assert!((celsius - expected).abs() <= rounding, "{celsius} is not {expected}");
        assert_eq!(estimate.is_upper_bound, matches!(path, ThermalPath::ThetaJunctionCase { .. }));
    }
    assert!(junction(Kelvin::ROOM, None, &stated(1e6, 0.0), &psi(1.0), 0.0).is_err());
}

fn stated(watts: f64, standard_uncertainty: f64) -> PartPower {
    PartPower { watts: Watts::new(watts).unwrap(), standard_uncertainty, origin: PowerOrigin::Stated }
}

#[test]
fn a_junction_is_known_as_well_as_case_power_and_path_let_it() {
    // The first worked case above with u(T_T) 1.2 K, u(ψ) 0.5 K/W and u(P) 3 %, by the law of propagation:
    // √(1.2² + (0.51 · 0.5)² + (6.1 · 0.0153)²) = 1.230339583 K, worked out apart from this program.
    let path = ThermalPath::PsiJunctionTop { kelvin_per_watt: 6.1 };
    let case = Kelvin::from_celsius(95.26).unwrap();
    let uncertainty = KelvinDifference::new(1.2).unwrap();
    let estimate = junction(case, Some(uncertainty), &stated(0.51, 0.03 * 0.51), &path, 0.5 / 6.1).unwrap();
    assert!((estimate.standard_uncertainty.unwrap().value() - 1.230_339_583).abs() < 1e-9);
    // Nothing known of the case's uncertainty takes nothing from the temperature, and with it from its margin.
    let unsure = junction(case, None, &stated(0.51, 0.0), &path, 0.0).unwrap();
    assert_eq!((unsure.temperature, unsure.standard_uncertainty), (estimate.temperature, None));
}

#[test]
fn a_power_may_be_entered_as_voltage_times_current() {
    let by = |volts, amperes| PowerReading::VoltageTimesCurrent { volts, amperes }.watts();
    assert_eq!(by(-3.0, -0.5).unwrap().value(), 1.5);
    assert!(by(3.0, -0.5).is_err());
}

proptest! {
    #[test]
    fn any_text_gives_parts_or_an_error_that_names_the_file(
        rows in proptest::collection::vec("[-+0-9.,;eExX×mil\"'°#A-Ctop\t ü]{0,40}", 0..6),
        heading in prop::sample::select(vec![
            "Ref,X(mm),Y(mm),Rot,Side,Package,Size", "#Ref;X;Y;Width;Height", "Part\tx in\ty in\tPackage", "",
        ]),
    ) {
        let text = format!("{heading}\n{}", rows.join("\n"));
        match parse_placements("parts.csv", &text, Some(LengthUnit::Inch)) {
            Ok((parts, _)) => {
                for part in parts {
                    prop_assert!(part.center.x.is_finite() && part.center.y.is_finite());
                    prop_assert!(part.size.iter().all(|length| *length > 0.0 && length.is_finite()));
                }
            }
            Err(error) => prop_assert!(error.to_string().starts_with("parts.csv")),
        }
        let limits = text.replace("X(mm)", "max_case_degC").replace("Y(mm)", "psi_jt").replace("Rot", "power_W");
        if let Err(error) = parse_limits("limits.csv", &limits) {
            prop_assert!(error.to_string().starts_with("limits.csv"));
        }
    }
}
