//! The emissivity of every pixel, measured on the unpowered board at known uniform temperatures.
//!
//! A board soaked at one temperature shows its emissivities: apparent radiance is
//! L(T_app) = τ ε L(T) + τ (1 − ε) L(T_refl) + (1 − τ) L(T_path). With the reflected temperature stated,
//! one temperature suffices; with two or more temperatures it can be solved for beside the emissivity,
//! pixel by pixel, since the equation is linear in ε and (1 − ε) L(T_refl).

use serde::{Deserialize, Serialize};

use super::outcome::{
    ELEVATION_ADVISED, ELEVATION_NEEDED, ProcedureError, Warning, plain_uncertainty_of, uncertainty_of,
    warn_of_elevation,
};
use crate::content_hash::ContentHash;
use crate::frame::{
    ApparentKelvin, Difference, EmissivityFraction, EmissivityUncertainty, Frame, FrameError,
};
use crate::quantile::median;
use crate::radiometry::{Band, BandTable, band_radiance};
use crate::units::{Kelvin, KelvinDifference, Transmittance};

/// Less than this between board and surroundings, or between soaks, admits no map, K (our own rule).
const SEPARATION_LEAST: f64 = 5.0;
/// A pixel whose emissivity is not this many times its own noise is told from nothing.
const CONTRAST_LEAST: f64 = 3.0;
/// A reflected temperature less sure than this is left out of the picture, K.
const REFLECTED_UNCERTAINTY_MOST: f64 = 10.0;

/// The map's procedure, as entered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SoakedMap {
    /// The camera's band.
    pub band: Band,
    /// Transmittance of the path.
    pub transmittance: Transmittance,
    /// Temperature of the path.
    pub path: Kelvin,
    /// What is known of the surroundings.
    pub reflected: ReflectedKnowledge,
    /// Standard deviation of one pixel in one frame: the camera's noise.
    pub noise: KelvinDifference,
    /// Pixels less sure than this standard uncertainty are left out.
    pub uncertainty_limit: f64,
    /// The soaks, in any order.
    pub soaks: Vec<Soak>,
}

/// Whether the reflected apparent temperature is stated or solved for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "knowledge", rename_all = "kebab-case", deny_unknown_fields)]
pub enum ReflectedKnowledge {
    /// It was measured, and counts for the whole picture.
    Stated {
        /// The value.
        temperature: Kelvin,
        /// Its standard uncertainty.
        uncertainty: KelvinDifference,
    },
    /// It is found for each pixel beside the emissivity: takes two temperatures, and surroundings that
    /// stay the same from one to the other.
    Solved,
}

/// The board at one uniform temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Soak {
    /// The frames taken, by content.
    pub captures: Vec<ContentHash>,
    /// The board's temperature.
    pub board: Kelvin,
    /// Standard uncertainty of it, uncorrelated from soak to soak.
    pub board_uncertainty: KelvinDifference,
    /// Standard uncertainty of the camera's readings of this soak that its frames share: calibration,
    /// drift, fixed pattern. Counted as uncorrelated from soak to soak, which errs to the safe side for
    /// what they share.
    pub reading_uncertainty: KelvinDifference,
}

/// The map, pixel by pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct EmissivityMap {
    /// Emissivity; invalid where the outcome counts a pixel as left out.
    pub emissivity: Frame<EmissivityFraction>,
    /// Standard uncertainty of it, k = 1; valid where the emissivity is. What comes from the board's
    /// temperature and a stated reflected temperature is common to all pixels: it does not shrink when
    /// pixels are averaged.
    pub uncertainty: Frame<EmissivityUncertainty>,
    /// The surroundings each pixel mirrors, where they were solved for.
    pub reflected: Option<ReflectedMap>,
    /// Counts and warnings.
    pub outcome: SoakedOutcome,
}

/// The reflected apparent temperature of each pixel; invalid where it is not known to 10 K, as on surfaces
/// that mirror next to nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct ReflectedMap {
    /// The value.
    pub temperature: Frame<ApparentKelvin>,
    /// Its standard uncertainty.
    pub uncertainty: Frame<Difference>,
}

