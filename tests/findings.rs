//! Findings, placements and limits on pictures made for the purpose.

#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "the pieces a test is built from are known to be in range"
)]

#[path = "findings/board_files.rs"]
mod board_files;
#[path = "findings/gerber_layers.rs"]
mod gerber_layers;
#[path = "findings/netlists.rs"]
mod netlists;
#[path = "findings/pictures.rs"]
mod pictures;

use analysis::board::{Footprint, JunctionEstimate, PartLimit, PartPower, PowerOrigin, ThermalPath};
use analysis::frame::{
    ApparentKelvin, Difference, EmissivityFraction, EmissivityUncertainty, Frame, SurfaceKelvin,
};
use analysis::geometry::Point;
use analysis::inspection::{
    Basis, Criteria, Datasheet, DifferenceMap, Exposure, Finding, PartPictures, PartReading, ProbeQuantity,
    Sign, difference, find, read_parts, suggest_probes, tolerance, worst_case,
};
use analysis::noise::{Pixels, estimate_noise};
use analysis::radiometry::{Band, BandTable, Surroundings};
use analysis::uncertainty::{DifferenceSetting, InputUncertainty, certainty};
use analysis::units::{Kelvin, KelvinDifference, Millimeters, TemperatureUnit, Watts};
use pictures::{board_to_picture, bodies, flat, part, picture, with_noise};
use proptest::prelude::*;

/// What is found at a tolerance of 2 K everywhere.
fn found(difference: &Frame<Difference>, footprints: &[Footprint]) -> Vec<Finding> {
    let (rows, columns) = difference.shape();
    let map = board_to_picture();
    let map = (!footprints.is_empty()).then_some(&map);
    find(difference, &flat(rows, columns, 2.0), &Criteria::default(), footprints, map, None).unwrap()
}

fn named(findings: &[Finding]) -> Vec<&str> {
    let mut names: Vec<&str> =
        findings.iter().map(|finding| finding.designator.as_deref().unwrap_or("none")).collect();
    names.sort_unstable();
    names
}

fn within(x: f64, y: f64, center: (f64, f64), radius: f64) -> bool {
    (x - center.0).hypot(y - center.1) <= radius
}

#[test]
fn spots_agree_with_a_general_image_library() {
    // data/findings/spots.csv is what scipy.ndimage (label, center_of_mass, convolve) says of the picture
    // that data/findings/spots.py describes; the hills are repeated here.
    #[rustfmt::skip]
    let hills = [
        (true, 30.3, 25.7, 6.0, 3.0, 20.0, 12.0), (true, 90.0, 30.0, 4.0, 4.0, 0.0, -9.0),
        (false, 150.2, 28.6, 9.3, 9.3, 0.0, 5.0), (false, 205.0, 40.0, 20.0, 6.0, 35.0, -7.0),
        (true, 40.0, 90.0, 9.0, 2.5, -50.0, 6.0), (true, 110.5, 95.5, 3.0, 7.0, 10.0, 30.0),
        (false, 170.0, 100.0, 2.4, 2.4, 0.0, 8.0), (true, 215.0, 110.0, 5.0, 5.0, 0.0, 1.8),
        (false, 20.0, 150.0, 1.2, 1.2, 0.0, 20.0), (true, 80.0, 150.0, 12.0, 8.0, 70.0, -15.0),
        (true, 150.0, 150.0, 7.0, 5.0, 0.0, 4.0), (false, 239.0, 165.0, 8.0, 8.0, 0.0, 6.0),
    ];
    let difference = picture(180, 240, |x, y| {
        hills
            .iter()
            .map(
                |&(smooth, center_x, center_y, a, b, angle, height): &(
                    bool,
                    f64,
                    f64,
                    f64,
                    f64,
                    f64,
                    f64,
                )| {
                    let (sine, cosine) = angle.to_radians().sin_cos();
                    let (x, y) = (x - center_x, y - center_y);
                    let squared =
                        ((cosine * x + sine * y) / a).powi(2) + ((cosine * y - sine * x) / b).powi(2);
                    if smooth {
                        height * (-squared / 2.0).exp()
                    } else {
                        height * f64::from(u8::from(squared <= 1.0))
                    }
                },
            )
            .sum()
    });
    let findings = found(&difference, &[]);
    let table = include_str!("data/findings/spots.csv");
    let expected: Vec<Vec<f64>> = table
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(|cell| cell.parse().expect("a number")).collect())
        .collect();
    assert_eq!(findings.len(), expected.len());
    for row in expected {
        let center = Point::new(row[3], row[4]);
        let nearest = findings
            .iter()
            .min_by(|a, b| a.centroid.distance(center).total_cmp(&b.centroid.distance(center)))
            .expect("a finding");
        // f32 pixels near 30 K hold seven digits.
        assert!(nearest.centroid.distance(center) < 1e-3, "{nearest:?} is not at {center:?}");
        assert_eq!(nearest.sign, if row[0] > 0.0 { Sign::Hotter } else { Sign::Colder });
        assert_eq!(f64::from(nearest.area_px), row[1], "{nearest:?}");
        assert!((nearest.mean.value() - row[2]).abs() < 1e-4, "{nearest:?}");
        assert!((nearest.peak.value() - row[5]).abs() < 1e-4, "{nearest:?}");
        assert_eq!(nearest.bounds.map(f64::from)[..], row[6..10]);
    }
}

