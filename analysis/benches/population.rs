//! Speed of judging a 640 × 480 unit against a baseline of ten boards on one thread.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;

use analysis::board::{Footprint, Placement, Side, footprints};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use analysis::population::{FalseAlarms, FurtherUncertainty, GoodBoard, PopulationBaseline};
use analysis::units::Kelvin;
use criterion::{Criterion, criterion_group, criterion_main};

/// Sixty warm parts on a warm board with pseudo-noise; a margin of the picture stays at ambient.
fn board(seed: u32, fault: f64) -> Frame<SurfaceKelvin> {
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
            let extra = if on_body && part == 33 { fault } else { 0.0 };
            (310.0 + own + extra + 0.2 * noise()) as f32
        })
        .collect();
    Frame::from_rows(480, 640, numbers).expect("the size is right")
}

fn parts() -> Vec<Footprint> {
    let map: Homography<BoardMillimeters, BaselinePixels> =
        Homography::try_from([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]).expect("the identity");
    let placements: Vec<Placement> = (0..60)
        .map(|part| Placement {
            designator: format!("U{part}"),
            center: Point::new(
                f64::from(part % 10).mul_add(54.0, 62.0),
                f64::from(part / 10).mul_add(66.0, 52.0),
            ),
            rotation: 0.0,
            side: Side::Top,
            package: String::new(),
            size: [24.0, 24.0],
            value: String::new(),
        })
        .collect();
    footprints(&placements, Side::Top, &map)
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
    let unit = board(99, 6.0);
    criterion.bench_function("judge a unit of 640x480 against ten boards", |bencher| {
        bencher
            .iter(|| baseline.judge(black_box(&unit), FurtherUncertainty::default(), FalseAlarms::default()));
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
