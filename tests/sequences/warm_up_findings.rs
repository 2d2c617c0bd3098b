//! Boards that warm up, simulated with known truth: how often a good one is called different, and whether a
//! part that is different is named.

use analysis::sequence::{
    PartWarmUps, WarmUpComparison, WarmUpCriteria, WarmUpQuantity, compare_warm_ups, fit_alike,
};
use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};
use rand_distr::{Distribution, Normal};

const PARTS: usize = 8;

/// A part's rise of the slow decay, K, and its slow time constant, s.
#[derive(Clone, Copy)]
struct Truth {
    rise: f64,
    time_constant: f64,
}

/// One part's series: 110 samples in 330 s with 0.05 K of noise, a fast decay of 8 K and 15 s beside the slow one.
fn series(random: &mut ChaCha8Rng, truth: Truth) -> (Vec<f64>, Vec<f64>) {
    let noise = Normal::new(0.0, 0.05).expect("a width above zero");
    let times: Vec<f64> = (0..110).map(|n| 3.0 * f64::from(n)).collect();
    let value = |time: f64| {
        296.0 + truth.rise * (1.0 - (-time / truth.time_constant).exp()) + 8.0 * (1.0 - (-time / 15.0).exp())
    };
    let values = times.iter().map(|time| value(*time) + noise.sample(random)).collect();
    (times, values)
}

/// A unit and a baseline alike but for what `change` does to the unit's parts.
fn board(seed: u64, change: impl Fn(usize, Truth) -> Truth) -> WarmUpComparison {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let parts: Vec<PartWarmUps> = (0..PARTS)
        .map(|part| {
            let truth = Truth {
                rise: random.random_range(15.0..40.0),
                time_constant: random.random_range(80.0..140.0),
            };
            let own = series(&mut random, change(part, truth));
            let other = series(&mut random, truth);
            let [unit, baseline] =
                fit_alike([(&own.0, &own.1), (&other.0, &other.1)]).expect("both are warm-ups");
            PartWarmUps { designator: format!("U{part}"), unit, baseline }
        })
        .collect();
    // Whatever is beyond the fits' uncertainty, however small.
    let criteria =
        WarmUpCriteria { least_steady_k: 0.0, least_time_constant: 0.0, ..WarmUpCriteria::default() };
    compare_warm_ups(&parts, &criteria)
}

#[test]
fn good_boards_are_rarely_called_different() {
    const BOARDS: u64 = 60;
    let outcomes: Vec<WarmUpComparison> = (0..BOARDS).map(|seed| board(seed, |_, truth| truth)).collect();
    let called = outcomes.iter().filter(|outcome| !outcome.findings.is_empty()).count();
    let tested: usize = outcomes.iter().map(|outcome| outcome.tested).sum();
    println!(
        "{called} of {BOARDS} good boards called different, at 5 allowed of a hundred; {tested} comparisons"
    );
    // Nearly every comparison must have been made, or the absence of findings says nothing.
    assert!(tested > 55 * 2 * PARTS);
    // Of 60 at 5 % more than 9 have a probability of 2 in 1000.
    assert!(called <= 9, "{called}");
}

#[test]
fn the_part_that_warms_more_slowly_or_to_another_end_is_named_for_what_it_does() {
    for seed in 0..12 {
        let outcome = board(500 + seed, |part, truth| match part {
            2 => Truth { time_constant: 1.3 * truth.time_constant, ..truth },
            5 => Truth { rise: truth.rise + 4.0, ..truth },
            _ => truth,
        });
        let found = |designator: &str, quantity: WarmUpQuantity| {
            outcome.findings.iter().find(|f| f.designator == designator && f.quantity == quantity)
        };
        let slow = found("U2", WarmUpQuantity::TimeConstant).expect("the slow part");
        assert!((slow.unit / slow.baseline - 1.3).abs() < 0.15, "{slow:?}");
        let hot = found("U5", WarmUpQuantity::SteadyState).expect("the hot part");
        assert!((hot.difference - 4.0).abs() < 5.0 * hot.uncertainty, "{hot:?}");
        assert!(hot.probability < 0.05 && slow.probability < 0.05);
    }
}
