//! Speed of warping and alignment on one thread, at two sizes.

use std::hint::black_box;

use analysis::frame::{ApparentKelvin, Frame};
use analysis::geometry::{BaselinePixels, Homography, UnitPixels};
use analysis::registration::{LandmarkUse, align, warp};
use criterion::{Criterion, criterion_group, criterion_main};
use ndarray::Array2;

/// A board of many small parts, seen at unit coordinates that `map` leads to the baseline's.
fn board(shape: (usize, usize), map: &Homography<UnitPixels, BaselinePixels>) -> Frame<ApparentKelvin> {
    let picture = Array2::from_shape_fn(shape, |(row, column)| {
        let place = map.apply(analysis::geometry::Point::new(column as f64, row as f64));
        let part = |size: f64, phase: f64| {
            let wave = (place.x / size + phase).sin() * (place.y / size * 0.83 - phase).cos();
            (wave * 4.0 + (place.x * 0.013 + phase).sin()).tanh()
        };
        (305.0 + 3.0 * part(9.7, 0.3) + 2.0 * part(23.1, 1.1) + 4.0 * part(61.0, 2.3)) as f32
    });
    Frame::new(picture).unwrap_or_else(|_| unreachable!("the picture has pixels"))
}

fn registration(criterion: &mut Criterion) {
    let views = [
        ("a few pixels, 1 degree", [1.01, -0.02, 4.0, 0.021, 0.99, -3.0, 5e-6, 8e-6, 1.0]),
        ("10 degrees, 15 percent", [1.133, -0.2, 10.0, 0.2, 1.133, -80.0, 0.0, 0.0, 1.0]),
    ];
    for shape in [(480, 640), (960, 1280)] {
        let baseline = board(shape, &Homography::identity());
        let size = format!("{}x{}", shape.1, shape.0);
        for (name, numbers) in views {
            let map = Homography::<UnitPixels, BaselinePixels>::try_from(numbers)
                .unwrap_or_else(|_| unreachable!("the map is invertible"));
            let unit = board(shape, &map);
            criterion.bench_function(&format!("warp {size}, {name}"), |bencher| {
                bencher.iter(|| warp(black_box(&unit), black_box(&map), shape));
            });
            criterion.bench_function(&format!("align {size}, {name}"), |bencher| {
                bencher.iter(|| align(black_box(&unit), black_box(&baseline), &[], LandmarkUse::Start));
            });
        }
    }
}

criterion_group!(benches, registration);
criterion_main!(benches);
