//! Speed of a sequence of 600 frames of 640 × 480 on one thread: finding its pages, following places, lock-in.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its frames has nothing to measure")]

use std::hint::black_box;
use std::io::Cursor;

use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::Point;
use analysis::sequence::{
    Drift, FrameFile, FrameSource, LockIn, LockInSettings, Place, PlaceReader, Reference,
};
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
    for (name, harmonics, drift) in [
        ("lock-in, linear drift", 1, Drift::Linear),
        ("lock-in, quadratic drift, 3 harmonics", 3, Drift::Quadratic),
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
                        lock_in.add(number as f64, frame).expect("one size");
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
    group.bench_function("copying the frames, for comparison", |bencher| {
        bencher.iter_batched(
            || (),
            |()| made.iter().cycle().take(FRAMES).for_each(|frame| drop(black_box(frame.clone()))),
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, opening, frames);
criterion_main!(benches);
