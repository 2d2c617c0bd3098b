//! Speed of the main job on one thread, from raw numbers to findings: one baseline and one unit, each moved and
//! noisy in its own way, with a few parts that glow.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;
use std::sync::Arc;

use analysis::capture::{CaptureMetadata, Quantity, set_aside_isolated};
use analysis::comparison::{Shelf, align_good, align_unit, compare, judge, learn};
use analysis::content_hash::ContentHash;
use analysis::frame::{ApparentKelvin, Frame, RawNumber};
use analysis::session::{CaptureRecord, Command, Role, Session};
use analysis::units::TemperatureUnit;
use criterion::{Criterion, criterion_group, criterion_main};

/// A board of many small parts on `rows` × 4/3 `rows` pixels, in kelvin, shifted by `shift` pixels, with pseudo-noise
/// and with `fault` kelvin of glow at six places.
fn board<Q>(rows: usize, seed: u32, shift: f64, fault: f64) -> Frame<Q> {
    let columns = rows * 4 / 3;
    let scale = rows as f64 / 480.0;
    let mut state = seed;
    let numbers = (0..rows * columns).map(|index| {
        let (x, y) =
            ((index % columns) as f64 / scale + shift, (index / columns) as f64 / scale - 0.7 * shift);
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5;
        let part = |size: f64, phase: f64| {
            let wave = (x / size + phase).sin() * (y / size * 0.83 - phase).cos();
            (wave * 4.0 + (x * 0.013 + phase).sin()).tanh()
        };
        let glow: f64 = (0_u32..6)
            .map(|place| {
                let (at_x, at_y) = (60.0 + 100.0 * f64::from(place), 90.0 + 60.0 * f64::from(place % 5));
                fault * (-(x - at_x).hypot(y - at_y) / 12.0).exp()
            })
            .sum();
        (305.0 + 3.0 * part(9.7, 0.3) + 2.0 * part(23.1, 1.1) + 4.0 * part(61.0, 2.3) + glow + 0.2 * noise)
            as f32
    });
    Frame::from_rows(rows, columns, numbers.collect()).expect("the size is right")
}

/// A session with so many good boards and a unit with a fault.
fn bench_session(rows: usize, good: u32) -> (Session, Shelf) {
    let mut session = Session::default();
    let mut shelf = Shelf::new();
    let boards = (1..=good).map(|seed| (Role::Baseline, seed, 0.7 * f64::from(seed - 1), 0.0));
    for (role, seed, shift, fault) in boards.chain([(Role::Unit, 99, 3.3, 25.0)]) {
        let hash = ContentHash::of(&seed.to_le_bytes());
        shelf.insert(hash.clone(), Arc::new(board::<RawNumber>(rows, seed, shift, fault)));
        let quantity = Quantity::Temperature {
            unit: TemperatureUnit::Kelvin,
            scale: 1.0,
            offset: 0.0,
            camera_correction: None,
        };
        let metadata = CaptureMetadata { quantity: Some(quantity), ..CaptureMetadata::default() };
        let record = CaptureRecord { hash, file_name: format!("board-{seed}"), role, metadata };
        session.apply(Command::AddCapture { record }).expect("each capture is another");
    }
    (session, shelf)
}

fn comparison(criterion: &mut Criterion) {
    for rows in [480, 960] {
        let size = format!("{}x{rows}", rows * 4 / 3);
        for (good, what) in [(1, "one board"), (10, "ten boards")] {
            let (session, shelf) = bench_session(rows, good);
            let boards = align_good(&session, &shelf, &mut |_, _| ()).expect("the boards are alike");
            let learned = learn(&session, &boards, &mut |_| ()).expect("aligned captures");
            assert_eq!(learned.population().is_some(), good > 1, "ten boards are enough to learn from");
            let unit = align_unit(&session, &shelf, &boards).expect("the unit is alike");
            let found = judge(&session, &boards, &learned, &unit, &mut |_| ()).expect("aligned captures");
            assert!(!found.findings.is_empty(), "a bench that finds nothing measures the wrong thing");

            if good == 1 {
                criterion.bench_function(&format!("whole compare {size}, {what}"), |bencher| {
                    bencher.iter(|| compare(black_box(&session), &shelf));
                });
            } else {
                criterion.bench_function(&format!("learn {size}, {what}"), |bencher| {
                    bencher.iter(|| learn(black_box(&session), &boards, &mut |_| ()));
                });
                criterion.bench_function(&format!("align and judge one unit {size}, {what}"), |bencher| {
                    bencher.iter(|| {
                        let unit = align_unit(black_box(&session), &shelf, &boards)?;
                        judge(&session, &boards, &learned, &unit, &mut |_| ())
                    });
                });
            }
            criterion.bench_function(&format!("judge {size}, {what}"), |bencher| {
                bencher.iter(|| judge(black_box(&session), &boards, &learned, &unit, &mut |_| ()));
            });
        }
        let apparent = board::<ApparentKelvin>(rows, 9, 3.3, 25.0);
        criterion.bench_function(&format!("set isolated pixels of {size} aside"), |bencher| {
            bencher.iter_batched(|| apparent.clone(), set_aside_isolated, criterion::BatchSize::LargeInput);
        });
    }
}

criterion_group!(benches, comparison);
criterion_main!(benches);
