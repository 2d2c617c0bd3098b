//! Calibrations fitted to set-points of a black body, against SciPy and the guide's worked example.
//!
//! `tests/data/calibration/fit.py` writes the invented set-points and prints SciPy's and NumPy's answers
//! (SciPy 1.17 `curve_fit`, NumPy `lstsq`).

use analysis::radiometry::{Calibration, FitForm, NoFit, SetPoint, Signal, fit_calibration, read_set_points};
use analysis::units::Kelvin;

const SET_POINTS: &str = include_str!("data/calibration/set_points.csv");

#[track_caller]
fn assert_near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected} ± {tolerance:e}"
    );
}

fn set_points() -> Vec<SetPoint> {
    read_set_points("set_points.csv", SET_POINTS, None).unwrap()
}

/// Counts, temperature in K and its standard uncertainty in K.
type Answers = [(f64, f64, f64); 3];

#[track_caller]
fn compare(form: FitForm, sigma: f64, answers: Answers) {
    let fit = fit_calibration(&set_points(), form).unwrap();
    assert_near("s", fit.residual_sigma, sigma, 1e-6 * sigma);
    for (counts, kelvin, uncertainty) in answers {
        let found = fit.temperature(counts).unwrap();
        assert_near(&format!("{counts} counts"), found.temperature.value(), kelvin, 2e-6);
        let tolerance = 1e-4 * uncertainty;
        assert_near(&format!("u at {counts} counts"), found.uncertainty.value(), uncertainty, tolerance);
        assert!(found.inside);
        let Some(Signal::Temperature(by_calibration)) = fit.calibration.signal(counts) else {
            panic!("the calibration gives no temperature at {counts} counts")
        };
        assert_near("calibration", by_calibration, found.temperature.value(), 1e-3);
    }
    assert!(!fit.temperature(6000.0).unwrap().inside);
}

#[test]
fn a_sakuma_hattori_fit_with_a_known_dark_level_is_scipys() {
    let form = FitForm::SakumaHattori { dark_level: Some(2000.0) };
    compare(
        form,
        4.390_528_528,
        [
            (10_000.0, 293.345_164_437, 0.015_647_249),
            (15_000.0, 326.147_539_845, 0.009_409_211_7),
            (30_000.0, 393.918_462_670, 0.007_309_722_9),
        ],
    );
    let fit = fit_calibration(&set_points(), form).unwrap();
    let expected = [
        ("a", 8.766_661_88, 0.028_796_047),
        ("b", 218.174_158_3, 4.598_573_5),
        ("c", 1_381_443.243, 10_130.197),
    ];
    for (found, (name, value, uncertainty)) in fit.parameters.iter().zip(expected) {
        assert_eq!(found.name, name);
        assert_near(name, found.value, value, 1e-6 * value);
        assert_near(name, found.uncertainty, uncertainty, 1e-4 * uncertainty);
    }
    assert_eq!(fit.degrees_of_freedom, 9);
    assert!(fit.residuals.iter().all(|residual| residual.value().abs() < 0.1));
}

#[test]
fn a_sakuma_hattori_fit_of_the_dark_level_as_well_is_scipys() {
    compare(
        FitForm::SakumaHattori { dark_level: None },
        4.656_140_961,
        [
            (10_000.0, 293.345_150_080, 0.016_595_457),
            (15_000.0, 326.147_097_100, 0.013_380_626),
            (30_000.0, 393.918_731_602, 0.009_455_675_8),
        ],
    );
}

#[test]
fn a_polynomial_fit_is_numpys() {
    compare(
        FitForm::Polynomial { degree: 3 },
        0.558_829_469_3,
        [
            (10_000.0, 292.991_582_342, 0.260_108_96),
            (15_000.0, 326.005_480_088, 0.276_301_94),
            (30_000.0, 393.553_547_302, 0.342_171_55),
        ],
    );
}

#[test]
fn the_fitted_curve_is_the_same_wherever_the_dark_level_is_put() {
    // 2000 counts of dark level, stated or taken off beforehand.
    let shifted: Vec<SetPoint> =
        set_points().iter().map(|point| SetPoint { counts: point.counts - 2000.0, ..*point }).collect();
    let here = fit_calibration(&set_points(), FitForm::SakumaHattori { dark_level: Some(2000.0) }).unwrap();
    let there = fit_calibration(&shifted, FitForm::SakumaHattori { dark_level: Some(0.0) }).unwrap();
    for counts in [9000.0, 20_000.0, 38_000.0] {
        let (here, there) = (here.temperature(counts).unwrap(), there.temperature(counts - 2000.0).unwrap());
        assert_near("temperature", here.temperature.value(), there.temperature.value(), 1e-6);
    }
}

