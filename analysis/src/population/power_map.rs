//! Which part's dissipated power changed, and by how much, from the difference of two steady pictures.
//!
//! Temperature shows power blurred by conduction. Each part's body is a source on a thin plate
//! ([`super::plate`]); its response is a column, and the difference on the bare board between the bodies
//! is their weighted sum. The bodies themselves are left out: a case is warmer than the board below it
//! by a resistance that nobody stated. Few parts change at once, so sources are taken up one by one,
//! each the one that explains most, and all taken are fitted together (orthogonal matching pursuit,
//! Y. C. Pati, R. Rezaiifar, P. S. Krishnaprasad 1993, named from memory). Parts that would explain
//! nearly as much are named beside it: which of them it is cannot be told from the picture.
//!
//! The plate is uniform, boards are not: on simulated boards of mixed copper sizes came out up to a
//! sixth too small, which the uncertainty holds as one standard uncertainty of a tenth.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::nuisance::Estimate;
use super::plate::{NoPlate, PlateProperties, UniformPlate};
use super::summed_area::SummedArea;
use crate::board::Footprint;
use crate::frame::{Difference, Frame};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use crate::units::Watts;

/// The board as the power estimate sees it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BoardPlate {
    /// Width and height, mm; the lower left corner lies at (0, 0).
    pub size_mm: [f64; 2],
    /// Heat loss of both faces together, W/m²K; see [`film_from_heat_balance`].
    pub film: f64,
    /// k·t, W/K; `None` has it fitted to the picture.
    pub sheet_conductance: Option<f64>,
}

/// The change of one part's power.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartPowerChange {
    /// Reference designator.
    pub designator: String,
    /// W, with its sign.
    pub watts: Estimate,
    /// Parts that would explain the picture nearly as well: it cannot be told which it is.
    pub tangled_with: Vec<String>,
}

/// What the difference says of power.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerChange {
    /// Parts whose power changed, the largest first.
    pub parts: Vec<PartPowerChange>,
    /// Power of each cell of the board, W, row 0 at y = 0: what the parts explain.
    pub map: Array2<f64>,
    /// Power of each cell by the operator on what the parts leave, W: shorts between parts show here.
    /// NaN on bodies, metal and beside them.
    pub left_over: Array2<f64>,
    /// The cell's edge, mm.
    pub cell_mm: f64,
    /// The plate used.
    pub properties: PlateProperties,
    /// The share of the squared difference that the parts explain.
    pub explained: f64,
}

/// Why no power can be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotTellPower {
    /// The plate's numbers are no plate.
    #[error(transparent)]
    Plate(#[from] NoPlate),
    /// No bare board is in view.
    #[error("only {found} places of bare board are valid in the picture; at least {needed} are needed")]
    TooLittleBoard {
        /// Places found.
        found: usize,
        /// Places needed.
        needed: usize,
    },
}

/// Edge of a cell, mm.
pub(super) const CELL_MM: f64 = 1.0;
pub(super) const LEAST_CELLS: usize = 200;
/// No more sources than this are taken up.
const MOST_SOURCES: usize = 6;
/// A further source must explain this share of the whole squared difference: healthy parts differ too,
/// and their many small changes are not to be told one by one.
const LEAST_GAIN: f64 = 0.05;
/// A part tangles with another when taking it instead raises what is left by less than this share.
const TANGLED: f64 = 0.15;
/// Squares of this many millimetres count as independent: errors of the model reach far.
const CLUSTER_MM: f64 = 10.0;
/// Standard uncertainty of a power from taking the copper as uniform, as a share of it (own simulations).
const UNEVEN_COPPER: f64 = 0.1;
/// The board's blur around a body that its case still reaches, mm.
const BODY_MARGIN_MM: f64 = 0.8;
/// Sheet conductances tried, W/K: from bare laminate to four full layers of copper, a seventh apart.
pub(super) fn conductances() -> Vec<f64> {
    (0..26).map(|step| 0.002 * 1.14_f64.powi(step)).collect()
}