#[test]
fn findings_are_ranked_by_significance_and_measured_in_square_millimetres() {
    // A weaker spot on quiet ground outranks a stronger one where the tolerance is high.
    let difference = picture(100, 200, |x, y| {
        if within(x, y, (40.0, 50.0), 5.4) {
            6.0
        } else if within(x, y, (150.0, 50.0), 5.4) {
            9.0
        } else {
            0.0
        }
    });
    let tolerance = picture(100, 200, |x, _| if x < 100.0 { 2.0 } else { 6.0 });
    let pitch = Some(Millimeters::new(0.25).unwrap());
    let findings = find(&difference, &tolerance, &Criteria::default(), &[], None, pitch).unwrap();
    assert_eq!(findings.len(), 2);
    assert!((findings[0].significance - 3.0).abs() < 1e-6 && (findings[1].significance - 1.5).abs() < 1e-6);
    // Lattice points within 5 of one: 81 (Gauss's circle problem, OEIS A000328); up to 5.4 there are eight
    // more at √26 and at √29 each.
    assert_eq!(findings[0].area_px, 97);
    assert!((findings[0].area_mm2.unwrap() - 97.0 / 16.0).abs() < 1e-9);
    assert!(findings[0].centroid.distance(Point::new(40.0, 50.0)) < 1e-6);
}

#[test]
fn a_spot_smaller_than_the_least_area_is_no_finding() {
    let spot = |side: f64| {
        let inside = move |v: f64| v >= 50.0 && v < 50.0 + side;
        picture(100, 100, move |x, y| if inside(x) && inside(y) { 30.0 } else { 0.0 })
    };
    assert!(found(&spot(2.0), &[]).is_empty());
    assert_eq!(found(&spot(3.0), &[]).len(), 1);
    assert!((found(&spot(3.0), &[])[0].peak.value() - 30.0).abs() < 1e-4);
}

#[test]
fn the_glow_of_a_strong_fault_is_one_finding() {
    // A shorted part of 40 K with a slow decay. The bodies in its glow stand out by a tenth, tracks
    // ripple by 5 %, and the camera adds noise of 0.2 K.
    let fault = (320.0, 240.0);
    let mut placements = vec![part("U1", fault.0, fault.1, [5.0, 5.0])];
    for step in 0_u32..24 {
        let (sine, cosine) = (f64::from(step) * 15.0).to_radians().sin_cos();
        let radius = 45.0 + 9.0 * f64::from(step % 5);
        let place = (fault.0 + radius * cosine, fault.1 + radius * sine);
        placements.push(part(&format!("C{step}"), place.0, place.1, [1.6, 0.8]));
    }
    let footprints = bodies(&placements);
    let glow = picture(480, 640, |x, y| {
        let distance = ((x - fault.0).hypot(y - fault.1) - 10.0).max(0.0);
        let on_part = footprints[1..].iter().any(|footprint| footprint.contains(Point::new(x, y)));
        let ripple = 1.0 + 0.05 * (x / 4.0).sin() * (y / 5.0).cos() + if on_part { 0.1 } else { 0.0 };
        40.0 * (-distance / 30.0).exp() * ripple
    });
    for seed in 1..4 {
        let findings = found(&with_noise(&glow, 0.2, seed), &footprints);
        assert_eq!(named(&findings), ["U1"]);
        assert_eq!(findings[0].designator_distance_mm, Some(0.0));
        // The ripple lifts the peak to 42 K; at 10 + 30 ln (40 / 21) ≈ 29.3 pixels half of it is left.
        let half = std::f64::consts::PI * 29.3_f64.powi(2);
        assert!((f64::from(findings[0].area_px) / half - 1.0).abs() < 0.05, "{}", findings[0].area_px);
    }
    // Without a layout the glow is still one.
    assert_eq!(found(&with_noise(&glow, 0.2, 9), &[]).len(), 1);
}

