//! The uncertainty of every pixel: of the unit's temperature, and of its difference from the baseline.

use super::inputs::InputUncertainty;
use crate::frame::{
    ApparentKelvin, Difference, EmissivityFraction, EmissivityUncertainty, Frame, FrameError, SurfaceKelvin,
};
use crate::gradient::slope_squared;
use crate::radiometry::{BandRadiance, BandTable, Surroundings, band_radiance};
use crate::units::KelvinDifference;

/// The factor from standard to expanded uncertainty, 95 % of the normal law.
const COVERAGE: f32 = 1.959_964;

/// Half the width of the 95 % interval, from a standard uncertainty.
#[must_use]
pub fn expanded(standard_uncertainty: f32) -> f32 {
    COVERAGE * standard_uncertainty
}

/// Whether a value of this standard uncertainty, K, can be read at all: half its 95 % interval is `within`
/// the limit that was stated.
#[must_use]
pub fn is_measurable(standard_uncertainty: f32, within: KelvinDifference) -> bool {
    f64::from(expanded(standard_uncertainty)) <= within.value()
}

/// What the two sides of a difference were corrected with.
#[derive(Debug, Clone, Copy)]
pub struct DifferenceSetting<'a> {
    /// Surface temperature of the unit.
    pub unit: &'a Frame<SurfaceKelvin>,
    /// Mean surface temperature of the baselines.
    pub baseline: &'a Frame<SurfaceKelvin>,
    /// How the first of them appears, in whose pixels all is compared.
    pub baseline_apparent: &'a Frame<ApparentKelvin>,
    /// How many baselines.
    pub baselines: usize,
    /// The emissivity of both.
    pub emissivity: &'a Frame<EmissivityFraction>,
    /// Its standard uncertainty.
    pub emissivity_uncertainty: &'a Frame<EmissivityUncertainty>,
    /// What surrounded the unit.
    pub unit_surroundings: &'a Surroundings,
    /// What surrounded the baselines.
    pub baseline_surroundings: &'a Surroundings,
    /// The band of the unit's camera.
    pub unit_table: &'a BandTable,
    /// The band of the baselines' camera.
    pub baseline_table: &'a BandTable,
    /// Noise of one pixel of the unit, K.
    pub unit_netd: KelvinDifference,
    /// Noise of one pixel of one baseline, K.
    pub baseline_netd: KelvinDifference,
    /// The alignment's residual, pixels.
    pub residual_px: f64,
    /// Whether rises above the air are subtracted rather than temperatures.
    pub above_ambient: bool,
    /// What the unit's temperatures are multiplied with: 1 but at equal power.
    pub unit_gain: f64,
}

/// Standard uncertainties (k = 1), pixel by pixel; invalid where there is no temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Certainty {
    /// Of the unit's surface temperature, K.
    pub unit: Frame<Difference>,
    /// Of the difference, K.
    pub difference: Frame<Difference>,
    /// Of the difference that equally warm boards would show, K: what chance alone accounts for. An emissivity
    /// that is wrong makes a difference larger or smaller, but makes none where the captures are alike.
    pub between_equals: Frame<Difference>,
}

/// The uncertainties of all pixels at once: [`DifferencePlace::budget`](super::DifferencePlace::budget)
/// for every one, by the band's table.
///
/// What lies a hair beside its place is seen there as it appears, not as it is: the slope that misplacement
/// acts on is that of the apparent picture, also where the correction has levelled an edge of emissivity.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the pictures differ in size.
pub fn certainty(
    setting: &DifferenceSetting<'_>,
    inputs: &InputUncertainty,
) -> Result<Certainty, FrameError> {
    setting.unit.require_same_shape(setting.baseline)?;
    setting.unit.require_same_shape(setting.baseline_apparent)?;
    setting.unit.require_same_shape(setting.emissivity)?;
    setting.unit.require_same_shape(setting.emissivity_uncertainty)?;
    let unit_side = Side::new(setting.unit_surroundings, setting.unit_table, setting.unit_gain);
    let baseline_side = Side::new(setting.baseline_surroundings, setting.baseline_table, 1.0);
    let variances = Variances::new(setting, inputs);
    let mut difference = slope_squared(setting.baseline_apparent.view()).into_raw_vec_and_offset().0;
    let [mut unit, mut between_equals] = [vec![f32::NAN; difference.len()], vec![f32::NAN; difference.len()]];
    let alike = unit_side.is_alike(&baseline_side);
    let mut seen = [Seen::NOTHING; 3];
    let pictures = [setting.unit.as_slice(), setting.baseline.as_slice()];
    for start in (0..difference.len()).step_by(BLOCK) {
        let block = start..(start + BLOCK).min(difference.len());
        let emissivities = &setting.emissivity.as_slice()[block.clone()];
        seen[0].look(&unit_side, &pictures[0][block.clone()], emissivities);
        seen[1].look(&baseline_side, &pictures[1][block.clone()], emissivities);
        if !alike {
            seen[2].look(&unit_side, &pictures[1][block.clone()], emissivities);
        }
        let [hot, cold, cold_in_the_unit] = &seen;
        let equal = if alike { cold } else { cold_in_the_unit };
        let doubts = &setting.emissivity_uncertainty.as_slice()[block.clone()];
        let outputs = Outputs {
            unit: &mut unit[block.clone()],
            between_equals: &mut between_equals[block.clone()],
            difference: &mut difference[block],
        };
        let sides = [&unit_side, &baseline_side];
        if alike && unit_side.gain == 1.0 {
            variances.fill::<true>(sides, [hot, cold, cold], emissivities, doubts, outputs);
        } else {
            variances.fill::<false>(sides, [hot, cold, equal], emissivities, doubts, outputs);
        }
    }
    let (rows, columns) = setting.unit.shape();
    Ok(Certainty {
        unit: Frame::from_rows(rows, columns, unit)?,
        difference: Frame::from_rows(rows, columns, difference)?,
        between_equals: Frame::from_rows(rows, columns, between_equals)?,
    })
}