/// What became of the pixels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SoakedOutcome {
    /// Pixels of the picture.
    pub pixels: usize,
    /// Pixels with an emissivity.
    pub valid: usize,
    /// Left out: no reading in one of the soaks, or one outside 200 K to 800 K.
    pub invalid_input: usize,
    /// Left out: the radiance changed too little against the noise.
    pub small_contrast: usize,
    /// Left out: the emissivity came out at zero or below, or above 1.
    pub out_of_range: usize,
    /// Left out: the standard uncertainty exceeds the limit.
    pub too_uncertain: usize,
    /// The middle one of the valid emissivities; `None` without any.
    pub median_emissivity: Option<f64>,
    /// The middle one of their standard uncertainties.
    pub median_uncertainty: Option<f64>,
    /// What to mind.
    pub warnings: Vec<Warning>,
}

/// Why there is no map.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoMap {
    /// No soak, or a soak without frames.
    #[error("soak {number} has no frame: give each temperature at least one capture")]
    NoFrames {
        /// Which, counted from 1.
        number: usize,
    },
    /// Frames for another count of soaks.
    #[error("{frames} sets of frames for {soaks} stated temperatures: give one set for each")]
    CountMismatch {
        /// Sets given.
        frames: usize,
        /// Soaks entered.
        soaks: usize,
    },
    /// Frames of different size.
    #[error("the frames of a soaked board must lie on the same pixels: {0}")]
    Shape(#[from] FrameError),
    /// Board and surroundings are too alike.
    #[error(
        "the board lay only {separation:.1} K from the reflected temperature: warm it to at least {needed} K \
         above its surroundings, better {advised} K"
    )]
    TooCloseToSurroundings {
        /// The largest distance of a soak, K.
        separation: f64,
        /// The least accepted, K.
        needed: f64,
        /// What is advised, K.
        advised: f64,
    },
    /// The soaks are too alike to solve for the surroundings.
    #[error(
        "the temperatures lie only {separation:.1} K apart: at least {needed} K are needed to tell emissivity \
         from reflection, {advised} K are better; or state the reflected temperature"
    )]
    TooCloseTogether {
        /// Warmest less coldest, K.
        separation: f64,
        /// The least accepted, K.
        needed: f64,
        /// What is advised, K.
        advised: f64,
    },
    /// An uncertainty that is none.
    #[error(transparent)]
    Unusable(#[from] ProcedureError),
}

impl SoakedMap {
    /// What it finds, and how.
    pub const NAME: &str = "Emissivity of the whole board, unpowered";

    /// What to mind for safety, beside local codes and the practice of licensed people.
    pub const CAUTION: &str = "Disconnect and discharge the board before it is soaked, stay below the lowest of the storage \
                               temperature limits of its parts, and handle it as hot.";

    /// The limit of a pixel's standard uncertainty to start from (our own rule: as sure as a table value).
    pub const USUAL_LIMIT: f64 = 0.05;

