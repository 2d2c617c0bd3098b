//! Calibrations: what one raw count of the camera means.

use serde::{Deserialize, Serialize};

use crate::radiometry::Band;
use crate::radiometry::planck::{SECOND_CONSTANT, band_radiance};
use crate::units::Kelvin;

/// How raw counts become band radiance or apparent temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Calibration {
    /// Band radiance = `gain` · counts + `offset`, W·m⁻²·sr⁻¹.
    Linear {
        /// W·m⁻²·sr⁻¹ per count.
        gain: f64,
        /// W·m⁻²·sr⁻¹ at zero counts.
        offset: f64,
    },
    /// Apparent temperature by a table of counts and kelvin, monotone, interpolated in between;
    /// counts outside the table are invalid.
    Table {
        /// Pairs `[counts, kelvin]`, counts rising.
        points: Vec<[f64; 2]>,
    },
    /// The Planckian Sakuma–Hattori form, counts = `c` / (exp(c₂ / (`a`·T + `b`)) − 1) + `offset`,
    /// with `a` in µm and `b` in µm·K.
    SakumaHattori {
        /// Micrometres.
        a: f64,
        /// Micrometre kelvin.
        b: f64,
        /// Counts.
        c: f64,
        /// Counts that a scene without radiance would give.
        #[serde(default)]
        offset: f64,
    },
}

/// A calibration that cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InvalidCalibration {
    /// A number of it is not finite, or zero where it divides.
    #[error("the calibration's {parameter} of {value} is not usable: it must be {allowed}")]
    Parameter {
        /// Which number.
        parameter: &'static str,
        /// The number given.
        value: f64,
        /// What it must be.
        allowed: &'static str,
    },
    /// Too few points.
    #[error("the calibration table has {found} points: it needs at least 2")]
    TooFewPoints {
        /// Points given.
        found: usize,
    },
    /// A point that is out of order.
    #[error(
        "point {position} of the calibration table ({counts} counts, {kelvin} K) is out of order: counts \
         must rise from point to point, and temperatures must be above 0 K and always rise or always fall"
    )]
    OutOfOrder {
        /// Which point, counted from 1.
        position: usize,
        /// Its counts.
        counts: f64,
        /// Its temperature.
        kelvin: f64,
    },
}

/// What a raw count turned out to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Signal {
    /// In-band radiance, W·m⁻²·sr⁻¹.
    Radiance(f64),
    /// Apparent temperature, K.
    Temperature(f64),
}

impl Calibration {
    /// Checks that the calibration can be used.
    ///
    /// # Errors
    /// [`InvalidCalibration`], which names the number or point at fault.
    pub fn check(&self) -> Result<(), InvalidCalibration> {
        match self {
            Self::Linear { gain, offset } => {
                require("gain", *gain, "finite and not zero", |v| v != 0.0)?;
                require("offset", *offset, "finite", |_| true)
            }
            Self::Table { points } => check_points(points),
            Self::SakumaHattori { a, b, c, offset } => {
                require("a", *a, "finite and above 0 µm", |v| v > 0.0)?;
                require("b", *b, "finite, in µm·K", |_| true)?;
                require("c", *c, "finite and not zero", |v| v != 0.0)?;
                require("offset", *offset, "finite", |_| true)
            }
        }
    }

    /// What `counts` mean; `None` where the calibration says nothing of them.
    ///
    /// The calibration is taken to have passed [`check`](Self::check).
    ///
    /// # Source
    /// The inverse Planckian Sakuma–Hattori form, T = c₂ / (a ln(c/counts + 1)) − b/a: F. Sakuma,
    /// S. Hattori, in *Temperature: Its Measurement and Control in Science and Industry*, vol. 5, 1982
    /// (title from memory; the formula was read in secondary text and checked against fits).
    #[must_use]
    pub fn signal(&self, counts: f64) -> Option<Signal> {
        match self {
            Self::Linear { gain, offset } => Some(Signal::Radiance(gain * counts + offset)),
            Self::Table { points } => interpolate(points, counts).map(Signal::Temperature),
            Self::SakumaHattori { a, b, c, offset } => {
                let ratio = c / (counts - offset);
                let kelvin = (SECOND_CONSTANT / ratio.ln_1p() - b) / a;
                (ratio > 0.0 && kelvin > 0.0 && kelvin.is_finite()).then_some(Signal::Temperature(kelvin))
            }
        }
    }

