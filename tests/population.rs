//! Telling a sick board from a healthy but different one, on simulated boards whose truth is known and
//! against published and independently computed numbers.

#[path = "population/simulated.rs"]
mod simulated;

use analysis::population::fit_nuisance;
use analysis::synthetic::{Fault, Spread};
use simulated::Bench;

// ---- What the bench changed ----

#[test]
fn three_kelvin_and_eight_percent_are_told_with_and_without_a_fault_of_twelve_kelvin() {
    let bench = Bench::new(Spread { shift_px: 0.1, ..Spread::NONE }, 11);
    let mut population = bench.changed(3.0, 1.08);
    population.camera.drift = 0.0;
    let mut reference = bench.population.clone();
    reference.camera.drift = 0.0;
    let baseline = bench.unit_of(&reference, 1, None);
    let hot = |designator, watts| Fault::Hot { designator, extra_watts: watts };
    let buried = Fault::BuriedShort { center: [36.0, 38.5], radius_mm: 5.0, watts: 0.55 };
    for fault in [None, Some(hot("Q2", 0.34)), Some(hot("U3", 0.205)), Some(buried)] {
        let unit = bench.unit_of(&population, 2, fault.as_ref());
        if let Some(truth) = &unit.simulated.fault {
            assert!((11.0..14.0).contains(&truth.peak), "{}", truth.peak);
        }
        let fit = fit_nuisance(&bench.trusted(&baseline), baseline.ambient, &bench.trusted(&unit)).unwrap();
        assert!((fit.offset.value - 3.0).abs() < 0.1, "{fit:?}");
        assert!((fit.power_factor.value - 1.08).abs() < 0.01, "{fit:?}");
    }
}
