//! The measurement equation's own uncertainty against NumPy and SciPy, and against itself where it is linear.

use analysis::radiometry::{Band, Surroundings};
use analysis::uncertainty::{
    CalibrationUncertainty, DifferencePlace, Input, InputUncertainty, SharedInputs, TemperaturePlace,
    difference_margins, draw_temperatures, temperature_interval,
};
use analysis::units::{Emissivity, Kelvin, KelvinDifference, Transmittance};

use super::assert_near;

pub(crate) fn kelvin(value: f64) -> Kelvin {
    Kelvin::new(value).unwrap()
}

pub(crate) fn kelvins(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap()
}

pub(crate) fn place(
    surface: f64,
    emissivity: f64,
    uncertainty: f64,
    surroundings: Surroundings,
    inputs: &InputUncertainty,
) -> TemperaturePlace {
    TemperaturePlace {
        temperature: kelvin(surface),
        emissivity: Emissivity::new(emissivity).unwrap(),
        emissivity_uncertainty: uncertainty,
        surroundings,
        band: Band::default(),
        netd: inputs.netd,
        pixels: 1.0,
    }
}

/// Nothing uncertain.
fn certain() -> InputUncertainty {
    let none = KelvinDifference::ZERO;
    InputUncertainty {
        reflected: none,
        path: none,
        transmittance: 0.0,
        calibration: CalibrationUncertainty { least: none, fraction: 0.0 },
        drift: none,
        ambient: none,
        netd: none,
        ..InputUncertainty::default()
    }
}

#[test]
fn the_budget_is_that_of_the_worked_correction() {
    // Emissivity 0.95, 7.5 to 14 µm, surface at 61.7813 °C that appears at 60 °C, surroundings at 20 °C: by
    // mpmath's derivatives, u(reading) 1 K, u(ε) 0.02 and u(reflected) 2 K contribute 1.0387882, 0.74509526
    // and 0.0733134 K, together 1.28047754 K.
    let surroundings = Surroundings { reflected: kelvin(293.15), ..Surroundings::default() };
    let inputs = InputUncertainty { drift: kelvins(1.0), reflected: kelvins(2.0), ..certain() };
    let budget = place(334.931_315_324_4, 0.95, 0.02, surroundings, &inputs).budget(&inputs).unwrap();
    let expected =
        [(Input::Drift, 1.038_788_2), (Input::Emissivity, 0.745_095_26), (Input::Reflected, 0.073_313_4)];
    assert_eq!(budget.contributions.len(), 3, "{budget:?}");
    for (line, (input, kelvin)) in budget.contributions.iter().zip(expected) {
        assert_eq!(line.input, input);
        assert_near(&format!("{input:?}"), line.kelvin, kelvin, 1e-6);
    }
    assert_near("combined", budget.combined.value(), 1.280_477_54, 1e-6);
}

/// The rows of data/uncertainty/monte_carlo.csv.
fn rows() -> Vec<(String, Vec<f64>)> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/data/uncertainty/monte_carlo.csv");
    let text = std::fs::read_to_string(path).unwrap();
    // A name may hold a comma and is then quoted.
    let row = |line: &str| {
        let (name, numbers) = match line.strip_prefix('"') {
            Some(rest) => rest.split_once("\",").unwrap(),
            None => line.split_once(',').unwrap(),
        };
        (name.to_owned(), numbers.split(',').map(|field| field.parse().unwrap_or(f64::NAN)).collect())
    };
    text.lines().skip(1).map(row).collect()
}

