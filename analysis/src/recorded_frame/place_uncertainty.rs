//! How surely the places of a recording are known: the standard uncertainty of their readings over time.
//!
//! A place counts as one surface of its mean emissivity; what its pixels share (emissivity, surroundings, the
//! camera's calibration) does not get less by averaging, only noise does. Left out: that noise makes the hottest of many
//! pixels look hotter than it is; and an emissivity picture's own uncertainty, for which the whole surface's stands.

use super::{FrameCorrection, NotCorrectable};
use crate::comparison::board_to_picture;
use crate::sequence::{PlaceReader, PlaceSample};
use crate::session::Session;
use crate::surface::emissivity_uncertainty_map;
use crate::uncertainty::{InputUncertainty, TemperaturePlace};
use crate::units::{Emissivity, Kelvin};

/// Between so many temperatures of a series its uncertainty is drawn straight: it bends gently.
const STEPS: usize = 32;

/// The uncertainty of one place at any temperature.
#[derive(Debug, Clone)]
pub struct PlaceUncertainty {
    /// The place at a temperature of no meaning; `None` where it has no emissivity.
    place: Option<TemperaturePlace>,
    inputs: InputUncertainty,
}

impl PlaceUncertainty {
    /// Of the places that `reader` reads, in frames that are corrected so.
    ///
    /// # Errors
    /// [`NotCorrectable`].
    pub fn of_places(
        session: &Session,
        correction: &FrameCorrection,
        reader: &PlaceReader,
    ) -> Result<Vec<Self>, NotCorrectable> {
        let map = board_to_picture(&session.layout)?;
        let shape = correction.emissivity.shape();
        let doubts = emissivity_uncertainty_map(&session.surface, shape, map.as_ref(), None)?;
        let netd = correction.metadata.netd.unwrap_or(session.input_uncertainty.netd);
        let places = reader.read(&correction.emissivity)?.into_iter().zip(reader.read(&doubts)?);
        let of_place = |(emissivity, doubt): (Option<PlaceSample>, Option<PlaceSample>)| {
            let (emissivity, doubt) = emissivity.zip(doubt)?;
            Some(TemperaturePlace {
                temperature: Kelvin::ROOM,
                emissivity: Emissivity::new(f64::from(emissivity.mean)).ok()?,
                emissivity_uncertainty: f64::from(doubt.mean),
                surroundings: correction.surroundings,
                band: correction.table.band(),
                netd,
                pixels: emissivity.pixels as f64,
            })
        };
        let inputs = &session.input_uncertainty;
        Ok(places.map(|place| Self { place: of_place(place), inputs: inputs.clone() }).collect())
    }

    /// Standard uncertainty (k = 1) of each mean of the place, K; NaN where there is none.
    #[must_use]
    pub fn of_means(&self, kelvins: &[f32]) -> Vec<f32> {
        self.of_series(self.place, kelvins)
    }

    /// The same of readings of a single pixel, as of the hottest.
    #[must_use]
    pub fn of_single_pixels(&self, kelvins: &[f32]) -> Vec<f32> {
        self.of_series(self.place.map(|place| TemperaturePlace { pixels: 1.0, ..place }), kelvins)
    }

    fn of_series(&self, place: Option<TemperaturePlace>, kelvins: &[f32]) -> Vec<f32> {
        let valid = kelvins.iter().copied().filter(|kelvin| kelvin.is_finite());
        let (lo, hi) = valid.fold((f32::INFINITY, f32::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
        let Some(place) = place.filter(|_| lo <= hi) else { return vec![f32::NAN; kelvins.len()] };
        // A series that never changes is as wide as a millikelvin.
        let step = f64::from(hi - lo).max(1e-3) / STEPS as f64;
        let of_step = |n: usize| {
            let temperature = Kelvin::new(f64::from(lo) + n as f64 * step).ok()?;
            let budget = TemperaturePlace { temperature, ..place }.budget(&self.inputs).ok()?;
            Some(budget.combined.value())
        };
        let steps: Vec<f64> = (0..=STEPS).map(|n| of_step(n).unwrap_or(f64::NAN)).collect();
        let between = |kelvin: f32| {
            let place = f64::from(kelvin - lo) / step;
            let below = (place.max(0.0) as usize).min(STEPS - 1);
            let share = place - below as f64;
            (steps[below] + share * (steps[below + 1] - steps[below])) as f32
        };
        kelvins.iter().map(|&kelvin| if kelvin.is_finite() { between(kelvin) } else { f32::NAN }).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{CaptureMetadata, Quantity};
    use crate::frame::{Frame, RawNumber};
    use crate::geometry::Point;
    use crate::sequence::Place;
    use crate::units::TemperatureUnit;

    fn uncertainty(session: &Session) -> PlaceUncertainty {
        let quantity = Quantity::Temperature {
            unit: TemperatureUnit::Kelvin,
            scale: 1.0,
            offset: 0.0,
            camera_correction: None,
        };
        let metadata = CaptureMetadata { quantity: Some(quantity), ..CaptureMetadata::default() };
        let frame = Frame::<RawNumber>::from_rows(12, 12, vec![310.0; 144]).unwrap();
        let correction = FrameCorrection::new(session, &metadata, &frame, None).unwrap();
        let area = Place::Area(Point::new(1.0, 1.0), Point::new(10.0, 10.0));
        let reader = PlaceReader::new(&[area], (12, 12));
        PlaceUncertainty::of_places(session, &correction, &reader).unwrap().remove(0)
    }

    #[test]
    fn every_reading_has_the_uncertainty_of_the_budget_at_its_temperature() {
        let session = Session::default();
        let found = uncertainty(&session);
        let kelvins = [300.0_f32, f32::NAN, 305.5, 331.0, 350.0];
        let (means, pixels) = (found.of_means(&kelvins), found.of_single_pixels(&kelvins));
        assert!(means[1].is_nan());
        for index in [0, 2, 3, 4] {
            let whole = &session.surface.whole;
            let place = TemperaturePlace {
                temperature: Kelvin::new(f64::from(kelvins[index])).unwrap(),
                emissivity: whole.emissivity,
                emissivity_uncertainty: whole.uncertainty,
                surroundings: session.surroundings,
                band: session.band,
                netd: session.input_uncertainty.netd,
                pixels: 100.0,
            };
            for (found, pixels) in [(&means, 100.0), (&pixels, 1.0)] {
                let place = TemperaturePlace { pixels, ..place };
                let expected = place.budget(&session.input_uncertainty).unwrap().combined.value();
                // Emissivities are single precision, and between steps of 1.6 K the curve bends by less.
                let off = f64::from(found[index]) / expected - 1.0;
                assert!(off.abs() < 2e-3, "{index}: {} {expected}", found[index]);
            }
        }
    }

    #[test]
    fn averaging_takes_noise_away_and_nothing_else() {
        let mut session = Session::default();
        let zero = crate::units::KelvinDifference::ZERO;
        let inputs = &mut session.input_uncertainty;
        (inputs.reflected, inputs.path, inputs.drift, inputs.calibration.least) = (zero, zero, zero, zero);
        (inputs.transmittance, inputs.calibration.fraction) = (0.0, 0.0);
        session.surface.whole.uncertainty = 0.0;
        let found = uncertainty(&session);
        let (mean, pixel) = (found.of_means(&[310.0])[0], found.of_single_pixels(&[310.0])[0]);
        // 100 pixels: a tenth.
        assert!((pixel / mean - 10.0).abs() < 1e-3, "{pixel} {mean}");
    }
}
