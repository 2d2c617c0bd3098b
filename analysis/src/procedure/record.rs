//! A procedure as it was carried out: what was entered beside what came out, to keep and to show.

use serde::{Deserialize, Serialize};

use super::cavity::{CavityMethod, CavityOutcome};
use super::emissivity::{ContactMethod, EmissivityOutcome, ReferenceMethod};
use super::outcome::{Contribution, ProcedureError, Warning};
use super::reflected::{DirectMethod, ReflectedOutcome, ReflectorMethod};
use super::soaked_map::{SoakedMap, SoakedOutcome};
use crate::content_hash::ContentHash;
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
    /// Effective emissivity of a hole.
    Cavity {
        /// As entered.
        entered: CavityMethod,
        /// What came out.
        outcome: CavityOutcome,
    },
    /// Emissivity of every pixel by soaking the board. The pixels themselves are kept elsewhere.
    EmissivityMap {
        /// As entered.
        entered: SoakedMap,
        /// What became of the pixels.
        outcome: SoakedOutcome,
        /// The file of the emissivities.
        picture: ContentHash,
        /// The file of their standard uncertainties.
        uncertainty: ContentHash,
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
    /// A map, whose pixels are in files of their own.
    EmissivityMap {
        /// The file of the emissivities.
        picture: ContentHash,
        /// The file of their standard uncertainties.
        uncertainty: ContentHash,
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

    /// Tells the emissivity of a hole.
    ///
    /// # Errors
    /// As [`CavityMethod::outcome`].
    pub fn cavity(entered: CavityMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::Cavity { entered, outcome })
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
            Self::Cavity { outcome, .. } => {
                Yield::Finish { finish: outcome.finish(), degrees_of_freedom: None }
            }
            Self::EmissivityMap { outcome, picture, uncertainty, .. } => Yield::EmissivityMap {
                picture: picture.clone(),
                uncertainty: uncertainty.clone(),
                valid: outcome.valid,
                pixels: outcome.pixels,
            },
        }
    }

    /// What was found, and how.
    #[must_use]
    pub const fn title(&self) -> &'static str {
        match self {
            Self::ReflectedByReflector { .. } => "Reflected temperature, from foil",
            Self::ReflectedByDirectView { .. } => "Reflected temperature, by direct view",
            Self::EmissivityByContact { .. } => "Emissivity, against a contact thermometer",
            Self::EmissivityByReference { .. } => "Emissivity, against a reference surface",
            Self::Cavity { .. } => "Emissivity of a hole, by its shape",
            Self::EmissivityMap { .. } => "Emissivity of the whole board, unpowered",
        }
    }

    /// What its uncertainty is made of.
    #[must_use]
    pub fn contributions(&self) -> &[Contribution] {
        match self {
            Self::ReflectedByReflector { outcome, .. } | Self::ReflectedByDirectView { outcome, .. } => {
                &outcome.contributions
            }
            Self::EmissivityByContact { outcome, .. } | Self::EmissivityByReference { outcome, .. } => {
                &outcome.contributions
            }
            Self::Cavity { outcome, .. } => &outcome.contributions,
            Self::EmissivityMap { .. } => &[],
        }
    }

    /// The files that hold what it found.
    #[must_use]
    pub fn files(&self) -> Vec<&ContentHash> {
        match self {
            Self::EmissivityMap { picture, uncertainty, .. } => vec![picture, uncertainty],
            _ => Vec::new(),
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
            Self::Cavity { outcome, .. } => outcome.warnings.clone(),
            Self::EmissivityMap { outcome, .. } => outcome.warnings.clone(),
        }
    }
}
