//! A procedure as it was carried out: what was entered beside what came out, to keep and to show.

use serde::{Deserialize, Serialize};

use super::emissivity::{ContactMethod, EmissivityOutcome, ReferenceMethod};
use super::outcome::{ProcedureError, Warning};
use super::reflected::{DirectMethod, ReflectedOutcome, ReflectorMethod};
use super::soaked_map::{EmissivityMap, NoMap, SoakedMap, SoakedOutcome};
use crate::frame::{ApparentKelvin, Frame};
use crate::surface::region::Finish;
use crate::units::{Kelvin, KelvinDifference};

/// One procedure, carried out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "procedure", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Record {
    /// Reflected apparent temperature by a reflector.
    ReflectedByReflector {
        /// As entered.
        entered: ReflectorMethod,
        /// What came out.
        outcome: ReflectedOutcome,
    },
    /// Reflected apparent temperature by a direct view.
    ReflectedByDirectView {
        /// As entered.
        entered: DirectMethod,
        /// What came out.
        outcome: ReflectedOutcome,
    },
    /// Emissivity by a contact thermometer.
    EmissivityByContact {
        /// As entered.
        entered: ContactMethod,
        /// What came out.
        outcome: EmissivityOutcome,
    },
    /// Emissivity by a reference surface.
    EmissivityByReference {
        /// As entered.
        entered: ReferenceMethod,
        /// What came out.
        outcome: EmissivityOutcome,
    },
    /// Emissivity of every pixel by soaking the board. The pixels themselves are kept elsewhere.
    EmissivityMap {
        /// As entered.
        entered: SoakedMap,
        /// What became of the pixels.
        outcome: SoakedOutcome,
    },
}

/// What a procedure gives the session.
#[derive(Debug, Clone, PartialEq)]
pub enum Yield {
    /// A reflected apparent temperature.
    ReflectedTemperature {
        /// The value.
        reflected: Kelvin,
        /// Its standard uncertainty, k = 1.
        uncertainty: KelvinDifference,
        /// Its degrees of freedom; `None` for as many as one likes.
        degrees_of_freedom: Option<f64>,
    },
    /// The finish of a region.
    Finish {
        /// Emissivity with its standard uncertainty, k = 1.
        finish: Finish,
        /// Its degrees of freedom; `None` for as many as one likes.
        degrees_of_freedom: Option<f64>,
    },
    /// A map, whose pixels came beside the record from [`SoakedMap::map`].
    EmissivityMap {
        /// Pixels with an emissivity.
        valid: usize,
        /// Pixels of the picture.
        pixels: usize,
    },
}

impl Record {
    /// Carries out the reflector method.
    ///
    /// # Errors
    /// As [`ReflectorMethod::outcome`].
    pub fn reflector(entered: ReflectorMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::ReflectedByReflector { entered, outcome })
    }

    /// Carries out the direct method.
    ///
    /// # Errors
    /// As [`DirectMethod::outcome`].
    pub fn direct_view(entered: DirectMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::ReflectedByDirectView { entered, outcome })
    }

    /// Carries out the contact method.
    ///
    /// # Errors
    /// As [`ContactMethod::outcome`].
    pub fn contact(entered: ContactMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::EmissivityByContact { entered, outcome })
    }

    /// Carries out the reference method.
    ///
    /// # Errors
    /// As [`ReferenceMethod::outcome`].
    pub fn reference(entered: ReferenceMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::EmissivityByReference { entered, outcome })
    }

    /// Carries out the mapping of a soaked board; the map itself comes beside the record.
    ///
    /// # Errors
    /// As [`SoakedMap::map`].
    pub fn emissivity_map(
        entered: SoakedMap,
        frames: &[Vec<Frame<ApparentKelvin>>],
    ) -> Result<(Self, EmissivityMap), NoMap> {
        let map = entered.map(frames)?;
        Ok((Self::EmissivityMap { entered, outcome: map.outcome.clone() }, map))
    }

    /// What it gives the session.
    #[must_use]
    pub fn yields(&self) -> Yield {
        match self {
            Self::ReflectedByReflector { outcome, .. } | Self::ReflectedByDirectView { outcome, .. } => {
                Yield::ReflectedTemperature {
                    reflected: outcome.reflected,
                    uncertainty: outcome.uncertainty,
                    degrees_of_freedom: outcome.degrees_of_freedom,
                }
            }
            Self::EmissivityByContact { outcome, .. } | Self::EmissivityByReference { outcome, .. } => {
                Yield::Finish { finish: outcome.finish(), degrees_of_freedom: outcome.degrees_of_freedom }
            }
            Self::EmissivityMap { outcome, .. } => {
                Yield::EmissivityMap { valid: outcome.valid, pixels: outcome.pixels }
            }
        }
    }

    /// What to mind.
    #[must_use]
    pub fn warnings(&self) -> Vec<Warning> {
        match self {
            Self::ReflectedByReflector { outcome, .. } | Self::ReflectedByDirectView { outcome, .. } => {
                outcome.warnings.clone()
            }
            Self::EmissivityByContact { outcome, .. } | Self::EmissivityByReference { outcome, .. } => {
                outcome.warnings.clone()
            }
            Self::EmissivityMap { outcome, .. } => outcome.warnings.clone(),
        }
    }
}
