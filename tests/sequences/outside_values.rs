//! The same data through numpy, scipy and tifffile.

use std::fs::File;
use std::io::BufReader;
use std::path::PathBuf;

use analysis::frame::{Frame, SurfaceKelvin};
use analysis::sequence::{
    Drift, FrameFile, FrameSource, LockIn, LockInSettings, Reference, estimate_reference, fit_warm_up,
    rate_of_change,
};
use serde_json::Value;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/sequences")
}

fn values() -> Value {
    let text = std::fs::read_to_string(folder().join("values.json")).expect("values.json");
    serde_json::from_str(&text).expect("JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|number| number.as_f64().expect("a number")).collect()
}

#[test]
fn amplitude_and_phase_are_those_of_numpys_fourier_transform() {
    for case in values()["lock_in"].as_array().expect("cases") {
        let series = numbers(&case["values"]);
        let settings = LockInSettings {
            reference: Reference { frequency_hz: 0.05, zero_s: 0.0 },
            harmonics: 3,
            drift: Drift::Constant,
        };
        let mut lock_in = LockIn::<SurfaceKelvin>::new(settings).expect("sound settings");
        for (second, value) in series.iter().enumerate() {
            let frame = Frame::from_rows(1, 1, vec![*value as f32]).expect("a pixel");
            lock_in.add(second as f64, frame).expect("one size");
        }
        let maps = lock_in.finish().expect("whole periods");
        for (multiple, expected) in case["harmonics"].as_array().expect("harmonics").iter().enumerate() {
            let found = &maps.harmonics[multiple];
            for (field, map) in [
                ("in_phase", &found.in_phase),
                ("quadrature", &found.quadrature),
                ("amplitude", &found.amplitude),
            ] {
                let expected = expected[field].as_f64().expect("a number");
                let value = map.as_slice()[0];
                // Sines, sums of 16 and the result are each rounded to f32: three times 6e-8 of 0.5 K.
                let off = (f64::from(value) - expected).abs();
                assert!(off < 9e-8, "{} {multiple} {field}: {value} {expected}", case["name"]);
            }
        }
    }
}

#[test]
fn two_exponentials_come_out_as_from_scipys_curve_fit() {
    let case = &values()["warm_up"];
    let series = numbers(&case["values"]);
    let times: Vec<f64> = (0..series.len()).map(|second| second as f64).collect();
    let found = fit_warm_up(&times, &series).expect("a warm-up");
    let [slow, fast] = [found.decays[0], found.decays[1]];
    let mine = [found.steady, slow.rise, slow.time_constant_s, fast.rise, fast.time_constant_s];
    let my_uncertainties = [
        found.steady_uncertainty,
        slow.rise_uncertainty,
        slow.time_constant_uncertainty_s,
        fast.rise_uncertainty,
        fast.time_constant_uncertainty_s,
    ];
    let (expected, uncertainties) = (numbers(&case["found"]), numbers(&case["uncertainties"]));
    for index in 0..5 {
        // A thousandth of the uncertainty is far below anything that matters.
        let off = (mine[index] - expected[index]).abs() / uncertainties[index];
        assert!(off < 1e-3, "{index}: {} and {}", mine[index], expected[index]);
        let ratio = my_uncertainties[index] / uncertainties[index];
        assert!(
            (ratio - 1.0).abs() < 1e-3,
            "{index}: {} and {}",
            my_uncertainties[index],
            uncertainties[index]
        );
    }
}

#[test]
fn the_frequency_of_an_uneven_series_is_where_scipys_periodogram_is_highest() {
    let case = &values()["spectrum"];
    let (times, series) = (numbers(&case["times"]), numbers(&case["values"]));
    let found = estimate_reference(&times, &series).expect("a swing");
    let expected = case["frequency"].as_f64().expect("a number");
    // The periodogram knows no parabola; its line is 1/200 Hz wide, a hundredth of that is allowed.
    assert!((found.reference.frequency_hz - expected).abs() < 5e-5, "{found:?} {expected}");
}

#[test]
fn the_rate_is_the_slope_of_numpys_straight_line() {
    let case = &values()["spectrum"];
    let (times, series) = (numbers(&case["times"]), numbers(&case["values"]));
    let rates = rate_of_change(&times[..50], &series[..50], 1e3);
    let expected = case["slope"].as_f64().expect("a number");
    assert!(rates.iter().all(|rate| (rate - expected).abs() < 1e-12), "{rates:?} {expected}");
}

#[test]
fn every_page_that_tifffile_wrote_is_read_as_it_wrote_it() {
    for (name, scale) in [("bigtiff_little.tiff", 1.0), ("bigtiff_big.tiff", 1.0), ("block.tiff", 8.0)] {
        let file = BufReader::new(File::open(folder().join(name)).expect("a file"));
        let mut file = FrameFile::open(name, file).expect("a TIFF");
        assert_eq!(file.count(), 25, "{name}");
        assert_eq!(file.lost(), None);
        for page in [24, 0, 7, 7, 23] {
            let pixels = file.read(page).expect("a page");
            assert_eq!(pixels.shape(), (12, 16));
            for (index, value) in pixels.as_slice().iter().enumerate() {
                assert_eq!(*value * scale, (1000 * page + index) as f32, "{name}, page {page}");
            }
        }
    }
}
