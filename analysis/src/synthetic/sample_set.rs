//! The invented units of the sample captures: which are good, and what is wrong with the others.

use crate::units::Kelvin;

use super::beacon_board::beacon_board;
use super::population::{Fault, Population, Simulated, SimulationError};

/// Kelvin of the soaked board: 60 °C, well above what it mirrors.
const SOAK: Kelvin = Kelvin::known(333.15);

/// One capture of the set.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// The file's name without its ending.
    pub name: &'static str,
    /// Which unit of the population.
    pub unit: u64,
    /// How it was captured.
    pub condition: Condition,
}

/// The state of a unit when it was captured.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// Powered, as it should be.
    Good,
    /// Powered, with a fault.
    Faulty(Fault),
    /// Without power, at one temperature throughout.
    Soaked,
}

/// The population that the samples are drawn from.
#[must_use]
pub fn sample_population() -> Population {
    Population::new(beacon_board(), 7)
}

/// The samples: five good units, four faulty ones, and unit 1 once more, soaked.
#[must_use]
pub fn samples() -> Vec<Sample> {
    let good = |name, unit| Sample { name, unit, condition: Condition::Good };
    let faulty = |name, unit, fault| Sample { name, unit, condition: Condition::Faulty(fault) };
    vec![
        good("good-1", 1),
        good("good-2", 2),
        good("good-3", 3),
        good("good-4", 4),
        good("good-5", 5),
        faulty("faulty-hot", 6, Fault::Hot { designator: "Q2", extra_watts: 0.3 }),
        faulty("faulty-dead", 7, Fault::Dead { designator: "U7" }),
        faulty("faulty-subtle", 8, Fault::Leaking { designator: "C14", watts: 0.036 }),
        faulty("faulty-buried", 9, Fault::BuriedShort { center: [36.0, 38.5], radius_mm: 5.0, watts: 0.15 }),
        Sample { name: "soaked-unpowered", unit: 1, condition: Condition::Soaked },
    ]
}

impl Sample {
    /// Simulates the capture.
    ///
    /// # Errors
    /// Every [`SimulationError`].
    pub fn simulate(&self, population: &Population) -> Result<Simulated, SimulationError> {
        match &self.condition {
            Condition::Good => population.unit(self.unit, None),
            Condition::Faulty(fault) => population.unit(self.unit, Some(fault)),
            Condition::Soaked => population.soaked(self.unit, SOAK),
        }
    }
}
