//! The board as a thin plate: where heat goes in, and how it spreads.
//!
//! −∇·(kt ∇θ) + h θ = q, θ the change of temperature, kt the sheet conductance (W/K), h the film
//! coefficient of both faces together (W/m²K), q the areal power (W/m²); no heat crosses the edges.
//! On an endless sheet a point of power P makes θ(r) = P / (2π kt) · K₀(r/L), L = √(kt/h) (H. S. Carslaw,
//! J. C. Jaeger, *Conduction of Heat in Solids*, 2nd ed. 1959, named from memory).
//!
//! A uniform plate of finite volumes is diagonal in the discrete cosine transform, so one solution
//! costs two transforms and nothing has to converge.

use ndarray::{Array2, Axis};
use rustdct::{DctPlanner, TransformType2And3};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What conducts and what cools, uniform over the board.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PlateProperties {
    /// k·t, W/K: conductivity along the board times thickness, copper included.
    pub sheet_conductance: f64,
    /// Heat loss of both faces together, W/m²K.
    pub film: f64,
}

impl PlateProperties {
    fn are_positive(self) -> bool {
        is_positive(self.sheet_conductance) && is_positive(self.film)
    }
}

fn is_positive(value: f64) -> bool {
    value > 0.0 && value.is_finite()
}

/// Numbers that make no plate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoPlate {
    /// A property is zero, negative or not finite.
    #[error("a board needs a positive sheet conductance and film coefficient (given: {0:?})")]
    Properties(PlateProperties),
    /// The board is smaller than a cell, or larger than can be solved.
    #[error("a board of {width_mm} × {height_mm} mm cannot be cut into cells of {cell_mm} mm")]
    Size {
        /// Width given.
        width_mm: f64,
        /// Height given.
        height_mm: f64,
        /// Cell given.
        cell_mm: f64,
    },
}

/// More cells along a side than this are refused.
const MOST_CELLS: f64 = 2000.0;

/// A uniform plate cut into square cells, row 0 at y = 0.
#[derive(Clone)]
pub struct UniformPlate {
    properties: PlateProperties,
    cell_mm: f64,
    shape: (usize, usize),
    along: Arc<dyn TransformType2And3<f64>>,
    across: Arc<dyn TransformType2And3<f64>>,
}

/// Power in each cell as the plate's own waves: what plates of one size share, whatever they conduct.
#[derive(Debug, Clone)]
pub(super) struct PowerWaves(Array2<f64>);

impl std::fmt::Debug for UniformPlate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "UniformPlate({:?}, {:?} cells of {} mm)", self.properties, self.shape, self.cell_mm)
    }
}

impl UniformPlate {
    /// A plate of `size` mm in cells of about `cell_mm`.
    ///
    /// # Errors
    /// Every [`NoPlate`].
    pub fn new(properties: PlateProperties, size: [f64; 2], cell_mm: f64) -> Result<Self, NoPlate> {
        if !properties.are_positive() {
            return Err(NoPlate::Properties(properties));
        }
        let count = |length: f64| (length / cell_mm).round();
        let fits = |length: f64| (1.0..=MOST_CELLS).contains(&count(length));
        if !is_positive(cell_mm) || !size.iter().all(|&length| fits(length)) {
            return Err(NoPlate::Size { width_mm: size[0], height_mm: size[1], cell_mm });
        }
        let shape = (count(size[1]) as usize, count(size[0]) as usize);
        let mut planner = DctPlanner::new();
        let (along, across) = (planner.plan_dct2(shape.1), planner.plan_dct2(shape.0));
        Ok(Self { properties, cell_mm, shape, along, across })
    }

    /// A plate of the same cells that conducts so much, W/K.
    ///
    /// # Errors
    /// [`NoPlate::Properties`].
    pub(super) fn conducting(&self, sheet_conductance: f64) -> Result<Self, NoPlate> {
        let properties = PlateProperties { sheet_conductance, ..self.properties };
        if !properties.are_positive() {
            return Err(NoPlate::Properties(properties));
        }
        Ok(Self { properties, ..self.clone() })
    }

