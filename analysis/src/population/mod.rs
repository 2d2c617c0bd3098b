//! Is a unit different, or only another healthy board?
//!
//! Healthy boards differ among themselves: ambient, supply, parts' powers and places. This module
//! learns from several good boards how much ([`baseline`]), takes out of a unit what the bench changed
//! ([`nuisance`]) and what merely lies elsewhere ([`local_shift`]), and says what is left beyond what
//! another good board would show ([`significance`]), at a rate of false alarms that the person sets
//! ([`false_alarms`]). [`glow`] parts what makes heat from what
//! bathes in it, on the board between the bodies ([`bare_board`]), and [`told_apart`] heat from what the bench changed.
//!
//! Where no good board exists, [`twins`] holds parts of one kind on one board against each other.
//!
//! Works on corrected pictures in one pixel frame; knows nothing of files, sessions or screens.

pub mod bare_board;
pub mod baseline;
mod bodies;
pub mod false_alarms;
mod foothills;
pub mod glow;
pub mod local_shift;
pub mod nuisance;
mod pattern;
pub mod plate;
mod regions;
mod scales;
mod shrinkage;
pub mod significance;
pub mod student;
mod summed_area;
pub mod told_apart;
pub mod trusted;
pub mod twins;
mod watts_fit;

pub use bare_board::{BareBoard, BoardPlate, CannotTellPower, film_from_heat_balance};
pub use baseline::{
    BoardCheck, EffectOfAdding, GoodBoard, PartSpread, PopulationBaseline, PopulationError, PopulationSummary,
};
pub use false_alarms::{Extremes, FalseAlarms, benjamini_hochberg};
pub use glow::{Heat, HeatSource, heat_sources};
pub use local_shift::{AlignmentRemainder, PartShift};
pub use nuisance::{Estimate, NuisanceError, NuisanceFit, fit_nuisance};
pub use plate::{NoPlate, PlateProperties, UniformPlate};
pub use significance::{Anomaly, CannotJudge, FurtherUncertainty, PartStanding, UnitJudgement};
pub use student::{PredictionInterval, critical_t, two_sided_probability};
pub use told_apart::KnownBoard;
pub use trusted::{BLUR_REACH, without_metal};
pub use twins::{OneBoard, Trust, TwinCheck, TwinGroup, TwinStanding, UsualSpread, compare_twins};
