//! The material table: emissivities found on boards, each with its published source.

use crate::surface::region::Finish;
use crate::units::Emissivity;

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Stable key, kept in sessions.
    pub key: &'static str,
    /// What a person reads.
    pub name: &'static str,
    /// Emissivity to start from.
    pub emissivity: Emissivity,
    /// Standard uncertainty of it.
    pub uncertainty: f64,
    /// Where the value comes from, with its kind (total normal, in band, …) and how it was confirmed.
    pub source: &'static str,
}

impl Material {
    /// The finish that this material stands for.
    #[must_use]
    pub fn finish(&self) -> Finish {
        Finish {
            emissivity: self.emissivity,
            uncertainty: self.uncertainty,
            material: Some(self.key.to_owned()),
        }
    }
}
