//! The effective emissivity of a hole, against the formula computed elsewhere and against traced rays.

use analysis::procedure::{
    CavityMethod, ProcedureError, Record, Source, Warning, Yield, cylinder_emissivity,
};
use analysis::units::{Emissivity, Millimeters};

/// Wall emissivity, depth over diameter, Gouffé's formula, and what a million traced rays say of a view along the
/// axis and of the whole half-space: `tests/data/cavity/trace.py` (NumPy; standard error below 0.0005).
const TRACED: [(f64, f64, f64, f64, f64); 24] = [
    (0.5, 0.5, 0.700000000, 0.7382, 0.7425),
    (0.5, 1.0, 0.842857143, 0.8579, 0.8086),
    (0.5, 2.0, 0.927807487, 0.9497, 0.8333),
    (0.5, 3.0, 0.954054054, 0.9777, 0.8362),
    (0.5, 5.0, 0.973525613, 0.9929, 0.8369),
    (0.5, 8.0, 0.983824347, 0.9976, 0.8370),
    (0.7, 0.5, 0.835483871, 0.8648, 0.8691),
    (0.7, 1.0, 0.924000000, 0.9333, 0.9040),
    (0.7, 2.0, 0.970749396, 0.9780, 0.9143),
    (0.7, 3.0, 0.983221836, 0.9901, 0.9153),
    (0.7, 5.0, 0.991353976, 0.9966, 0.9156),
    (0.7, 8.0, 0.995112776, 0.9987, 0.9156),
    (0.9, 0.5, 0.948648649, 0.9599, 0.9619),
    (0.9, 1.0, 0.978545455, 0.9815, 0.9722),
    (0.9, 2.0, 0.993083387, 0.9940, 0.9747),
    (0.9, 3.0, 0.996531177, 0.9972, 0.9750),
    (0.9, 5.0, 0.998512364, 0.9990, 0.9750),
    (0.9, 8.0, 0.999286429, 0.9996, 0.9750),
    (0.95, 0.5, 0.974675325, 0.9804, 0.9815),
    (0.95, 1.0, 0.989652174, 0.9911, 0.9865),
    (0.95, 2.0, 0.996812442, 0.9971, 0.9877),
    (0.95, 3.0, 0.998466444, 0.9987, 0.9878),
    (0.95, 5.0, 0.999386800, 0.9995, 0.9878),
    (0.95, 8.0, 0.999728468, 0.9998, 0.9878),
];

fn hole(wall: f64, ratio: f64) -> CavityMethod {
    CavityMethod {
        diameter: Millimeters::new(2.0).unwrap(),
        diameter_uncertainty: 0.0,
        depth: Millimeters::new(2.0 * ratio).unwrap(),
        depth_uncertainty: 0.0,
        wall: Emissivity::new(wall).unwrap(),
        wall_uncertainty: 0.0,
        view_angle: 0.0,
        pixels_across: 5.0,
    }
}

#[test]
fn the_formula_is_the_one_computed_elsewhere() {
    for (wall, ratio, gouffe, ..) in TRACED {
        let found = cylinder_emissivity(wall, ratio);
        assert!((found - gouffe).abs() < 1e-9, "{wall}, {ratio}: {found}");
    }
}

#[test]
fn rays_traced_along_the_axis_lie_within_the_stated_uncertainty() {
    for (wall, ratio, _, along_axis, _) in TRACED {
        let outcome = hole(wall, ratio).outcome().unwrap();
        let value = outcome.emissivity.value();
        assert!(along_axis > value - 0.0005, "{wall}, {ratio}: the formula promises more than {along_axis}");
        assert!(along_axis - value < 0.04, "{wall}, {ratio}");
        assert!(along_axis - value < 3.0_f64.sqrt() * outcome.uncertainty, "{wall}, {ratio}");
    }
}

#[test]
fn a_hole_no_camera_looks_into_straight_is_warned_of() {
    // Into the half-space a deep hole of walls 0.5 sends 0.837, whatever its depth: far from what it sends
    // along its axis.
    let aside = CavityMethod { view_angle: 30.0, ..hole(0.5, 5.0) }.outcome().unwrap();
    assert!(matches!(aside.warnings[..], [Warning::CavityFromAside { allowed, .. }] if allowed < 6.0));
    assert!(hole(0.5, 5.0).outcome().unwrap().warnings.is_empty());
    let shallow = CavityMethod { pixels_across: 1.5, ..hole(0.3, 0.5) }.outcome().unwrap();
    assert!(
        matches!(
            shallow.warnings[..],
            [Warning::ShallowCavity { .. }, Warning::MostlyReflecting { .. }, Warning::SmallInPicture { .. }]
        ),
        "{:?}",
        shallow.warnings
    );
}

#[test]
fn each_part_of_the_uncertainty_is_what_that_input_does() {
    let method = CavityMethod { depth_uncertainty: 0.2, wall_uncertainty: 0.05, ..hole(0.7, 2.0) };
    let outcome = method.outcome().unwrap();
    let of =
        |source: Source| outcome.contributions.iter().find(|part| part.source == source).unwrap().uncertainty;
    let by_wall = (cylinder_emissivity(0.701, 2.0) - cylinder_emissivity(0.699, 2.0)) / 0.002 * 0.05;
    // 0.2 mm of 2 mm diameter: 0.1 in depth over diameter.
    let by_depth = (cylinder_emissivity(0.7, 2.001) - cylinder_emissivity(0.7, 1.999)) / 0.002 * 0.1;
    assert!((of(Source::ReferenceEmissivity) - by_wall).abs() < 1e-6);
    assert!((of(Source::Geometry) - by_depth).abs() < 1e-6);
}

#[test]
fn a_hole_yields_a_finish_and_no_hole_yields_none() {
    let record = Record::cavity(hole(0.9, 3.0)).unwrap();
    let text = serde_json::to_string(&record).unwrap();
    assert_eq!(serde_json::from_str::<Record>(&text).unwrap(), record);
    assert!(matches!(record.yields(), Yield::Finish { finish, .. } if finish.emissivity.value() > 0.996));
    let none = CavityMethod { depth: Millimeters::new(-1.0).unwrap(), ..hole(0.9, 3.0) };
    assert!(matches!(none.outcome(), Err(ProcedureError::NoCavity { depth, .. }) if depth == -1.0));
}