#[test]
fn size_and_centre_are_those_at_half_the_peak() {
    // At half its peak a Gaussian has the area 2π σ² ln 2, and the 3 × 3 mean widens σ² by ⅔ pixel²; so many
    // pixels as lie in a disc of that area. The wide
    // glow beside it, 3 K strong, covers half the picture.
    for (sigma, peak) in [(4.0_f64, 12.0), (8.0, 30.0), (15.0, -20.0)] {
        let hill = |x: f64, y: f64, center: (f64, f64), sigma: f64| {
            (-((x - center.0).powi(2) + (y - center.1).powi(2)) / (2.0 * sigma * sigma)).exp()
        };
        let alone = picture(240, 320, |x, y| peak * hill(x, y, (200.0, 90.0), sigma));
        let findings = found(&with_noise(&alone, 0.05, 4), &[]);
        assert_eq!(findings.len(), 1);
        let radius = (2.0 * (sigma * sigma + 2.0 / 3.0) * std::f64::consts::LN_2).sqrt();
        let disc =
            picture::<Difference>(240, 320, |x, y| f64::from(u8::from(within(x, y, (200.0, 90.0), radius))));
        let area = f64::from(disc.as_slice().iter().sum::<f32>());
        let found_area = f64::from(findings[0].area_px);
        assert!((found_area / area - 1.0).abs() < 0.03, "σ {sigma}: {found_area} for {area}");
        // Half the peak over ln 2 is the mean of a Gaussian above its half.
        let mean = peak / (2.0 * std::f64::consts::LN_2);
        assert!(
            (findings[0].mean.value() / mean - 1.0).abs() < 0.04,
            "σ {sigma}: {:?} for {mean}",
            findings[0].mean
        );

        let sign = peak.signum();
        let glowing = picture(240, 320, |x, y| {
            peak * hill(x, y, (200.0, 90.0), sigma) + sign * 3.0 * hill(x, y, (150.0, 130.0), 60.0)
        });
        let findings = found(&with_noise(&glowing, 0.05, 5), &[]);
        assert_eq!(findings.len(), 1);
        assert!(findings[0].centroid.distance(Point::new(200.0, 90.0)) < 0.1 * sigma, "{:?}", findings[0]);
    }
}

#[test]
fn a_glow_cut_by_edges_of_high_tolerance_stays_one_finding() {
    let glow = picture(200, 300, |x, y| 30.0 * (-(x - 100.0).hypot(y - 100.0) / 40.0).exp());
    // Where a body's edge is misaligned nothing counts: columns that cut the glow in pieces.
    let tolerance = picture(200, 300, |x, _| if x % 30.0 < 4.0 { 60.0 } else { 2.0 });
    let findings = find(&glow, &tolerance, &Criteria::default(), &[], None, None).unwrap();
    assert_eq!(findings.len(), 1);
}