/// How one surface temperature moves with each input, and where it appears.
#[derive(Clone, Copy)]
struct Derivatives {
    apparent_kelvin: f32,
    apparent: f32,
    emissivity: f32,
    reflected: f32,
    transmittance: f32,
    path: f32,
}

/// The constants of one capture's measurement equation.
struct Side<'a> {
    table: &'a BandTable,
    reflected: f32,
    reflected_slope: f32,
    path: f32,
    transmittance: f32,
    background: f32,
    inverse_transmittance: f32,
    /// What a kelvin of the path adds to what arrives, negative.
    path_share: f32,
    gain: f32,
}

impl<'a> Side<'a> {
    fn new(surroundings: &Surroundings, table: &'a BandTable, gain: f64) -> Self {
        let BandRadiance { radiance: reflected, slope: reflected_slope } =
            band_radiance(table.band(), surroundings.reflected);
        let BandRadiance { radiance: path, slope: path_slope } =
            band_radiance(table.band(), surroundings.path);
        let transmittance = surroundings.transmittance.value();
        Self {
            table,
            reflected: reflected as f32,
            reflected_slope: reflected_slope as f32,
            path: path as f32,
            transmittance: transmittance as f32,
            background: (transmittance * reflected + (1.0 - transmittance) * path) as f32,
            inverse_transmittance: (1.0 / transmittance) as f32,
            path_share: (-(1.0 - transmittance) * path_slope) as f32,
            gain: gain as f32,
        }
    }

    /// The derivatives of the temperature times this side's gain.
    #[inline]
    fn scaled(&self, by: &Derivatives) -> Derivatives {
        Derivatives {
            apparent_kelvin: by.apparent_kelvin,
            apparent: self.gain * by.apparent,
            emissivity: self.gain * by.emissivity,
            reflected: self.gain * by.reflected,
            transmittance: self.gain * by.transmittance,
            path: self.gain * by.path,
        }
    }

    /// Whether a surface looks the same from both sides.
    fn is_alike(&self, other: &Self) -> bool {
        self.table.band() == other.table.band()
            && self.reflected == other.reflected
            && self.path == other.path
            && self.transmittance == other.transmittance
    }

    /// As [`sensitivity`](crate::radiometry::sensitivity), by the table.
    #[inline]
    fn derivatives(&self, seen: &Seen, place: usize, emissivity: f32) -> Derivatives {
        let (surface, arriving) = (seen.surface[place], seen.arriving[place]);
        let by_radiance = 1.0 / (emissivity * seen.slope[place]);
        let gain = by_radiance * self.inverse_transmittance;
        Derivatives {
            apparent_kelvin: seen.apparent[place],
            apparent: gain / seen.kelvin_per_radiance[place],
            emissivity: (self.reflected - surface) * by_radiance,
            reflected: (emissivity - 1.0) * by_radiance * self.reflected_slope,
            transmittance: (self.path - arriving) * gain * self.inverse_transmittance,
            path: gain * self.path_share,
        }
    }
}

/// Pixels that go through the tables together, so that what follows is plain arithmetic.
const BLOCK: usize = 256;

/// What a block of surfaces sends and how it appears.
#[derive(Clone, Copy)]
struct Seen {
    surface: [f32; BLOCK],
    slope: [f32; BLOCK],
    arriving: [f32; BLOCK],
    apparent: [f32; BLOCK],
    kelvin_per_radiance: [f32; BLOCK],
}

