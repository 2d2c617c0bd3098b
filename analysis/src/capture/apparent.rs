//! From a capture's raw numbers to apparent temperature, for everything they may stand for.
//!
//! Apparent temperature is the common ground: whatever the camera or its software has already
//! corrected is undone here, so that every capture is corrected once, the same way, later on.

use crate::capture::{CaptureMetadata, Quantity, mask_invalid};
use crate::frame::{ApparentKelvin, EmissivityFraction, Frame, FrameError, RawNumber, SurfaceKelvin};
use crate::radiometry::{
    Band, BandTable, Calibration, Correction, InvalidCalibration, Signal, apparent_picture,
};

/// Below this many kelvin nothing was measured: files mark missing pixels by absolute zero, and −273.15
/// held as `f32` lies some microkelvin above it.
const COLDEST: f32 = 1.0;

/// Why raw numbers cannot be read as temperatures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotMeaningful {
    /// Nobody said what the numbers are.
    #[error(
        "nothing says what this capture's numbers mean; state whether they are temperature, radiance or \
         counts, with their scale or calibration"
    )]
    QuantityUnknown,
    /// The scale makes every pixel the same, or none.
    #[error(
        "a scale of {scale} with an offset of {offset} gives the numbers no meaning; state a finite scale other than zero"
    )]
    UnusableScale {
        /// Units per raw number.
        scale: f64,
        /// Units at raw zero.
        offset: f64,
    },
    /// The calibration is unusable.
    #[error(transparent)]
    InvalidCalibration(#[from] InvalidCalibration),
    /// The picture itself is unusable.
    #[error(transparent)]
    Picture(#[from] FrameError),
}

/// Apparent temperature of every pixel, of the shape of `pixels`.
///
/// `default_band` stands in where the metadata states none. A pixel is invalid where its raw number is
/// invalid, saturated or from a stuck pixel, where the calibration does not reach it, where the result
/// would be below 1 K, and, if the way leads through radiance, outside 200 K to 800 K.
///
/// # Errors
/// [`NotMeaningful`].
pub fn apparent(
    pixels: &Frame<RawNumber>,
    metadata: &CaptureMetadata,
    default_band: Band,
) -> Result<Frame<ApparentKelvin>, NotMeaningful> {
    apparent_with_table(pixels, metadata, &BandTable::new(metadata.band.unwrap_or(default_band)))
}

/// [`apparent`] through a table that was built before, for the capture's own band.
///
/// # Errors
/// [`NotMeaningful`].
pub fn apparent_with_table(
    pixels: &Frame<RawNumber>,
    metadata: &CaptureMetadata,
    table: &BandTable,
) -> Result<Frame<ApparentKelvin>, NotMeaningful> {
    let pixels = mask_invalid(pixels.clone(), metadata);
    match metadata.quantity.as_ref().ok_or(NotMeaningful::QuantityUnknown)? {
        Quantity::Temperature { unit, scale, offset, camera_correction } => {
            require_scale(*scale, *offset)?;
            let kelvin = |raw: f32| {
                let kelvin = unit.read(scale * f64::from(raw) + offset) as f32;
                if kelvin >= COLDEST { kelvin } else { f32::NAN }
            };
            match camera_correction {
                None => Ok(pixels.map(kelvin)),
                Some(correction) => Ok(undone(&pixels.map(kelvin), correction, table)?),
            }
        }
        Quantity::Radiance { scale, offset } => {
            require_scale(*scale, *offset)?;
            Ok(pixels.map(|raw| table.temperature((scale * f64::from(raw) + offset) as f32)))
        }
        Quantity::Counts { calibration } => {
            calibration.check()?;
            Ok(calibrated(&pixels, calibration, table))
        }
    }
}

fn require_scale(scale: f64, offset: f64) -> Result<(), NotMeaningful> {
    if scale.is_finite() && scale != 0.0 && offset.is_finite() {
        Ok(())
    } else {
        Err(NotMeaningful::UnusableScale { scale, offset })
    }
}

/// What the camera saw before it corrected: the measurement equation with the camera's own settings.
fn undone(
    corrected: &Frame<SurfaceKelvin>,
    correction: &Correction,
    table: &BandTable,
) -> Result<Frame<ApparentKelvin>, FrameError> {
    let emissivity: Frame<EmissivityFraction> = corrected.map(|_| correction.emissivity.value() as f32);
    apparent_picture(corrected, &emissivity, &correction.surroundings, table)
}

fn calibrated(
    pixels: &Frame<RawNumber>,
    calibration: &Calibration,
    table: &BandTable,
) -> Frame<ApparentKelvin> {
    pixels.map(|raw| match calibration.signal(f64::from(raw)) {
        Some(Signal::Temperature(kelvin)) => kelvin as f32,
        Some(Signal::Radiance(radiance)) => table.temperature(radiance as f32),
        None => f32::NAN,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radiometry::{Surroundings, band_radiance, surface_temperature};
    use crate::units::{Emissivity, Kelvin, TemperatureUnit, Transmittance};

    fn numbers(numbers: Vec<f32>) -> Frame<RawNumber> {
        Frame::from_rows(1, numbers.len(), numbers).unwrap()
    }

    fn meaning(quantity: Quantity) -> CaptureMetadata {
        CaptureMetadata { quantity: Some(quantity), ..CaptureMetadata::default() }
    }

    fn temperature(
        unit: TemperatureUnit,
        scale: f64,
        offset: f64,
        camera_correction: Option<Correction>,
    ) -> CaptureMetadata {
        meaning(Quantity::Temperature { unit, scale, offset, camera_correction })
    }

    #[test]
    fn numbers_that_nobody_explained_stay_numbers() {
        let result = apparent(&numbers(vec![300.0]), &CaptureMetadata::default(), Band::default());
        assert_eq!(result, Err(NotMeaningful::QuantityUnknown));
    }

    #[test]
    fn a_temperature_is_scaled_in_its_own_unit() {
        // 37315 centikelvin = 100 °C = 212 °F.
        for (raw, metadata) in [
            (37_315.0, temperature(TemperatureUnit::Kelvin, 0.01, 0.0, None)),
            (1000.0, temperature(TemperatureUnit::Celsius, 0.1, 0.0, None)),
            (202.0, temperature(TemperatureUnit::Fahrenheit, 1.0, 10.0, None)),
        ] {
            let kelvin = apparent(&numbers(vec![raw]), &metadata, Band::default()).unwrap().at(0, 0).unwrap();
            assert!((kelvin - 373.15).abs() < 1e-4, "{metadata:?}: {kelvin}");
        }
    }

    #[test]
    fn absolute_zero_and_below_mark_missing_pixels() {
        let metadata = temperature(TemperatureUnit::Celsius, 1.0, 0.0, None);
        let picture = apparent(&numbers(vec![-273.15, -300.0, 20.0]), &metadata, Band::default()).unwrap();
        assert_eq!(picture.count_valid(), 1);
    }

    #[test]
    fn a_scale_of_zero_is_refused() {
        let metadata = temperature(TemperatureUnit::Celsius, 0.0, 20.0, None);
        let result = apparent(&numbers(vec![1.0]), &metadata, Band::default());
        assert_eq!(result, Err(NotMeaningful::UnusableScale { scale: 0.0, offset: 20.0 }));
    }

    #[test]
    fn what_the_camera_corrected_is_undone() {
        let correction = Correction {
            emissivity: Emissivity::new(0.6).unwrap(),
            surroundings: Surroundings {
                reflected: Kelvin::new(303.15).unwrap(),
                transmittance: Transmittance::new(0.9).unwrap(),
                path: Kelvin::new(290.0).unwrap(),
            },
        };
        let seen = Kelvin::new(340.0).unwrap();
        let written = surface_temperature(seen, &correction, Band::default()).unwrap();
        let metadata = temperature(TemperatureUnit::Kelvin, 1.0, 0.0, Some(correction));
        let picture = apparent(&numbers(vec![written.value() as f32]), &metadata, Band::default()).unwrap();
        assert!((f64::from(picture.at(0, 0).unwrap()) - seen.value()).abs() < 1e-3);
    }

    #[test]
    fn radiance_and_linear_counts_go_through_the_captures_own_band() {
        let band = Band::new(3.0, 5.0).unwrap();
        let radiance = band_radiance(band, Kelvin::new(350.0).unwrap()).radiance;
        let raw = numbers(vec![(radiance * 1000.0) as f32 + 50.0]);
        for quantity in [
            Quantity::Radiance { scale: 1e-3, offset: -0.05 },
            Quantity::Counts { calibration: Calibration::Linear { gain: 1e-3, offset: -0.05 } },
        ] {
            let metadata = CaptureMetadata { band: Some(band), ..meaning(quantity) };
            let kelvin = apparent(&raw, &metadata, Band::default()).unwrap().at(0, 0).unwrap();
            assert!((kelvin - 350.0).abs() < 2e-3, "{kelvin}");
        }
    }

    #[test]
    fn an_unusable_calibration_is_refused() {
        let metadata = meaning(Quantity::Counts { calibration: Calibration::Table { points: vec![] } });
        let result = apparent(&numbers(vec![1.0]), &metadata, Band::default());
        assert_eq!(
            result,
            Err(NotMeaningful::InvalidCalibration(InvalidCalibration::TooFewPoints { found: 0 }))
        );
    }

    #[test]
    fn saturated_and_stuck_pixels_are_invalid() {
        let metadata = CaptureMetadata {
            saturated_at: Some(500.0),
            stuck_pixels: vec![[1, 0], [90, 90]],
            ..temperature(TemperatureUnit::Kelvin, 1.0, 0.0, None)
        };
        let picture =
            apparent(&numbers(vec![300.0, 301.0, 500.0, 499.0]), &metadata, Band::default()).unwrap();
        assert_eq!(
            [picture.at(0, 0), picture.at(0, 1), picture.at(0, 2), picture.at(0, 3)],
            [Some(300.0), None, None, Some(499.0)]
        );
    }
}