#[test]
fn two_near_parts_that_both_run_hot_are_two_findings() {
    let placements = [part("Q1", 300.0, 200.0, [2.0, 2.0]), part("Q2", 330.0, 200.0, [2.0, 2.0])];
    // Each glows over the other; between them the ground stays at half of the weaker.
    let hill = |x: f64, y: f64, center: f64, height: f64| {
        height * (-((x - center).powi(2) + (y - 200.0).powi(2)) / (2.0 * 9.0 * 9.0)).exp()
    };
    let pair = picture(480, 640, |x, y| hill(x, y, 300.0, 20.0) + hill(x, y, 330.0, 14.0));
    let footprints = bodies(&placements);
    let findings = found(&with_noise(&pair, 0.1, 5), &footprints);
    assert_eq!(named(&findings), ["Q1", "Q2"]);
    assert_eq!(findings[0].designator.as_deref(), Some("Q1"));
    // The extents share no pixel, although at the saddle the ground is above half of the weaker peak.
    let along = |x: usize| pair.at(200, x).unwrap();
    let saddle = (300..330).min_by(|a, b| along(*a).total_cmp(&along(*b))).unwrap();
    assert!(along(saddle) > 7.0);
    let above = |least: f32, columns: std::ops::Range<usize>| {
        let view = pair.view();
        view.indexed_iter().filter(|((_, x), value)| columns.contains(x) && **value >= least).count() as f64
    };
    for (finding, expected) in findings.iter().zip([above(10.0, 0..saddle), above(7.0, saddle..640)]) {
        assert!((f64::from(finding.area_px) / expected - 1.0).abs() < 0.05, "{finding:?} for {expected}");
    }
    // On bare board the same dip is a ripple of one glow.
    assert_eq!(found(&with_noise(&pair, 0.1, 5), &[]).len(), 1);
}

#[test]
fn hot_and_cold_side_by_side_are_two_findings_with_their_signs() {
    let both = picture(480, 640, |x, y| {
        if within(x, y, (200.0, 200.0), 8.0) {
            5.0
        } else if within(x, y, (217.0, 200.0), 8.0) {
            -7.0
        } else {
            0.0
        }
    });
    let findings = found(&both, &[]);
    assert_eq!(findings.iter().map(|finding| finding.sign).collect::<Vec<_>>(), [Sign::Colder, Sign::Hotter]);
    assert!((findings[0].peak.value() + 7.0).abs() < 1e-4 && (findings[0].mean.value() + 7.0).abs() < 1e-4);
}

#[test]
fn invalid_pixels_neither_split_a_spot_nor_count_as_its_area() {
    let holed = picture(100, 100, |x, y| {
        let stuck = x == 50.0 || within(x, y, (42.0, 50.0), 3.0);
        if stuck {
            f64::NAN
        } else if within(x, y, (50.0, 50.0), 15.0) {
            8.0
        } else {
            0.0
        }
    });
    let findings = found(&holed, &[]);
    assert_eq!(findings.len(), 1);
    let valid = holed.as_slice().iter().filter(|value| **value == 8.0).count() as f64;
    // The 3 × 3 mean takes a few pixels off the disc's rim.
    assert!(
        (f64::from(findings[0].area_px) / valid - 1.0).abs() < 0.02,
        "{} of {valid}",
        findings[0].area_px
    );
    assert!((findings[0].peak.value() - 8.0).abs() < 1e-4);
    assert!(found(&flat(20, 20, f64::NAN), &[]).is_empty());
}

#[test]
fn a_place_is_named_after_the_smallest_body_under_it_or_the_nearest_within_reach() {
    // C1 sits under the shield E1; the peak beside R1 lies 2 mm from its edge, the third far from all.
    let placements = [
        part("E1", 100.0, 100.0, [20.0, 20.0]),
        part("C1", 110.0, 100.0, [2.0, 2.0]),
        part("R1", 300.0, 100.0, [2.0, 2.0]),
    ];
    let spots = picture(480, 640, |x, y| {
        [(110.0, 100.0, 9.0), (312.0, 100.0, 8.0), (500.0, 400.0, 7.0)]
            .iter()
            .map(|&(at_x, at_y, height)| {
                let squared: f64 = (x - at_x) * (x - at_x) + (y - at_y) * (y - at_y);
                height * (-squared / 18.0).exp()
            })
            .sum()
    });
    let findings = found(&spots, &bodies(&placements));
    let names: Vec<_> = findings.iter().map(|finding| finding.designator.as_deref()).collect();
    assert_eq!(names, [Some("C1"), Some("R1"), None]);
    assert_eq!(findings[0].designator_distance_mm, Some(0.0));
    // 12 pixels of 0.25 mm, less half the body of 2 mm.
    assert!((findings[1].designator_distance_mm.unwrap() - 2.0).abs() < 1e-6);
    assert_eq!(findings[2].designator_distance_mm, None);
    assert!((findings[0].area_mm2.unwrap() - f64::from(findings[0].area_px) / 16.0).abs() < 1e-6);
}

