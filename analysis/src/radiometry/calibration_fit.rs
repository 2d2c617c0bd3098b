//! A calibration from set-points of a black body: least squares, with what the fit leaves unsure.

use nalgebra::{DMatrix, DVector};

use super::calibration::Calibration;
use super::planck::SECOND_CONSTANT;
use super::set_points::SetPoint;
use crate::units::{Kelvin, KelvinDifference};

/// What is fitted to the set-points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FitForm {
    /// The Planckian Sakuma–Hattori form, counts as a function of temperature.
    SakumaHattori {
        /// Counts without radiance where they are known; fitted beside the rest where not.
        dark_level: Option<f64>,
    },
    /// Temperature as a polynomial of counts.
    Polynomial {
        /// From 1 to 5.
        degree: usize,
    },
}

/// One fitted number.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedParameter {
    /// Its name: `a`, `b`, `c`, `offset` as in [`Calibration::SakumaHattori`], or the power of counts.
    pub name: String,
    /// The value.
    pub value: f64,
    /// Its standard uncertainty. Parameters are strongly correlated: see the covariance.
    pub uncertainty: f64,
}

/// A calibration with how it was found.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationFit {
    /// The calibration, ready for captures. A polynomial becomes a table over the counts of the set-points.
    pub calibration: Calibration,
    /// What was fitted.
    pub form: FitForm,
    /// The fitted numbers.
    pub parameters: Vec<FittedParameter>,
    /// Covariance of the parameters, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Fitted less true temperature at each set-point, in the order given.
    pub residuals: Vec<KelvinDifference>,
    /// Standard deviation of the residuals of what was fitted: counts for the Sakuma–Hattori form, kelvin for a
    /// polynomial.
    pub residual_sigma: f64,
    /// Set-points less parameters.
    pub degrees_of_freedom: usize,
    /// Lowest and highest counts of the set-points.
    pub counts_range: [f64; 2],
}

/// The temperature that counts mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedTemperature {
    /// The apparent temperature.
    pub temperature: Kelvin,
    /// Standard uncertainty from the fit alone, k = 1; what the black body and the counts leave unsure comes on
    /// top.
    pub uncertainty: KelvinDifference,
    /// Whether the counts lie within those of the set-points. Beyond, no uncertainty of a fit can be trusted.
    pub inside: bool,
}

/// Why no calibration was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoFit {
    /// Too few set-points.
    #[error("{found} set-points for {parameters} parameters: give at least {needed}")]
    TooFewPoints {
        /// Set-points of different temperature.
        found: usize,
        /// Parameters of the form.
        parameters: usize,
        /// The least accepted.
        needed: usize,
    },
    /// A polynomial of no use.
    #[error("a polynomial of degree {degree} is not fitted: take 1 to 5")]
    Degree {
        /// The degree asked for.
        degree: usize,
    },
    /// Counts that do not rise with temperature.
    #[error(
        "counts must rise with the black body's temperature: check the columns and the order of the numbers"
    )]
    NotRising,
    /// The form does not fit.
    #[error("the fit found no end: the form does not suit these set-points; try another one")]
    NoEnd,
}

