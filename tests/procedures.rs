//! Procedures that measure emissivity and surroundings, against worked cases computed independently.
//!
//! The cases were computed with mpmath from Planck's integral over the band (30 digits) and the
//! measurement equation; Student's t with SciPy 1.17.1, which agrees with JCGM 100:2008 table G.2.

#[path = "procedures/cavity.rs"]
mod cavity;
#[path = "procedures/soaked_board.rs"]
mod soaked_board;

use analysis::procedure::{
    ContactMethod, ContactRepeat, DirectMethod, Foil, ProcedureError, Record, ReferenceMethod,
    ReferenceRepeat, ReflectorMethod, Source, Warning, Yield,
};
use analysis::propagation::coverage_factor;
use analysis::radiometry::{Band, Surroundings};
use analysis::units::{Emissivity, Kelvin, KelvinDifference, Transmittance};

#[track_caller]
fn assert_near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected} ± {tolerance:e}"
    );
}

fn celsius(value: f64) -> Kelvin {
    Kelvin::from_celsius(value).unwrap()
}

fn kelvins(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap()
}

fn band(limits: [f64; 2]) -> Band {
    Band::try_from(limits).unwrap()
}

fn surrounded_by(celsius_reflected: f64) -> Surroundings {
    Surroundings { reflected: celsius(celsius_reflected), ..Surroundings::default() }
}

fn contact_method(limits: [f64; 2], readings: &[f64]) -> ContactMethod {
    ContactMethod {
        band: band(limits),
        surroundings: surrounded_by(22.0),
        reflected_uncertainty: KelvinDifference::ZERO,
        contact_uncertainty: KelvinDifference::ZERO,
        camera_uncertainty: KelvinDifference::ZERO,
        reading_noise: KelvinDifference::ZERO,
        repeats: readings
            .iter()
            .map(|&reading| ContactRepeat { contact: celsius(60.0), apparent: celsius(reading) })
            .collect(),
    }
}

fn reference_method() -> ReferenceMethod {
    ReferenceMethod {
        band: band([8.0, 14.0]),
        surroundings: Surroundings {
            transmittance: Transmittance::new(0.97).unwrap(),
            ..surrounded_by(22.0)
        },
        reflected_uncertainty: kelvins(0.5),
        reference: Emissivity::new(0.95).unwrap(),
        reference_uncertainty: 0.01,
        camera_uncertainty: kelvins(0.4),
        reading_noise: kelvins(0.05),
        repeats: vec![ReferenceRepeat { covered: celsius(58.0), bare: celsius(50.0) }],
    }
}

// ---- Student's t ----

#[test]
fn coverage_factors_are_those_of_the_guide() {
    // JCGM 100:2008, table G.2, computed anew with SciPy to four decimals.
    for (percent, degrees, expected) in [
        (68.27, 1.0, 1.8374),
        (90.0, 20.0, 1.7247),
        (95.0, 1.0, 12.7062),
        (95.0, 2.0, 4.3027),
        (95.0, 3.0, 3.1824),
        (95.0, 10.0, 2.2281),
        (95.0, 100.0, 1.9840),
        (95.45, 5.0, 2.6487),
        (99.0, 16.0, 2.9208),
        (99.73, 1.0, 235.7837),
    ] {
        let found = coverage_factor(percent / 100.0, Some(degrees)).unwrap();
        assert_near(&format!("{percent} %, {degrees}"), found, expected, 6e-5);
    }
    assert_near("95 %, endless", coverage_factor(0.95, None).unwrap(), 1.959_963_984_5, 1e-9);
}

// ---- Reflected apparent temperature ----

#[test]
fn the_reflected_temperature_is_the_mean_of_the_readings_with_its_standard_uncertainty() {
    let readings = [22.4, 23.1, 22.8].map(celsius).to_vec();
    let direct = DirectMethod { readings, reading_uncertainty: KelvinDifference::ZERO };
    let outcome = direct.outcome().unwrap();
    assert_near("mean", outcome.reflected.to_celsius(), 22.766_666_67, 1e-8);
    // By hand: s² = (0.134444 + 0.111111 + 0.001111)/2 = 0.123333, u = s/√3.
    assert_near("spread", outcome.repeats.spread.unwrap(), 0.123_333_333_f64.sqrt(), 1e-8);
    assert_near("u", outcome.uncertainty.value(), (0.123_333_333_f64 / 3.0).sqrt(), 1e-8);
    assert_near("degrees of freedom", outcome.degrees_of_freedom.unwrap(), 2.0, 1e-9);
    assert!(outcome.warnings.is_empty(), "{:?}", outcome.warnings);
}