    /// The map from `frames`: one set for each soak, in the soaks' order, all on the same pixels.
    ///
    /// Weighted linear least squares in radiance, pixel by pixel. An uncertainty is propagated from noise/√frames,
    /// the soak's shared reading error, the board's temperature, and a stated reflected temperature.
    ///
    /// # Errors
    /// [`NoMap`], which says what to do.
    pub fn map(&self, frames: &[Vec<Frame<ApparentKelvin>>]) -> Result<EmissivityMap, NoMap> {
        let warnings = self.check_temperatures()?;
        let soaks = self.average(frames)?;
        let estimator = Estimator::new(self, &soaks)?;
        let table = BandTable::new(self.band);
        let Some(first) = frames.first().and_then(|set| set.first()) else {
            return Err(NoMap::NoFrames { number: 1 });
        };
        let (rows, columns) = first.shape();
        let count = rows * columns;
        let mut outcome = SoakedOutcome {
            pixels: count,
            valid: 0,
            invalid_input: 0,
            small_contrast: 0,
            out_of_range: 0,
            too_uncertain: 0,
            median_emissivity: None,
            median_uncertainty: None,
            warnings,
        };
        let mut emissivity = vec![f32::NAN; count];
        let mut uncertainty = vec![f32::NAN; count];
        let mut reflected = vec![f32::NAN; count];
        let mut reflected_uncertainty = vec![f32::NAN; count];
        let mut readings = Vec::with_capacity(soaks.len());
        for pixel in 0..count {
            readings.clear();
            readings.extend(soaks.iter().filter_map(|soak| soak.reading(pixel, &table)));
            if readings.len() < soaks.len() {
                outcome.invalid_input += 1;
                continue;
            }
            let found = estimator.solve(&readings);
            if found.value.abs() < CONTRAST_LEAST * found.noise {
                outcome.small_contrast += 1;
            } else if !(found.value > 0.0 && found.value <= 1.0) {
                outcome.out_of_range += 1;
            } else if found.uncertainty > self.uncertainty_limit {
                outcome.too_uncertain += 1;
            } else {
                outcome.valid += 1;
                emissivity[pixel] = found.value as f32;
                uncertainty[pixel] = found.uncertainty as f32;
                if let Some((temperature, its_uncertainty)) = estimator.reflected(&found, &readings, &table) {
                    reflected[pixel] = temperature;
                    reflected_uncertainty[pixel] = its_uncertainty;
                }
            }
        }
        outcome.median_emissivity = median(emissivity.iter().copied()).map(f64::from);
        outcome.median_uncertainty = median(uncertainty.iter().copied()).map(f64::from);
        let solved = matches!(self.reflected, ReflectedKnowledge::Solved);
        Ok(EmissivityMap {
            emissivity: Frame::from_rows(rows, columns, emissivity)?,
            uncertainty: Frame::from_rows(rows, columns, uncertainty)?,
            reflected: if solved {
                Some(ReflectedMap {
                    temperature: Frame::from_rows(rows, columns, reflected)?,
                    uncertainty: Frame::from_rows(rows, columns, reflected_uncertainty)?,
                })
            } else {
                None
            },
            outcome,
        })
    }

    /// Refuses temperatures that admit no map, and warns of those that admit a poor one.
    fn check_temperatures(&self) -> Result<Vec<Warning>, NoMap> {
        plain_uncertainty_of("the limit of the map", self.uncertainty_limit)?;
        let boards = || self.soaks.iter().map(|soak| soak.board.value());
        if self.soaks.is_empty() {
            return Err(NoMap::NoFrames { number: 1 });
        }
        let (needed, advised) = (SEPARATION_LEAST, ELEVATION_ADVISED);
        let mut warnings = Vec::new();
        match self.reflected {
            ReflectedKnowledge::Stated { temperature, .. } => {
                let separation =
                    boards().map(|board| (board - temperature.value()).abs()).fold(0.0, f64::max);
                if separation < needed {
                    return Err(NoMap::TooCloseToSurroundings { separation, needed, advised });
                }
                warnings.extend(warn_of_elevation(
                    std::iter::once(temperature.value() + separation),
                    temperature,
                ));
            }
            ReflectedKnowledge::Solved => {
                let separation =
                    boards().fold(f64::NEG_INFINITY, f64::max) - boards().fold(f64::INFINITY, f64::min);
                if separation < needed {
                    return Err(NoMap::TooCloseTogether { separation, needed, advised });
                }
                if separation < ELEVATION_NEEDED {
                    warnings.push(Warning::CloseSoaks { separation, needed: ELEVATION_NEEDED, advised });
                }
            }
        }
        Ok(warnings)
    }

