//! Steady conduction in the plane of a thin plate with heat loss from its faces.
//!
//! −∇·(g ∇θ) + h θ = q, with θ the rise above ambient, g = k·t the sheet conductance (W/K), h the
//! film coefficient of both faces together (W/m²K) and q the areal power (W/m²); no heat crosses
//! the edges. Square finite volumes with the harmonic mean of g between neighbours, solved by
//! conjugate gradients with a diagonal preconditioner (Saad, *Iterative Methods for Sparse Linear
//! Systems*, 2nd edition, algorithm 9.1, cited from memory). The sums over cells telescope, so the
//! discrete balance Σ h·A·θ = Σ q·A holds as far as the solution has converged.

use ndarray::{Array2, aview1};

/// The iteration did not reach its tolerance.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("conduction did not settle in {iterations} iterations (relative residual {residual:.1e})")]
pub struct NotConverged {
    /// Iterations made.
    pub iterations: usize,
    /// ‖r‖ / ‖q‖ reached.
    pub residual: f64,
}

/// A thin plate cut into square cells, row 0 at y = 0.
#[derive(Debug, Clone)]
pub struct Plate {
    /// Edge of a cell, mm.
    pub cell_mm: f64,
    /// k·t of each cell, W/K.
    pub sheet_conductance: Array2<f64>,
    /// Heat loss of both faces together, W/m²K.
    pub film: f64,
}

/// A field on the plate, known at the centres of its cells.
#[derive(Debug, Clone)]
pub struct PlateField {
    cell_mm: f64,
    values: Array2<f64>,
}

/// ‖r‖ / ‖q‖ at which the solution counts as found: microkelvins on a board that rises by tens of kelvin.
const TOLERANCE: f64 = 1e-8;
const MOST_ITERATIONS: usize = 20_000;

impl Plate {
    /// Rise above ambient, K, for `power` watts per cell (of the plate's shape; may be negative).
    ///
    /// # Errors
    /// [`NotConverged`].
    pub fn steady_rise(&self, power: &Array2<f64>) -> Result<PlateField, NotConverged> {
        let operator = Operator::new(self);
        let diagonal = operator.diagonal();

        let mut residual: Vec<f64> = power.iter().copied().collect();
        let norm = dot(&residual, &residual).sqrt();
        let mut rise = vec![0.0; residual.len()];
        let mut conditioned: Vec<f64> = residual.iter().zip(&diagonal).map(|(r, d)| r / d).collect();
        let mut direction = conditioned.clone();
        let mut image = direction.clone();
        let mut weight = dot(&residual, &conditioned);

        let mut iterations = 0;
        while norm > 0.0 && dot(&residual, &residual).sqrt() > TOLERANCE * norm {
            if iterations == MOST_ITERATIONS {
                let residual = dot(&residual, &residual).sqrt() / norm;
                return Err(NotConverged { iterations, residual });
            }
            operator.apply(&direction, &mut image);
            let step = weight / dot(&direction, &image);
            for (rise, direction) in rise.iter_mut().zip(&direction) {
                *rise += step * direction;
            }
            for (residual, image) in residual.iter_mut().zip(&image) {
                *residual -= step * image;
            }
            for ((conditioned, residual), diagonal) in conditioned.iter_mut().zip(&residual).zip(&diagonal) {
                *conditioned = residual / diagonal;
            }
            let next = dot(&residual, &conditioned);
            let turn = next / weight;
            for (direction, conditioned) in direction.iter_mut().zip(&conditioned) {
                *direction = conditioned + turn * *direction;
            }
            weight = next;
            iterations += 1;
        }
        let columns = self.sheet_conductance.ncols();
        let values =
            Array2::from_shape_fn(self.sheet_conductance.dim(), |(row, column)| rise[row * columns + column]);
        Ok(PlateField { cell_mm: self.cell_mm, values })
    }