/// Fits `form` to the set-points.
///
/// The Sakuma–Hattori form by damped Gauss–Newton steps on counts; a polynomial by linear least squares on
/// temperature. The covariance is s² (JᵀJ)⁻¹ with s² the sum of squares over the degrees of freedom.
///
/// # Source
/// The form: see [`Calibration::signal`]. Damping: D. W. Marquardt, J. SIAM 11 (1963), from memory. Covariance and
/// prediction of a fitted line: JCGM 100:2008, H.3.
///
/// # Errors
/// [`NoFit`].
pub fn fit_calibration(points: &[SetPoint], form: FitForm) -> Result<CalibrationFit, NoFit> {
    let count = match form {
        FitForm::SakumaHattori { dark_level } => 3 + usize::from(dark_level.is_none()),
        FitForm::Polynomial { degree } if (1..=5).contains(&degree) => degree + 1,
        FitForm::Polynomial { degree } => return Err(NoFit::Degree { degree }),
    };
    let mut distinct: Vec<f64> = points.iter().map(|point| point.temperature.value()).collect();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    if distinct.len() <= count {
        return Err(NoFit::TooFewPoints { found: distinct.len(), parameters: count, needed: count + 1 });
    }
    let (jacobian, left, values) = match form {
        FitForm::SakumaHattori { dark_level } => fit_sakuma_hattori(points, dark_level)?,
        FitForm::Polynomial { degree } => fit_polynomial(points, degree)?,
    };
    let degrees_of_freedom = points.len() - count;
    let variance = left.norm_squared() / degrees_of_freedom as f64;
    let covariance = inverse_of_square(&jacobian).ok_or(NoFit::NoEnd)? * variance;
    let counts = points.iter().map(|point| point.counts);
    let counts_range =
        counts.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], c| [low.min(c), high.max(c)]);
    let parameters: Vec<FittedParameter> = values
        .iter()
        .enumerate()
        .map(|(index, &value)| FittedParameter {
            name: name_of(form, index),
            value,
            uncertainty: covariance[(index, index)].max(0.0).sqrt(),
        })
        .collect();
    let mut fit = CalibrationFit {
        calibration: Calibration::Table { points: Vec::new() },
        form,
        parameters,
        covariance: covariance.row_iter().map(|row| row.iter().copied().collect()).collect(),
        residuals: Vec::new(),
        residual_sigma: variance.sqrt(),
        degrees_of_freedom,
        counts_range,
    };
    fit.calibration = fit.as_calibration()?;
    for point in points {
        let found = fit.kelvin(point.counts).ok_or(NoFit::NoEnd)?;
        let residual = KelvinDifference::new(found - point.temperature.value()).map_err(|_| NoFit::NoEnd)?;
        fit.residuals.push(residual);
    }
    Ok(fit)
}

fn name_of(form: FitForm, index: usize) -> String {
    match form {
        FitForm::SakumaHattori { .. } => {
            ["a", "b", "c", "offset"].get(index).copied().unwrap_or_default().to_owned()
        }
        FitForm::Polynomial { .. } => format!("counts^{index}"),
    }
}

impl CalibrationFit {
    /// The temperature that `counts` mean, and how sure the fit is of it; `None` where the form has no answer.
    ///
    /// Propagated with the whole covariance of the parameters: u² = gᵀ C g, g the temperature's derivatives.
    #[must_use]
    pub fn temperature(&self, counts: f64) -> Option<FittedTemperature> {
        let kelvin = self.kelvin(counts)?;
        let gradient = match self.form {
            FitForm::SakumaHattori { dark_level } => {
                let terms = law(&self.values(dark_level), kelvin);
                // At given counts 0 = ∂S/∂p dp + ∂S/∂T dT.
                let mut gradient: Vec<f64> =
                    terms.by_parameter.iter().map(|by| -by / terms.by_temperature).collect();
                gradient.truncate(self.parameters.len());
                gradient
            }
            FitForm::Polynomial { .. } => powers(counts, self.parameters.len()),
        };
        let variance: f64 = self
            .covariance
            .iter()
            .zip(&gradient)
            .map(|(row, left)| row.iter().zip(&gradient).map(|(c, right)| left * c * right).sum::<f64>())
            .sum();
        let [lowest, highest] = self.counts_range;
        Some(FittedTemperature {
            temperature: Kelvin::new(kelvin).ok()?,
            uncertainty: KelvinDifference::new(variance.max(0.0).sqrt()).ok()?,
            inside: (lowest..=highest).contains(&counts),
        })
    }

    fn values(&self, dark_level: Option<f64>) -> [f64; 4] {
        let value = |index: usize| self.parameters.get(index).map_or(0.0, |parameter| parameter.value);
        [value(0), value(1), value(2), dark_level.unwrap_or_else(|| value(3))]
    }