#[test]
fn noise_alone_finds_nothing() {
    // A finding needs a 3 × 3 mean above the tolerance. At a multiple of 2 that is six standard
    // deviations of the mean: 2 · 307 200 · Q(6) = 6e-4 expected over three pictures of nothing is
    // 2e-3, with Q(6) = 9.866e-10 from tables of the normal tail.
    let criteria =
        Criteria { limit: KelvinDifference::new(0.0).unwrap(), noise_multiple: 2.0, ..Criteria::default() };
    for seed in [11, 12, 13] {
        let map = DifferenceMap {
            unit_gain: 1.0,
            baseline: flat(480, 640, 310.0),
            difference: with_noise(&flat(480, 640, 0.0), 0.08, seed),
            spread: None,
        };
        let noise = estimate_noise(&map.difference, Pixels::Interpolated).unwrap();
        let uncertainty = map.difference.map(|_| noise.value() as f32);
        let tolerance = tolerance(&uncertainty, map.spread.as_ref(), &criteria).unwrap();
        // About 4.55 % of single pixels do exceed it, so the picture is a real test.
        let exceeding = map.difference.as_slice().iter().filter(|value| value.abs() > 0.16).count();
        assert!((exceeding as f64 / 307_200.0 - 0.0455).abs() < 0.002);
        assert_eq!(find(&map.difference, &tolerance, &criteria, &[], None, None).unwrap(), []);
    }
}

#[test]
fn the_noise_is_measured_in_spite_of_faults_and_interpolation() {
    let quiet = with_noise(&flat(480, 640, 0.0), 0.1, 3);
    let sigma = |frame: &Frame<Difference>| estimate_noise(frame, Pixels::Interpolated).unwrap().value();
    // The relative standard deviation is near 1.17 / √(150 000) for independent samples; neighbors that
    // share pixels make it up to a few times as large, so 2 % is beyond five of them.
    assert!((sigma(&quiet) / 0.1 - 1.0).abs() < 0.02, "{}", sigma(&quiet));
    // Six hot parts with sharp edges and a warm slope over the whole board.
    let faults = picture::<Difference>(480, 640, |x, y| {
        let hot = (0..6).any(|part| within(x, y, (60.0 + 100.0 * f64::from(part), 240.0), 25.0));
        0.01 * x + 0.02 * y + if hot { 30.0 } else { 0.0 }
    });
    let values = &quiet.view() + &faults.view();
    let faulty = Frame::<Difference>::new(values).unwrap();
    assert!((sigma(&faulty) / 0.1 - 1.0).abs() < 0.03, "{}", sigma(&faulty));
    // Half a pixel of linear interpolation along x leaves each pixel 1 / √2 of the noise.
    let array = quiet.view();
    let halved = picture::<Difference>(480, 639, |x, y| {
        f64::from(array[(y as usize, x as usize)] + array[(y as usize, x as usize + 1)]) / 2.0
    });
    assert!((sigma(&halved) / (0.1 / 2.0_f64.sqrt()) - 1.0).abs() < 0.03, "{}", sigma(&halved));
    assert_eq!(estimate_noise(&flat::<Difference>(8, 8, 0.0), Pixels::Interpolated), None);
}

