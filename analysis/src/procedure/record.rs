//! A procedure as it was carried out: what was entered beside what came out, to keep and to show.

use serde::{Deserialize, Serialize};

use super::cavity::{CavityMethod, CavityOutcome};
use super::emissivity::{ContactMethod, EmissivityOutcome, ReferenceMethod};
use super::outcome::{Contribution, ProcedureError, Warning};
use super::reflected::{DirectMethod, ReflectedOutcome, ReflectorMethod};
use super::soaked_map::{SoakedMap, SoakedOutcome};
use crate::content_hash::ContentHash;
use crate::surface::region::{Finish, Measured};
use crate::units::{Kelvin, KelvinDifference};

/// One procedure, carried out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "procedure", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Record {
    /// Reflected apparent temperature by a reflector.
    ReflectedByReflector {
        /// The part or place it was carried out at, in the person's words; may be empty.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        place: String,
        /// As entered.
        entered: ReflectorMethod,
        /// What came out.
        outcome: ReflectedOutcome,
    },
    /// Reflected apparent temperature by a direct view.
    ReflectedByDirectView {
        /// The part or place it was carried out at, in the person's words; may be empty.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        place: String,
        /// As entered.
        entered: DirectMethod,
        /// What came out.
        outcome: ReflectedOutcome,
    },
    /// Emissivity by a contact thermometer.
    EmissivityByContact {
        /// The part or place it was carried out at, in the person's words; may be empty.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        place: String,
        /// As entered.
        entered: ContactMethod,
        /// What came out.
        outcome: EmissivityOutcome,
    },
    /// Emissivity by a reference surface.
    EmissivityByReference {
        /// The part or place it was carried out at, in the person's words; may be empty.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        place: String,
        /// As entered.
        entered: ReferenceMethod,
        /// What came out.
        outcome: EmissivityOutcome,
    },
    /// Effective emissivity of a hole.
    Cavity {
        /// The part or place it was carried out at, in the person's words; may be empty.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        place: String,
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
        Ok(Self::ReflectedByReflector { place: String::new(), entered, outcome })
    }

    /// Carries out the direct method.
    ///
    /// # Errors
    /// As [`DirectMethod::outcome`].
    pub fn direct_view(entered: DirectMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::ReflectedByDirectView { place: String::new(), entered, outcome })
    }

    /// Carries out the contact method.
    ///
    /// # Errors
    /// As [`ContactMethod::outcome`].
    pub fn contact(entered: ContactMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::EmissivityByContact { place: String::new(), entered, outcome })
    }

    /// Carries out the reference method.
    ///
    /// # Errors
    /// As [`ReferenceMethod::outcome`].
    pub fn reference(entered: ReferenceMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::EmissivityByReference { place: String::new(), entered, outcome })
    }

    /// Tells the emissivity of a hole.
    ///
    /// # Errors
    /// As [`CavityMethod::outcome`].
    pub fn cavity(entered: CavityMethod) -> Result<Self, ProcedureError> {
        let outcome = entered.outcome()?;
        Ok(Self::Cavity { place: String::new(), entered, outcome })
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
                let finish = self.measured(outcome.finish(), Some(outcome.repeats.count));
                Yield::Finish { finish, degrees_of_freedom: outcome.degrees_of_freedom }
            }
            Self::Cavity { outcome, .. } => {
                Yield::Finish { finish: self.measured(outcome.finish(), None), degrees_of_freedom: None }
            }
            Self::EmissivityMap { outcome, picture, uncertainty, .. } => Yield::EmissivityMap {
                picture: picture.clone(),
                uncertainty: uncertainty.clone(),
                valid: outcome.valid,
                pixels: outcome.pixels,
            },
        }
    }

    /// A finish that remembers this record.
    fn measured(&self, finish: Finish, repeats: Option<usize>) -> Finish {
        let measured = Measured {
            procedure: self.title().to_owned(),
            place: self.place().to_owned(),
            repeats,
            emissivity: finish.emissivity,
            uncertainty: finish.uncertainty,
        };
        Finish { measured: Some(measured), ..finish }
    }

    /// The same, carried out at `place`. A soaked board has no single place and stays as it is.
    #[must_use]
    pub fn at(mut self, place: &str) -> Self {
        match &mut self {
            Self::ReflectedByReflector { place: at, .. }
            | Self::ReflectedByDirectView { place: at, .. }
            | Self::EmissivityByContact { place: at, .. }
            | Self::EmissivityByReference { place: at, .. }
            | Self::Cavity { place: at, .. } => place.clone_into(at),
            Self::EmissivityMap { .. } => {}
        }
        self
    }

    /// The part or place it was carried out at, in the person's words; empty where none was named.
    #[must_use]
    pub fn place(&self) -> &str {
        match self {
            Self::ReflectedByReflector { place, .. }
            | Self::ReflectedByDirectView { place, .. }
            | Self::EmissivityByContact { place, .. }
            | Self::EmissivityByReference { place, .. }
            | Self::Cavity { place, .. } => place,
            Self::EmissivityMap { .. } => "",
        }
    }

    /// What was found, and how.
    #[must_use]
    pub const fn title(&self) -> &'static str {
        match self {
            Self::ReflectedByReflector { .. } => ReflectorMethod::NAME,
            Self::ReflectedByDirectView { .. } => DirectMethod::NAME,
            Self::EmissivityByContact { .. } => ContactMethod::NAME,
            Self::EmissivityByReference { .. } => ReferenceMethod::NAME,
            Self::Cavity { .. } => CavityMethod::NAME,
            Self::EmissivityMap { .. } => SoakedMap::NAME,
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