/// The film coefficient that lets `power` leave a board of `size_mm` at `mean_rise` kelvin, W/m²K.
///
/// All of the power must leave by the board's faces; a heat sink or a cable takes its share unseen.
#[must_use]
pub fn film_from_heat_balance(power: Watts, mean_rise: f64, size_mm: [f64; 2]) -> f64 {
    power.value() / (mean_rise * size_mm[0] * size_mm[1] * 1e-6)
}

/// Tells which parts' power changed from `difference` (bench's changes taken out, metal invalid).
///
/// # Errors
/// Every [`CannotTellPower`].
pub fn power_change(
    difference: &Frame<Difference>,
    footprints: &[Footprint],
    board_to_picture: &Homography<BoardMillimeters, BaselinePixels>,
    board: &BoardPlate,
) -> Result<PowerChange, CannotTellPower> {
    let properties = |sheet_conductance: f64| PlateProperties { sheet_conductance, film: board.film };
    let first =
        UniformPlate::new(properties(board.sheet_conductance.unwrap_or(0.01)), board.size_mm, CELL_MM)?;
    let field = board_field(difference, footprints, board_to_picture, &first);
    let valid: Vec<usize> =
        field.iter().enumerate().filter(|(_, v)| !v.is_nan()).map(|(cell, _)| cell).collect();
    if valid.len() < LEAST_CELLS {
        return Err(CannotTellPower::TooLittleBoard { found: valid.len(), needed: LEAST_CELLS });
    }
    let sources: Vec<Array2<f64>> = footprints.iter().map(|footprint| source(footprint, &first)).collect();
    let seen =
        DVector::from_iterator(valid.len(), valid.iter().filter_map(|&cell| field.iter().nth(cell)).copied());

    let columns = |plate: &UniformPlate| -> Vec<DVector<f64>> {
        sources
            .iter()
            .map(|source| {
                let response = plate.response(source);
                let flat = response.as_slice().unwrap_or_default();
                DVector::from_iterator(
                    valid.len(),
                    valid.iter().map(|&cell| flat.get(cell).copied().unwrap_or(0.0)),
                )
            })
            .collect()
    };
    let mut best: Option<(f64, UniformPlate, Vec<DVector<f64>>)> = None;
    let given = board.sheet_conductance.map(|conductance| vec![conductance]);
    for conductance in given.unwrap_or_else(conductances) {
        let plate = UniformPlate::new(properties(conductance), board.size_mm, CELL_MM)?;
        let columns = columns(&plate);
        let left = pursue(&columns, &seen).left;
        if best.as_ref().is_none_or(|(least, ..)| left < *least) {
            best = Some((left, plate, columns));
        }
    }
    let Some((_, plate, columns)) = best else {
        return Err(CannotTellPower::TooLittleBoard { found: 0, needed: LEAST_CELLS });
    };
    let taken = pursue(&columns, &seen);
    Ok(report(&taken, &columns, &seen, &valid, &field, &sources, footprints, &plate))
}

/// The difference at each cell of bare board; NaN on bodies and where nothing is valid.
pub(super) fn board_field(
    difference: &Frame<Difference>,
    footprints: &[Footprint],
    map: &Homography<BoardMillimeters, BaselinePixels>,
    plate: &UniformPlate,
) -> Array2<f64> {
    let (rows, columns) = difference.shape();
    let table = SummedArea::new((rows, columns), difference.as_slice().iter().copied());
    Array2::from_shape_fn(plate.shape(), |(row, column)| {
        let place = middle(row, column, plate.cell_mm());
        if footprints.iter().any(|footprint| footprint.distance_mm(place) < BODY_MARGIN_MM) {
            return f64::NAN;
        }
        let pixel = map.apply(place);
        if !(pixel.x >= 0.0 && pixel.y >= 0.0 && pixel.x < columns as f64 && pixel.y < rows as f64) {
            return f64::NAN;
        }
        let radius = (map.scale_at(place) * plate.cell_mm() / 2.0).round() as usize;
        match table.mean_around(pixel.y as usize, pixel.x as usize, radius) {
            (mean, share) if share >= 0.5 => mean,
            _ => f64::NAN,
        }
    })
}