    /// The mean of each soak's frames, over those that are valid at the pixel.
    fn average(&self, frames: &[Vec<Frame<ApparentKelvin>>]) -> Result<Vec<Averaged>, NoMap> {
        if frames.len() != self.soaks.len() {
            return Err(NoMap::CountMismatch { frames: frames.len(), soaks: self.soaks.len() });
        }
        let mut averaged = Vec::with_capacity(frames.len());
        for (index, set) in frames.iter().enumerate() {
            let (Some(first), Some(reference)) = (set.first(), frames.first().and_then(|set| set.first()))
            else {
                return Err(NoMap::NoFrames { number: index + 1 });
            };
            reference.require_same_shape(first)?;
            let mut sums = vec![0.0_f64; first.as_slice().len()];
            let mut counts = vec![0_u32; sums.len()];
            for frame in set {
                first.require_same_shape(frame)?;
                for ((sum, count), &value) in sums.iter_mut().zip(&mut counts).zip(frame.as_slice()) {
                    if !value.is_nan() {
                        *sum += f64::from(value);
                        *count += 1;
                    }
                }
            }
            averaged.push(Averaged { sums, counts });
        }
        Ok(averaged)
    }
}

/// The frames of one soak together.
struct Averaged {
    sums: Vec<f64>,
    counts: Vec<u32>,
}

/// What one soak says of one pixel.
#[derive(Debug, Clone, Copy)]
struct Reading {
    radiance: f64,
    slope: f64,
    frames: f64,
}

impl Averaged {
    fn reading(&self, pixel: usize, table: &BandTable) -> Option<Reading> {
        let frames = f64::from(*self.counts.get(pixel)?);
        let kelvin = (self.sums.get(pixel)? / frames) as f32;
        let radiance = f64::from(table.radiance(kelvin));
        // A kelvin apart: the table is straight within its cells, so a shorter step sees only one line.
        let slope = f64::from(table.radiance(kelvin + 0.5)) - f64::from(table.radiance(kelvin - 0.5));
        (radiance.is_finite() && slope.is_finite()).then_some(Reading { radiance, slope, frames })
    }
}

/// The linear estimator that all pixels share.
struct Estimator {
    /// One for each soak.
    terms: Vec<Term>,
    transmittance: f64,
    /// (1 − τ) L(T_path).
    path: f64,
    noise: f64,
    /// Radiance of the surroundings and its uncertainty, where stated.
    stated: Option<(f64, f64)>,
}

struct Term {
    /// The emissivity is the sum over soaks of this times (y − L_refl), y the radiance after the path.
    coefficient: f64,
    /// Weight of the soak, all weights together being 1.
    weight: f64,
    /// Radiance and slope of a black body at the board's temperature.
    radiance: f64,
    slope: f64,
    board_uncertainty: f64,
    reading_uncertainty: f64,
}

/// One pixel's answer.
struct Found {
    value: f64,
    uncertainty: f64,
    /// The part of the uncertainty that is noise.
    noise: f64,
}

impl Estimator {
    fn new(entered: &SoakedMap, soaks: &[Averaged]) -> Result<Self, NoMap> {
        let noise = uncertainty_of("the camera's noise", entered.noise)?;
        let mut terms = Vec::with_capacity(soaks.len());
        for (soak, averaged) in entered.soaks.iter().zip(soaks) {
            let black = band_radiance(entered.band, soak.board);
            let board_uncertainty = uncertainty_of("the board's temperature", soak.board_uncertainty)?;
            let reading_uncertainty = uncertainty_of("the soak's readings", soak.reading_uncertainty)?;
            let frames = f64::from(averaged.counts.iter().copied().max().unwrap_or(1).max(1));
            // Weights as for a black surface: the same for every pixel, and no estimate is biased by weights.
            // A millikelvin keeps a soak that claims to be exact from outweighing the others without end.
            let variance = noise * noise / frames
                + board_uncertainty * board_uncertainty
                + reading_uncertainty * reading_uncertainty
                + 1e-6;
            terms.push(Term {
                coefficient: 0.0,
                weight: 1.0 / (variance * black.slope * black.slope),
                radiance: black.radiance,
                slope: black.slope,
                board_uncertainty,
                reading_uncertainty,
            });
        }
        let all: f64 = terms.iter().map(|term| term.weight).sum();
        for term in &mut terms {
            term.weight /= all;
        }
        let stated = match entered.reflected {
            ReflectedKnowledge::Solved => None,
            ReflectedKnowledge::Stated { temperature, uncertainty } => {
                let black = band_radiance(entered.band, temperature);
                let uncertainty = uncertainty_of("the reflected temperature", uncertainty)?;
                Some((black.radiance, black.slope * uncertainty))
            }
        };
        // A straight line through the surroundings where they are known, through the soaks' mean where not.
        let pivot = match stated {
            Some((radiance, _)) => radiance,
            None => terms.iter().map(|term| term.weight * term.radiance).sum(),
        };
        let square: f64 = terms.iter().map(|term| term.weight * (term.radiance - pivot).powi(2)).sum();
        for term in &mut terms {
            term.coefficient = term.weight * (term.radiance - pivot) / square;
        }
        let transmittance = entered.transmittance.value();
        let path = (1.0 - transmittance) * band_radiance(entered.band, entered.path).radiance;
        Ok(Self { terms, transmittance, path, noise, stated })
    }