    fn kelvin(&self, counts: f64) -> Option<f64> {
        let kelvin = match self.form {
            FitForm::SakumaHattori { dark_level } => {
                let [a, b, c, offset] = self.values(dark_level);
                (SECOND_CONSTANT / (c / (counts - offset)).ln_1p() - b) / a
            }
            FitForm::Polynomial { .. } => powers(counts, self.parameters.len())
                .iter()
                .zip(&self.parameters)
                .map(|(power, parameter)| power * parameter.value)
                .sum(),
        };
        (kelvin > 0.0 && kelvin.is_finite()).then_some(kelvin)
    }

    fn as_calibration(&self) -> Result<Calibration, NoFit> {
        /// Lines so short that they leave a smooth curve by far less than a fit is sure.
        const STEPS: u32 = 512;
        let calibration = match self.form {
            FitForm::SakumaHattori { dark_level } => {
                let [a, b, c, offset] = self.values(dark_level);
                Calibration::SakumaHattori { a, b, c, offset }
            }
            FitForm::Polynomial { .. } => {
                let [lowest, highest] = self.counts_range;
                let points = (0..=STEPS)
                    .map(|step| {
                        let share = f64::from(step) / f64::from(STEPS);
                        let counts = lowest * (1.0 - share) + highest * share;
                        self.kelvin(counts).map(|kelvin| [counts, kelvin])
                    })
                    .collect::<Option<Vec<_>>>()
                    .ok_or(NoFit::NoEnd)?;
                Calibration::Table { points }
            }
        };
        calibration.check().map_err(|_| NoFit::NotRising)?;
        Ok(calibration)
    }
}

fn powers(counts: f64, count: usize) -> Vec<f64> {
    (0..count).map(|power| counts.powi(power as i32)).collect()
}

/// What was fitted: derivatives of the model by the parameters at the points, what the model leaves, parameters.
type Fitted = (DMatrix<f64>, DVector<f64>, Vec<f64>);

fn fit_polynomial(points: &[SetPoint], degree: usize) -> Result<Fitted, NoFit> {
    let design =
        DMatrix::from_fn(points.len(), degree + 1, |row, power| points[row].counts.powi(power as i32));
    let kelvin = DVector::from_iterator(points.len(), points.iter().map(|point| point.temperature.value()));
    let values = least_squares(&design, &kelvin).ok_or(NoFit::NotRising)?;
    let left = kelvin - &design * &values;
    Ok((design, left, values.iter().copied().collect()))
}

/// The Sakuma–Hattori form at one temperature.
struct Law {
    counts: f64,
    by_parameter: [f64; 4],
    by_temperature: f64,
}

fn law([a, b, c, offset]: &[f64; 4], kelvin: f64) -> Law {
    let product = a * kelvin + b;
    let exponent = SECOND_CONSTANT / product;
    let below = exponent.exp_m1();
    let by_exponent = -c * (below + 1.0) / (below * below);
    let by_product = -by_exponent * exponent / product;
    Law {
        counts: c / below + offset,
        by_parameter: [by_product * kelvin, by_product, 1.0 / below, 1.0],
        by_temperature: by_product * a,
    }
}

