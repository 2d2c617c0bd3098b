//! Speed of judging a difference on one thread, at two sizes: subtract four boards, set the tolerance, find.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;

use analysis::frame::{Frame, SurfaceKelvin};
use analysis::inspection::{Basis, Criteria, Exposure, difference, find, tolerance};
use analysis::noise::{Pixels, estimate_noise};
use analysis::units::Kelvin;
use criterion::{Criterion, criterion_group, criterion_main};

/// A board with warm parts and pseudo-noise, plus `fault` kelvin of glow at six places.
fn board((rows, columns): (u32, u32), seed: u32, fault: f64) -> Frame<SurfaceKelvin> {
    let mut state = seed;
    let numbers = (0..rows * columns)
        .map(|index| {
            let (x, y) = (f64::from(index % columns), f64::from(index / columns));
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5;
            let parts = 20.0 * ((x / 23.0).sin() * (y / 19.0).cos()).max(0.0);
            let glow: f64 = (0_u32..6)
                .map(|place| {
                    let (at_x, at_y) = (60.0 + 100.0 * f64::from(place), 90.0 + 60.0 * f64::from(place % 5));
                    fault * (-(x - at_x).hypot(y - at_y) / 12.0).exp()
                })
                .sum();
            (300.0 + parts + glow + 0.2 * noise) as f32
        })
        .collect();
    Frame::from_rows(rows as usize, columns as usize, numbers).expect("the size is right")
}

fn inspection(criterion: &mut Criterion) {
    for shape in [(480, 640), (960, 1280)] {
        let size = format!("{}x{}", shape.1, shape.0);
        let ambient = Kelvin::ROOM;
        let boards = [1, 2, 3, 4].map(|seed| board(shape, seed, 0.0));
        let exposures = boards.each_ref().map(|temperature| Exposure { temperature, ambient, power: None });
        let faulty = board(shape, 9, 25.0);
        let unit = Exposure { temperature: &faulty, ambient, power: None };
        let criteria = Criteria::default();
        let map = difference(&exposures, &unit, Basis::RiseAboveAmbient).expect("pictures of one size");
        let noise = estimate_noise(&map.difference, Pixels::Interpolated).expect("a whole picture");
        let uncertainty = map.difference.map(|_| noise.value() as f32);
        let limits = tolerance(&uncertainty, map.spread.as_ref(), &criteria).expect("pictures of one size");
        criterion.bench_function(&format!("subtract four boards of {size} from a unit"), |bencher| {
            bencher.iter(|| difference(black_box(&exposures), &unit, Basis::RiseAboveAmbient));
        });
        criterion.bench_function(&format!("estimate the noise of {size}"), |bencher| {
            bencher.iter(|| estimate_noise(black_box(&map.difference), Pixels::Interpolated));
        });
        criterion.bench_function(&format!("set the tolerance of {size}"), |bencher| {
            bencher.iter(|| tolerance(black_box(&uncertainty), map.spread.as_ref(), &criteria));
        });
        criterion.bench_function(&format!("find six glowing faults in {size}"), |bencher| {
            bencher.iter(|| find(black_box(&map.difference), &limits, &criteria, &[], None, None));
        });
    }
}

criterion_group!(benches, inspection);
criterion_main!(benches);
