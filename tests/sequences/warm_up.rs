//! Warm-ups with known steady states, many of them.

use analysis::sequence::fit_warm_up;
use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};
use rand_distr::{Distribution, Normal};

const FITS: u64 = 400;

struct Outcome {
    error: f64,
    half_width: f64,
    covered: bool,
}

/// A warm-up of two decays near 140 s and 15 s, by 30 to 45 K, seen for `seconds` at 1 frame/s with 0.05 K of noise.
fn simulate(seed: u64, seconds: u32) -> Outcome {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let rise = random.random_range(30.0..45.0);
    let fast_share = random.random_range(0.1..0.4);
    let slow: f64 = 140.0 * random.random_range(0.9..1.1);
    let fast: f64 = 15.0 * random.random_range(0.9..1.1);
    let noise = Normal::new(0.0, 0.05).expect("a width above zero");
    let steady = 296.0 + rise;
    let times: Vec<f64> = (0..seconds).map(f64::from).collect();
    let values: Vec<f64> = times
        .iter()
        .map(|time| {
            let missing = (1.0 - fast_share) * (-time / slow).exp() + fast_share * (-time / fast).exp();
            steady - rise * missing + noise.sample(&mut random)
        })
        .collect();
    let found = fit_warm_up(&times, &values).expect("a warm-up");
    let [low, high] = found.steady_interval;
    Outcome {
        error: found.steady - steady,
        half_width: (high - low) / 2.0,
        covered: (low..=high).contains(&steady),
    }
}

#[test]
fn the_steady_state_is_foretold_from_a_part_of_the_warm_up_with_an_honest_interval() {
    println!("seen, s | rms error, K | greatest, K | mean half width of 95 %, K | covered, %");
    for (seconds, allowed) in [(200, 2.0), (300, 0.8), (450, 0.8)] {
        let outcomes: Vec<Outcome> = (0..FITS).map(|seed| simulate(1000 + seed, seconds)).collect();
        let count = FITS as f64;
        let rms = (outcomes.iter().map(|o| o.error * o.error).sum::<f64>() / count).sqrt();
        let greatest = outcomes.iter().map(|o| o.error.abs()).fold(0.0, f64::max);
        let width = outcomes.iter().map(|o| o.half_width).sum::<f64>() / count;
        let covered = 100.0 * outcomes.iter().filter(|o| o.covered).count() as f64 / count;
        println!("{seconds:7} | {rms:12.3} | {greatest:11.3} | {width:27.3} | {covered:10.1}");
        assert!(greatest < allowed, "from {seconds} s the steady state is {greatest} K off");
        assert!((93.0..=97.0).contains(&covered), "from {seconds} s the interval covers {covered} %");
    }
}