#[test]
fn a_straight_line_has_the_uncertainties_of_the_guides_thermometer() {
    // JCGM 100:2008, H.3: corrections b of a thermometer at t, fitted as y1 + y2 (t − 20 °C); computed anew with
    // NumPy to the digits asserted. The corrections stand for temperatures here, on a scale 300 K higher.
    let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let points: Vec<SetPoint> = t
        .iter()
        .zip(b)
        .map(|(t, b)| SetPoint { temperature: Kelvin::new(300.0 + b).unwrap(), counts: t - 20.0 })
        .collect();
    let fit = fit_calibration(&points, FitForm::Polynomial { degree: 1 }).unwrap();
    let [intercept, slope] = [&fit.parameters[0], &fit.parameters[1]];
    assert_near("y1", intercept.value - 300.0, -0.171_203_79, 1e-8);
    assert_near("u(y1)", intercept.uncertainty, 0.002_877_6, 1e-7);
    assert_near("y2", slope.value, 0.002_182_7, 1e-7);
    assert_near("u(y2)", slope.uncertainty, 0.000_667_94, 1e-8);
    assert_near("s", fit.residual_sigma, 0.003_497_564_0, 1e-9);
    let correlation = fit.covariance[0][1] / (intercept.uncertainty * slope.uncertainty);
    assert_near("r", correlation, -0.930_429_603_1, 1e-8);
    // The correction at 30 °C, which lies outside the points.
    let at_30 = fit.temperature(10.0).unwrap();
    assert_near("b(30 °C)", at_30.temperature.value() - 300.0, -0.149_376_812_7, 1e-9);
    assert_near("u(b(30 °C))", at_30.uncertainty.value(), 0.004_138_595_8, 1e-9);
    assert!(!at_30.inside);
}

#[test]
fn the_bands_own_radiance_is_fitted_within_millikelvins() {
    // A three-parameter fit from 270 K to 430 K follows a flat band of 7.5 to 14 µm within 3 mK (SciPy, on
    // temperature errors); this fit weighs counts instead, so the cold end may be a little worse off.
    let band = analysis::radiometry::Band::default();
    let points: Vec<SetPoint> = (0..=16)
        .map(|step| {
            let temperature = Kelvin::new(270.0 + 10.0 * f64::from(step)).unwrap();
            SetPoint { temperature, counts: analysis::radiometry::band_radiance(band, temperature).radiance }
        })
        .collect();
    let fit = fit_calibration(&points, FitForm::SakumaHattori { dark_level: Some(0.0) }).unwrap();
    let worst = fit.residuals.iter().map(|residual| residual.value().abs()).fold(0.0, f64::max);
    assert!(worst < 0.006, "{worst} K");
    assert!(matches!(fit.calibration, Calibration::SakumaHattori { .. }));
}

#[test]
fn set_points_that_admit_no_fit_are_refused() {
    let points = set_points();
    let three = fit_calibration(&points[..3], FitForm::SakumaHattori { dark_level: Some(2000.0) });
    assert_eq!(three, Err(NoFit::TooFewPoints { found: 3, parameters: 3, needed: 4 }));
    let repeated = vec![points[0]; 12];
    assert!(matches!(
        fit_calibration(&repeated, FitForm::Polynomial { degree: 1 }),
        Err(NoFit::TooFewPoints { found: 1, .. })
    ));
    assert_eq!(fit_calibration(&points, FitForm::Polynomial { degree: 9 }), Err(NoFit::Degree { degree: 9 }));
    let falling: Vec<SetPoint> =
        points.iter().map(|point| SetPoint { counts: 60_000.0 - point.counts, ..*point }).collect();
    assert_eq!(fit_calibration(&falling, FitForm::SakumaHattori { dark_level: None }), Err(NoFit::NotRising));
    let flat: Vec<SetPoint> = points.iter().map(|point| SetPoint { counts: 100.0, ..*point }).collect();
    assert!(fit_calibration(&flat, FitForm::Polynomial { degree: 2 }).is_err());
    assert!(fit_calibration(&flat, FitForm::SakumaHattori { dark_level: None }).is_err());
}