#[test]
fn misaligned_edges_do_not_light_up_unless_the_alignment_claims_to_be_exact() {
    // Parts of 60 K rise with edges two pixels wide; the unit is the same board 0.3 pixels off.
    let board = |shift: f64| {
        picture::<SurfaceKelvin>(240, 320, move |x, y| {
            let edge = |v: f64, lo: f64, hi: f64| ((v - lo) / 2.0).tanh() - ((v - hi) / 2.0).tanh();
            let part = |from: f64| edge(x - shift, from, from + 40.0) * edge(y, 60.0, 180.0) / 4.0;
            300.0 + 60.0 * (part(40.0) + part(140.0) + part(240.0))
        })
    };
    let (baseline, unit) = (board(0.0), board(0.3));
    let exposure = |temperature| Exposure { temperature, ambient: Kelvin::new(300.0).unwrap(), power: None };
    let map = difference(&[exposure(&baseline)], &exposure(&unit), Basis::RiseAboveAmbient).unwrap();
    let noise = KelvinDifference::new(0.05).unwrap();
    let criteria = Criteria::default();
    let (table, surroundings) = (BandTable::new(Band::default()), Surroundings::default());
    let (emissivity, exact) =
        (flat::<EmissivityFraction>(240, 320, 0.92), flat::<EmissivityUncertainty>(240, 320, 0.0));
    // At an emissivity of 0.92 a picture appears nearly as it is.
    let apparent: Frame<ApparentKelvin> = baseline.map(|kelvin| kelvin);
    let count = |residual_px: f64| {
        let setting = DifferenceSetting {
            unit: &unit,
            baseline: &baseline,
            baseline_apparent: &apparent,
            baselines: 1,
            emissivity: &emissivity,
            emissivity_uncertainty: &exact,
            unit_surroundings: &surroundings,
            baseline_surroundings: &surroundings,
            unit_table: &table,
            baseline_table: &table,
            unit_netd: noise,
            baseline_netd: noise,
            residual_px,
            above_ambient: true,
            unit_gain: 1.0,
        };
        let chance = certainty(&setting, &InputUncertainty::default()).unwrap().between_equals;
        let tolerance = tolerance(&chance, map.spread.as_ref(), &criteria).unwrap();
        find(&map.difference, &tolerance, &criteria, &[], None, None).unwrap().len()
    };
    assert_eq!(count(0.3), 0);
    assert!(count(0.0) >= 6, "each of the three parts has two upright edges");
}

#[test]
fn the_spread_of_a_few_boards_is_that_of_the_next_one() {
    // Three boards that differ pixel by pixel with σ = 0.5 K. The next differs from their mean with
    // σ √(1 + 1/3) = 0.577 K (the variance of a prediction in any statistics text).
    let boards: Vec<_> =
        (1..=3).map(|seed| with_noise(&flat::<SurfaceKelvin>(120, 160, 330.0), 0.5, seed)).collect();
    let next = with_noise(&flat::<SurfaceKelvin>(120, 160, 330.0), 0.5, 4);
    let exposure = |temperature| Exposure { temperature, ambient: Kelvin::new(300.0).unwrap(), power: None };
    let exposures: Vec<_> = boards.iter().map(exposure).collect();
    let map = difference(&exposures, &exposure(&next), Basis::RiseAboveAmbient).unwrap();
    let root_mean_square = |frame: &Frame<Difference>| {
        let values = frame.as_slice();
        (values.iter().map(|value| f64::from(value * value)).sum::<f64>() / values.len() as f64).sqrt()
    };
    let expected = 0.5 * (4.0_f64 / 3.0).sqrt();
    let spread = map.spread.as_ref().unwrap();
    // 19 200 pixels with two degrees of freedom: relative error of the standard deviation 1 / √(2 · 38 400).
    assert!((root_mean_square(spread) / expected - 1.0).abs() < 5.0 * 0.0036);
    assert!((root_mean_square(&map.difference) / expected - 1.0).abs() < 5.0 * 0.0051);
    // Pooling keeps single pixels usable: 81 · 2 degrees of freedom give 1 / √324 = 5.6 %; beyond five
    // of those is nobody among some 240 independent neighborhoods.
    let worst =
        spread.as_slice().iter().map(|value| (f64::from(*value) / expected - 1.0).abs()).fold(0.0, f64::max);
    assert!(worst < 0.4, "{worst}");
}

