//! Least squares with parameters that enter the model other than linearly: Levenberg–Marquardt.
//!
//! Own code, as the published crate for it is bound to another version of the linear algebra than the
//! one in the tree, and the whole is one loop around a Cholesky factor.
//!
//! # Source
//! D. W. Marquardt, *An algorithm for least-squares estimation of nonlinear parameters*, SIAM J. 11
//! (1963) 431–441, named from memory; damping scaled by the diagonal.

use nalgebra::{DMatrix, DVector};

/// A model of some data: its residuals (model less data, weighted) and their Jacobian at parameters.
pub(super) trait Model {
    /// Fills `residuals` and, row by row, `jacobian`; `false` where the parameters are out of bounds.
    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: &mut DMatrix<f64>,
    ) -> bool;
    /// How many residuals there are.
    fn count(&self) -> usize;
}

/// Where the sum of squares is least.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) parameters: DVector<f64>,
    pub(super) sum_of_squares: f64,
    /// Jᵀ J there.
    pub(super) normal: DMatrix<f64>,
}

const MOST_STEPS: usize = 100;
const CONVERGED: f64 = 1e-10;

/// The nearest minimum from `start`, with the parameter `fixed` kept; `None` where the model refuses the
/// start. In a valley without a bottom the search ends after some steps, at the least it has come to.
pub(super) fn fit(model: &impl Model, start: DVector<f64>, fixed: Option<usize>) -> Option<Fit> {
    let size = start.len();
    let mut parameters = start;
    let (mut residuals, mut jacobian) = (DVector::zeros(model.count()), DMatrix::zeros(model.count(), size));
    let evaluate = |parameters: &DVector<f64>, residuals: &mut DVector<f64>, jacobian: &mut DMatrix<f64>| {
        let sound = model.evaluate(parameters, residuals, jacobian);
        let sum = residuals.norm_squared();
        (sound && sum.is_finite()).then_some(sum)
    };
    let mut sum = evaluate(&parameters, &mut residuals, &mut jacobian)?;
    let mut damping = 1e-3;
    for _ in 0..MOST_STEPS {
        let mut normal = jacobian.tr_mul(&jacobian);
        let mut gradient = jacobian.tr_mul(&residuals);
        if let Some(fixed) = fixed {
            normal.row_mut(fixed).fill(0.0);
            normal.column_mut(fixed).fill(0.0);
            normal[(fixed, fixed)] = 1.0;
            gradient[fixed] = 0.0;
        }
        let (mut better, mut small) = (false, false);
        while damping < 1e12 {
            let mut damped = normal.clone();
            (0..size).for_each(|i| damped[(i, i)] += damping * normal[(i, i)].max(f64::MIN_POSITIVE));
            let Some(step) = damped.cholesky().map(|factor| factor.solve(&gradient)) else {
                damping *= 10.0;
                continue;
            };
            let trial = &parameters - &step;
            let (mut trial_residuals, mut trial_jacobian) = (residuals.clone(), jacobian.clone());
            if let Some(trial_sum) = evaluate(&trial, &mut trial_residuals, &mut trial_jacobian)
                && trial_sum <= sum
            {
                // What the step could still win, beside what is left.
                small = step.dot(&gradient) <= CONVERGED * sum.max(f64::MIN_POSITIVE);
                (parameters, residuals, jacobian, sum) = (trial, trial_residuals, trial_jacobian, trial_sum);
                damping = (damping / 10.0).max(1e-12);
                better = true;
                break;
            }
            damping *= 10.0;
        }
        if !better || small {
            break;
        }
    }
    let normal = jacobian.tr_mul(&jacobian);
    Some(Fit { parameters, sum_of_squares: sum, normal })
}