    /// Rows and columns of cells.
    #[must_use]
    pub const fn shape(&self) -> (usize, usize) {
        self.shape
    }

    /// The steady change of temperature, K, for `watts` in each cell.
    #[must_use]
    pub fn response(&self, watts: &Array2<f64>) -> Array2<f64> {
        self.response_to(&self.waves(watts))
    }

    /// `watts` in each cell as waves.
    pub(super) fn waves(&self, watts: &Array2<f64>) -> PowerWaves {
        let mut field = watts.clone();
        for (axis, transform) in [(Axis(1), &self.along), (Axis(0), &self.across)] {
            transformed(&mut field, axis, |lane| transform.process_dct2(lane));
        }
        PowerWaves(field)
    }

    /// [`Self::response`] to power that is known as waves of a plate of the same cells.
    pub(super) fn response_to(&self, PowerWaves(waves): &PowerWaves) -> Array2<f64> {
        let area = (self.cell_mm * 1e-3).powi(2);
        let (rows, columns) = self.shape;
        let steepness = |count: usize| -> Vec<f64> {
            let angle = |index: usize| std::f64::consts::PI * index as f64 / count as f64;
            (0..count).map(|index| 2.0 - 2.0 * angle(index).cos()).collect()
        };
        let (down, across) = (steepness(rows), steepness(columns));
        // The transform there and back makes every number a quarter of the cells' count times as large.
        let scale = 4.0 / (rows * columns) as f64;
        let mut field = waves.clone();
        for ((row, column), value) in field.indexed_iter_mut() {
            let stiffness = self.properties.sheet_conductance * (down[row] + across[column]);
            *value *= scale / (stiffness + self.properties.film * area);
        }
        for (axis, transform) in [(Axis(1), &self.along), (Axis(0), &self.across)] {
            transformed(&mut field, axis, |lane| transform.process_dct3(lane));
        }
        field
    }
}

/// `field` with `transform` done to every lane along the axis.
fn transformed(field: &mut Array2<f64>, axis: Axis, transform: impl Fn(&mut [f64])) {
    let mut buffer = vec![0.0; field.len_of(axis)];
    for mut lane in field.lanes_mut(axis) {
        for (kept, value) in buffer.iter_mut().zip(&lane) {
            *kept = *value;
        }
        transform(&mut buffer);
        for (value, done) in lane.iter_mut().zip(&buffer) {
            *value = *done;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The power that each cell must have for this field, W: what the cell conducts to its neighbours and loses.
    fn power(plate: &UniformPlate, field: &Array2<f64>) -> Array2<f64> {
        let area = (plate.cell_mm * 1e-3).powi(2);
        Array2::from_shape_fn(field.dim(), |(row, column)| {
            let here = field[(row, column)];
            let flow = |there: Option<&f64>| there.map_or(0.0, |there| here - there);
            let flows = flow(row.checked_sub(1).and_then(|row| field.get((row, column))))
                + flow(field.get((row + 1, column)))
                + flow(column.checked_sub(1).and_then(|column| field.get((row, column))))
                + flow(field.get((row, column + 1)));
            plate.properties.sheet_conductance * flows + plate.properties.film * area * here
        })
    }

    #[test]
    fn operator_and_solution_undo_each_other() {
        let properties = PlateProperties { sheet_conductance: 0.01, film: 20.0 };
        let plate = UniformPlate::new(properties, [20.0, 15.0], 1.0).unwrap();
        let watts =
            Array2::from_shape_fn((15, 20), |(row, column)| ((row * 7 + column * 3) % 11) as f64 * 1e-3);
        let back = power(&plate, &plate.response(&watts));
        for (back, watts) in back.iter().zip(&watts) {
            assert!((back - watts).abs() < 1e-12, "{back} {watts}");
        }
        assert!(UniformPlate::new(PlateProperties { film: 0.0, ..properties }, [20.0, 15.0], 1.0).is_err());
        assert!(UniformPlate::new(properties, [0.1, 15.0], 1.0).is_err());
    }
}
