//! The board as a thin plate: where heat goes in, and how it spreads.
//!
//! −∇·(kt ∇θ) + h θ = q, θ the change of temperature, kt the sheet conductance (W/K), h the film
//! coefficient of both faces together (W/m²K), q the areal power (W/m²); no heat crosses the edges.
//! On an endless sheet a point of power P makes θ(r) = P / (2π kt) · K₀(r/L), L = √(kt/h) (H. S. Carslaw,
//! J. C. Jaeger, *Conduction of Heat in Solids*, 2nd ed. 1959, named from memory).
//!
//! A uniform plate of finite volumes is diagonal in the discrete cosine transform, so one solution
//! costs two transforms and nothing has to converge. The transform goes by an even continuation and a
//! Fourier transform of twice the length.

use ndarray::{Array2, Axis};
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
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
pub struct UniformPlate {
    properties: PlateProperties,
    cell_mm: f64,
    shape: (usize, usize),
    along: Arc<dyn Fft<f64>>,
    across: Arc<dyn Fft<f64>>,
}

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
        let positive = |value: f64| value > 0.0 && value.is_finite();
        if !positive(properties.sheet_conductance) || !positive(properties.film) {
            return Err(NoPlate::Properties(properties));
        }
        let count = |length: f64| (length / cell_mm).round();
        let fits = |length: f64| (1.0..=MOST_CELLS).contains(&count(length));
        if !positive(cell_mm) || !size.iter().all(|&length| fits(length)) {
            return Err(NoPlate::Size { width_mm: size[0], height_mm: size[1], cell_mm });
        }
        let shape = (count(size[1]) as usize, count(size[0]) as usize);
        let mut planner = FftPlanner::new();
        let (along, across) = (planner.plan_fft_forward(2 * shape.1), planner.plan_fft_forward(2 * shape.0));
        Ok(Self { properties, cell_mm, shape, along, across })
    }

    /// What it was made with.
    #[must_use]
    pub const fn properties(&self) -> PlateProperties {
        self.properties
    }

    /// Rows and columns of cells.
    #[must_use]
    pub const fn shape(&self) -> (usize, usize) {
        self.shape
    }

    /// The cell's edge, mm.
    #[must_use]
    pub const fn cell_mm(&self) -> f64 {
        self.cell_mm
    }

    /// The steady change of temperature, K, for `watts` in each cell.
    #[must_use]
    pub fn response(&self, watts: &Array2<f64>) -> Array2<f64> {
        let mut field = watts.clone();
        self.cosines(&mut field);
        let area = (self.cell_mm * 1e-3).powi(2);
        let (rows, columns) = self.shape;
        let wave = |index: usize, count: usize| {
            2.0 - 2.0 * (std::f64::consts::PI * index as f64 / count as f64).cos()
        };
        for ((row, column), value) in field.indexed_iter_mut() {
            let stiffness = self.properties.sheet_conductance * (wave(row, rows) + wave(column, columns));
            *value /= stiffness + self.properties.film * area;
        }
        self.inverse_cosines(&mut field);
        field
    }

    /// The power that each cell must have for this field, W: the operator itself. NaN beside NaN.
    #[must_use]
    pub fn power(&self, field: &Array2<f64>) -> Array2<f64> {
        let (rows, columns) = field.dim();
        let area = (self.cell_mm * 1e-3).powi(2);
        Array2::from_shape_fn((rows, columns), |(row, column)| {
            let here = field[(row, column)];
            let flow = |there: Option<&f64>| there.map_or(0.0, |there| here - there);
            let flows = flow(row.checked_sub(1).and_then(|row| field.get((row, column))))
                + flow(field.get((row + 1, column)))
                + flow(column.checked_sub(1).and_then(|column| field.get((row, column))))
                + flow(field.get((row, column + 1)));
            self.properties.sheet_conductance * flows + self.properties.film * area * here
        })
    }

    /// Discrete cosine transform of the second kind along both axes: Σ x cos(π k (2 i + 1) / 2N).
    fn cosines(&self, field: &mut Array2<f64>) {
        for (axis, fft) in [(Axis(1), &self.along), (Axis(0), &self.across)] {
            let mut buffer = vec![Complex::default(); fft.len()];
            for mut lane in field.lanes_mut(axis) {
                let count = lane.len();
                for (index, &value) in lane.iter().enumerate() {
                    buffer[index] = Complex::new(value, 0.0);
                    buffer[2 * count - 1 - index] = Complex::new(value, 0.0);
                }
                fft.process(&mut buffer);
                for (index, value) in lane.iter_mut().enumerate() {
                    *value = (buffer[index] * half_turn(index, count)).re / 2.0;
                }
            }
        }
    }

    /// Undoes [`Self::cosines`]: (X₀/2 + Σ X cos(π k (2 i + 1) / 2N)) · 2/N.
    fn inverse_cosines(&self, field: &mut Array2<f64>) {
        for (axis, fft) in [(Axis(1), &self.along), (Axis(0), &self.across)] {
            let mut buffer = vec![Complex::default(); fft.len()];
            for mut lane in field.lanes_mut(axis) {
                let count = lane.len();
                buffer.fill(Complex::default());
                for (index, &value) in lane.iter().enumerate() {
                    let value = if index == 0 { value / 2.0 } else { value };
                    buffer[index] = value * half_turn(index, count);
                }
                fft.process(&mut buffer);
                for (index, value) in lane.iter_mut().enumerate() {
                    *value = buffer[index].re * 2.0 / count as f64;
                }
            }
        }
    }
}

/// exp(−iπ k / 2N).
fn half_turn(index: usize, count: usize) -> Complex<f64> {
    Complex::from_polar(1.0, -std::f64::consts::PI * index as f64 / (2.0 * count as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn operator_and_solution_undo_each_other() {
        let properties = PlateProperties { sheet_conductance: 0.01, film: 20.0 };
        let plate = UniformPlate::new(properties, [20.0, 15.0], 1.0).unwrap();
        let watts =
            Array2::from_shape_fn((15, 20), |(row, column)| ((row * 7 + column * 3) % 11) as f64 * 1e-3);
        let back = plate.power(&plate.response(&watts));
        for (back, watts) in back.iter().zip(&watts) {
            assert!((back - watts).abs() < 1e-12, "{back} {watts}");
        }
        assert!(UniformPlate::new(PlateProperties { film: 0.0, ..properties }, [20.0, 15.0], 1.0).is_err());
        assert!(UniformPlate::new(properties, [0.1, 15.0], 1.0).is_err());
    }
}