impl Seen {
    const NOTHING: Self = Self {
        surface: [f32::NAN; BLOCK],
        slope: [f32::NAN; BLOCK],
        arriving: [f32::NAN; BLOCK],
        apparent: [f32::NAN; BLOCK],
        kelvin_per_radiance: [f32::NAN; BLOCK],
    };

    #[inline]
    fn look(&mut self, side: &Side<'_>, kelvins: &[f32], emissivities: &[f32]) {
        for (place, (&kelvin, &emissivity)) in kelvins.iter().zip(emissivities).enumerate().take(BLOCK) {
            let (surface, slope) = side.table.radiance_and_slope(kelvin);
            let arriving = side.background + (surface - side.reflected) * (side.transmittance * emissivity);
            let (apparent, kelvin_per_radiance) = side.table.temperature_and_slope(arriving);
            self.surface[place] = surface;
            self.slope[place] = slope;
            self.arriving[place] = arriving;
            self.apparent[place] = apparent;
            self.kelvin_per_radiance[place] = kelvin_per_radiance;
        }
    }
}

/// Where one block's results go; `difference` holds the squared slope before.
struct Outputs<'a> {
    unit: &'a mut [f32],
    between_equals: &'a mut [f32],
    difference: &'a mut [f32],
}

/// The inputs' uncertainties, squared once for all pixels.
struct Variances {
    calibration_least: f32,
    calibration_fraction: f32,
    drift: f32,
    reflected: f32,
    transmittance: f32,
    path: f32,
    unit_noise: f32,
    baseline_noise: f32,
    /// 1/n of the baselines.
    share: f32,
    residual: f32,
    ambient: f32,
    common_calibration: bool,
    common_emissivity: bool,
    common_surroundings: bool,
}

impl Variances {
    fn new(setting: &DifferenceSetting<'_>, inputs: &InputUncertainty) -> Self {
        let squared = |value: f64| (value * value) as f32;
        let share = 1.0 / setting.baselines.max(1) as f64;
        let ambient = if setting.above_ambient { inputs.ambient.value() } else { 0.0 };
        Self {
            calibration_least: inputs.calibration.least.value() as f32,
            calibration_fraction: inputs.calibration.fraction as f32,
            drift: squared(inputs.drift.value()),
            reflected: squared(inputs.reflected.value()),
            transmittance: squared(inputs.transmittance),
            path: squared(inputs.path.value()),
            unit_noise: squared(setting.unit_netd.value()),
            baseline_noise: squared(setting.baseline_netd.value()),
            share: share as f32,
            residual: squared(setting.residual_px),
            ambient: squared(ambient) * (squared(setting.unit_gain) + share as f32),
            common_calibration: inputs.shared.calibration
                && setting.unit_table.band() == setting.baseline_table.band(),
            common_emissivity: inputs.shared.emissivity,
            common_surroundings: inputs.shared.surroundings,
        }
    }

