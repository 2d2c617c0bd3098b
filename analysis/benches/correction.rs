//! How long it takes to lay emissivities over a picture and to correct it, and to build what that needs.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;

use analysis::frame::{ApparentKelvin, EmissivityFraction, Frame};
use analysis::geometry::{Homography, Point};
use analysis::radiometry::{Band, BandTable, Correction, Surroundings, correct, surface_temperature};
use analysis::surface::{Outline, PlacedOutline, Region, SOLDER_MASK, Surface, emissivity_map};
use analysis::units::{Emissivity, Kelvin};
use criterion::{Criterion, criterion_group, criterion_main};

/// A picture, each pixel by its row and column.
fn picture<Q>((rows, columns): (usize, usize), pixel: impl Fn(usize, usize) -> f32) -> Frame<Q> {
    let numbers = (0..rows * columns).map(|index| pixel(index / columns, index % columns)).collect();
    Frame::from_rows(rows, columns, numbers).expect("the size is right")
}

fn correction(criterion: &mut Criterion) {
    let table = BandTable::new(Band::default());
    let surroundings = Surroundings::default();
    for shape in [(480, 640), (960, 1280)] {
        let apparent = picture::<ApparentKelvin>(shape, |row, column| {
            // Warm parts on a warm board, with noise enough to keep neighbours in different cells.
            300.0
                + 40.0 * (row as f32 / 37.0).sin().abs()
                + ((row * 7919 + column * 104_729) % 997) as f32 * 1e-3
        });
        let emissivity =
            picture::<EmissivityFraction>(
                shape,
                |row, column| {
                    if (row / 40 + column / 40) % 2 == 0 { 0.92 } else { 0.85 }
                },
            );
        criterion.bench_function(&format!("correct {}x{} through the table", shape.1, shape.0), |bencher| {
            bencher.iter(|| correct(black_box(&apparent), &emissivity, &surroundings, &table));
        });
    }
    let settings = Correction { emissivity: Emissivity::BLACK, surroundings };
    let kelvin = Kelvin::new(330.0).expect("in range");
    criterion.bench_function("correct one pixel by the exact series", |bencher| {
        bencher.iter(|| surface_temperature(black_box(kelvin), &settings, Band::default()));
    });
    criterion.bench_function("build a table for 7.5 to 14 um", |bencher| {
        bencher.iter(|| BandTable::new(black_box(Band::default())));
    });
    let short = Band::new(3.0, 5.0).expect("in range");
    criterion.bench_function("build a table for 3 to 5 um", |bencher| {
        bencher.iter(|| BandTable::new(black_box(short)));
    });
}

/// Twenty regions of 60 by 40 pixels, every fourth of each shape, half of them drawn on the board.
fn regions(criterion: &mut Criterion) {
    let map = Homography::try_from([4.0, 0.3, 3.0, -0.2, 4.2, 5.0, 0.0004, 0.0002, 1.0]).expect("a map");
    let regions = (0..20)
        .map(|index: u32| {
            let (x, y) = (f64::from(index % 5) * 120.0 + 10.0, f64::from(index / 5) * 100.0 + 10.0);
            Region {
                name: format!("region {index}"),
                outline: if index.is_multiple_of(2) {
                    PlacedOutline::Pixels(outline(index, x, y, 1.0))
                } else {
                    PlacedOutline::Board(outline(index, x, y, 0.25))
                },
                finish: SOLDER_MASK.finish(),
            }
        })
        .collect();
    let surface = Surface { regions, ..Surface::default() };
    criterion.bench_function("lay 20 regions over 640x480", |bencher| {
        bencher.iter(|| emissivity_map(black_box(&surface), (480, 640), Some(&map), None));
    });
}

fn outline<S>(index: u32, x: f64, y: f64, scale: f64) -> Outline<S> {
    let at = |right: f64, down: f64| Point::new((x + right) * scale, (y + down) * scale);
    match index / 2 % 4 {
        0 => Outline::Rectangle { from: at(0.0, 0.0), to: at(60.0, 40.0) },
        1 => Outline::Ellipse { from: at(0.0, 0.0), to: at(60.0, 40.0) },
        2 => Outline::Polygon {
            corners: vec![at(0.0, 0.0), at(60.0, 5.0), at(50.0, 40.0), at(30.0, 20.0), at(5.0, 35.0)],
        },
        _ => Outline::Stroke {
            path: (0..30).map(|step| at(f64::from(step) * 2.0, f64::from(step * 7 % 20))).collect(),
            radius: 5.0 * scale,
        },
    }
}

criterion_group!(benches, correction, regions);
criterion_main!(benches);
