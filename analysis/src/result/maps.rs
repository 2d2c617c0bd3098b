//! The temperature pictures as 32-bit TIFF, for other programs.

use crate::capture::{EncodeError, encode_tiff};
use crate::comparison::Comparison;

/// A picture to be saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedMap {
    /// `baseline`, `unit` or `difference`.
    pub name: &'static str,
    /// The TIFF file: one page of 32-bit floats in kelvin, NaN where invalid.
    pub bytes: Vec<u8>,
}
