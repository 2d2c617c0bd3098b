//! Speed of a sequence of 600 frames of 640 × 480 on one thread: finding its pages, correcting every frame,
//! following places, lock-in, and writing the table.
//!
//! `tests/sequences/speed_beside_numpy.py` runs this and the same work in numpy.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its frames has nothing to measure")]

use std::hint::black_box;
use std::io::Cursor;

use analysis::frame::{ApparentKelvin, EmissivityFraction, Frame, SurfaceKelvin};
use analysis::geometry::Point;
use analysis::radiometry::{Band, BandTable, Surroundings, correct};
use analysis::sequence::{
    Drift, FrameFile, FrameSource, LockIn, LockInSettings, Place, PlaceReader, Reference, TableFrame,
    TableRegion, TrendColumn, TrendTable,
};
use analysis::units::TemperatureUnit;
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use tiff::encoder::{TiffEncoder, colortype};

const FRAMES: usize = 600;

/// A frame with warm parts and pseudo-noise.
fn frame(seed: u32) -> Frame<SurfaceKelvin> {
    let mut state = seed;
    let numbers = (0..480 * 640)
        .map(|index| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5;
            (300.0 + 20.0 * (f64::from(index % 640) / 23.0).sin().max(0.0) + 0.2 * noise) as f32
        })
        .collect();
    Frame::from_rows(480, 640, numbers).expect("the size is right")
}

fn opening(criterion: &mut Criterion) {
    let mut file = Cursor::new(Vec::new());
    let page = vec![0_u16; 640 * 480];
    let mut encoder = TiffEncoder::new_big(&mut file).expect("a TIFF in memory");
    for _ in 0..FRAMES {
        encoder.write_image::<colortype::Gray16>(640, 480, &page).expect("a page");
    }
    let bytes = file.into_inner();
    criterion.bench_function("find the pages of a BigTIFF of 600", |bencher| {
        bencher.iter(|| FrameFile::open("run.tiff", Cursor::new(black_box(&bytes))).expect("it opens"));
    });
    let mut file = FrameFile::open("run.tiff", Cursor::new(&bytes)).expect("it opens");
    criterion.bench_function("read page 500 of a BigTIFF of 600, 640x480, 16 bits", |bencher| {
        bencher.iter(|| file.read(black_box(499)).expect("it reads"));
    });
}

fn frames(criterion: &mut Criterion) {
    // As many different frames as do not fit into a processor's own memory.
    let made: Vec<_> = (0..32).map(frame).collect();
    let mut group = criterion.benchmark_group("600 frames of 640x480");
    group.sample_size(10);
    let regions: Vec<Place> = (0..10)
        .map(|n| {
            let corner = Point::new(20.0 + 60.0 * f64::from(n), 30.0 + 40.0 * f64::from(n));
            Place::Area(corner, Point::new(corner.x + 40.0, corner.y + 40.0))
        })
        .collect();
    for (name, places) in
        [("follow 10 areas of 41x41", regions.as_slice()), ("follow the whole", &[Place::Whole])]
    {
        let reader = PlaceReader::new(places, (480, 640));
        group.bench_function(name, |bencher| {
            bencher.iter(|| {
                for frame in made.iter().cycle().take(FRAMES) {
                    black_box(reader.read(frame).expect("one size"));
                }
            });
        });
    }
    let reference = Reference { frequency_hz: 0.1, zero_s: 0.0 };
    let whole = PlaceReader::new(&[Place::Whole], (480, 640));
    // The times of a recording whose frames come when they come: no two batches are alike.
    let uneven = |number: usize| number as f64 + 0.2 * ((number * number) as f64).sin();
    let even = |number: usize| number as f64;
    for (name, harmonics, drift, time, followed) in [
        ("lock-in, linear drift", 1, Drift::Linear, even as fn(usize) -> f64, false),
        ("lock-in, linear drift, uneven times", 1, Drift::Linear, uneven, false),
        ("lock-in, quadratic drift, 3 harmonics", 3, Drift::Quadratic, even, false),
        ("follow the whole and lock-in, linear drift", 1, Drift::Linear, even, true),
    ] {
        group.bench_function(name, |bencher| {
            bencher.iter_custom(|rounds| {
                let mut spent = std::time::Duration::ZERO;
                for _ in 0..rounds {
                    let settings = LockInSettings { reference, harmonics, drift };
                    let mut lock_in = LockIn::new(settings).expect("sound settings");
                    for (number, frame) in made.iter().cycle().take(FRAMES).enumerate() {
                        // A worker hands over each decoded frame; the copy made here stands for the decoding.
                        let frame = frame.clone();
                        let start = std::time::Instant::now();
                        if followed {
                            black_box(whole.read(&frame).expect("one size"));
                        }
                        lock_in.add(time(number), frame).expect("one size");
                        spent += start.elapsed();
                    }
                    let start = std::time::Instant::now();
                    black_box(lock_in.finish().expect("many periods"));
                    spent += start.elapsed();
                }
                spent
            });
        });
    }
    let table = BandTable::new(Band::default());
    let emissivity =
        Frame::<EmissivityFraction>::from_rows(480, 640, vec![0.92; 480 * 640]).expect("the size is right");
    let apparent: Vec<Frame<ApparentKelvin>> = made.iter().map(|frame| frame.map(|value| value)).collect();
    group.bench_function("correct every frame", |bencher| {
        bencher.iter(|| {
            for frame in apparent.iter().cycle().take(FRAMES) {
                let corrected = correct(frame, &emissivity, &Surroundings::default(), &table);
                black_box(corrected.expect("one size"));
            }
        });
    });
    group.bench_function("copying the frames, for comparison", |bencher| {
        bencher.iter_batched(
            || (),
            |()| made.iter().cycle().take(FRAMES).for_each(|frame| drop(black_box(frame.clone()))),
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

/// Fifty places with five columns each, in every frame.
fn tables(criterion: &mut Criterion) {
    let places: Vec<Place> =
        (0..50_u32).map(|n| Place::Point(Point::new(f64::from(n), f64::from(n)))).collect();
    let region = |place| TableRegion { is_point: false, ..TableRegion::new("U1", place) };
    let mut table = TrendTable::new(TemperatureUnit::Celsius, places.iter().map(region).collect());
    table.columns = vec![
        TrendColumn::Mean,
        TrendColumn::Minimum,
        TrendColumn::Maximum,
        TrendColumn::Pixels,
        TrendColumn::Rate,
    ];
    let samples = PlaceReader::new(&places, (480, 640)).read(&frame(1)).expect("one size");
    for frame in 0..FRAMES {
        table.push(TableFrame { frame, time_s: Some(frame as f64), stamp: String::new() }, &samples);
    }
    let mut group = criterion.benchmark_group("table of 600 frames, 50 places, 5 columns");
    group.sample_size(10);
    group.bench_function("as CSV", |bencher| bencher.iter(|| black_box(&table).to_csv().expect("text")));
    group.bench_function("as a workbook", |bencher| {
        bencher.iter(|| black_box(&table).to_workbook(0).expect("a workbook"));
    });
    group.finish();
}

criterion_group!(benches, opening, frames, tables);
criterion_main!(benches);