fn fit_sakuma_hattori(points: &[SetPoint], dark_level: Option<f64>) -> Result<Fitted, NoFit> {
    const ROUNDS: usize = 2000;
    let free = 3 + usize::from(dark_level.is_none());
    let at = |values: &[f64; 4]| {
        let laws: Vec<Law> = points.iter().map(|point| law(values, point.temperature.value())).collect();
        let jacobian = DMatrix::from_fn(points.len(), free, |row, column| laws[row].by_parameter[column]);
        let left = DVector::from_fn(points.len(), |row, _| points[row].counts - laws[row].counts);
        (jacobian, left)
    };
    let mut values = start(points, dark_level)?;
    let (mut jacobian, mut left) = at(&values);
    let mut damping = 1e-3;
    for _ in 0..ROUNDS {
        let Some(step) = damped_step(&jacobian, &left, damping) else {
            return Err(NoFit::NoEnd);
        };
        let mut next = values;
        for (value, change) in next.iter_mut().zip(step.iter()) {
            *value += change;
        }
        let (next_jacobian, next_left) = at(&next);
        let better = next_left.norm_squared() < left.norm_squared();
        if better && next[0] > 0.0 {
            let moved = step.iter().zip(&values).any(|(change, value)| change.abs() > 1e-12 * value.abs());
            (values, jacobian, left) = (next, next_jacobian, next_left);
            damping = (damping / 10.0).max(1e-15);
            if !moved {
                break;
            }
        } else if damping > 1e12 {
            // No step however small does better: the minimum, as far as f64 tells.
            break;
        } else {
            damping *= 10.0;
        }
    }
    let finite = values.iter().all(|value| value.is_finite()) && left.iter().all(|value| value.is_finite());
    if finite { Ok((jacobian, left, values[..free].to_vec())) } else { Err(NoFit::NoEnd) }
}

/// Where to begin: a wavelength in the middle of the long-wave band, and the two linear parameters solved for.
fn start(points: &[SetPoint], dark_level: Option<f64>) -> Result<[f64; 4], NoFit> {
    const A: f64 = 10.0;
    const B: f64 = 100.0;
    let shape = |row: usize| law(&[A, B, 1.0, 0.0], points[row].temperature.value()).counts;
    let columns = 1 + usize::from(dark_level.is_none());
    let design =
        DMatrix::from_fn(points.len(), columns, |row, column| if column == 0 { shape(row) } else { 1.0 });
    let above = DVector::from_fn(points.len(), |row, _| points[row].counts - dark_level.unwrap_or(0.0));
    let linear = least_squares(&design, &above).ok_or(NoFit::NotRising)?;
    if linear[0] > 0.0 {
        Ok([A, B, linear[0], dark_level.unwrap_or_else(|| linear[1])])
    } else {
        Err(NoFit::NotRising)
    }
}

/// Columns brought to length 1, and their lengths: the parameters differ by many powers of ten.
fn scaled(matrix: &DMatrix<f64>) -> Option<(DMatrix<f64>, DVector<f64>)> {
    let lengths = DVector::from_iterator(matrix.ncols(), matrix.column_iter().map(|column| column.norm()));
    let usable = lengths.iter().all(|length| *length > 0.0 && length.is_finite());
    let even = DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |row, column| {
        matrix[(row, column)] / lengths[column]
    });
    usable.then_some((even, lengths))
}

fn least_squares(design: &DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let (even, lengths) = scaled(design)?;
    let solution = even.svd(true, true).solve(right, 1e-14).ok()?;
    Some(solution.component_div(&lengths))
}

/// (JᵀJ + λ diag(JᵀJ))⁻¹ Jᵀ r, by the singular values of J with even columns.
fn damped_step(jacobian: &DMatrix<f64>, left: &DVector<f64>, damping: f64) -> Option<DVector<f64>> {
    let (even, lengths) = scaled(jacobian)?;
    let svd = even.svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    let along = u.transpose() * left;
    let shares = DVector::from_fn(along.len(), |index, _| {
        let singular = svd.singular_values[index];
        along[index] * singular / (singular * singular + damping)
    });
    Some((v_t.transpose() * shares).component_div(&lengths))
}

/// (JᵀJ)⁻¹.
fn inverse_of_square(jacobian: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let (even, lengths) = scaled(jacobian)?;
    let svd = even.svd(false, true);
    let v_t = svd.v_t?;
    let smallest = svd.singular_values.min();
    let spread = DMatrix::from_fn(v_t.nrows(), v_t.ncols(), |row, column| {
        v_t[(row, column)] / svd.singular_values[row]
    });
    let inverse = spread.transpose() * &spread;
    let inverse = DMatrix::from_fn(inverse.nrows(), inverse.ncols(), |row, column| {
        inverse[(row, column)] / (lengths[row] * lengths[column])
    });
    (smallest > 0.0).then_some(inverse)
}
