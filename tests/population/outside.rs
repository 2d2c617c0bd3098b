//! Published and independently computed numbers: prediction intervals, false discoveries, a heated point.

use analysis::board::{Footprint, Placement, Side, footprints};
use analysis::frame::{Difference, Frame};
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::population::{
    Anomaly, BareBoard, BoardPlate, PlateProperties, PredictionInterval, UniformPlate, benjamini_hochberg,
    heat_sources, two_sided_probability,
};
use ndarray::Array2;

fn rows(text: &str) -> Vec<Vec<f64>> {
    text.lines().skip(1).map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect()
}

#[test]
fn prediction_intervals_are_those_of_a_statistics_library() {
    // data/population/make.py: scipy.stats.t.
    let table = rows(include_str!("../data/population/prediction_intervals.csv"));
    assert_eq!(table.len(), 32);
    for row in table {
        let interval = PredictionInterval { count: row[0] as usize, freedom: row[1], coverage: row[2] };
        let found = interval.half_width(1.0);
        assert!((found / row[3] - 1.0).abs() < 1e-6, "{interval:?}: {found}, {}", row[3]);
        let tail = two_sided_probability(4.0, row[1]);
        assert!((tail / row[4] - 1.0).abs() < 1e-8, "{interval:?}: {tail}, {}", row[4]);
    }
}

#[test]
fn four_of_the_fifteen_published_hypotheses_are_rejected() {
    // Y. Benjamini, Y. Hochberg, J. R. Statist. Soc. B 57 (1995) 289–300, section 4: at 0.05 their
    // procedure rejects 4 (Bonferroni's rejects 3).
    let probabilities = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
        0.6528, 0.7590, 1.0000,
    ];
    let rejected = benjamini_hochberg(&probabilities, 0.05);
    let expected: Vec<bool> = (0..15).map(|index| index < 4).collect();
    assert_eq!(rejected, expected);
    // The order given does not matter.
    let mut reversed = probabilities;
    reversed.reverse();
    assert_eq!(benjamini_hochberg(&reversed, 0.05).iter().filter(|&&rejected| rejected).count(), 4);
}

/// θ = P / (2π kt) · K₀(r/L), L = √(kt/h), h of both faces together.
const PLATE: PlateProperties = PlateProperties { sheet_conductance: 0.008, film: 20.0 };
const LENGTH_MM: f64 = 20.0;

#[test]
fn a_heated_point_on_an_endless_sheet_is_as_the_textbook_says() {
    // The edges lie 7.5 L away. K₀ by scipy.special, data/population/make.py.
    let plate = UniformPlate::new(PLATE, [301.0, 301.0], 1.0).unwrap();
    let mut watts = Array2::zeros((301, 301));
    watts[(150, 150)] = 0.5;
    let rise = plate.response(&watts);
    for row in rows(include_str!("../data/population/point_source.csv")) {
        let exact = 0.5 / (2.0 * std::f64::consts::PI * PLATE.sheet_conductance) * row[1];
        let away = (row[0] * LENGTH_MM) as usize;
        for found in [rise[(150, 150 + away)], rise[(150 - away, 150)]] {
            // The lattice's own error at five cells from the point is of the order of (1/5)² / 12.
            assert!((found / exact - 1.0).abs() < 4e-3, "{} L: {found} K, exact {exact} K", row[0]);
        }
    }
}

/// Four pixels a millimetre, y up on the board and down in the picture.
fn map() -> Homography<BoardMillimeters, BaselinePixels> {
    Homography::try_from([4.0, 0.0, 2.0, 0.0, -4.0, 482.0, 0.0, 0.0, 1.0]).unwrap()
}

#[test]
fn the_power_behind_a_textbook_picture_comes_back_to_the_right_part() {
    // A picture by the formula alone: 0.3 W at the middle of U2 on a large board, no solver involved.
    let part = |designator: &str, x: f64, y: f64| Placement {
        designator: designator.into(),
        center: Point::new(x, y),
        rotation: 0.0,
        side: Side::Top,
        package: String::new(),
        size: [2.0, 2.0],
        value: String::new(),
    };
    let (middle_x, middle_y) = (80.0, 60.0);
    let parts = [
        part("U1", 60.0, 60.0),
        part("U2", middle_x, middle_y),
        part("U3", 80.0, 85.0),
        part("U4", 100.0, 45.0),
    ];
    let to_board = map().inverse();
    let exact = Array2::from_shape_fn((484, 644), |(row, column)| {
        let place = to_board.apply(Point::new(column as f64, row as f64));
        let r = (place.x - middle_x).hypot(place.y - middle_y) / LENGTH_MM;
        (0.3 / (2.0 * std::f64::consts::PI * PLATE.sheet_conductance) * bessel_k0(r.max(0.01))) as f32
    });
    let difference = Frame::<Difference>::new(exact).unwrap();
    let footprints = footprints(&parts, Side::Top, &map());
    let board = BoardPlate {
        size_mm: [160.0, 120.0],
        film: PLATE.film,
        sheet_conductance: Some(PLATE.sheet_conductance),
    };
    let map = map();
    let mut bare = BareBoard::new(&footprints, &map, &board, difference.shape()).unwrap();
    // Every part stands out, U2 most.
    let anomaly = |part: &Footprint| {
        let (row, column) = (part.center.y.round() as usize, part.center.x.round() as usize);
        Anomaly {
            peak: part.center,
            middle: part.center,
            difference: f64::from(difference.at(row, column).unwrap()),
            standard_uncertainty: 0.2,
            probability: 1e-6,
            designator: Some(part.designator.clone()),
            nearest: None,
            area_px: 64,
            also: Vec::new(),
        }
    };
    let mut anomalies: Vec<Anomaly> = footprints.iter().map(anomaly).collect();
    anomalies.sort_by(|a, b| b.difference.total_cmp(&a.difference));
    assert!(anomalies[3].difference > 0.5, "the others are warm enough to be asked about: {anomalies:?}");
    let heat = heat_sources(&difference, &anomalies, &mut bare).unwrap();
    let [source] = heat.sources.as_slice() else { panic!("{:?}", heat.sources) };
    assert_eq!(anomalies[source.anomaly].designator.as_deref(), Some("U2"));
    assert_eq!(source.bathed, [1, 2, 3]);
    // The board's edges, three and four L away, reflect a little heat that the endless sheet lets go.
    let watts = source.watts.unwrap().value;
    assert!((watts / 0.3 - 1.0).abs() < 0.05, "{watts} W");
}

/// K₀ by its integral ∫ exp(−x cosh t) dt over t > 0, the trapezoid rule.
fn bessel_k0(x: f64) -> f64 {
    const STEP: f64 = 0.05;
    0.5 * STEP * (-x).exp() + (1..200).map(|i| STEP * (-x * (STEP * f64::from(i)).cosh()).exp()).sum::<f64>()
}