#[test]
fn draws_and_intervals_agree_with_an_independent_monte_carlo() {
    const TRIALS: u32 = 100_000;
    let rows = rows();
    assert_eq!(rows.len(), 8);
    for (name, numbers) in rows {
        let [
            surface,
            baseline,
            emissivity,
            u_emissivity,
            reflected,
            u_reflected,
            transmittance,
            u_transmittance,
            path,
            u_path,
            calibration,
            drift,
            netd,
            mean,
            deviation,
            low,
            high,
            skewness,
        ] = numbers[..]
        else {
            panic!("{name}: {numbers:?}")
        };
        let surroundings = Surroundings {
            reflected: kelvin(reflected),
            transmittance: Transmittance::new(transmittance).unwrap(),
            path: kelvin(path),
        };
        let inputs = InputUncertainty {
            reflected: kelvins(u_reflected),
            path: kelvins(u_path),
            transmittance: u_transmittance,
            calibration: CalibrationUncertainty { least: kelvins(calibration), fraction: 0.0 },
            drift: kelvins(drift),
            netd: kelvins(netd),
            ..certain()
        };
        let at = |surface| place(surface, emissivity, u_emissivity, surroundings, &inputs);
        let interval = if baseline.is_finite() {
            let margins = difference_margins(&difference(at(surface), at(baseline)), &inputs).unwrap();
            [margins.low, margins.high].map(|margin| surface - baseline + margin)
        } else {
            let drawn = draw_temperatures(&at(surface), &inputs, TRIALS as usize, 17).unwrap();
            // Five standard errors of our own draws; NumPy's are twenty times as many. The long tail of a
            // skewed sample is thinner, so its end and its deviation waver more.
            let error = 5.0 * deviation / f64::from(TRIALS).sqrt();
            let wavering = error * (1.0 + skewness.abs());
            assert_near(&format!("{name}: mean"), drawn.mean, mean, error);
            assert_near(&format!("{name}: deviation"), drawn.deviation, deviation, wavering);
            for (end, expected) in [drawn.interval.low, drawn.interval.high].into_iter().zip([low, high]) {
                // √(p (1 − p)) over the normal density at 1.96 is 2.67.
                assert_near(&format!("{name}: end"), end, expected, 2.67 * wavering);
            }
            let interval = temperature_interval(&at(surface), &inputs).unwrap();
            [interval.low, interval.high]
        };
        for (end, expected) in interval.into_iter().zip([low, high]) {
            assert_near(&format!("{name}: interval"), end, expected, 0.01 * (high - low));
        }
    }
}

pub(crate) fn difference(unit: TemperaturePlace, baseline: TemperaturePlace) -> DifferencePlace {
    DifferencePlace {
        unit,
        baseline,
        baselines: 1,
        slope: 0.0,
        unit_gain: 1.0,
        residual_px: 0.0,
        above_ambient: false,
    }
}

#[test]
fn between_like_captures_only_noise_and_misalignment_are_left() {
    let none = KelvinDifference::ZERO;
    let inputs = InputUncertainty { drift: none, ambient: none, ..InputUncertainty::default() };
    let same = place(330.0, 0.3, 0.06, Surroundings::default(), &inputs);
    let place = DifferencePlace { slope: 3.0, residual_px: 0.1, ..difference(same, same) };
    let left = place.budget(&inputs).unwrap();
    let named: Vec<_> =
        left.contributions.iter().filter(|line| line.kelvin > 1e-9).map(|line| line.input).collect();
    assert_eq!(named.len(), 2, "{left:?}");
    assert!(named.contains(&Input::Noise) && named.contains(&Input::Alignment), "{left:?}");
    // The same two captures by two cameras in two fixtures, of boards with finishes of their own.
    let shared = SharedInputs { calibration: false, emissivity: false, surroundings: false };
    let apart = place.budget(&InputUncertainty { shared, ..inputs.clone() }).unwrap();
    let temperature = same.budget(&inputs).unwrap().combined.value();
    // Misplacement acts on the apparent picture; what it makes of the temperature the budget has told.
    let misplaced = left.contributions.iter().find(|line| line.input == Input::Alignment).unwrap().kelvin;
    let expected = (2.0 * temperature * temperature + misplaced * misplaced).sqrt();
    assert_near("independent", apart.combined.value(), expected, 1e-9);
}

#[test]
fn averaging_pixels_lessens_the_noise_and_nothing_else() {
    let inputs = InputUncertainty::default();
    let single = place(330.0, 0.92, 0.02, Surroundings::default(), &inputs);
    let area = TemperaturePlace { pixels: 25.0, ..single };
    let line = |place: &TemperaturePlace, input| {
        let budget = place.budget(&inputs).unwrap();
        budget.contributions.iter().find(|line| line.input == input).map(|line| line.kelvin).unwrap()
    };
    for input in [Input::Emissivity, Input::Reflected, Input::Calibration, Input::Drift] {
        assert_near(&format!("{input:?}"), line(&area, input), line(&single, input), 1e-12);
    }
    assert_near("noise", line(&area, Input::Noise), line(&single, Input::Noise) / 5.0, 1e-12);
}
