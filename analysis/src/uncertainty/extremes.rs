//! The least and the greatest value that a measurement takes among errors of a given size.
//!
//! Every source of error is one coordinate in units of its own standard uncertainty; one that both captures
//! share moves both by the same coordinate. Among all errors that together are no further than k from zero,
//! the extremes of the exact measurement equation bound the interval: a surface of equal value that leaves the
//! ball of radius k untouched is further from the estimate than k standard uncertainties reach.
//!
//! In radiance the equation is linear in emissivity and reading, so for a temperature these surfaces are
//! planes and the interval is that of Fieller's theorem, which holds the truth with the stated confidence
//! however uncertain the emissivity (E. C. Fieller, *Some problems in interval estimation*, Journal of the
//! Royal Statistical Society B 16 (1954), from memory). For a difference they are planes but for the bend
//! of Planck's law. Where the emissivity is well known the ends are value ± expanded.

use super::budget::{DifferencePlace, Input, TemperaturePlace};
use super::inputs::InputUncertainty;
use crate::propagation::Interval;
use crate::radiometry::{
    Band, Correction, NoPhysicalAnswer, Sensitivity, Surroundings, sensitivity, surface_temperature,
};
use crate::units::{Emissivity, Kelvin, Transmittance};

/// One source of error: what one standard uncertainty of it is on the unit and on the baseline, in the unit
/// of its input.
#[derive(Debug, Clone, Copy)]
struct Source {
    input: Input,
    on: [f64; 2],
}

/// One capture of the place, as the camera read it.
#[derive(Debug, Clone, Copy)]
struct Reading {
    apparent: f64,
    emissivity: f64,
    surroundings: Surroundings,
    band: Band,
    gain: f64,
}

/// A place as a function of its errors.
#[derive(Debug)]
pub(super) struct Measurement {
    sources: Vec<Source>,
    /// The unit, and what its temperature is compared with.
    readings: [Option<Reading>; 2],
}

impl Measurement {
    pub(super) fn of_temperature(
        place: &TemperaturePlace,
        inputs: &InputUncertainty,
    ) -> Result<Self, NoPhysicalAnswer> {
        let reading = Reading::new(place, 1.0)?;
        let one = |input, width: f64| Source { input, on: [width, 0.0] };
        Ok(Self::new(
            vec![
                one(Input::Noise, place.noise()),
                one(Input::Calibration, inputs.calibration.at(reading.apparent)),
                one(Input::Drift, inputs.drift.value()),
                one(Input::Emissivity, place.emissivity_uncertainty),
                one(Input::Reflected, inputs.reflected.value()),
                one(Input::Transmittance, inputs.transmittance),
                one(Input::Path, inputs.path.value()),
            ],
            [Some(reading), None],
        ))
    }

    /// With the same sources as [`DifferencePlace::budget`].
    pub(super) fn of_difference(
        place: &DifferencePlace,
        inputs: &InputUncertainty,
    ) -> Result<Self, NoPhysicalAnswer> {
        let (unit, baseline) = (&place.unit, &place.baseline);
        let readings = [Reading::new(unit, place.unit_gain)?, Reading::new(baseline, 1.0)?];
        let mut sources = Vec::new();
        let mut add = |input, shared: bool, [unit, baseline]: [f64; 2]| {
            if shared {
                sources.push(Source { input, on: [unit, baseline] });
            } else {
                sources.push(Source { input, on: [unit, 0.0] });
                sources.push(Source { input, on: [0.0, baseline] });
            }
        };
        let n = (place.baselines.max(1) as f64).sqrt();
        let mut own = |input, unit: f64, baseline: f64| add(input, false, [unit, baseline / n]);
        own(Input::Noise, unit.noise(), baseline.noise());
        own(Input::Drift, inputs.drift.value(), inputs.drift.value());
        own(Input::Alignment, place.slope * place.residual_px, 0.0);
        let ambient = if place.above_ambient { inputs.ambient.value() } else { 0.0 };
        own(Input::Ambient, ambient, ambient);
        let shared = inputs.shared;
        let calibration = readings.map(|reading| inputs.calibration.at(reading.apparent));
        add(Input::Calibration, shared.calibration && unit.band == baseline.band, calibration);
        let emissivity = [unit, baseline].map(|place| place.emissivity_uncertainty);
        add(Input::Emissivity, shared.emissivity, emissivity);
        for (input, width) in [
            (Input::Reflected, inputs.reflected.value()),
            (Input::Transmittance, inputs.transmittance),
            (Input::Path, inputs.path.value()),
        ] {
            add(input, shared.surroundings, [width; 2]);
        }
        Ok(Self::new(sources, readings.map(Some)))
    }