#[test]
fn a_part_is_read_at_its_hottest_and_held_against_its_limits() {
    let placements = [part("U1", 100.0, 100.0, [5.0, 5.0]), part("U2", 900.0, 100.0, [5.0, 5.0])];
    let unit = picture::<SurfaceKelvin>(480, 640, |x, y| {
        if within(x, y, (95.0, 103.0), 3.0) { 273.15 + 95.26 } else { 273.15 + 60.0 }
    });
    let raised = flat(480, 640, 4.5);
    let kelvin = |celsius| Some(Kelvin::from_celsius(celsius).unwrap());
    let limit = PartLimit {
        designator: "U1".into(),
        max_case: kelvin(100.0),
        max_junction: kelvin(98.0),
        power: Some(Watts::new(0.51).unwrap()),
        path: Some(ThermalPath::PsiJunctionTop { kelvin_per_watt: 6.1 }),
    };
    let pictures = PartPictures {
        unit: &unit,
        unit_uncertainty: &flat(480, 640, 1.2),
        difference: &raised,
        tolerance: &flat(480, 640, 1.5),
    };
    let watts = Watts::new(0.51).unwrap();
    let power = PartPower { watts, standard_uncertainty: 0.0, origin: PowerOrigin::Stated };
    let datasheet = Datasheet {
        limits: std::slice::from_ref(&limit),
        powers: &[("U1".to_owned(), power)],
        path_share: 0.0,
    };
    let parts = read_parts(&pictures, &bodies(&placements), &datasheet).unwrap();
    // The worked case of the board_files tests: 98.371 °C, 0.371 K over; the case has 4.74 K left.
    assert!((parts[0].case.unwrap().to_celsius() - 95.26).abs() < 1e-3);
    assert!((parts[0].difference.unwrap().value() - 4.5).abs() < 1e-6);
    assert_eq!(parts[0].callable.unwrap().value(), 1.5);
    assert!((parts[0].junction.unwrap().temperature.to_celsius() - 98.371).abs() < 1e-3);
    assert!((parts[0].case_uncertainty.unwrap().value() - 1.2).abs() < 1e-6);
    assert!((parts[0].margin.unwrap().value() + 0.371).abs() < 1e-3);
    assert_eq!((parts[1].case, parts[1].margin), (None, None));

    let probes = suggest_probes(&[], &parts, &placements, None);
    assert!(probes.iter().all(|probe| probe.key.target == "U1"));
    assert_eq!(probes[0].key.quantity, ProbeQuantity::ContactTemperature);
    let reason = &probes[0].reason;
    assert!(reason.words(TemperatureUnit::Celsius).starts_with("U1 is 0.4 K over its limit"), "{reason:?}");
}

#[test]
fn in_warmer_air_a_part_has_less_left_and_less_power_keeps_its_limit() {
    // A published θ-JA of 35.4 K/W (a linear regulator in a 5 mm leadless package) at 2 W in 25 °C:
    // the junction is at 25 + 35.4 · 2 = 95.8 °C. In 60 °C it would be at 130.8 °C, 5.8 K over 125 °C, and
    // (125 − 60) / 35.4 = 1.83616 W keep the limit, by the definition of θ-JA (JESD51-2A).
    let celsius = |value| Kelvin::from_celsius(value).unwrap();
    let kelvin = |value| KelvinDifference::new(value).unwrap();
    let part = PartReading {
        designator: "U1".to_owned(),
        case: Some(celsius(95.0)),
        case_uncertainty: Some(kelvin(0.6)),
        difference: None,
        callable: None,
        power: Some(PartPower {
            watts: Watts::new(2.0).unwrap(),
            standard_uncertainty: 0.0,
            origin: PowerOrigin::Stated,
        }),
        junction: Some(JunctionEstimate {
            temperature: celsius(95.8),
            standard_uncertainty: Some(kelvin(0.8)),
            is_upper_bound: false,
        }),
        margin: None,
        margin_at: None,
    };
    let limit = PartLimit {
        designator: "U1".to_owned(),
        max_case: None,
        max_junction: Some(celsius(125.0)),
        power: None,
        path: None,
    };
    let worst = |limit: &PartLimit| worst_case(&part, limit, celsius(25.0), kelvin(0.6), celsius(60.0));
    let found = worst(&limit).unwrap();
    assert!((found.margin.value() + 5.8).abs() < 1e-9);
    // √(0.8² + 0.6²) = 1 K, of a rise of 70.8 K.
    assert!((found.standard_uncertainty.value() - 1.0).abs() < 1e-9);
    let [watts, uncertainty] = found.power_that_keeps.unwrap();
    assert!((watts - 1.836_158).abs() < 1e-6 && (uncertainty / watts - 1.0 / 70.8).abs() < 1e-9);
    // The tighter limit counts, and in air as warm as the limit no power keeps it.
    let both = PartLimit { max_case: Some(celsius(100.0)), ..limit.clone() };
    assert!((worst(&both).unwrap().margin.value() + 30.0).abs() < 1e-9);
    let hot = worst_case(&part, &limit, celsius(25.0), kelvin(0.6), celsius(125.0)).unwrap();
    assert_eq!(hot.power_that_keeps.unwrap()[0], 0.0);
    assert_eq!(worst(&PartLimit { max_junction: None, ..limit }), None);
}

