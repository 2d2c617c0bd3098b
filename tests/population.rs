//! Telling a sick board from a healthy but different one, on simulated boards whose truth is known and
//! against published and independently computed numbers.

#[path = "population/outside.rs"]
mod outside;
#[path = "population/simulated.rs"]
mod simulated;
#[path = "population/study.rs"]
mod study;
#[path = "population/twins.rs"]
mod twins;

use analysis::population::{HeatSource, NuisanceFit, PopulationBaseline, PopulationSummary, fit_nuisance};
use analysis::synthetic::{Fault, Spread};
use simulated::{Bench, Corrected, SPREAD};
use study::{Faults, KINDS, Lot, TEN_GOOD_BOARDS, false_alarms, judge_apart, learn, watts_per_kelvin};

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
    let buried = Fault::BuriedShort { center: [36.0, 38.5], radius_mm: 5.0, watts: 0.42 };
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

/// Three kelvin and eight percent between ten good boards and those that follow: nothing may be found. Five of a
/// hundred good boards may be called different, so of three one is in 14 % of all lots (none of these is), and two in
/// one of 140.
///
/// The power is told by the parts' own steps, and parts that differ by 3 % each tell that of a single unit no better
/// than 0.03 / √20 = 0.7 %, some twenty standing out of the board around them: two such standard deviations are
/// allowed here, and one percent where all parts are alike.
#[test]
fn three_kelvin_and_eight_percent_on_a_good_board_are_no_finding_against_ten_good_boards() {
    let Lot { bench, good, baseline } = &*TEN_GOOD_BOARDS;
    let watts = |board: &Corrected| board.simulated.metadata.conditions.power().unwrap().value();
    let usual = good.iter().map(watts).sum::<f64>() / good.len() as f64;
    let mut called = 0;
    for index in [60, 61, 62] {
        let unit = bench.unit_of(&bench.changed(3.0, 1.08), index, None);
        let (judged, _) = judge_apart(bench, baseline, &unit);
        let told = judged.nuisance.power_factor.value;
        let true_factor = watts(&unit) / usual;
        println!("{index}: power {told:.4} for {true_factor:.4}, called {:?}", judged.anomalies);
        called += usize::from(!judged.anomalies.is_empty());
        assert!((told - true_factor).abs() < 0.014, "{index}: {told} for {true_factor}");
    }
    assert!(called <= 1, "{called} of 3 good boards called different");
}

#[test]
fn of_parts_all_alike_three_kelvin_and_eight_percent_are_told_to_a_tenth_and_one_percent() {
    let alike = Spread { part_power: 0.0, total_power: 0.0, ambient: 0.0, ..SPREAD };
    let mut bench = Bench::new(alike, 612);
    bench.population.camera.drift = 0.0;
    let baseline = learn(&bench, &bench.units(1..5));
    let unit = bench.unit_of(&bench.changed(3.0, 1.08), 60, None);
    let (judged, _) = judge_apart(&bench, &baseline, &unit);
    let NuisanceFit { offset, power_factor, .. } = judged.nuisance;
    assert_eq!(judged.anomalies, []);
    assert!((offset.value - 3.0).abs() < 0.1, "{offset:?}");
    assert!((power_factor.value - 1.08).abs() < 0.01, "{power_factor:?}");
}

// ---- The baseline ----

#[test]
fn a_sick_board_among_the_good_is_named_and_one_more_good_board_is_told_by_its_effect() {
    let bench = Bench::new(SPREAD, 31);
    let mut good: Vec<_> = (1..=5).map(|index| bench.unit(index, None)).collect();
    let five = learn(&bench, &good).summary;
    good.push(bench.unit(6, None));
    let six = learn(&bench, &good).summary;
    let effect = six.effect_since(&five);
    assert_eq!(effect.boards, [5, 6]);
    assert_eq!(effect.tellable.len(), six.parts.len());
    let kept: PopulationSummary = serde_json::from_str(&serde_json::to_string(&six).unwrap()).unwrap();
    assert_eq!(kept, six);
    good.push(bench.unit(7, Some(&Fault::Hot { designator: "Q2", extra_watts: 0.34 })));
    let checks = learn(&bench, &good).summary.boards;
    let named: Vec<&str> =
        checks.iter().filter(|check| check.outlier).map(|check| check.serial.as_str()).collect();
    assert_eq!(named, ["unit 7"], "{checks:?}");
}

// ---- Power ----

/// Steps of power in parts of four kinds, W.
const STEPS: [(&str, f64); 4] = [("Q2", 0.30), ("U3", 0.25), ("U7", 0.30), ("U1", -0.30)];

