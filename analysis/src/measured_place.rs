//! One place of a comparison with everything its uncertainty depends on, ready for a budget, for draws, or
//! for the question what would make it better known.

use ndarray::Array2;

use crate::comparison::{Comparison, surroundings};
use crate::frame::{Frame, SurfaceKelvin};
use crate::gradient::slope_squared;
use crate::inspection::Basis;
use crate::session::{CaptureRecord, Role, Session};
use crate::uncertainty::{DifferencePlace, TemperaturePlace};
use crate::units::{Emissivity, Kelvin, KelvinDifference};

/// The pixel of the unit; `None` where it has no temperature.
#[must_use]
pub fn unit_place(
    session: &Session,
    comparison: &Comparison,
    row: usize,
    column: usize,
) -> Option<TemperaturePlace> {
    place(session, session.unit()?, comparison, (&comparison.unit, comparison.netd[0]), row, column)
}

/// The pixel of the baselines' mean; `None` where it has no temperature.
#[must_use]
pub fn baseline_place(
    session: &Session,
    comparison: &Comparison,
    row: usize,
    column: usize,
) -> Option<TemperaturePlace> {
    let reference = session.with_role(Role::Baseline).next()?;
    let pixels = comparison.baseline_count.max(1) as f64;
    let side = (&comparison.baseline, comparison.netd[1]);
    let place = place(session, reference, comparison, side, row, column)?;
    Some(TemperaturePlace { pixels, ..place })
}

/// The pixel of the difference; `None` where either side has no temperature.
#[must_use]
pub fn difference_place(
    session: &Session,
    comparison: &Comparison,
    row: usize,
    column: usize,
) -> Option<DifferencePlace> {
    let unit = unit_place(session, comparison, row, column)?;
    let baseline = TemperaturePlace { pixels: 1.0, ..baseline_place(session, comparison, row, column)? };
    Some(DifferencePlace {
        unit,
        baseline,
        baselines: comparison.baseline_count,
        slope: apparent_slope(session, comparison, row, column),
        residual_px: comparison.alignment.residual_px,
        above_ambient: session.criteria.basis != Basis::Absolute,
        unit_gain: comparison.unit_gain,
    })
}

fn place(
    session: &Session,
    record: &CaptureRecord,
    comparison: &Comparison,
    (frame, netd): (&Frame<SurfaceKelvin>, KelvinDifference),
    row: usize,
    column: usize,
) -> Option<TemperaturePlace> {
    Some(TemperaturePlace {
        temperature: Kelvin::new(f64::from(frame.at(row, column)?)).ok()?,
        emissivity: Emissivity::new(f64::from(comparison.emissivity.at(row, column)?)).ok()?,
        emissivity_uncertainty: f64::from(comparison.emissivity_uncertainty.at(row, column)?),
        surroundings: surroundings(session, &record.hash),
        band: record.metadata.band.unwrap_or(session.band),
        netd,
        pixels: 1.0,
    })
}

/// How steep the baseline's apparent temperature is at a pixel, K per pixel.
fn apparent_slope(session: &Session, comparison: &Comparison, row: usize, column: usize) -> f64 {
    let (rows, columns) = comparison.baseline.shape();
    let around = |at: usize, count: usize| at.saturating_sub(1)..(at + 2).min(count);
    let (down, across) = (around(row, rows), around(column, columns));
    let middle = (row - down.start, column - across.start);
    let appears = |row, column| {
        let place = baseline_place(session, comparison, row, column)?;
        place.sensitivity().ok().map(|(apparent, _)| apparent.value() as f32)
    };
    let crop = Array2::from_shape_fn((down.len(), across.len()), |(y, x)| {
        appears(down.start + y, across.start + x).unwrap_or(f32::NAN)
    });
    slope_squared(crop.view()).get(middle).map_or(0.0, |squared| f64::from(squared.sqrt()))
}