#[test]
fn the_foils_own_radiance_is_taken_out() {
    // Foil of emissivity 0.04 at 24 °C before surroundings of 35 °C reads 34.58 °C.
    let foil = Foil {
        emissivity: Emissivity::new(0.04).unwrap(),
        emissivity_uncertainty: 0.01,
        temperature: celsius(24.0),
        temperature_uncertainty: kelvins(1.0),
    };
    let entered = |foil: Option<Foil>| ReflectorMethod {
        band: band([8.0, 14.0]),
        readings: vec![celsius(34.579_843_576_2); 3],
        reading_uncertainty: kelvins(0.2),
        foil,
    };
    let outcome = entered(Some(foil)).outcome().unwrap();
    assert_near("reflected", outcome.reflected.to_celsius(), 35.0, 1e-8);
    let plain = entered(None).outcome().unwrap();
    assert_near("without the foil", plain.reflected.to_celsius(), 34.579_843_576_2, 1e-9);
    // Each part of the uncertainty is what changing that input alone does to the outcome.
    let step = 1e-3;
    let by_emissivity = entered(Some(Foil { emissivity: Emissivity::new(0.04 + step).unwrap(), ..foil }));
    let by_temperature = entered(Some(Foil { temperature: celsius(24.0 + step), ..foil }));
    let moved = |method: ReflectorMethod| {
        (method.outcome().unwrap().reflected.value() - outcome.reflected.value()).abs() / step
    };
    assert_near(
        "by emissivity",
        part(&outcome.contributions, Source::ReferenceEmissivity),
        moved(by_emissivity) * 0.01,
        1e-3,
    );
    assert_near(
        "by temperature",
        part(&outcome.contributions, Source::FoilTemperature),
        moved(by_temperature),
        1e-4,
    );
}

#[test]
fn a_single_reading_is_not_taken_for_a_certain_one() {
    let alone = |uncertainty| DirectMethod {
        readings: vec![celsius(23.0)],
        reading_uncertainty: kelvins(uncertainty),
    };
    assert_eq!(alone(0.0).outcome(), Err(ProcedureError::UncertaintyUnknown));
    let stated = alone(0.5).outcome().unwrap();
    assert_eq!(stated.uncertainty.value(), 0.5);
    assert_eq!(stated.warnings, vec![Warning::FewRepeats { found: 1, wanted: 3 }]);
    let none = DirectMethod { readings: vec![], reading_uncertainty: kelvins(0.5) };
    assert_eq!(none.outcome(), Err(ProcedureError::NoReadings));
    assert!(matches!(alone(-0.5).outcome(), Err(ProcedureError::UnusableUncertainty { .. })));
}

#[test]
fn readings_that_disagree_are_warned_of_with_their_spread() {
    let readings = [20.0, 23.0, 26.0].map(celsius).to_vec();
    let outcome = DirectMethod { readings, reading_uncertainty: kelvins(0.1) }.outcome().unwrap();
    assert!(
        matches!(outcome.warnings[..], [Warning::RepeatsDisagree { spread, .. }] if (spread - 3.0).abs() < 1e-9)
    );
}

// ---- Emissivity ----

fn part(contributions: &[analysis::procedure::Contribution], source: Source) -> f64 {
    contributions.iter().find(|part| part.source == source).unwrap().uncertainty
}

#[test]
fn three_repeats_of_the_contact_method_give_the_worked_mean_and_spread() {
    for (limits, mean, spread, error) in [
        ([8.0, 14.0], 0.881_148_655_9, 0.007_434_881_7, 0.004_292_530_9),
        ([7.5, 14.0], 0.880_296_266_5, 0.007_481_941_6, 0.004_319_701_0),
    ] {
        let outcome = contact_method(limits, &[55.8, 56.0, 56.3]).outcome().unwrap();
        assert_near("mean", outcome.emissivity.value(), mean, 1e-9);
        assert_near("spread", outcome.repeats.spread.unwrap(), spread, 1e-9);
        assert_near("u", outcome.uncertainty, error, 1e-9);
        assert_near("degrees of freedom", outcome.degrees_of_freedom.unwrap(), 2.0, 1e-9);
        assert!(outcome.warnings.is_empty(), "{:?}", outcome.warnings);
    }
}

