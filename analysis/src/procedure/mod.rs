//! Procedures at the bench that replace guessed values by measured ones: reflected apparent
//! temperature, and the emissivity of one place or of every pixel.
//!
//! Each procedure is a struct of what a person enters, with `outcome` to compute what follows: the
//! value, its standard uncertainty with what it is made of, and warnings that carry their numbers.
//! [`Record`] keeps what was entered beside what came out, and tells what it yields.
//!
//! # Simplifications
//! Uncertainties are propagated to first order (JCGM 100:2008, 5.1.2); inputs are uncorrelated but
//! where a procedure says otherwise. The path's transmittance and temperature count as exact.

pub mod cavity;
pub mod emissivity;
pub mod outcome;
pub mod record;
pub mod reflected;
pub mod repeats;
pub mod soaked_map;

pub use cavity::{CavityMethod, CavityOutcome, cylinder_emissivity};
pub use emissivity::{ContactMethod, ContactRepeat, EmissivityOutcome, ReferenceMethod, ReferenceRepeat};
pub use outcome::{Contribution, ProcedureError, Source, Warning};
pub use record::{Record, Yield};
pub use reflected::{DirectMethod, Foil, ReflectedOutcome, ReflectorMethod};
pub use repeats::Repeats;
pub use soaked_map::{
    EmissivityMap, NoMap, ReflectedKnowledge, ReflectedMap, Soak, SoakedMap, SoakedOutcome,
};