    /// A source without width is no source.
    fn new(mut sources: Vec<Source>, readings: [Option<Reading>; 2]) -> Self {
        sources.retain(|source| source.on.iter().any(|width| *width > 0.0));
        Self { sources, readings }
    }

    /// How far the value reaches below and above itself, K, among errors no further than `reach` from zero;
    /// infinite where nothing bounds it. The emissivity then may be none, or nothing be left for the
    /// surface to have sent.
    pub(super) fn margins(&self, reach: f64) -> Interval {
        let none = vec![0.0; self.sources.len()];
        let Some(middle) = self.value(&none) else {
            return Interval { low: f64::NEG_INFINITY, high: f64::INFINITY };
        };
        let end = |sign: f64| self.extreme(reach, sign, middle).map(|value| value - middle);
        Interval { low: end(-1.0).unwrap_or(f64::NEG_INFINITY), high: end(1.0).unwrap_or(f64::INFINITY) }
    }

    /// The value furthest in the direction of `sign`; `None` where there is none.
    fn extreme(&self, reach: f64, sign: f64, middle: f64) -> Option<f64> {
        const CLOSE_ENOUGH: f64 = 1e-4;
        const MOST_STEPS: usize = 100;
        let mut errors = vec![0.0; self.sources.len()];
        let mut last = middle;
        for step in 0..MOST_STEPS {
            let Some(steepest) = scaled(&self.gradient(&errors)?, sign * reach) else { return Some(last) };
            errors = if step == 0 {
                steepest
            } else {
                // Half-way only, or a strong bend would throw it to and fro.
                let between: Vec<f64> = errors.iter().zip(&steepest).map(|(old, new)| old + new).collect();
                scaled(&between, reach)?
            };
            let value = self.value(&errors)?;
            if step > 0 && (value - last).abs() < CLOSE_ENOUGH {
                return Some(value);
            }
            last = value;
        }
        Some(last)
    }

    /// The value if the sources were off by `errors`, K; `None` where no surface could have sent what arrived.
    fn value(&self, errors: &[f64]) -> Option<f64> {
        let [unit, baseline] = [0, 1]
            .map(|side| self.readings[side].map(|reading| reading.temperature(&self.shifts(errors, side))));
        Some(unit?? - baseline.unwrap_or(Some(0.0))?)
    }

    /// The derivative of the value by each error, K.
    fn gradient(&self, errors: &[f64]) -> Option<Vec<f64>> {
        let mut gradient = vec![0.0; self.sources.len()];
        for (side, sign) in [(0, 1.0), (1, -1.0)] {
            let Some(reading) = self.readings[side] else { continue };
            let slopes = reading.slopes(&self.shifts(errors, side))?;
            for (slope, source) in gradient.iter_mut().zip(&self.sources) {
                *slope += sign * reading.gain * slope_of(&slopes, source.input) * source.on[side];
            }
        }
        Some(gradient)
    }

    fn shifts(&self, errors: &[f64], side: usize) -> Shifts {
        let mut shifts = Shifts::default();
        for (source, error) in self.sources.iter().zip(errors) {
            let by = source.on[side] * error;
            match source.input {
                Input::Emissivity => shifts.emissivity += by,
                Input::Reflected => shifts.reflected += by,
                Input::Calibration | Input::Drift | Input::Noise | Input::Alignment => shifts.apparent += by,
                Input::Transmittance => shifts.transmittance += by,
                Input::Path => shifts.path += by,
                Input::Ambient => shifts.ambient += by,
            }
        }
        shifts
    }
}

/// By how much each setting of one capture is off, in its own unit.
#[derive(Debug, Clone, Copy, Default)]
struct Shifts {
    apparent: f64,
    emissivity: f64,
    reflected: f64,
    transmittance: f64,
    path: f64,
    ambient: f64,
}

const fn slope_of(by: &Sensitivity, input: Input) -> f64 {
    match input {
        Input::Emissivity => by.emissivity,
        Input::Reflected => by.reflected,
        Input::Calibration | Input::Drift | Input::Noise | Input::Alignment => by.apparent,
        Input::Transmittance => by.transmittance,
        Input::Path => by.path,
        // What is taken off the temperature.
        Input::Ambient => -1.0,
    }
}

impl Reading {
    fn new(place: &TemperaturePlace, gain: f64) -> Result<Self, NoPhysicalAnswer> {
        let (apparent, _) = place.sensitivity()?;
        Ok(Self {
            apparent: apparent.value(),
            emissivity: place.emissivity.value(),
            surroundings: place.surroundings,
            band: place.band,
            gain,
        })
    }