#[test]
fn each_part_of_the_contact_methods_uncertainty_is_what_that_input_does() {
    let base = ContactMethod {
        reflected_uncertainty: kelvins(0.5),
        contact_uncertainty: kelvins(0.6),
        camera_uncertainty: kelvins(0.4),
        ..contact_method([8.0, 14.0], &[56.0])
    };
    let outcome = base.outcome().unwrap();
    let step = 1e-3;
    let moved = |change: fn(&mut ContactMethod, f64)| {
        let mut other = base.clone();
        change(&mut other, step);
        let mut before = base.clone();
        change(&mut before, -step);
        (other.outcome().unwrap().emissivity.value() - before.outcome().unwrap().emissivity.value()).abs()
            / (2.0 * step)
    };
    let contact =
        moved(|m, by| m.repeats[0].contact = Kelvin::new(m.repeats[0].contact.value() + by).unwrap());
    let camera =
        moved(|m, by| m.repeats[0].apparent = Kelvin::new(m.repeats[0].apparent.value() + by).unwrap());
    let reflected = moved(|m, by| {
        m.surroundings.reflected = Kelvin::new(m.surroundings.reflected.value() + by).unwrap();
    });
    assert_near("contact", part(&outcome.contributions, Source::ContactThermometer), contact * 0.6, 1e-7);
    assert_near("camera", part(&outcome.contributions, Source::Camera), camera * 0.4, 1e-7);
    assert_near("reflected", part(&outcome.contributions, Source::Reflected), reflected * 0.5, 1e-7);
    let total = (contact * 0.6).hypot(camera * 0.4).hypot(reflected * 0.5);
    assert_near("combined", outcome.uncertainty, total, 1e-7);
    assert_eq!(outcome.degrees_of_freedom, None);
}

#[test]
fn an_error_of_half_a_kelvin_costs_what_the_table_says() {
    // True emissivity 0.90, surroundings 22 °C, 8 to 14 µm: what +0.5 K on the reading does (exact).
    for (elevation, expected) in
        [(5.0, 0.102_099_07), (10.0, 0.051_952_89), (20.0, 0.026_837_17), (40.0, 0.014_193_331)]
    {
        let surface = celsius(22.0 + elevation);
        let settings = analysis::radiometry::Correction {
            emissivity: Emissivity::new(0.9).unwrap(),
            surroundings: surrounded_by(22.0),
        };
        let apparent =
            analysis::radiometry::apparent_temperature(surface, &settings, band([8.0, 14.0])).unwrap();
        let method = ContactMethod {
            camera_uncertainty: kelvins(0.5),
            repeats: vec![ContactRepeat { contact: surface, apparent }; 3],
            ..contact_method([8.0, 14.0], &[])
        };
        let outcome = method.outcome().unwrap();
        assert_near("emissivity", outcome.emissivity.value(), 0.9, 1e-10);
        // First order against the exact step: half a kelvin bends by less than a percent.
        assert_near("u", outcome.uncertainty, expected, 0.01 * expected);
        let low = outcome.warnings.iter().any(|warning| matches!(warning, Warning::LowElevation { .. }));
        assert_eq!(low, elevation < 10.0, "at {elevation} K");
    }
}

#[test]
fn the_reference_method_gives_the_worked_emissivity_of_the_bare_place() {
    for (limits, expected) in [([8.0, 14.0], 0.714_625_972_364), ([7.5, 14.0], 0.713_227_388_803)] {
        let method =
            ReferenceMethod { band: band(limits), surroundings: surrounded_by(22.0), ..reference_method() };
        let outcome = method.outcome().unwrap();
        assert_near("emissivity", outcome.emissivity.value(), expected, 1e-10);
    }
}