    /// The radiance that left the surface.
    fn left(&self, reading: &Reading) -> f64 {
        (reading.radiance - self.path) / self.transmittance
    }

    fn solve(&self, readings: &[Reading]) -> Found {
        let surroundings = self.stated.map_or(0.0, |(radiance, _)| radiance);
        let pairs = || self.terms.iter().zip(readings);
        let value: f64 =
            pairs().map(|(term, reading)| term.coefficient * (self.left(reading) - surroundings)).sum();
        let noise: f64 =
            pairs().map(|(term, reading)| (term.coefficient * self.noise_of(reading)).powi(2)).sum();
        let mut variance: f64 = pairs()
            .map(|(term, reading)| term.coefficient.powi(2) * self.variance(term, reading, value))
            .sum();
        if let Some((_, uncertainty)) = self.stated {
            let sum: f64 = self.terms.iter().map(|term| term.coefficient).sum();
            variance += ((1.0 - value) * sum * uncertainty).powi(2);
        }
        Found { value, uncertainty: variance.sqrt(), noise: noise.sqrt() }
    }

    /// Standard deviation of the radiance that left the surface, by noise alone.
    fn noise_of(&self, reading: &Reading) -> f64 {
        self.noise * reading.slope / (self.transmittance * reading.frames.sqrt())
    }

    /// Variance of one soak's equation: of what was read, and of ε L(T) through the board's temperature.
    fn variance(&self, term: &Term, reading: &Reading, emissivity: f64) -> f64 {
        let shared = term.reading_uncertainty * reading.slope / self.transmittance;
        let board = emissivity * term.slope * term.board_uncertainty;
        self.noise_of(reading).powi(2) + shared * shared + board * board
    }

    /// The surroundings that a pixel mirrors, and the standard uncertainty of that, K; `None` where they were
    /// stated or are not known well enough.
    fn reflected(&self, found: &Found, readings: &[Reading], table: &BandTable) -> Option<(f32, f32)> {
        let mirrored = 1.0 - found.value;
        if self.stated.is_some() || mirrored <= 0.0 {
            return None;
        }
        let pairs = || self.terms.iter().zip(readings);
        let middle: f64 = self.terms.iter().map(|term| term.weight * term.radiance).sum();
        let mean: f64 = pairs().map(|(term, reading)| term.weight * self.left(reading)).sum();
        let radiance = (mean - found.value * middle) / mirrored;
        let variance: f64 = pairs()
            .map(|(term, reading)| {
                let by_this = (term.weight + (radiance - middle) * term.coefficient) / mirrored;
                by_this * by_this * self.variance(term, reading, found.value)
            })
            .sum();
        let temperature = table.temperature(radiance as f32);
        let slope =
            f64::from(table.radiance(temperature + 0.5)) - f64::from(table.radiance(temperature - 0.5));
        let uncertainty = variance.sqrt() / slope;
        (uncertainty <= REFLECTED_UNCERTAINTY_MOST).then_some((temperature, uncertainty as f32))
    }
}