    /// The heat that leaves the plate's faces for this rise, W.
    #[must_use]
    pub fn heat_lost(&self, rise: &PlateField) -> f64 {
        self.film_per_cell() * rise.values.sum()
    }

    fn film_per_cell(&self) -> f64 {
        self.film * (self.cell_mm * 1e-3).powi(2)
    }
}

impl PlateField {
    /// The value at (`x`, `y`) mm, bilinear between cell centres and level beyond the outermost.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let (rows, columns) = self.values.dim();
        let (column, right) = split(x / self.cell_mm - 0.5, columns);
        let (row, up) = split(y / self.cell_mm - 0.5, rows);
        let (next_row, next_column) = ((row + 1).min(rows - 1), (column + 1).min(columns - 1));
        let v = &self.values;
        (1.0 - up) * ((1.0 - right) * v[(row, column)] + right * v[(row, next_column)])
            + up * ((1.0 - right) * v[(next_row, column)] + right * v[(next_row, next_column)])
    }

    /// The sum of two fields of one plate: temperatures superpose, since conduction is linear.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self { cell_mm: self.cell_mm, values: &self.values + &other.values }
    }

    /// The field so many times as strong, as of so many times the power.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        Self { cell_mm: self.cell_mm, values: &self.values * factor }
    }

    /// A field with one value everywhere.
    #[must_use]
    pub fn level(value: f64) -> Self {
        Self { cell_mm: 1.0, values: Array2::from_elem((1, 1), value) }
    }
}

/// A position among `count` cells as a cell and the fraction of the way to the next.
fn split(position: f64, count: usize) -> (usize, f64) {
    let position = position.clamp(0.0, (count - 1) as f64);
    (position.floor() as usize, position.fract())
}

/// The discrete −∇·(g ∇) + h, in W/K.
struct Operator {
    columns: usize,
    /// Conductance to the next cell along x; zero at the last column.
    along_x: Vec<f64>,
    /// Conductance to the next cell along y; zero in the last row.
    along_y: Vec<f64>,
    film: f64,
}

impl Operator {
    fn new(plate: &Plate) -> Self {
        let g = &plate.sheet_conductance;
        let (rows, columns) = g.dim();
        let harmonic = |a: f64, b: f64| 2.0 * a * b / (a + b);
        let mut along_x = vec![0.0; rows * columns];
        let mut along_y = vec![0.0; rows * columns];
        for row in 0..rows {
            for column in 0..columns {
                let here = g[(row, column)];
                if column + 1 < columns {
                    along_x[row * columns + column] = harmonic(here, g[(row, column + 1)]);
                }
                if row + 1 < rows {
                    along_y[row * columns + column] = harmonic(here, g[(row + 1, column)]);
                }
            }
        }
        Self { columns, along_x, along_y, film: plate.film_per_cell() }
    }

    fn diagonal(&self) -> Vec<f64> {
        let mut diagonal = vec![self.film; self.along_x.len()];
        for (conductance, stride) in [(&self.along_x, 1), (&self.along_y, self.columns)] {
            for (here, g) in diagonal.iter_mut().zip(conductance) {
                *here += g;
            }
            for (next, g) in diagonal[stride..].iter_mut().zip(conductance) {
                *next += g;
            }
        }
        diagonal
    }

    fn apply(&self, field: &[f64], out: &mut [f64]) {
        for (out, field) in out.iter_mut().zip(field) {
            *out = self.film * field;
        }
        for (conductance, stride) in [(&self.along_x, 1), (&self.along_y, self.columns)] {
            let flows = || field.iter().zip(&field[stride..]).zip(conductance);
            for (here, ((from, to), g)) in out.iter_mut().zip(flows()) {
                *here += g * (from - to);
            }
            for (next, ((from, to), g)) in out[stride..].iter_mut().zip(flows()) {
                *next -= g * (from - to);
            }
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    // ndarray sums in several lanes, which a plain fold may not.
    aview1(a).dot(&aview1(b))
}
