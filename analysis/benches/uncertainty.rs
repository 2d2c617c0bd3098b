//! The uncertainty of every pixel: of the unit's temperature, of the difference, and between equal boards.

#![expect(clippy::expect_used, reason = "a bench that cannot set up its picture has nothing to measure")]

use std::hint::black_box;

use analysis::frame::{ApparentKelvin, EmissivityFraction, EmissivityUncertainty, Frame, SurfaceKelvin};
use analysis::radiometry::{Band, BandTable, Surroundings};
use analysis::uncertainty::{DifferenceSetting, InputUncertainty, certainty};
use analysis::units::KelvinDifference;
use criterion::{Criterion, criterion_group, criterion_main};

fn board(rows: usize, columns: usize, hotter: f64) -> Frame<SurfaceKelvin> {
    let numbers = (0..rows * columns)
        .map(|pixel| {
            let (x, y) = ((pixel % columns) as f64, (pixel / columns) as f64);
            (300.0 + (20.0 + hotter) * ((x / 23.0).sin() * (y / 19.0).cos()).max(0.0)) as f32
        })
        .collect();
    Frame::from_rows(rows, columns, numbers).expect("the size is right")
}

fn uncertainty(criterion: &mut Criterion) {
    let table = BandTable::new(Band::default());
    let surroundings = Surroundings::default();
    let inputs = InputUncertainty::default();
    for (rows, columns) in [(480, 640), (960, 1280)] {
        let (unit, baseline) = (board(rows, columns, 5.0), board(rows, columns, 0.0));
        let apparent: Frame<ApparentKelvin> = baseline.map(|kelvin| kelvin);
        let emissivity: Frame<EmissivityFraction> = unit.map(|_| 0.92);
        let doubt: Frame<EmissivityUncertainty> = unit.map(|_| 0.02);
        let netd = KelvinDifference::new(0.05).expect("a usual noise");
        let setting = DifferenceSetting {
            unit: &unit,
            baseline: &baseline,
            baseline_apparent: &apparent,
            baselines: 2,
            emissivity: &emissivity,
            emissivity_uncertainty: &doubt,
            unit_surroundings: &surroundings,
            baseline_surroundings: &surroundings,
            unit_table: &table,
            baseline_table: &table,
            unit_netd: netd,
            baseline_netd: netd,
            residual_px: 0.05,
            above_ambient: true,
            unit_gain: 1.0,
        };
        criterion.bench_function(&format!("uncertainty of every pixel of {columns}x{rows}"), |bencher| {
            bencher.iter(|| certainty(black_box(&setting), &inputs));
        });
    }
}

criterion_group!(benches, uncertainty);
criterion_main!(benches);
