//! The answer to what a capture's numbers mean, as it is being written. Pure, so it is tested here.

use analysis::capture::Quantity;
use analysis::radiometry::{BandTable, Calibration, Correction};
use analysis::units::TemperatureUnit;

use crate::wording;

/// What the numbers may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Apparent temperature, or a temperature that the camera has corrected.
    Temperature,
    /// In-band radiance.
    Radiance,
    /// Detector counts, linear in radiance.
    Counts,
}

/// What is written so far.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantityAnswer {
    /// What the numbers are; `None` until somebody says so.
    pub kind: Option<Kind>,
    /// The unit of temperatures.
    pub unit: TemperatureUnit,
    /// What one step of the number is; `None` until somebody says so.
    pub scale: Option<f64>,
    /// What a number of zero is.
    pub offset: f64,
    /// The calibration of counts that was fitted or stated; takes the place of scale and offset.
    pub calibration: Option<Calibration>,
    /// What the camera has corrected with already.
    pub camera_correction: Option<Correction>,
}

impl QuantityAnswer {
    /// Nothing said yet.
    pub const EMPTY: Self = Self {
        kind: None,
        unit: TemperatureUnit::Celsius,
        scale: None,
        offset: 0.0,
        calibration: None,
        camera_correction: None,
    };

    /// What was said before, as far as this form can say it.
    #[must_use]
    pub fn of(quantity: Option<&Quantity>) -> Self {
        let linear =
            |kind, scale, offset| Self { kind: Some(kind), scale: Some(scale), offset, ..Self::EMPTY };
        match quantity {
            Some(&Quantity::Temperature { unit, scale, offset, camera_correction }) => {
                Self { unit, camera_correction, ..linear(Kind::Temperature, scale, offset) }
            }
            Some(&Quantity::Radiance { scale, offset }) => linear(Kind::Radiance, scale, offset),
            Some(&Quantity::Counts { calibration: Calibration::Linear { gain, offset } }) => {
                linear(Kind::Counts, gain, offset)
            }
            Some(Quantity::Counts { calibration }) => {
                Self { kind: Some(Kind::Counts), calibration: Some(calibration.clone()), ..Self::EMPTY }
            }
            None => Self::EMPTY,
        }
    }

    /// The unit that scale and offset yield.
    #[must_use]
    pub const fn result_unit(&self) -> &'static str {
        match self.kind {
            Some(Kind::Radiance | Kind::Counts) => "W·m⁻²·sr⁻¹",
            Some(Kind::Temperature) | None => self.unit.symbol(),
        }
    }

    /// What the numbers of the picture, from lowest to highest, come to with this answer.
    #[must_use]
    pub fn applied_to(&self, (lowest, highest): (f32, f32)) -> Option<(f64, f64)> {
        let value = |raw: f32| self.scale.map(|scale| scale * f64::from(raw) + self.offset);
        let (one, other) = (value(lowest)?, value(highest)?);
        Some((one.min(other), one.max(other)))
    }

    /// The quantity, once the answer is whole and gives the picture's numbers a possible meaning.
    ///
    /// # Errors
    /// What is still to be said, or why the answer cannot be right, as a sentence for the person.
    pub fn quantity(&self, raw_range: Option<(f32, f32)>) -> Result<Quantity, String> {
        let kind = self.kind.ok_or("Say first what the numbers are.")?;
        if let (Kind::Counts, Some(calibration)) = (kind, &self.calibration) {
            return Ok(Quantity::Counts { calibration: calibration.clone() });
        }
        let scale = self.scale.ok_or("Say what one step of the number is.")?;
        if let Some(range) = raw_range.and_then(|range| self.applied_to(range)) {
            self.require_possible(kind, range)?;
        }
        let offset = self.offset;
        Ok(match kind {
            Kind::Temperature => Quantity::Temperature {
                unit: self.unit,
                scale,
                offset,
                camera_correction: self.camera_correction,
            },
            Kind::Radiance => Quantity::Radiance { scale, offset },
            Kind::Counts => Quantity::Counts { calibration: Calibration::Linear { gain: scale, offset } },
        })
    }

    /// A picture may hold a few impossible pixels, not impossible pixels alone.
    fn require_possible(&self, kind: Kind, (lowest, highest): (f64, f64)) -> Result<(), String> {
        match kind {
            Kind::Temperature => {
                let limits =
                    [BandTable::LOWEST, BandTable::HIGHEST].map(|kelvin| self.unit.show(f64::from(kelvin)));
                if highest >= limits[0] && lowest <= limits[1] {
                    return Ok(());
                }
                let [least, most] = limits.map(|limit| wording::number(limit, 0));
                Err(format!(
                    "No pixel would lie between {least} and {most} {}, where boards are: another step or unit is meant.",
                    self.unit.symbol()
                ))
            }
            Kind::Radiance | Kind::Counts if highest > 0.0 => Ok(()),
            Kind::Radiance | Kind::Counts => {
                Err("No pixel would send any radiance: another step is meant.".to_owned())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A board from 17 °C to 62 °C in hundredths of a kelvin.
    const HUNDREDTHS: Option<(f32, f32)> = Some((29_015.0, 33_515.0));

    fn temperature(scale: f64, unit: TemperatureUnit) -> QuantityAnswer {
        QuantityAnswer { kind: Some(Kind::Temperature), scale: Some(scale), unit, ..QuantityAnswer::EMPTY }
    }

    #[test]
    fn nothing_is_taken_for_granted() {
        assert!(QuantityAnswer::EMPTY.quantity(HUNDREDTHS).is_err());
        let half = QuantityAnswer { kind: Some(Kind::Temperature), ..QuantityAnswer::EMPTY };
        assert!(half.quantity(HUNDREDTHS).is_err());
    }

    #[test]
    fn an_answer_that_makes_a_board_hotter_than_molten_copper_is_refused() {
        assert!(temperature(1.0, TemperatureUnit::Celsius).quantity(HUNDREDTHS).is_err());
        assert!(temperature(0.1, TemperatureUnit::Kelvin).quantity(HUNDREDTHS).is_err());
        assert!(temperature(0.01, TemperatureUnit::Kelvin).quantity(HUNDREDTHS).is_ok());
        // One stuck pixel at the top of 16 bits does not make the answer wrong.
        assert!(temperature(0.01, TemperatureUnit::Kelvin).quantity(Some((0.0, 65_535.0))).is_ok());
    }

    #[test]
    fn an_answer_can_be_read_back_into_the_form() {
        let answer = temperature(0.01, TemperatureUnit::Kelvin);
        assert_eq!(QuantityAnswer::of(answer.quantity(HUNDREDTHS).ok().as_ref()), answer);
    }
}