    /// The counts that a black body of temperature `apparent` gives in `band`: [`signal`](Self::signal)
    /// the other way. `None` where the calibration says nothing of this temperature.
    #[must_use]
    pub fn counts(&self, apparent: Kelvin, band: Band) -> Option<f64> {
        match self {
            Self::Linear { gain, offset } => Some((band_radiance(band, apparent).radiance - offset) / gain),
            Self::Table { points } => {
                let mut swapped: Vec<[f64; 2]> =
                    points.iter().map(|[counts, kelvin]| [*kelvin, *counts]).collect();
                swapped.sort_by(|a, b| a[0].total_cmp(&b[0]));
                interpolate(&swapped, apparent.value())
            }
            Self::SakumaHattori { a, b, c, offset } => {
                let product = a * apparent.value() + b;
                (product > 0.0).then(|| c / (SECOND_CONSTANT / product).exp_m1() + offset)
            }
        }
    }
}

fn require(
    parameter: &'static str,
    value: f64,
    allowed: &'static str,
    check: fn(f64) -> bool,
) -> Result<(), InvalidCalibration> {
    if value.is_finite() && check(value) {
        Ok(())
    } else {
        Err(InvalidCalibration::Parameter { parameter, value, allowed })
    }
}

fn check_points(points: &[[f64; 2]]) -> Result<(), InvalidCalibration> {
    let [first, second, ..] = points else {
        return Err(InvalidCalibration::TooFewPoints { found: points.len() });
    };
    let direction = (second[1] - first[1]).signum();
    let mut previous: Option<[f64; 2]> = None;
    for (index, &[counts, kelvin]) in points.iter().enumerate() {
        let in_order =
            previous.is_none_or(|[lower, before]| counts > lower && (kelvin - before) * direction > 0.0);
        if !(in_order && counts.is_finite() && kelvin > 0.0 && kelvin.is_finite()) {
            return Err(InvalidCalibration::OutOfOrder { position: index + 1, counts, kelvin });
        }
        previous = Some([counts, kelvin]);
    }
    Ok(())
}

/// The second number at `at` of the first, straight between points; `None` outside them.
fn interpolate(points: &[[f64; 2]], at: f64) -> Option<f64> {
    let above = points.partition_point(|point| point[0] < at);
    let &[right, value] = points.get(above)?;
    if right == at {
        return Some(value);
    }
    let &[left, before] = points.get(above.checked_sub(1)?)?;
    Some(before + (value - before) * (at - left) / (right - left))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_straight_between_its_points_and_silent_outside() {
        let table = Calibration::Table { points: vec![[1000.0, 280.0], [2000.0, 300.0], [4000.0, 350.0]] };
        assert_eq!(table.check(), Ok(()));
        assert_eq!(table.signal(1000.0), Some(Signal::Temperature(280.0)));
        assert_eq!(table.signal(1500.0), Some(Signal::Temperature(290.0)));
        assert_eq!(table.signal(4000.0), Some(Signal::Temperature(350.0)));
        assert_eq!(table.signal(999.0), None);
        assert_eq!(table.signal(4001.0), None);
        assert_eq!(table.signal(f64::NAN), None);
        let back = table.counts(Kelvin::new(290.0).unwrap(), Band::default());
        assert_eq!(back, Some(1500.0));
    }

    #[test]
    fn a_table_out_of_order_names_the_point() {
        let table = |points: &[[f64; 2]]| Calibration::Table { points: points.to_vec() }.check();
        assert_eq!(table(&[[1.0, 280.0]]), Err(InvalidCalibration::TooFewPoints { found: 1 }));
        for points in [
            [[1.0, 280.0], [2.0, 290.0], [2.0, 300.0]],
            [[1.0, 280.0], [2.0, 290.0], [3.0, 290.0]],
            [[1.0, 280.0], [2.0, 290.0], [3.0, f64::NAN]],
        ] {
            assert!(
                matches!(table(&points), Err(InvalidCalibration::OutOfOrder { position: 3, .. })),
                "{points:?}"
            );
        }
        assert_eq!(table(&[[1.0, 300.0], [2.0, 290.0]]), Ok(()), "a falling table is monotone too");
    }

    #[test]
    fn numbers_that_divide_must_not_be_zero() {
        let linear = Calibration::Linear { gain: 0.0, offset: 1.0 };
        assert!(matches!(linear.check(), Err(InvalidCalibration::Parameter { parameter: "gain", .. })));
        let fit = Calibration::SakumaHattori { a: 9.3, b: 179.0, c: f64::INFINITY, offset: 0.0 };
        assert!(matches!(fit.check(), Err(InvalidCalibration::Parameter { parameter: "c", .. })));
    }

    #[test]
    fn counts_below_the_dark_level_mean_no_temperature() {
        let fit = Calibration::SakumaHattori { a: 9.3, b: 179.0, c: 6800.0, offset: 100.0 };
        assert_eq!(fit.signal(100.0), None);
        assert_eq!(fit.signal(90.0), None);
        assert!(fit.signal(130.0).is_some());
    }
}