pub(super) fn middle(row: usize, column: usize, cell_mm: f64) -> Point<BoardMillimeters> {
    Point::new((column as f64 + 0.5) * cell_mm, (row as f64 + 0.5) * cell_mm)
}

/// One watt spread evenly over a body.
pub(super) fn source(footprint: &Footprint, plate: &UniformPlate) -> Array2<f64> {
    let cell = plate.cell_mm();
    let mut watts = Array2::zeros(plate.shape());
    let mut nearest = (f64::INFINITY, (0, 0));
    for ((row, column), share) in watts.indexed_iter_mut() {
        let place = middle(row, column, cell);
        let away = footprint.distance_mm(place);
        if away < nearest.0 {
            nearest = (away, (row, column));
        }
        if away < cell {
            let offsets = [-0.375, -0.125, 0.125, 0.375].map(|offset| offset * cell);
            let covered = offsets
                .iter()
                .flat_map(|x| offsets.iter().map(move |y| (x, y)))
                .filter(|(x, y)| footprint.distance_mm(Point::new(place.x + **x, place.y + **y)) <= 0.0);
            *share = covered.count() as f64;
        }
    }
    let total = watts.sum();
    if total > 0.0 {
        watts /= total;
    } else {
        // A body that slips between the points, or lies off the board.
        watts[nearest.1] = 1.0;
    }
    watts
}

/// Sources taken up, their power, and the squares left.
pub(super) struct Taken {
    pub(super) sources: Vec<usize>,
    pub(super) watts: DVector<f64>,
    pub(super) left: f64,
}

fn pursue(columns: &[DVector<f64>], seen: &DVector<f64>) -> Taken {
    let mut taken = Taken { sources: Vec::new(), watts: DVector::zeros(0), left: seen.norm_squared() };
    while taken.sources.len() < MOST_SOURCES.min(columns.len()) {
        let residual = seen - fitted(columns, &taken);
        let gain = |column: &DVector<f64>| {
            let size = column.norm_squared();
            if size > 0.0 { column.dot(&residual).powi(2) / size } else { 0.0 }
        };
        let candidates = (0..columns.len()).filter(|candidate| !taken.sources.contains(candidate));
        let Some(next) = candidates.max_by(|a, b| gain(&columns[*a]).total_cmp(&gain(&columns[*b]))) else {
            break;
        };
        let mut sources = taken.sources.clone();
        sources.push(next);
        let Some(candidate) = fit(columns, sources, seen) else { break };
        if taken.left - candidate.left < LEAST_GAIN * seen.norm_squared() {
            break;
        }
        taken = candidate;
    }
    taken
}

fn design(columns: &[DVector<f64>], sources: &[usize]) -> DMatrix<f64> {
    let picked: Vec<DVector<f64>> = sources.iter().map(|&source| columns[source].clone()).collect();
    DMatrix::from_columns(&picked)
}

pub(super) fn fit(columns: &[DVector<f64>], sources: Vec<usize>, seen: &DVector<f64>) -> Option<Taken> {
    let design = design(columns, &sources);
    let watts = (design.transpose() * &design).cholesky()?.solve(&(design.transpose() * seen));
    let left = (seen - design * &watts).norm_squared();
    Some(Taken { sources, watts, left })
}

fn fitted(columns: &[DVector<f64>], taken: &Taken) -> DVector<f64> {
    let mut sum = DVector::zeros(columns.first().map_or(0, DVector::len));
    for (&source, &watts) in taken.sources.iter().zip(taken.watts.iter()) {
        sum.axpy(watts, &columns[source], 1.0);
    }
    sum
}

