//! The uncertainty of one place, as a budget: what each input contributes, the largest first.

use serde::{Deserialize, Serialize};

use super::inputs::InputUncertainty;
use crate::propagation::{combined, coverage_factor};
use crate::radiometry::{
    Band, Correction, NoPhysicalAnswer, Sensitivity, Surroundings, apparent_temperature, sensitivity,
};
use crate::units::{Emissivity, Kelvin, KelvinDifference};

/// The confidence of the intervals.
pub const CONFIDENCE: f64 = 0.95;

/// An input of the measurement equation, or of the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// The pixel's noise.
    Noise,
    /// The camera's calibration.
    Calibration,
    /// The camera's offset from capture to capture.
    Drift,
    /// The surface's emissivity.
    Emissivity,
    /// The reflected apparent temperature.
    Reflected,
    /// The transmittance of the path.
    Transmittance,
    /// The temperature of the path.
    Path,
    /// Where the unit lies on the baseline.
    Alignment,
    /// The air temperature that a rise is counted from.
    Ambient,
}

impl Input {
    /// What a person reads.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Noise => "noise of the camera",
            Self::Calibration => "calibration of the camera",
            Self::Drift => "drift of the camera between captures",
            Self::Emissivity => "emissivity",
            Self::Reflected => "reflected temperature",
            Self::Transmittance => "transmittance of the path",
            Self::Path => "temperature of the path",
            Self::Alignment => "alignment",
            Self::Ambient => "air temperature",
        }
    }
}

/// What one input contributes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// Which input.
    pub input: Input,
    /// Its contribution to the standard uncertainty of the result, K.
    pub kelvin: f64,
    /// Whether both captures share it, so that the contribution is what is left after cancelling.
    pub cancels: bool,
}

/// What the uncertainty of one place is made of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    /// The contributions that are not zero, the largest first.
    pub contributions: Vec<Contribution>,
    /// Combined standard uncertainty, k = 1.
    pub combined: KelvinDifference,
    /// The factor to the expanded uncertainty of 95 %.
    pub coverage_factor: f64,
}

impl Budget {
    fn new(contributions: Vec<Contribution>) -> Self {
        let mut contributions: Vec<_> =
            contributions.into_iter().filter(|part| part.kelvin.is_finite() && part.kelvin > 0.0).collect();
        contributions.sort_by(|a, b| b.kelvin.total_cmp(&a.kelvin));
        let combined = combined(contributions.iter().map(|part| part.kelvin));
        Self {
            contributions,
            combined: KelvinDifference::new(combined).unwrap_or(KelvinDifference::ZERO),
            coverage_factor: coverage_factor(CONFIDENCE, None).unwrap_or(2.0),
        }
    }

    /// Half the width of the 95 % interval, K.
    #[must_use]
    pub fn expanded(&self) -> f64 {
        self.coverage_factor * self.combined.value()
    }

    /// The share of a contribution in the square of the combined uncertainty.
    #[must_use]
    pub fn share(&self, contribution: &Contribution) -> f64 {
        let whole = self.combined.value();
        if whole > 0.0 { (contribution.kelvin / whole).powi(2) } else { 0.0 }
    }
}

/// One place of one capture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperaturePlace {
    /// Its surface temperature.
    pub temperature: Kelvin,
    /// Its emissivity.
    pub emissivity: Emissivity,
    /// Standard uncertainty of that.
    pub emissivity_uncertainty: f64,
    /// What surrounds it.
    pub surroundings: Surroundings,
    /// The camera's band.
    pub band: Band,
    /// Noise of one pixel, K.
    pub netd: KelvinDifference,
    /// Pixels that the place is averaged over; only noise gets less by it.
    pub pixels: f64,
}

impl TemperaturePlace {
    /// The apparent temperature, and how the surface temperature moves with each input.
    ///
    /// # Errors
    /// [`NoPhysicalAnswer`] outside what the band can tell.
    pub fn sensitivity(&self) -> Result<(Kelvin, Sensitivity), NoPhysicalAnswer> {
        let correction = Correction { emissivity: self.emissivity, surroundings: self.surroundings };
        let apparent = apparent_temperature(self.temperature, &correction, self.band)?;
        Ok((apparent, sensitivity(apparent, &correction, self.band)?))
    }

    /// Noise of the place as apparent temperature, K.
    pub(super) fn noise(&self) -> f64 {
        self.netd.value() / self.pixels.max(1.0).sqrt()
    }

    /// The budget of the surface temperature.
    ///
    /// # Errors
    /// [`NoPhysicalAnswer`] outside what the band can tell.
    pub fn budget(&self, inputs: &InputUncertainty) -> Result<Budget, NoPhysicalAnswer> {
        let (apparent, by) = self.sensitivity()?;
        let part = |input, kelvin: f64| Contribution { input, kelvin: kelvin.abs(), cancels: false };
        Ok(Budget::new(vec![
            part(Input::Noise, by.apparent * self.noise()),
            part(Input::Calibration, by.apparent * inputs.calibration.at(apparent.value())),
            part(Input::Drift, by.apparent * inputs.drift.value()),
            part(Input::Emissivity, by.emissivity * self.emissivity_uncertainty),
            part(Input::Reflected, by.reflected * inputs.reflected.value()),
            part(Input::Transmittance, by.transmittance * inputs.transmittance),
            part(Input::Path, by.path * inputs.path.value()),
        ]))
    }
}