    /// Works out one block: `seen` are the unit, the baseline, and the baseline's temperature in the unit's
    /// surroundings. `ALIKE` where the last two are one and nothing is scaled; the compiler then leaves out a third
    /// of the work.
    #[inline]
    fn fill<const ALIKE: bool>(
        &self,
        [unit_side, baseline_side]: [&Side<'_>; 2],
        [hot, cold, equal]: [&Seen; 3],
        emissivities: &[f32],
        doubts: &[f32],
        outputs: Outputs<'_>,
    ) {
        let places = outputs.unit.iter_mut().zip(outputs.between_equals).zip(outputs.difference);
        for (place, (((unit, equals), apart), (&doubt, &emissivity))) in
            places.zip(doubts.iter().zip(emissivities)).enumerate().take(BLOCK)
        {
            let own = unit_side.derivatives(hot, place, emissivity);
            let other = baseline_side.derivatives(cold, place, emissivity);
            let slope_squared = *apart;
            *unit = self.of_temperature(&own, doubt).sqrt();
            if ALIKE {
                *equals = self.of_difference(&other, &other, doubt, slope_squared).sqrt();
                *apart = self.of_difference(&own, &other, doubt, slope_squared).sqrt();
            } else {
                let same = unit_side.scaled(&unit_side.derivatives(equal, place, emissivity));
                *equals = self.of_difference(&same, &other, doubt, slope_squared).sqrt();
                *apart = self.of_difference(&unit_side.scaled(&own), &other, doubt, slope_squared).sqrt();
            }
        }
    }

    #[inline]
    fn calibration(&self, apparent_kelvin: f32) -> f32 {
        self.calibration_least.max(self.calibration_fraction * (apparent_kelvin - 273.15).abs())
    }

    #[inline]
    fn of_temperature(&self, by: &Derivatives, doubt: f32) -> f32 {
        let calibration = self.calibration(by.apparent_kelvin);
        let camera = self.unit_noise + self.drift + calibration * calibration;
        let emissivity = by.emissivity * doubt;
        by.apparent * by.apparent * camera
            + emissivity * emissivity
            + by.reflected * by.reflected * self.reflected
            + by.transmittance * by.transmittance * self.transmittance
            + by.path * by.path * self.path
    }

    #[inline]
    fn of_difference(
        &self,
        unit: &Derivatives,
        baseline: &Derivatives,
        doubt: f32,
        slope_squared: f32,
    ) -> f32 {
        let squares = |shared: bool, unit: f32, baseline: f32| {
            let left = unit - baseline;
            if shared { left * left } else { unit * unit + baseline * baseline }
        };
        let own = self.share * baseline.apparent * baseline.apparent;
        let calibration = squares(
            self.common_calibration,
            unit.apparent * self.calibration(unit.apparent_kelvin),
            baseline.apparent * self.calibration(baseline.apparent_kelvin),
        );
        let surroundings = self.common_surroundings;
        unit.apparent * unit.apparent * (self.unit_noise + self.drift)
            + own * (self.baseline_noise + self.drift)
            + calibration
            + squares(self.common_emissivity, unit.emissivity, baseline.emissivity) * doubt * doubt
            + squares(surroundings, unit.reflected, baseline.reflected) * self.reflected
            + squares(surroundings, unit.transmittance, baseline.transmittance) * self.transmittance
            + squares(surroundings, unit.path, baseline.path) * self.path
            + unit.apparent * unit.apparent * slope_squared * self.residual
            + self.ambient
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radiometry::Band;
    use crate::uncertainty::{DifferencePlace, TemperaturePlace};
    use crate::units::{Emissivity, Kelvin, Transmittance};

    /// One pixel without neighbors, so that no slope comes in.
    fn pixel<Q>(value: f64) -> Frame<Q> {
        Frame::from_rows(1, 1, vec![value as f32]).unwrap()
    }

    #[test]
    fn a_pixel_is_as_sure_as_its_budget_says() {
        let table = BandTable::new(Band::default());
        let surroundings = |celsius| Surroundings {
            reflected: Kelvin::from_celsius(celsius).unwrap(),
            transmittance: Transmittance::new(0.96).unwrap(),
            path: Kelvin::from_celsius(24.0).unwrap(),
        };
        let kelvin = |value| KelvinDifference::new(value).unwrap();
        let mut inputs = InputUncertainty { transmittance: 0.01, ..InputUncertainty::default() };
        for (emissivity, doubt, gain, shared) in
            [(0.92, 0.02, 1.0, true), (0.3, 0.05, 1.0, true), (0.6, 0.04, 1.8, true), (0.3, 0.02, 1.0, false)]
        {
            inputs.shared.surroundings = shared;
            inputs.shared.emissivity = shared;
            let (unit_around, baseline_around) = (surroundings(31.0), surroundings(23.0));
            let side = |celsius, surroundings, netd| TemperaturePlace {
                temperature: Kelvin::from_celsius(celsius).unwrap(),
                emissivity: Emissivity::new(emissivity).unwrap(),
                emissivity_uncertainty: doubt,
                surroundings,
                band: Band::default(),
                netd: kelvin(netd),
                pixels: 1.0,
            };
            let place = DifferencePlace {
                unit: side(66.0, unit_around, 0.05),
                baseline: side(55.0, baseline_around, 0.08),
                baselines: 3,
                slope: 0.0,
                residual_px: 0.1,
                above_ambient: true,
                unit_gain: gain,
            };
            let setting = DifferenceSetting {
                unit: &pixel(place.unit.temperature.value()),
                baseline: &pixel(place.baseline.temperature.value()),
                baseline_apparent: &pixel(300.0),
                baselines: 3,
                emissivity: &pixel(emissivity),
                emissivity_uncertainty: &pixel(doubt),
                unit_surroundings: &unit_around,
                baseline_surroundings: &baseline_around,
                unit_table: &table,
                baseline_table: &table,
                unit_netd: kelvin(0.05),
                baseline_netd: kelvin(0.08),
                residual_px: 0.1,
                above_ambient: true,
                unit_gain: gain,
            };
            let found = certainty(&setting, &inputs).unwrap();
            let as_warm = DifferencePlace {
                unit: TemperaturePlace { temperature: place.baseline.temperature, ..place.unit },
                ..place
            };
            let expected = [
                (found.unit.at(0, 0), place.unit.budget(&inputs).unwrap()),
                (found.difference.at(0, 0), place.budget(&inputs).unwrap()),
                (found.between_equals.at(0, 0), as_warm.budget(&inputs).unwrap()),
            ];
            for (pixel, budget) in expected {
                // The table's slopes are good to half a percent.
                let ratio = f64::from(pixel.unwrap()) / budget.combined.value();
                assert!((ratio - 1.0).abs() < 0.01, "emissivity {emissivity}: {ratio}");
            }
        }
    }
}
