//! Uncertainty against the worked examples of the guides and an independent Monte Carlo.
//!
//! JCGM 100:2008 is the GUM. Where a published figure was computed anew to
//! more digits, the tool is named beside it.

#[path = "uncertainty/coverage.rs"]
mod coverage;
#[path = "uncertainty/measurement.rs"]
mod measurement;

use analysis::propagation::{combined, combined_correlated, coverage_factor, effective_degrees_of_freedom};

#[track_caller]
fn assert_near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected} ± {tolerance:e}"
    );
}

/// Half the width of a rectangular distribution as a standard uncertainty (JCGM 100:2008, 4.3.7).
fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

// ---- JCGM 100:2008, annex H ----

#[test]
fn the_end_gauge_of_h1() {
    // l = l_s + d − l_s (δα θ + α_s δθ), nanometres.
    let standard = 50_000_623.0;
    let parts = [
        (25.0, Some(18.0)),
        (5.8, Some(24.0)),
        (3.9, Some(5.0)),
        (6.7, Some(8.0)),
        (standard * 0.1 * rectangular(1e-6), Some(50.0)),
        (-standard * 11.5e-6 * rectangular(0.05), Some(2.0)),
    ];
    let uncertainty = combined(parts.iter().map(|part| part.0));
    // Published: u 32 nm, 16 degrees of freedom, U at 99 % 93 nm; more digits by GTC 1.5.1.
    assert_near("u", uncertainty, 31.663_879_111, 1e-6);
    let degrees = effective_degrees_of_freedom(&parts).unwrap();
    assert_near("degrees of freedom", degrees, 16.751_855_738, 1e-6);
    let factor = coverage_factor(0.99, Some(degrees.floor())).unwrap();
    assert_near("t at 99 %", factor, 2.920_781_622, 1e-6);
    assert_near("U at 99 %", factor * uncertainty, 92.483_276, 1e-5);
}

#[test]
fn resistance_and_reactance_of_h2_need_their_correlations() {
    let volts = [5.007, 4.994, 5.005, 4.990, 4.999];
    let amperes = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
    let radians = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let data = [volts, amperes, radians];
    let mean = data.map(|values| values.iter().sum::<f64>() / 5.0);
    let covariance = |i: usize, j: usize| {
        let products = data[i].iter().zip(&data[j]).map(|(a, b)| (a - mean[i]) * (b - mean[j]));
        products.sum::<f64>() / (5.0 * 4.0)
    };
    let uncertainty = [0, 1, 2].map(|i| covariance(i, i).sqrt());
    let correlation = |i: usize, j: usize| covariance(i, j) / (uncertainty[i] * uncertainty[j]);
    let [v, i, phi] = mean;
    let z = v / i;
    let quantities = [
        // Name, derivatives by V, I, φ; u as NumPy has it and as table H.4 prints it.
        ("R", [phi.cos() / i, -z * phi.cos() / i, -z * phi.sin()], 0.071_071_41, 0.071),
        ("X", [phi.sin() / i, -z * phi.sin() / i, z * phi.cos()], 0.295_581_68, 0.295),
        ("Z", [1.0 / i, -z / i, 0.0], 0.236_336_13, 0.236),
    ];
    for (name, derivatives, computed, published) in quantities {
        let parts: Vec<f64> = derivatives.iter().zip(uncertainty).map(|(slope, u)| slope * u).collect();
        let found = combined_correlated(&parts, correlation);
        assert_near(name, found, computed, 1e-7);
        assert_near(name, found, published, 0.001);
        let careless = combined(parts);
        assert!((careless / found - 1.0).abs() > 0.05, "{name}: {careless} without the correlations");
    }
}

#[test]
fn degrees_of_freedom_follow_welch_and_satterthwaite() {
    // A course example, published as 12.8; more digits by hand: 9 · (u/0.57)⁴.
    let found = effective_degrees_of_freedom(&[(0.57, Some(9.0)), (0.25, None)]).unwrap();
    assert_near("degrees of freedom", found, 12.795_649_034, 1e-8);
}