/// One place of a difference, unit less baseline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DifferencePlace {
    /// The place in the unit.
    pub unit: TemperaturePlace,
    /// The place in the mean of the baselines.
    pub baseline: TemperaturePlace,
    /// How many baselines the mean is over.
    pub baselines: usize,
    /// How steep the baseline's apparent temperature is there, K per pixel.
    pub slope: f64,
    /// The alignment's residual, pixels.
    pub residual_px: f64,
    /// Whether rises above the air are subtracted rather than temperatures.
    pub above_ambient: bool,
    /// What the unit's temperature is multiplied with: 1 but at equal power.
    pub unit_gain: f64,
}

impl DifferencePlace {
    /// The budget of the difference. A shared input with derivatives c on the two sides contributes
    /// |g c_unit − c_baseline| · u, g the unit's gain; one that is not shared is common to all baselines and
    /// contributes √(g² c_unit² + c_baseline²) · u. Noise, drift and air temperature are of each capture its own
    /// and fall with the number n of baselines: √(g² c_unit² + c_baseline²/n) · u.
    ///
    /// # Errors
    /// [`NoPhysicalAnswer`] outside what the band can tell.
    pub fn budget(&self, inputs: &InputUncertainty) -> Result<Budget, NoPhysicalAnswer> {
        let (unit_apparent, unit) = self.unit.sensitivity()?;
        let (baseline_apparent, baseline) = self.baseline.sensitivity()?;
        let n = self.baselines.max(1) as f64;
        let shared = inputs.shared;
        let gain = self.unit_gain;
        let common = |input, shared: bool, unit: f64, baseline: f64| Contribution {
            input,
            kelvin: if shared { (gain * unit - baseline).abs() } else { (gain * unit).hypot(baseline) },
            cancels: shared,
        };
        let own = |input, unit: f64, baseline: f64| Contribution {
            input,
            kelvin: (gain * unit).hypot(baseline / n.sqrt()),
            cancels: false,
        };
        let one_camera = shared.calibration && self.unit.band == self.baseline.band;
        let calibration =
            [unit_apparent, baseline_apparent].map(|kelvin| inputs.calibration.at(kelvin.value()));
        let emissivity = [&self.unit, &self.baseline].map(|place| place.emissivity_uncertainty);
        let (reflected, path) = (inputs.reflected.value(), inputs.path.value());
        let (drift, transmittance) = (inputs.drift.value(), inputs.transmittance);
        let ambient = if self.above_ambient { inputs.ambient.value() } else { 0.0 };
        Ok(Budget::new(vec![
            own(Input::Noise, unit.apparent * self.unit.noise(), baseline.apparent * self.baseline.noise()),
            common(
                Input::Calibration,
                one_camera,
                unit.apparent * calibration[0],
                baseline.apparent * calibration[1],
            ),
            own(Input::Drift, unit.apparent * drift, baseline.apparent * drift),
            common(
                Input::Emissivity,
                shared.emissivity,
                unit.emissivity * emissivity[0],
                baseline.emissivity * emissivity[1],
            ),
            common(
                Input::Reflected,
                shared.surroundings,
                unit.reflected * reflected,
                baseline.reflected * reflected,
            ),
            common(
                Input::Transmittance,
                shared.surroundings,
                unit.transmittance * transmittance,
                baseline.transmittance * transmittance,
            ),
            common(Input::Path, shared.surroundings, unit.path * path, baseline.path * path),
            own(Input::Alignment, unit.apparent * self.slope * self.residual_px, 0.0),
            own(Input::Ambient, ambient, ambient),
        ]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(celsius: f64, emissivity: f64) -> TemperaturePlace {
        TemperaturePlace {
            temperature: Kelvin::from_celsius(celsius).unwrap(),
            emissivity: Emissivity::new(emissivity).unwrap(),
            emissivity_uncertainty: 0.02,
            surroundings: Surroundings::default(),
            band: Band::default(),
            netd: KelvinDifference::known(0.05),
            pixels: 1.0,
        }
    }

    #[test]
    fn between_equal_captures_only_what_each_has_of_its_own_is_left() {
        let same = DifferencePlace {
            unit: place(60.0, 0.9),
            baseline: place(60.0, 0.9),
            baselines: 1,
            slope: 2.0,
            residual_px: 0.1,
            above_ambient: false,
            unit_gain: 1.0,
        };
        let budget = same.budget(&InputUncertainty::default()).unwrap();
        let inputs: Vec<Input> = budget.contributions.iter().map(|part| part.input).collect();
        assert_eq!(inputs, [Input::Alignment, Input::Drift, Input::Noise]);
        let apart = InputUncertainty {
            shared: super::super::SharedInputs { calibration: false, emissivity: false, surroundings: false },
            ..InputUncertainty::default()
        };
        assert!(same.budget(&apart).unwrap().combined > budget.combined);
    }

    #[test]
    fn averaging_lessens_the_noise_and_nothing_else() {
        let inputs = InputUncertainty::default();
        let one = place(60.0, 0.9).budget(&inputs).unwrap();
        let many = TemperaturePlace { pixels: 100.0, ..place(60.0, 0.9) }.budget(&inputs).unwrap();
        let of = |budget: &Budget, input| {
            budget.contributions.iter().find(|part| part.input == input).map(|part| part.kelvin).unwrap()
        };
        assert!((of(&one, Input::Noise) / of(&many, Input::Noise) - 10.0).abs() < 1e-9);
        assert_eq!(of(&one, Input::Emissivity), of(&many, Input::Emissivity));
    }
}
