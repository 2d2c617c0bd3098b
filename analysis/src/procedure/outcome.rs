//! What every procedure's outcome is made of: contributions to the uncertainty, warnings and errors.

use serde::{Deserialize, Serialize};

use crate::radiometry::EmissivityUnknown;
use crate::units::{Kelvin, KelvinDifference};

/// Fewer repeats than this are warned of. The practices for infrared imagers ask for at least three (ASTM
/// E1933 and E1862: the number from memory).
pub const REPEATS_WANTED: usize = 3;
/// Nearer to the reflected temperature than this a measured emissivity is warned of, K (our own rule; ASTM
/// E1933 is remembered to ask for 10 °C): 0.5 K of error on the reading then costs about 0.05.
pub const ELEVATION_NEEDED: f64 = 10.0;
/// What is advised instead, K (our own rule; ISO 18434-1 is remembered to ask for 20 °C).
pub const ELEVATION_ADVISED: f64 = 20.0;

/// Where a part of an uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// Differences from repeat to repeat.
    Repeats,
    /// The camera's own error, common to all readings.
    Camera,
    /// The contact thermometer.
    ContactThermometer,
    /// The reflected apparent temperature.
    Reflected,
    /// The emissivity of the reference surface or of the foil.
    ReferenceEmissivity,
    /// The temperature of the foil.
    FoilTemperature,
    /// The shape of a cavity.
    Geometry,
    /// A formula that is only near the truth.
    Formula,
}

impl Source {
    /// What a person reads.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Repeats => "differences between repeats",
            Self::Camera => "the camera's own error",
            Self::ContactThermometer => "the contact thermometer",
            Self::Reflected => "the reflected temperature",
            Self::ReferenceEmissivity => "the reference's emissivity",
            Self::FoilTemperature => "the foil's temperature",
            Self::Geometry => "the shape of the cavity",
            Self::Formula => "the formula for the cavity",
        }
    }
}

/// One part of a standard uncertainty, in the unit of the outcome's value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// Its size, k = 1.
    pub uncertainty: f64,
}

/// The parts together.
pub(super) fn combined(contributions: &[Contribution]) -> f64 {
    crate::propagation::combined(contributions.iter().map(|part| part.uncertainty))
}

/// What makes an outcome less sure than its numbers say.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
#[serde(tag = "warning", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Warning {
    /// Too few repeats to judge by.
    #[error("{found} of at least {wanted} repeats: the spread is hardly known; measure again")]
    FewRepeats {
        /// Repeats entered.
        found: usize,
        /// The least that is asked for.
        wanted: usize,
    },
    /// Readings that do not agree.
    #[error("the repeats differ by a standard deviation of {spread:.3}, more than {allowed}: find out why")]
    RepeatsDisagree {
        /// Their standard deviation, in the unit of the value.
        spread: f64,
        /// The most that passes without a warning (our own rule).
        allowed: f64,
    },
    /// The surface is hardly warmer or colder than what it mirrors.
    #[error(
        "the surface lay only {elevation:.1} K from the reflected temperature: at least {needed} K are \
         needed, {advised} K or more are advised"
    )]
    LowElevation {
        /// Surface less reflected temperature, the smallest of the repeats, K.
        elevation: f64,
        /// The least that passes without a warning, K.
        needed: f64,
        /// What is advised, K.
        advised: f64,
    },
    /// Soaks that lie close together.
    #[error(
        "the soaks lay only {separation:.1} K apart: at least {needed} K are needed, {advised} K or more are \
         advised"
    )]
    CloseSoaks {
        /// Warmest less coldest, K.
        separation: f64,
        /// The least that passes without a warning, K.
        needed: f64,
        /// What is advised, K.
        advised: f64,
    },
    /// A surface, or the walls of a hole, that mirror more than they send.
    #[error(
        "an emissivity of {emissivity:.2} is below {advised}: the reading is mostly reflection; cover the place \
         with tape or a coating if the board allows it"
    )]
    MostlyReflecting {
        /// The emissivity found or entered.
        emissivity: f64,
        /// Where the warning starts (our own rule; ASTM E1933 is remembered to say the like).
        advised: f64,
    },
    /// A reference surface or coating that is itself a poor emitter.
    #[error("the reference's emissivity of {emissivity:.2} is low: take a surface of {advised} or more")]
    PoorReference {
        /// The reference's emissivity.
        emissivity: f64,
        /// The least that passes without a warning (our own rule).
        advised: f64,
    },
    /// A hole that is hardly one.
    #[error(
        "a hole only {ratio:.2} diameters deep emits little more than its walls: {advised} or more are advised"
    )]
    ShallowCavity {
        /// Depth over diameter.
        ratio: f64,
        /// The least that passes without a warning (our own rule).
        advised: f64,
    },
    /// A hole whose bottom is hidden.
    #[error("seen {angle:.0}° off its axis the hole hides its bottom: look from within {allowed:.0}°")]
    CavityFromAside {
        /// As entered, degrees.
        angle: f64,
        /// The most that passes without a warning, degrees.
        allowed: f64,
    },
    /// A hole of few pixels.
    #[error("{pixels:.1} pixels across the hole mix it with its surroundings: {needed} or more are needed")]
    SmallInPicture {
        /// Pixels across.
        pixels: f64,
        /// The least that passes without a warning.
        needed: f64,
    },
    /// The reflector mirrors too little.
    #[error(
        "a reflector of emissivity {emissivity:.2} sends much radiance of its own: take bright metal foil"
    )]
    DullReflector {
        /// The reflector's emissivity.
        emissivity: f64,
    },
}