#[test]
fn each_part_of_the_reference_methods_uncertainty_is_what_that_input_does() {
    let base = reference_method();
    let outcome = base.outcome().unwrap();
    let step = 1e-3;
    let moved = |change: &dyn Fn(&mut ReferenceMethod, f64)| {
        let at = |by: f64| {
            let mut other = base.clone();
            change(&mut other, by);
            other.outcome().unwrap().emissivity.value()
        };
        (at(step) - at(-step)) / (2.0 * step)
    };
    let warmer = |t: Kelvin, by: f64| Kelvin::new(t.value() + by).unwrap();
    let bare = moved(&|m, by| m.repeats[0].bare = warmer(m.repeats[0].bare, by));
    let covered = moved(&|m, by| m.repeats[0].covered = warmer(m.repeats[0].covered, by));
    let reflected = moved(&|m, by| m.surroundings.reflected = warmer(m.surroundings.reflected, by));
    let reference = moved(&|m, by| m.reference = Emissivity::new(m.reference.value() + by).unwrap());
    let parts = &outcome.contributions;
    assert_near("reference", part(parts, Source::ReferenceEmissivity), reference.abs() * 0.01, 1e-7);
    assert_near("reflected", part(parts, Source::Reflected), reflected.abs() * 0.5, 1e-7);
    assert_near("camera", part(parts, Source::Camera), (bare + covered).abs() * 0.4, 1e-7);
    assert_near("noise", part(parts, Source::Repeats), bare.hypot(covered) * 0.05, 1e-7);
}

#[test]
fn stated_noise_is_the_least_that_a_lucky_agreement_of_repeats_leaves() {
    let agreeing = ContactMethod { reading_noise: kelvins(0.1), ..contact_method([8.0, 14.0], &[56.0; 4]) };
    let outcome = agreeing.outcome().unwrap();
    let one = ContactMethod { reading_noise: kelvins(0.1), ..contact_method([8.0, 14.0], &[56.0]) };
    assert_near("u", outcome.uncertainty, one.outcome().unwrap().uncertainty / 2.0, 1e-12);
    assert_eq!(outcome.degrees_of_freedom, None);
}

#[test]
fn the_reference_method_complains_of_what_it_was_given() {
    let repeats = vec![ReferenceRepeat { covered: celsius(58.0), bare: celsius(70.0) }];
    let error = ReferenceMethod { repeats, ..reference_method() }.outcome().unwrap_err();
    assert!(matches!(error, ProcedureError::ReferenceRepeat { number: 1, .. }), "{error}");
    // No contact thermometer has any part in it.
    let said = error.to_string();
    assert!(
        said.contains("the reference's emissivity")
            && !said.contains("thermometer")
            && !said.contains("contact"),
        "{said}"
    );
}

#[test]
fn a_repeat_without_an_emissivity_is_named() {
    let error = contact_method([8.0, 14.0], &[56.0, 61.0, 56.0]).outcome().unwrap_err();
    assert!(matches!(error, ProcedureError::Repeat { number: 2, .. }), "{error}");
    assert!(error.to_string().starts_with("repeat 2: the reading asks for an emissivity of 1.0"), "{error}");
}

#[test]
fn bare_metal_is_warned_of() {
    let outcome = contact_method([8.0, 14.0], &[26.0, 26.1, 26.2]).outcome().unwrap();
    assert!(outcome.warnings.iter().any(|warning| matches!(warning, Warning::MostlyReflecting { .. })));
}

// ---- Records ----

#[test]
fn a_record_survives_being_written_and_tells_what_it_yields() {
    let readings = [22.4, 23.1, 22.8].map(celsius).to_vec();
    let reflected =
        Record::direct_view(DirectMethod { readings, reading_uncertainty: kelvins(0.2) }).unwrap();
    let contact = Record::contact(contact_method([8.0, 14.0], &[55.8, 56.0, 56.3])).unwrap();
    for record in [&reflected, &contact] {
        let text = serde_json::to_string(record).unwrap();
        assert_eq!(&serde_json::from_str::<Record>(&text).unwrap(), record, "{text}");
    }
    assert!(matches!(
        reflected.yields(),
        Yield::ReflectedTemperature { reflected, .. } if (reflected.to_celsius() - 22.766_666_67).abs() < 1e-6
    ));
    assert!(matches!(
        contact.yields(),
        Yield::Finish { finish, .. } if (finish.emissivity.value() - 0.881_148_655_9).abs() < 1e-8 && finish.material.is_none()
    ));
    let text = serde_json::to_string(&contact).unwrap();
    assert!(text.contains(r#""procedure":"emissivity-by-contact""#), "{text}");
    let stranger = text.replace(r#""band""#, r#""bands""#);
    assert!(serde_json::from_str::<Record>(&stranger).is_err());
}