#[test]
fn probes_follow_the_findings_and_each_is_asked_for_once() {
    let placements = [part("U1", 200.0, 200.0, [5.0, 5.0]), part("C4", 400.0, 200.0, [3.0, 3.0])];
    let spots = picture(480, 640, |x, y| {
        if within(x, y, (200.0, 200.0), 8.0) {
            20.0
        } else if within(x, y, (400.0, 200.0), 5.0) {
            -4.0
        } else if within(x, y, (500.0, 400.0), 5.0) {
            3.0
        } else {
            0.0
        }
    });
    let findings = found(&spots, &bodies(&placements));
    let twice: Vec<_> = findings.iter().chain(&findings).cloned().collect();
    let probes = suggest_probes(&twice, &[], &placements, None);
    assert_eq!(probes, suggest_probes(&findings, &[], &placements, None));
    let mut targets: Vec<&str> = probes.iter().map(|probe| probe.key.target.as_str()).collect();
    targets.dedup();
    let place = format!("finding at ({}, {})", findings[2].peak_at.x, findings[2].peak_at.y);
    assert_eq!(targets, ["U1", "C4", place.as_str()]);
    // The harmless measurement comes first, and says that the board must be off.
    assert_eq!(probes[0].key.quantity, ProbeQuantity::ResistanceUnpowered);
    for probe in &probes {
        assert_eq!(probe.unpowered, probe.key.quantity == ProbeQuantity::ResistanceUnpowered);
        // A difference of one kelvin is 1.8 °F.
        let words = probe.reason.words(TemperatureUnit::Fahrenheit);
        assert!(words.ends_with("(common practice).") && !words.contains(" K "), "{words}");
    }
}

proptest! {
    #[test]
    fn findings_of_any_picture_are_whole_distinct_and_ranked(
        pixels in proptest::collection::vec(
            prop_oneof![6 => -1.0_f32..1.0, 2 => 2.0_f32..30.0, 1 => -30.0_f32..-2.0, 1 => Just(f32::NAN)], 12 * 15,
        ),
    ) {
        let difference = Frame::<Difference>::from_rows(12, 15, pixels).unwrap();
        let criteria = Criteria { least_area_px: 3, ..Criteria::default() };
        let findings = find(&difference, &flat(12, 15, 2.0), &criteria, &[], None, None).unwrap();
        let reached = difference.count_valid();
        let claimed: u32 = findings.iter().map(|finding| finding.area_px).sum();
        prop_assert!(claimed as usize <= reached, "pixels counted twice");
        prop_assert!(findings.is_sorted_by(|a, b| a.significance >= b.significance));
        for finding in &findings {
            let [left, top, right, bottom] = finding.bounds.map(f64::from);
            prop_assert!((left..=right).contains(&finding.centroid.x) && (top..=bottom).contains(&finding.centroid.y));
            prop_assert!(finding.area_px >= 1 && finding.significance >= 1.0);
            let positive = finding.sign == Sign::Hotter;
            prop_assert!((finding.peak.value() > 0.0) == positive && (finding.mean.value() > 0.0) == positive);
        }
    }
}
