//! From the temperature of a part's case to that of its junction, and how well it is then known.

use serde::{Deserialize, Serialize};

use super::limits::ThermalPath;
use crate::propagation::combined;
use crate::units::{Kelvin, KelvinDifference, OutOfRange, Watts};

/// What holding parts against their datasheets takes for granted, beside the datasheet's own figures.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DatasheetCriteria {
    /// Standard uncertainty of a published ψ-JT or θ-JC on another board than the maker's, as a share of it.
    pub path_share: f64,
    /// Standard uncertainty of a stated or measured power, as a share of it.
    pub power_share: f64,
    /// The warmest air that the board must work in.
    pub worst_ambient: Option<Kelvin>,
}

impl Default for DatasheetCriteria {
    /// A fifth and a twentieth (common practice, no source).
    fn default() -> Self {
        Self { path_share: 0.2, power_share: 0.05, worst_ambient: None }
    }
}

/// A power as it was measured on one part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "kebab-case")]
pub enum PowerReading {
    /// As such.
    Power {
        /// What the part turns into heat.
        watts: Watts,
    },
    /// By the voltage across it and the current through it: what it passes on to a load counts too.
    VoltageTimesCurrent {
        /// V.
        volts: f64,
        /// A.
        amperes: f64,
    },
}

impl PowerReading {
    /// What the part turns into heat.
    ///
    /// # Errors
    /// [`OutOfRange`] where voltage and current give less than nothing, or no number.
    pub fn watts(self) -> Result<Watts, OutOfRange> {
        match self {
            Self::Power { watts } => Ok(watts),
            Self::VoltageTimesCurrent { volts, amperes } => Watts::new(volts * amperes),
        }
    }
}

/// Where a part's power is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PowerOrigin {
    /// The limits table states it.
    Stated,
    /// It was measured on this unit.
    Measured,
    /// The limits table states it for a healthy board, and this unit's change of heat was found in the picture.
    StatedAndFound,
}

/// The power of one part in the test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PartPower {
    /// What it turns into heat.
    pub watts: Watts,
    /// Standard uncertainty, W.
    pub standard_uncertainty: f64,
    /// Where it is known from.
    pub origin: PowerOrigin,
}

/// The temperature of a junction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct JunctionEstimate {
    /// The estimate.
    pub temperature: Kelvin,
    /// Its standard uncertainty, K; `None` where the case's or the power's is not known.
    pub standard_uncertainty: Option<KelvinDifference>,
    /// Whether it is only an upper bound: θ-JC counts all heat as leaving by the face that is seen.
    pub is_upper_bound: bool,
}

/// The junction temperature of a part that dissipates `power` and whose case reads `case`, whose standard
/// uncertainty is `case_uncertainty`; `path_share` is the published figure's, as a share of it.
///
/// With ψ-JT: `T_J` = `T_T` + P · ψ-JT, where `T_T` is the temperature at the centre of the package top
/// and P the whole power. With θ-JC: `T_J` = `T_C` + P · θ-JC, which is too high unless all heat leaves
/// by the face that is seen: take it as an upper bound.
///
/// u² = `u_case`² + (P `u_ψ`)² + (ψ `u_P`)² (JCGM 100:2008, 5.1.2, the inputs uncorrelated).
///
/// # Domain
/// ψ-JT comes from still air and a standard test board; a heat sink or strong airflow on the package
/// top voids it.
///
/// # Errors
/// [`OutOfRange`] where power and path lead to a temperature that cannot be.
///
/// # Source
/// JESD51-2A (definition of ψ-JT) and package-characterization notes of the trade.
pub fn junction(
    case: Kelvin,
    case_uncertainty: Option<KelvinDifference>,
    power: &PartPower,
    path: &ThermalPath,
    path_share: f64,
) -> Result<JunctionEstimate, OutOfRange> {
    let (ThermalPath::PsiJunctionTop { kelvin_per_watt }
    | ThermalPath::ThetaJunctionCase { kelvin_per_watt }) = *path;
    let watts = power.watts.value();
    let standard_uncertainty = case_uncertainty.and_then(|case_uncertainty| {
        let parts = [
            case_uncertainty.value(),
            watts * path_share * kelvin_per_watt,
            kelvin_per_watt * power.standard_uncertainty,
        ];
        KelvinDifference::new(combined(parts)).ok()
    });
    Ok(JunctionEstimate {
        temperature: Kelvin::new(case.value() + watts * kelvin_per_watt)?,
        standard_uncertainty,
        is_upper_bound: matches!(path, ThermalPath::ThetaJunctionCase { .. }),
    })
}