#[expect(clippy::too_many_arguments, reason = "one place gathers what the steps before it made")]
fn report(
    taken: &Taken,
    columns: &[DVector<f64>],
    seen: &DVector<f64>,
    valid: &[usize],
    field: &Array2<f64>,
    sources: &[Array2<f64>],
    footprints: &[Footprint],
    plate: &UniformPlate,
) -> PowerChange {
    let mut map = Array2::zeros(plate.shape());
    for (&source, &watts) in taken.sources.iter().zip(taken.watts.iter()) {
        map.scaled_add(watts, &sources[source]);
    }
    let left = field - &plate.response(&map);
    let left_over = plate.power(&smoothed(&left));
    let uncertainty = uncertainties(taken, columns, seen, valid, plate);
    let mut parts: Vec<PartPowerChange> = taken
        .sources
        .iter()
        .enumerate()
        .map(|(place, &source)| {
            let instead = |other: usize| {
                let mut sources = taken.sources.clone();
                sources[place] = other;
                fit(columns, sources, seen).is_some_and(|swapped| swapped.left < taken.left * (1.0 + TANGLED))
            };
            let others = (0..columns.len()).filter(|other| !taken.sources.contains(other));
            PartPowerChange {
                designator: footprints[source].designator.clone(),
                watts: Estimate {
                    value: taken.watts[place],
                    standard_uncertainty: uncertainty[place].hypot(UNEVEN_COPPER * taken.watts[place]),
                },
                tangled_with: others
                    .filter(|&other| instead(other))
                    .map(|other| footprints[other].designator.clone())
                    .collect(),
            }
        })
        .collect();
    parts.sort_by(|a, b| b.watts.value.abs().total_cmp(&a.watts.value.abs()));
    let total = seen.norm_squared();
    PowerChange {
        parts,
        map,
        left_over,
        cell_mm: plate.cell_mm(),
        properties: plate.properties(),
        explained: if total > 0.0 { 1.0 - taken.left / total } else { 0.0 },
    }
}

/// Standard uncertainties by the sandwich of clustered residuals.
pub(super) fn uncertainties(
    taken: &Taken,
    columns: &[DVector<f64>],
    seen: &DVector<f64>,
    valid: &[usize],
    plate: &UniformPlate,
) -> Vec<f64> {
    if taken.sources.is_empty() {
        return Vec::new();
    }
    let design = design(columns, &taken.sources);
    let residual = seen - &design * &taken.watts;
    let across = plate.shape().1;
    let cluster_cells = (CLUSTER_MM / plate.cell_mm()).round().max(1.0) as usize;
    let mut clusters: std::collections::BTreeMap<(usize, usize), DVector<f64>> =
        std::collections::BTreeMap::new();
    for (index, cell) in valid.iter().enumerate() {
        let key = (cell / across / cluster_cells, cell % across / cluster_cells);
        let sum = clusters.entry(key).or_insert_with(|| DVector::zeros(taken.sources.len()));
        *sum += design.row(index).transpose() * residual[index];
    }
    let middle = clusters
        .values()
        .fold(DMatrix::zeros(taken.sources.len(), taken.sources.len()), |sum, s| sum + s * s.transpose());
    let Some(inverse) = (design.transpose() * &design).try_inverse() else {
        return vec![f64::INFINITY; taken.sources.len()];
    };
    let covariance = &inverse * middle * &inverse;
    (0..taken.sources.len()).map(|index| covariance[(index, index)].max(0.0).sqrt()).collect()
}

/// Means over three by three cells, where all are valid.
fn smoothed(field: &Array2<f64>) -> Array2<f64> {
    let (rows, columns) = field.dim();
    let near = |at: usize, end: usize| at.saturating_sub(1)..(at + 2).min(end);
    Array2::from_shape_fn((rows, columns), |(row, column)| {
        let cells = near(row, rows).flat_map(|row| near(column, columns).map(move |column| (row, column)));
        let (sum, count) = cells.fold((0.0, 0.0), |(sum, count), cell| (sum + field[cell], count + 1.0));
        sum / count
    })
}
