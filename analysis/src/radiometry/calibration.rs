//! Calibrations: what one raw count of the camera means.

use serde::{Deserialize, Serialize};

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
