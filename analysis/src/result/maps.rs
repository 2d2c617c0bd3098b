//! The temperature pictures as 32-bit TIFF, for other programs.

use crate::capture::{WriteError, encode_tiff};
use crate::comparison::Comparison;

/// A picture to be saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedMap {
    /// `baseline`, `unit` or `difference`.
    pub name: &'static str,
    /// The TIFF file: one page of 32-bit floats in kelvin, NaN where invalid.
    pub bytes: Vec<u8>,
}

/// Baseline, unit and difference, all on the baseline's pixels, with the exact values of the
/// comparison.
///
/// # Errors
/// [`WriteError`], when a picture is too large for a TIFF.
pub fn temperature_maps(comparison: &Comparison) -> Result<[NamedMap; 3], WriteError> {
    Ok([
        NamedMap { name: "baseline", bytes: encode_tiff(&comparison.baseline)? },
        NamedMap { name: "unit", bytes: encode_tiff(&comparison.unit)? },
        NamedMap { name: "difference", bytes: encode_tiff(&comparison.difference)? },
    ])
}