    /// The settings with their errors. A fraction that would pass 1 stays at 1; one that would fall to 0
    /// explains no reading.
    fn shifted(&self, shifts: &Shifts) -> Option<(Kelvin, Correction)> {
        let Surroundings { reflected, transmittance, path } = self.surroundings;
        let surroundings = Surroundings {
            reflected: Kelvin::new(reflected.value() + shifts.reflected).ok()?,
            transmittance: Transmittance::new((transmittance.value() + shifts.transmittance).min(1.0))
                .ok()?,
            path: Kelvin::new(path.value() + shifts.path).ok()?,
        };
        let emissivity = Emissivity::new((self.emissivity + shifts.emissivity).min(1.0)).ok()?;
        Some((Kelvin::new(self.apparent + shifts.apparent).ok()?, Correction { emissivity, surroundings }))
    }

    fn temperature(&self, shifts: &Shifts) -> Option<f64> {
        let (apparent, correction) = self.shifted(shifts)?;
        let surface = surface_temperature(apparent, &correction, self.band).ok()?;
        Some(self.gain * (surface.value() - shifts.ambient))
    }

    fn slopes(&self, shifts: &Shifts) -> Option<Sensitivity> {
        let (apparent, correction) = self.shifted(shifts)?;
        sensitivity(apparent, &correction, self.band).ok()
    }
}

/// `vector` at this length; `None` for one without direction.
fn scaled(vector: &[f64], length: f64) -> Option<Vec<f64>> {
    let norm = vector.iter().map(|value| value * value).sum::<f64>().sqrt();
    (norm > 0.0).then(|| vector.iter().map(|value| value * length / norm).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::SharedInputs;
    use crate::units::KelvinDifference;

    fn place(surface: f64, reflected: f64) -> TemperaturePlace {
        TemperaturePlace {
            temperature: Kelvin::new(surface).unwrap(),
            emissivity: Emissivity::new(0.4).unwrap(),
            emissivity_uncertainty: 0.03,
            surroundings: Surroundings {
                reflected: Kelvin::new(reflected).unwrap(),
                transmittance: Transmittance::new(0.9).unwrap(),
                path: Kelvin::new(293.0).unwrap(),
            },
            band: Band::default(),
            netd: KelvinDifference::new(0.05).unwrap(),
            pixels: 4.0,
        }
    }

    fn compared(shared: bool) -> (DifferencePlace, InputUncertainty) {
        let place = DifferencePlace {
            unit: place(345.0, 296.0),
            baseline: place(325.0, 301.0),
            baselines: 2,
            slope: 4.0,
            unit_gain: 1.2,
            residual_px: 0.1,
            above_ambient: true,
        };
        let inputs = InputUncertainty {
            transmittance: 0.01,
            shared: SharedInputs { calibration: shared, emissivity: shared, surroundings: shared },
            ..InputUncertainty::default()
        };
        (place, inputs)
    }

    #[test]
    fn the_gradient_is_that_of_the_value() {
        for shared in [true, false] {
            let (place, inputs) = compared(shared);
            let measurement = Measurement::of_difference(&place, &inputs).unwrap();
            // Emissivity, calibration and three surroundings; noise, drift and ambient of both; alignment.
            assert_eq!(measurement.sources.len(), if shared { 12 } else { 17 });
            let errors = vec![0.3; measurement.sources.len()];
            let gradient = measurement.gradient(&errors).unwrap();
            for (index, slope) in gradient.iter().enumerate() {
                let at = |step: f64| {
                    let mut errors = errors.clone();
                    errors[index] += step;
                    measurement.value(&errors).unwrap()
                };
                let central = (at(1e-3) - at(-1e-3)) / 2e-3;
                let input = measurement.sources[index].input;
                assert!((central - slope).abs() < 1e-5, "{input:?}: {slope}, by differences {central}");
            }
        }
    }

    #[test]
    fn small_errors_reach_as_far_as_the_budget_says() {
        for shared in [true, false] {
            let (place, inputs) = compared(shared);
            // A hundredth of a standard uncertainty: nothing bends on the way.
            for (measurement, budget) in [
                (Measurement::of_difference(&place, &inputs).unwrap(), place.budget(&inputs).unwrap()),
                (
                    Measurement::of_temperature(&place.unit, &inputs).unwrap(),
                    place.unit.budget(&inputs).unwrap(),
                ),
            ] {
                let Interval { low, high } = measurement.margins(0.01);
                let expected = 0.01 * budget.combined.value();
                assert!((high - expected).abs() < 0.003 * expected, "{high} K, budget {expected} K");
                assert!((low + expected).abs() < 0.003 * expected, "{low} K, budget {expected} K");
            }
        }
    }
}
