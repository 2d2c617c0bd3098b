//! From the temperature of a part's case to that of its junction.

use super::limits::ThermalPath;
use crate::units::{Kelvin, OutOfRange, Watts};

/// The junction temperature of a part that dissipates `power` and whose case reads `case`.
///
/// With ψ-JT: `T_J` = `T_T` + P · ψ-JT, where `T_T` is the temperature at the centre of the package top
/// and P the whole power. With θ-JC: `T_J` = `T_C` + P · θ-JC, which is too high unless all heat leaves
/// by the face that is seen: take it as an upper bound.
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
pub fn junction(case: Kelvin, power: Watts, path: &ThermalPath) -> Result<Kelvin, OutOfRange> {
    let (ThermalPath::PsiJunctionTop { kelvin_per_watt }
    | ThermalPath::ThetaJunctionCase { kelvin_per_watt }) = *path;
    Kelvin::new(case.value() + power.value() * kelvin_per_watt)
}
