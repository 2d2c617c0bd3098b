//! Sidecars: what is stated comes through, what is wrong is named, what is missing is asked for.

use std::num::NonZeroU32;

use analysis::capture::metadata::{QuantityName, StatedQuantity};
use analysis::capture::sidecar::{EXAMPLE, SidecarError, SidecarWarning, SidecarWriteError};
use analysis::capture::{
    BenchEvent, BoardIdentity, CaptureMetadata, CornerMark, FrameTimes, PageChoice, Quantity, Question,
    SampleKind, TestConditions, complete_meaning, missing_meaning, parse_sidecar, write_sidecar,
};
use analysis::geometry::Point;
use analysis::radiometry::{Band, Calibration, Correction, Surroundings};
use analysis::units::{Emissivity, Kelvin, KelvinDifference, Millimeters, TemperatureUnit, Transmittance};
use proptest::prelude::*;

/// A sidecar with these fields beside the version.
fn parse(fields: &str) -> Result<(CaptureMetadata, Vec<SidecarWarning>), SidecarError> {
    let separator = if fields.is_empty() { "" } else { "," };
    parse_sidecar("unit7.tiff.json", &format!("{{\"boardglow_sidecar\": 1{separator} {fields}}}"))
}

fn metadata(fields: &str) -> CaptureMetadata {
    let (metadata, warnings) = parse(fields).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(warnings, [], "{fields}");
    metadata
}

fn kelvin(value: f64) -> Kelvin {
    Kelvin::new(value).unwrap()
}

#[test]
fn the_documented_example_says_what_its_field_names_say() {
    let (metadata, warnings) = parse_sidecar("example.json", EXAMPLE).unwrap();
    assert_eq!(warnings, []);
    // By definition of the Celsius scale, 22 °C is 295.15 K and 23 °C is 296.15 K.
    let correction = Correction {
        emissivity: Emissivity::new(0.95).unwrap(),
        surroundings: Surroundings {
            reflected: kelvin(22.0 + 273.15),
            transmittance: Transmittance::CLEAR,
            path: kelvin(22.0 + 273.15),
        },
    };
    assert_eq!(
        metadata.quantity,
        Some(Quantity::Temperature {
            unit: TemperatureUnit::Celsius,
            scale: 0.01,
            offset: -100.0,
            camera_correction: Some(correction)
        })
    );
    assert_eq!(metadata.ambient, Some(kelvin(23.0 + 273.15)));
    assert_eq!(metadata.reflected, Some(kelvin(22.4 + 273.15)));
    assert_eq!(metadata.netd, Some(KelvinDifference::new(0.05).unwrap()));
    assert_eq!(metadata.page, PageChoice::Mean);
    assert_eq!(metadata.frame_times, Some(FrameTimes::Interval(0.5)));
    assert_eq!((metadata.events[0].at_s, metadata.events[0].current), (5.0, Some(0.85)));
    assert_eq!(metadata.conditions.warm_up_minutes, Some(20.0));
    assert_eq!(metadata.corners[2].pixel, Point::new(599.5, 452.0));
    assert_eq!(metadata.corners[2].board, Point::new(80.0, 60.0));
    assert_eq!(metadata.stuck_pixels, [[17, 203], [18, 203]]);
    assert_eq!(metadata.board.serial, "0007");
    assert!(metadata.invented);
}

#[test]
fn the_example_is_complete() {
    // Whatever the writer can write stands in the example, so the documentation misses no field.
    let (metadata, _) = parse_sidecar("example.json", EXAMPLE).unwrap();
    let fields = |text: &str| {
        let json: serde_json::Value = serde_json::from_str(text).unwrap();
        json.as_object().unwrap().keys().cloned().collect::<Vec<_>>()
    };
    assert_eq!(fields(&write_sidecar(&metadata).unwrap()), fields(EXAMPLE));
    let unset = serde_json::to_value(CaptureMetadata::default()).unwrap();
    // All of the metadata but `stated`, in the sidecar's names; the quantity alone takes five of them
    // more, the version one.
    assert_eq!(fields(EXAMPLE).len() + 1, unset.as_object().unwrap().len() + 5 + 1);
}