/// Asked for: at least 90 % of the power in the right footprint, its size within 15 %.
#[test]
fn a_step_of_power_is_put_into_the_right_footprint_at_its_size() {
    // The same board with and without the step: healthy boards' own scatter of 0.05 W in total is no
    // error of the estimate.
    let bench = Bench::new(Spread { shift_px: 0.1, ..Spread::NONE }, 21);
    let good: Vec<_> = (1..=4).map(|index| bench.unit(index, None)).collect();
    let baseline = learn(&bench, &good);
    for (designator, step) in STEPS {
        let unit = bench.unit(50, Some(&Fault::Hot { designator, extra_watts: step }));
        let (judged, sources) = judge_apart(&bench, &baseline, &unit);
        let watts = |source: &HeatSource| source.watts.map_or(0.0, |watts| watts.value);
        let all: f64 = sources.iter().map(|source| watts(source).abs()).sum();
        let named =
            |source: &&HeatSource| judged.anomalies[source.anomaly].designator.as_deref() == Some(designator);
        let here = sources.iter().find(named).map_or(0.0, watts);
        println!(
            "{designator}: {here:+.3} W of {step:+.3} W, {all:.3} W in all of {} sources",
            sources.len()
        );
        assert!(here.abs() / all >= 0.9, "{designator}: {sources:?}");
        assert!((here / step - 1.0).abs() < 0.15, "{designator}: {here} W of {step} W");
    }
}