/// Why a procedure has no outcome.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProcedureError {
    /// Nothing was entered.
    #[error("no reading was entered: enter at least one, better {REPEATS_WANTED}")]
    NoReadings,
    /// An uncertainty that is none.
    #[error("a standard uncertainty of {value} for {of} is not usable: enter zero or a positive number")]
    UnusableUncertainty {
        /// What it was entered for.
        of: &'static str,
        /// The number entered.
        value: f64,
    },
    /// A single reading with no stated uncertainty.
    #[error(
        "one reading without a stated uncertainty says nothing of how sure it is: repeat it, or state the \
         uncertainty of a reading"
    )]
    UncertaintyUnknown,
    /// One repeat against a contact thermometer admits no emissivity.
    #[error("repeat {number}: {source}; check the thermometer's reading and the reflected temperature")]
    Repeat {
        /// Which, counted from 1.
        number: usize,
        /// What is wrong with it.
        source: EmissivityUnknown,
    },
    /// One repeat against a reference surface admits no emissivity.
    #[error(
        "repeat {number}: {source}; check that both readings were taken at one temperature, with the camera's \
         emissivity at 1, the reference's emissivity, and the reflected temperature"
    )]
    ReferenceRepeat {
        /// Which, counted from 1.
        number: usize,
        /// What is wrong with it.
        source: EmissivityUnknown,
    },
    /// The reference surface's reading admits no temperature.
    #[error(
        "repeat {number}: no temperature of the reference surface explains its reading; check its emissivity \
         and the reflected temperature"
    )]
    ReferenceReading {
        /// Which, counted from 1.
        number: usize,
    },
    /// The foil's own radiance exceeds what was read from it.
    #[error(
        "the foil alone would send more than was read from it: its emissivity or temperature cannot be right"
    )]
    FoilTooWarm,
    /// A cavity that the formula does not cover.
    #[error("a cavity {depth} mm deep and {diameter} mm wide is none: both must be above zero")]
    NoCavity {
        /// Depth entered, mm.
        depth: f64,
        /// Diameter entered, mm.
        diameter: f64,
    },
}

/// Checks an uncertainty in kelvin.
pub(super) fn uncertainty_of(of: &'static str, entered: KelvinDifference) -> Result<f64, ProcedureError> {
    plain_uncertainty_of(of, entered.value())
}

/// Checks an uncertainty without a unit.
pub(super) fn plain_uncertainty_of(of: &'static str, value: f64) -> Result<f64, ProcedureError> {
    if value >= 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(ProcedureError::UnusableUncertainty { of, value })
    }
}

/// The warnings that repeats give rise to, where a spread above `allowed` is one.
pub(super) fn warn_of_repeats(count: usize, spread: Option<f64>, allowed: f64) -> Vec<Warning> {
    let mut warnings = Vec::new();
    if count < REPEATS_WANTED {
        warnings.push(Warning::FewRepeats { found: count, wanted: REPEATS_WANTED });
    }
    if let Some(spread) = spread.filter(|spread| *spread > allowed) {
        warnings.push(Warning::RepeatsDisagree { spread, allowed });
    }
    warnings
}

/// The warning that a surface too close to what it mirrors gives rise to.
pub(super) fn warn_of_elevation(surfaces: impl Iterator<Item = f64>, reflected: Kelvin) -> Option<Warning> {
    let elevation = surfaces.map(|surface| (surface - reflected.value()).abs()).fold(f64::INFINITY, f64::min);
    (elevation < ELEVATION_NEEDED).then_some(Warning::LowElevation {
        elevation,
        needed: ELEVATION_NEEDED,
        advised: ELEVATION_ADVISED,
    })
}