#[test]
fn each_form_of_calibration_is_read() {
    let counts = |calibration: &str| {
        let fields = format!("\"quantity\": \"counts\", \"calibration\": {calibration}");
        match metadata(&fields).quantity {
            Some(Quantity::Counts { calibration }) => calibration,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(
        counts("{\"form\": \"linear\", \"gain\": 0.002, \"offset\": -3.1}"),
        Calibration::Linear { gain: 0.002, offset: -3.1 }
    );
    assert_eq!(
        counts("{\"form\": \"table\", \"unit\": \"degC\", \"points\": [[9000, 20], [12000, 60.5]]}"),
        Calibration::Table { points: vec![[9000.0, 20.0 + 273.15], [12000.0, 60.5 + 273.15]] }
    );
    assert_eq!(
        counts("{\"form\": \"table\", \"unit\": \"K\", \"points\": [[9000, 320], [12000, 300]]}"),
        Calibration::Table { points: vec![[9000.0, 320.0], [12000.0, 300.0]] }
    );
    assert_eq!(
        counts("{\"form\": \"sakuma-hattori\", \"a\": 9.9, \"b\": 20, \"c\": 5e5}"),
        Calibration::SakumaHattori { a: 9.9, b: 20.0, c: 5e5, offset: 0.0 }
    );
}

#[test]
fn what_is_missing_is_asked_for_and_never_guessed() {
    for (fields, question) in [
        ("", Question::Quantity),
        ("\"unit\": \"degC\", \"scale\": 0.1", Question::Quantity),
        ("\"quantity\": \"temperature\", \"scale\": 0.1", Question::Unit),
        ("\"quantity\": \"temperature\", \"unit\": \"K\"", Question::Scale),
        ("\"quantity\": \"radiance\", \"offset\": 3", Question::Scale),
        ("\"quantity\": \"counts\"", Question::Calibration),
    ] {
        let metadata = metadata(fields);
        assert_eq!(metadata.quantity, None, "{fields}");
        assert_eq!(missing_meaning(&metadata), Some(question), "{fields}");
    }
    assert_eq!(missing_meaning(&metadata("\"quantity\": \"radiance\", \"scale\": 2")), None);
}

#[test]
fn numbers_with_fractions_need_no_scale_but_whole_numbers_do() {
    let stated = metadata("\"quantity\": \"temperature\", \"unit\": \"degC\"");
    let mut whole = stated.clone();
    complete_meaning(&mut whole, SampleKind::Integer);
    assert_eq!((missing_meaning(&whole), &whole), (Some(Question::Scale), &stated));
    let mut real = stated;
    complete_meaning(&mut real, SampleKind::Real);
    assert_eq!(missing_meaning(&real), None);
    assert_eq!(
        real.quantity,
        Some(Quantity::Temperature {
            unit: TemperatureUnit::Celsius,
            scale: 1.0,
            offset: 0.0,
            camera_correction: None
        })
    );
    let mut unit_missing = metadata("\"quantity\": \"temperature\"");
    complete_meaning(&mut unit_missing, SampleKind::Real);
    assert_eq!(missing_meaning(&unit_missing), Some(Question::Unit));
}

#[test]
fn an_unknown_field_is_named_with_the_nearest_known_one() {
    for (fields, field, closest) in [
        ("\"ambiant_degC\": 23", "ambient_degC", Some("ambient_degC")),
        ("\"Notes\": \"a\"", "notes", Some("notes")),
        ("\"humidity_percent\": 40", "humidity_percent", None),
        ("\"test\": {\"votlage_V\": 12}", "test.votlage_V", Some("voltage_V")),
        ("\"corners\": [{\"pixel\": [1, 2], \"mm\": [3, 4], \"name\": \"a\"}]", "corners[0].name", None),
    ] {
        let (metadata, warnings) = parse(fields).unwrap();
        assert_eq!(metadata.ambient, None);
        let [SidecarWarning::UnknownField { file_name, closest: found, field: named }] = &warnings[..] else {
            panic!("{fields}: {warnings:?}");
        };
        assert_eq!((file_name.as_str(), found.as_deref()), ("unit7.tiff.json", closest));
        assert!(closest.is_some() || named == field, "{named}");
        assert!(warnings[0].to_string().contains(closest.unwrap_or(field)), "{}", warnings[0]);
    }
}

#[test]
fn fields_that_mean_nothing_beside_others_are_told() {
    let fields = "\"quantity\": \"counts\", \"scale\": 2, \"unit\": \"K\", \
                  \"calibration\": {\"form\": \"linear\", \"gain\": 1}";
    let (metadata, warnings) = parse(fields).unwrap();
    assert_eq!(missing_meaning(&metadata), None);
    let ignored = warnings.iter().map(|warning| match warning {
        SidecarWarning::Ignored { field, .. } => field.as_str(),
        SidecarWarning::UnknownField { .. } => panic!("{warning}"),
    });
    assert_eq!(ignored.collect::<Vec<_>>(), ["unit", "scale"]);
}

#[test]
fn an_error_names_file_field_value_and_what_it_must_be() {
    for (fields, needles) in [
        ("\"scale\": \"0.01\"", ["\"scale\"", "\"0.01\"", "a number"]),
        ("\"scale\": 0", ["\"scale\"", "0", "any number but 0"]),
        ("\"unit\": \"C\"", ["\"unit\"", "\"C\"", "\"degC\", \"degF\" or \"K\""]),
        ("\"quantity\": \"heat\"", ["\"quantity\"", "\"heat\"", "\"counts\""]),
        ("\"ambient_degC\": -300", ["\"ambient_degC\"", "-300", "above -273.15"]),
        ("\"netd_mK\": -5", ["\"netd_mK\"", "-5", "above 0"]),
        ("\"band_um\": [14, 8]", ["\"band_um\"", "[14, 8]", "0.01 µm apart"]),
        ("\"distance_m\": 0", ["\"distance_m\"", "0", "above 0"]),
        ("\"page\": 0", ["\"page\"", "0", "a number from 1"]),
        ("\"page\": \"all\"", ["\"page\"", "\"all\"", "\"mean\""]),
        ("\"frame_interval_s\": 0", ["\"frame_interval_s\"", "0", "above 0"]),
        ("\"frame_times_s\": [0, 1, 1]", ["\"frame_times_s\"", "number 3 is not above", "rising"]),
        ("\"events\": [{\"name\": \"on\"}]", ["\"events[0].at_s\"", "missing", "its time"]),
        ("\"test\": {\"frequency_Hz\": -50}", ["\"test.frequency_Hz\"", "-50", "0 or more"]),
        ("\"test\": 12", ["\"test\"", "12", "an object"]),
        ("\"board\": {\"serial\": 7}", ["\"board.serial\"", "7", "text in quotes"]),
        ("\"corners\": [{\"pixel\": [1, 2]}]", ["\"corners[0].mm\"", "missing", "both"]),
        ("\"stuck_pixels\": [[-1, 2]]", ["\"stuck_pixels\"", "[[-1,2]]", "whole numbers"]),
        ("\"invented\": \"yes\"", ["\"invented\"", "\"yes\"", "true or false"]),
        (
            "\"camera_correction\": {\"emissivity\": 1.5, \"reflected_degC\": 20}",
            ["\"camera_correction.emissivity\"", "1.5", "at most 1"],
        ),
        (
            "\"camera_correction\": {\"emissivity\": 0.9}",
            ["\"camera_correction.reflected_degC\"", "missing", "camera"],
        ),
        (
            "\"camera_correction\": {\"emissivity\": 0.9, \"reflected_degC\": 20, \"transmittance\": 0.8}",
            ["\"camera_correction.path_degC\"", "missing", "radiates"],
        ),
        ("\"calibration\": {\"gain\": 1}", ["\"calibration.form\"", "missing", "\"linear\""]),
        ("\"calibration\": {\"form\": \"cubic\"}", ["\"calibration.form\"", "\"cubic\"", "\"table\""]),
        ("\"calibration\": {\"form\": \"linear\"}", ["\"calibration.gain\"", "missing", "needs it"]),
        (
            "\"calibration\": {\"form\": \"table\", \"unit\": \"degF\", \"points\": [[1, 2], [3, 4]]}",
            ["\"calibration.unit\"", "\"degF\"", "\"K\""],
        ),
        (
            "\"calibration\": {\"form\": \"table\", \"unit\": \"K\", \"points\": [[1, 300], [3, 290], [4, 310]]}",
            ["\"calibration.points\"", "3 pairs", "monotone"],
        ),
        (
            "\"calibration\": {\"form\": \"table\", \"unit\": \"degC\", \"points\": [[1, -280], [3, 4]]}",
            ["\"calibration.points\"", "-280", "absolute zero"],
        ),
    ] {
        let text = parse(fields).unwrap_err().to_string();
        assert!(text.starts_with("unit7.tiff.json: "), "{text}");
        for needle in needles {
            assert!(text.contains(needle), "{fields}: {needle} is not in: {text}");
        }
    }
}

#[test]
fn a_file_that_is_no_sidecar_is_refused() {
    for (text, needle) in [
        ("{\"boardglow_sidecar\": 1,}", "trailing comma at line 1 column 25"),
        ("", "not readable JSON"),
        ("{\"unit\": \"K\"}", "\"boardglow_sidecar\" is missing"),
        ("{\"boardglow_sidecar\": 2}", "\"boardglow_sidecar\" is 2"),
        ("[1, 2]", "\"boardglow_sidecar\" is missing"),
    ] {
        let error = parse_sidecar("a.json", text).unwrap_err().to_string();
        assert!(error.starts_with("a.json: ") && error.contains(needle), "{error}");
    }
}

#[test]
fn temperatures_are_written_as_a_person_would() {
    let metadata = CaptureMetadata {
        ambient: Some(kelvin(296.15)),
        netd: Some(KelvinDifference::new(0.035).unwrap()),
        ..CaptureMetadata::default()
    };
    let text = write_sidecar(&metadata).unwrap();
    assert!(text.contains("\"ambient_degC\": 23.0") && text.contains("\"netd_mK\": 35.0"), "{text}");
}

#[test]
fn metadata_that_no_sidecar_can_state_is_refused() {
    let mut metadata = CaptureMetadata::default();
    metadata.conditions.voltage = Some(f64::NAN);
    let error = write_sidecar(&metadata).unwrap_err();
    assert_eq!(error, SidecarWriteError::NotFinite { field: "test.voltage_V".to_owned() });
    let metadata = CaptureMetadata { distance: Some(-1.0), ..CaptureMetadata::default() };
    let error = write_sidecar(&metadata).unwrap_err();
    assert!(error.to_string().contains("\"distance_m\" is -1"), "{error}");
}

#[test]
fn the_page_choice_is_written_as_a_number_or_a_word() {
    for (json, choice) in [
        ("\"first\"", PageChoice::First),
        ("\"mean\"", PageChoice::Mean),
        ("3", PageChoice::Page(NonZeroU32::new(3).unwrap())),
    ] {
        assert_eq!(serde_json::from_str::<PageChoice>(json).unwrap(), choice);
        assert_eq!(serde_json::to_string(&choice).unwrap(), json);
    }
    assert!(serde_json::from_str::<PageChoice>("0").is_err());
}

// Boxed throughout: unboxed, the nested strategies outgrow a test thread's stack.
fn maybe<S: Strategy + 'static>(strategy: S) -> BoxedStrategy<Option<S::Value>>
where
    S::Value: Clone,
{
    proptest::option::of(strategy).boxed()
}

fn finite() -> BoxedStrategy<f64> {
    prop_oneof![-1e6_f64..1e6, (-200_i32..200).prop_map(f64::from), Just(1e-12), Just(-3.5e17)].boxed()
}

fn factor() -> BoxedStrategy<f64> {
    finite().prop_filter("a scale is not 0", |factor| *factor != 0.0).boxed()
}

/// Where the Celsius scale holds every kelvin to the last bit.
fn benchtop() -> BoxedStrategy<Kelvin> {
    prop_oneof![143.15_f64..503.15, (-100_i32..200).prop_map(|celsius| f64::from(celsius) + 273.15)]
        .prop_map(kelvin)
        .boxed()
}

fn correction() -> BoxedStrategy<Correction> {
    (0.01_f64..=1.0, benchtop(), 0.01_f64..=1.0, benchtop())
        .prop_map(|(e, reflected, t, path)| Correction {
            emissivity: Emissivity::new(e).unwrap(),
            surroundings: Surroundings { reflected, transmittance: Transmittance::new(t).unwrap(), path },
        })
        .boxed()
}

fn calibration() -> BoxedStrategy<Calibration> {
    let table =
        (0.0_f64..1e4, proptest::collection::vec((0.5_f64..1e3, 0.01_f64..30.0), 2..8), any::<bool>());
    prop_oneof![
        (factor(), finite()).prop_map(|(gain, offset)| Calibration::Linear { gain, offset }),
        (1e-3_f64..20.0, finite(), 1e-3_f64..1e7, finite())
            .prop_map(|(a, b, c, offset)| Calibration::SakumaHattori { a, b, c, offset }),
        table.prop_map(|(start, steps, warmer)| {
            let direction = if warmer { 1.0 } else { -1.0 };
            let (mut counts, mut temperature) = (start, 400.0);
            let points = steps.into_iter().map(|(step, change)| {
                counts += step;
                temperature += direction * change;
                [counts, temperature]
            });
            Calibration::Table { points: points.collect() }
        }),
    ]
    .boxed()
}

fn unit() -> BoxedStrategy<TemperatureUnit> {
    prop_oneof![
        Just(TemperatureUnit::Celsius),
        Just(TemperatureUnit::Fahrenheit),
        Just(TemperatureUnit::Kelvin)
    ]
    .boxed()
}

/// A quantity, or a statement that is too little for one.
fn meaning() -> BoxedStrategy<(Option<Quantity>, Option<StatedQuantity>)> {
    let temperature = (unit(), factor(), finite(), maybe(correction()));
    let whole = prop_oneof![
        temperature.prop_map(|(unit, scale, offset, camera_correction)| Quantity::Temperature {
            unit,
            scale,
            offset,
            camera_correction
        }),
        (factor(), finite()).prop_map(|(scale, offset)| Quantity::Radiance { scale, offset }),
        calibration().prop_map(|calibration| Quantity::Counts { calibration }),
    ];
    let part = (unit(), maybe(factor()), maybe(finite()), maybe(correction()), maybe(calibration()));
    let part = part.prop_map(|(unit, scale, offset, camera_correction, calibration)| StatedQuantity {
        quantity: None,
        unit: Some(unit),
        scale,
        offset,
        calibration,
        camera_correction,
    });
    let unscaled = (unit(), maybe(finite()), maybe(correction())).prop_map(|(unit, offset, correction)| {
        StatedQuantity {
            quantity: Some(QuantityName::Temperature),
            unit: Some(unit),
            offset,
            camera_correction: correction,
            ..StatedQuantity::default()
        }
    });
    prop_oneof![
        Just((None, None)),
        whole.prop_map(|quantity| (Some(quantity), None)),
        part.prop_map(|stated| (None, Some(stated))),
        unscaled.prop_map(|stated| (None, Some(stated))),
    ]
    .boxed()
}

fn any_metadata() -> BoxedStrategy<CaptureMetadata> {
    let page = prop_oneof![
        Just(PageChoice::First),
        Just(PageChoice::Mean),
        (1_u32..9).prop_map(|number| PageChoice::Page(NonZeroU32::new(number).unwrap()))
    ];
    let optics = (
        maybe((0.2_f64..20.0, 0.02_f64..10.0).prop_map(|(low, width)| Band::new(low, low + width).unwrap())),
        // As stated in millikelvin: not every number of kelvin is a thousandth of a float.
        maybe((0.1_f64..2000.0).prop_map(|netd| KelvinDifference::new(netd / 1000.0).unwrap())),
        maybe(benchtop()),
        maybe(benchtop()),
        maybe(1e-3_f64..10.0),
        maybe((1e-3_f64..10.0).prop_map(|pitch| Millimeters::new(pitch).unwrap())),
    );
    let conditions = (maybe(finite()), maybe(finite()), maybe(0.0_f64..1e9), maybe(0.0_f64..1e4), ".{0,12}")
        .prop_map(|(voltage, current, frequency, warm_up_minutes, notes)| TestConditions {
            voltage,
            current,
            frequency,
            warm_up_minutes,
            notes,
        });
    let mark = [finite(), finite(), finite(), finite()].prop_map(|[x, y, board_x, board_y]| CornerMark {
        pixel: Point::new(x, y),
        board: Point::new(board_x, board_y),
    });
    let marks = (
        proptest::collection::vec(mark, 0..5),
        proptest::collection::vec(any::<[u32; 2]>(), 0..5),
        maybe(finite()),
    );
    let times = prop_oneof![
        (1e-6_f64..1e6).prop_map(FrameTimes::Interval),
        proptest::collection::btree_set(-1_000_000_i32..1_000_000, 0..6).prop_map(|times| FrameTimes::Each(
            times.into_iter().map(|time| f64::from(time) / 7.0).collect()
        )),
    ];
    let event = (finite(), ".{0,12}", maybe(finite()), maybe(finite()), maybe(0.0_f64..1e9)).prop_map(
        |(at_s, name, voltage, current, frequency)| BenchEvent { at_s, name, voltage, current, frequency },
    );
    let sequence = (maybe(times), proptest::collection::vec(event, 0..4));
    let texts = (".{0,12}", ".{0,12}", ".{0,12}", ".{0,12}", any::<bool>());
    (meaning(), page, sequence, optics, conditions, marks, texts)
        .prop_map(
            |(
                (quantity, stated),
                page,
                (frame_times, events),
                (band, netd, ambient, reflected, distance, pixel_pitch),
                conditions,
                (corners, stuck_pixels, saturated_at),
                (time, product, serial, notes, invented),
            )| CaptureMetadata {
                quantity,
                stated,
                page,
                frame_times,
                events,
                band,
                netd,
                ambient,
                reflected,
                distance,
                time,
                pixel_pitch,
                conditions,
                board: BoardIdentity { product, serial },
                corners,
                stuck_pixels,
                saturated_at,
                notes,
                invented,
            },
        )
        .boxed()
}

proptest! {
    #[test]
    fn what_was_written_reads_back_the_same(metadata in any_metadata()) {
        let text = write_sidecar(&metadata).unwrap();
        let (read, warnings) = parse_sidecar("written.json", &text).unwrap();
        prop_assert_eq!(warnings, []);
        prop_assert_eq!(read, metadata);
    }

    #[test]
    fn no_text_at_all_makes_the_reader_panic(text in ".{0,80}", field in "[a-z_]{1,12}", value in any::<f64>()) {
        let _ = parse_sidecar("a.json", &text);
        let _ = parse(&format!("\"{field}\": {value:?}, \"test\": {{\"{field}\": [{{}}]}}"));
    }
}