/// The same on boards that differ as a lot does, with heat and the bench's change told apart. Asked for: within 15 %.
///
/// Of this lot 7 % in the root mean square, 10 % at worst. Of lot 405 8 % and 16 % (the step in U3), where the total
/// power came out 3 % low by the parts' own scatter: what is left of everybody's power then passes for the fault's.
/// Lot 406 has 4 % and 6 %: of twelve steps in three lots one lies beyond.
#[test]
fn the_heat_of_a_fault_is_put_into_the_right_footprint_among_differing_boards() {
    let Lot { bench, baseline, .. } = &*TEN_GOOD_BOARDS;
    let errors = std::thread::scope(|scope| {
        let cases: Vec<_> = (70..)
            .zip(STEPS)
            .map(|(unit, step)| scope.spawn(move || error_of_heat(bench, baseline, unit, step)))
            .collect();
        cases.into_iter().map(|case| case.join().unwrap()).collect::<Vec<f64>>()
    });
    let root_mean_square =
        (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt();
    assert!(errors.iter().all(|error| error.abs() < 0.15) && root_mean_square < 0.1, "{errors:?}");
}

/// Judges a unit with a step of power in a part; tells by which share its size comes out wrong.
fn error_of_heat(
    bench: &Bench,
    baseline: &PopulationBaseline,
    unit: u64,
    (designator, step): (&'static str, f64),
) -> f64 {
    let unit = bench.unit(unit, Some(&Fault::Hot { designator, extra_watts: step }));
    let (judged, sources) = judge_apart(bench, baseline, &unit);
    // One source: every other part that stands out is told to bathe in it, beside it or on its flanks.
    let [source] = sources.as_slice() else { panic!("{designator}: {sources:?}") };
    let place = &judged.anomalies[source.anomaly];
    assert_eq!(place.designator.as_deref(), Some(designator));
    let bathed = source.bathed.iter().map(|&other| &judged.anomalies[other]);
    let bathed: Vec<_> =
        bathed.flat_map(|other| other.designator.iter().chain(&other.also)).chain(&place.also).collect();
    let least = judged.false_alarms.least_difference;
    for part in judged.parts.iter().filter(|part| part.significant && part.designator != designator) {
        let told = bathed.contains(&&part.designator);
        assert!(
            told || part.difference.unwrap().abs() < least,
            "{designator}: {part:?} is not told to bathe"
        );
    }
    assert!(!bathed.is_empty(), "{designator} is strong enough to warm its neighbours");
    let watts = source.watts.unwrap().value;
    println!("{designator}: {watts:+.3} W of {step:+.3} W, {} bathed", bathed.len());
    watts / step - 1.0
}

// ---- The study ----

/// A small part of the study that the ordinary run has time for.
#[test]
fn faults_of_six_kelvin_are_found_and_named_and_good_boards_left_alone() {
    let Lot { bench, baseline, .. } = &*TEN_GOOD_BOARDS;
    let alarms = false_alarms(bench, baseline, &bench.population, 1000..1010);
    // Five of a hundred good boards may be called different: of ten, three or more are in one case of ninety.
    assert!(alarms.boards <= 2, "{alarms:?}");
    let mut faults = Faults::default();
    for kind in &KINDS {
        // The first and the last place of each kind: a converter and a chip, two shorts.
        for place in [0, kind.places - 1] {
            let index = 2001 + faults.tried as u64;
            faults.add(bench, baseline, (kind, place, 6.0 * watts_per_kelvin(bench, kind, place)), index);
        }
    }
    assert_eq!((faults.found, faults.named, faults.others), (8, 8, 0), "{faults:?}");
    // Asked for: right within a tenth. A part's own three percent of power is up to 0.7 K of these six.
    assert!(faults.peak_off(0.5) < 0.1, "{faults:?}");
}

/// The acceptance as it was asked for, judged as the page does it, on a lot of boards chosen by `STUDY_SEED`. The
/// method was chosen on lots 5, 77, 101, 1234, 9001 and 9002; lots 201 and 202 were looked at once, afterwards. Five of
/// a hundred good boards may be called different; of 100 unseen good boards each 5 and 2 were, and of 100 that were
/// taken at 3 K and 8 % more power 5 and 4, with 6 and 5 findings. Of one fault of each kind at each of its places:
///
/// | peak | hot, cold, short, wide | found | named rightly | other findings on these boards | with the spread known |
/// |---|---|---|---|---|---|
/// | 1 K | 5/28, 1/16, 7/10, 7/10 | 31 % | all | 4 | 45 to 51 % |
/// | 2 K | 23/28, 10/16, 10/10, 10/10 | 83 % | all | 2 | 84 to 89 % |
/// | 3 K | 26/28, 15/16, 10/10, 10/10 | 95 % | 60 of 61 | 2 | 98 to 99 % |
/// | 6, 12 K | all of 128 | 100 % | all | 0 | 100 % |
///
/// "With the spread known" is what the same method found after 200 good boards of other lots (an earlier run;
/// `STUDY_LEARN` sets how many are learned from), and a detector that knows every part's power but for its own 3 %, from
/// which nobody can tell a fault in it.
///
/// The peak is right within 7 and 12 % (medians of the two lots) at 3 K, 3 and 2 % at 6 K, 2 % at 12 K; nine in ten
/// within 32 and 24, 15 and 9, 4 %. Nearly all of that is what the very same unit differs by there without its fault,
/// its parts' own 3 % of power, which nobody can know: less that, nine in ten are right within 6, 3 and 2 %. The
/// exception is the resistor R7, whose body is smaller than the place that is read: it reads 40 % of its peak.
#[test]
#[ignore = "simulates some three hundred boards: run in release, with --nocapture"]
fn faults_are_found_and_good_boards_left_alone() {
    let number =
        |name: &str, default: u64| std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default);
    let (goods, learned) = (number("STUDY_GOOD", 100), number("STUDY_LEARN", 10));
    let bench = Bench::new(SPREAD, number("STUDY_SEED", 101));
    // Of a longer row of boards none may be among the unseen.
    let first = if learned <= 10 { 1 } else { 10_001 };
    let baseline = learn(&bench, &bench.units(first..first + learned));
    println!("{:?} {:?}", baseline.summary.part_extremes, baseline.summary.square_extremes);
    let mut unmet = Vec::new();
    let elsewhere = bench.changed(3.0, 1.08);
    for (population, how) in [(&bench.population, "as the others"), (&elsewhere, "3 K and 8 % more")] {
        let alarms = false_alarms(&bench, &baseline, population, 1000..1000 + goods);
        println!(
            "{goods} unseen good boards, {how}: {} false findings on {}",
            alarms.findings, alarms.boards
        );
        // Of fewer boards a single one decides.
        if goods >= 100 && alarms.findings as f64 > 0.1 * goods as f64 {
            unmet.push(format!("{alarms:?} on {goods} boards, {how}"));
        }
    }
    let places = KINDS.iter().flat_map(|kind| (0..kind.places).map(move |place| (kind, place)));
    let places: Vec<_> =
        places.map(|(kind, place)| (kind, place, watts_per_kelvin(&bench, kind, place))).collect();
    let (mut all_found, mut all_named) = (0, 0);
    let mut unit = 2000;
    for kelvin in [1.0, 2.0, 3.0, 6.0, 12.0] {
        let mut of_all = Faults::default();
        for kind in &KINDS {
            let mut faults = Faults::default();
            for (_, place, per_kelvin) in places.iter().filter(|(of, ..)| of.name == kind.name) {
                unit += 1;
                faults.add(&bench, &baseline, (kind, *place, kelvin * per_kelvin), unit);
            }
            println!("{kelvin:>4} K {:>20}: {}", kind.name, faults.told());
            of_all.join(faults);
        }
        println!("{kelvin:>4} K {:>20}: {}", "all", of_all.told());
        all_found += of_all.found;
        all_named += of_all.named;
        let wanted = match kelvin {
            6.0.. => 1.0,
            3.0.. => 0.9,
            // As many as can be: the spread of the boards themselves is of that size.
            _ => 0.0,
        };
        if (of_all.found as f64) < wanted * of_all.tried as f64 {
            unmet.push(format!("{kelvin} K: {}", of_all.told()));
        }
        // A part's own 3 % of power may be more than a tenth of the fault; it is no error of the measurement.
        if kelvin >= 3.0 && of_all.measured_off(0.9) > 0.1 {
            unmet.push(format!("{kelvin} K: {}", of_all.told()));
        }
    }
    if (all_named as f64) < 0.98 * all_found as f64 {
        unmet.push(format!("{all_named} of {all_found} named"));
    }
    assert!(unmet.is_empty(), "not met: {unmet:#?}");
}
