//! A procedure as it was carried out: what was entered beside what came out, to keep and to show.

use serde::{Deserialize, Serialize};

use super::emissivity::{ContactMethod, EmissivityOutcome, ReferenceMethod};
use super::outcome::{ProcedureError, Warning};
use super::reflected::{DirectMethod, ReflectedOutcome, ReflectorMethod};
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
    },
    /// The finish of a region.
    Finish(Finish),
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

    /// What it gives the session.
    #[must_use]
    pub fn yields(&self) -> Yield {
        match self {
            Self::ReflectedByReflector { outcome, .. } | Self::ReflectedByDirectView { outcome, .. } => {
                Yield::ReflectedTemperature { reflected: outcome.reflected, uncertainty: outcome.uncertainty }
            }
            Self::EmissivityByContact { outcome, .. } | Self::EmissivityByReference { outcome, .. } => {
                Yield::Finish(outcome.finish())
            }
        }
    }

    /// What to mind.
    #[must_use]
    pub fn warnings(&self) -> &[Warning] {
        match self {
            Self::ReflectedByReflector { outcome, .. } | Self::ReflectedByDirectView { outcome, .. } => {
                &outcome.warnings
            }
            Self::EmissivityByContact { outcome, .. } | Self::EmissivityByReference { outcome, .. } => {
                &outcome.warnings
            }
        }
    }
}
