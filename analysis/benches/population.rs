//! Speed of judging a 640 × 480 unit against a baseline of ten boards on one thread.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;

use analysis::board::{Footprint, Placement, Side, footprints};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::population::{
    BoardPlate, FalseAlarms, FurtherUncertainty, GoodBoard, PlateProperties, PopulationBaseline, UniformPlate,
};
use analysis::units::Kelvin;
use criterion::{Criterion, criterion_group, criterion_main};
use ndarray::Array2;

/// Pixels a millimetre; the board's corner lies at (50, 40).
const PX_PER_MM: f64 = 5.4;
const PLATE: PlateProperties = PlateProperties { sheet_conductance: 0.01, film: 20.0 };
const SIZE_MM: [f64; 2] = [100.0, 74.0];

/// Kelvin that half a watt in part 33 sends along the board, cell by cell.
fn glow() -> Array2<f64> {
    let plate = UniformPlate::new(PLATE, SIZE_MM, 1.0).expect("a plate");
    let body = |(row, column)| (37..41).contains(&row) && (30..34).contains(&column);
    let watts = Array2::from_shape_fn(plate.shape(), |cell| if body(cell) { 0.5 / 16.0 } else { 0.0 });
    plate.response(&watts)
}

/// Sixty warm parts on a warm board with pseudo-noise; a margin of the picture stays at ambient. The fault is a share of
/// the half watt.
fn board(seed: u32, fault: f64) -> Frame<SurfaceKelvin> {
    let glow = glow();
    let mut state = seed;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5
    };
    let power: Vec<f64> = (0..60).map(|part| f64::from(part % 7) * (1.0 + 0.1 * noise())).collect();
    let numbers = (0..480 * 640)
        .map(|index| {
            let (x, y) = (index % 640, index / 640);
            if !(50..590).contains(&x) || !(40..440).contains(&y) {
                return (296.0 + 0.2 * noise()) as f32;
            }
            let part = ((y - 40) * 6 / 400 * 10 + (x - 50) / 54) as usize;
            let on_body = (x - 50) % 54 < 24 && (y - 40) % 66 < 24;
            let own = if on_body { power.get(part).copied().unwrap_or(0.0) } else { 0.0 };
            let cell = ((f64::from(y - 40) / PX_PER_MM) as usize, (f64::from(x - 50) / PX_PER_MM) as usize);
            let sent = fault * glow.get(cell).copied().unwrap_or(0.0);
            let body = if on_body && part == 33 { 6.0 * fault } else { 0.0 };
            (310.0 + own + sent + body + 0.2 * noise()) as f32
        })
        .collect();
    Frame::from_rows(480, 640, numbers).expect("the size is right")
}

fn board_to_picture() -> Homography<BoardMillimeters, BaselinePixels> {
    Homography::try_from([PX_PER_MM, 0.0, 50.0, 0.0, PX_PER_MM, 40.0, 0.0, 0.0, 1.0]).expect("a map")
}

fn parts() -> Vec<Footprint> {
    let placements: Vec<Placement> = (0..60)
        .map(|part| Placement {
            designator: format!("U{part}"),
            center: Point::new(
                f64::from(part % 10).mul_add(54.0, 12.0) / PX_PER_MM,
                f64::from(part / 10).mul_add(66.0, 12.0) / PX_PER_MM,
            ),
            rotation: 0.0,
            side: Side::Top,
            package: String::new(),
            size: [24.0 / PX_PER_MM, 24.0 / PX_PER_MM],
            value: String::new(),
        })
        .collect();
    footprints(&placements, Side::Top, &board_to_picture())
}

fn population(criterion: &mut Criterion) {
    let frames: Vec<_> = (1..=10).map(|seed| board(seed, 0.0)).collect();
    let boards: Vec<_> = frames
        .iter()
        .enumerate()
        .map(|(index, temperature)| GoodBoard {
            serial: index.to_string(),
            capture: ContentHash::of(index.to_string().as_bytes()),
            temperature,
            ambient: Kelvin::ROOM,
        })
        .collect();
    let footprints = parts();
    let baseline = PopulationBaseline::learn(&boards, None, &footprints).expect("ten boards of one size");
    let unit = board(99, 1.0);
    criterion.bench_function("judge a unit of 640x480 against ten boards", |bencher| {
        bencher
            .iter(|| baseline.judge(black_box(&unit), FurtherUncertainty::default(), FalseAlarms::default()));
    });
    let plate = BoardPlate { size_mm: SIZE_MM, film: PLATE.film, sheet_conductance: None };
    let map = board_to_picture();
    let apart = |unit: &Frame<SurfaceKelvin>| {
        let known = Some((&map, plate));
        baseline.judge_apart(unit, FurtherUncertainty::default(), FalseAlarms::default(), known)
    };
    let (_, sources) = apart(&unit).expect("a unit of the same size");
    assert!(sources.iter().any(|source| source.watts.is_some()), "heat is told: {sources:?}");
    criterion.bench_function("the same, with its heat told from the bench's change", |bencher| {
        bencher.iter(|| apart(black_box(&unit)));
    });
    let mut slow = criterion.benchmark_group("learning");
    slow.sample_size(10);
    slow.bench_function("learn from ten boards of 640x480", |bencher| {
        bencher.iter(|| PopulationBaseline::learn(black_box(&boards), None, &footprints));
    });
    slow.finish();
}

criterion_group!(benches, population);
criterion_main!(benches);
