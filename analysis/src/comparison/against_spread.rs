//! A unit held against how the known-good boards differ among themselves.

use serde::{Deserialize, Serialize};

use super::alignment::{Aligned, GoodBoards};
use super::conditions::conditions;
use crate::board::Footprint;
use crate::frame::{Difference, EmissivityFraction, Frame, SurfaceKelvin};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use crate::inspection::{CalledPlace, Chance, Criteria, PartReading};
use crate::population::{
    Anomaly, BoardPlate, FalseAlarms, FurtherUncertainty, GoodBoard, KnownBoard, NuisanceFit, PartStanding,
    PopulationBaseline, PopulationSummary, film_from_heat_balance,
};
use crate::session::Session;
use crate::units::{KelvinDifference, Watts};

/// Why the limit decides although there are several known-good boards.
pub(super) const BY_CHOICE: &str = "the limit was chosen to decide";

/// By what it was decided which differences count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "kebab-case")]
pub enum JudgedBy {
    /// By the stated limit, noise and uncertainty.
    Limit {
        /// Why not by the boards' spread.
        why: String,
    },
    /// By how known-good boards differ among themselves.
    GoodBoardsSpread(Box<AgainstSpread>),
}

/// What holding a unit against the good boards' spread showed, beside the findings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AgainstSpread {
    /// The good boards and how they differ.
    pub baseline: PopulationSummary,
    /// What the bench, or the unit as a whole, changed; it was taken out before the unit was judged.
    pub nuisance: NuisanceFit,
    /// How each part stands against the good boards.
    pub parts: Vec<PartStanding>,
    /// What was allowed.
    pub false_alarms: FalseAlarms,
}

/// A unit as judged, before it is described.
pub(super) struct Judged {
    pub(super) baseline: Frame<SurfaceKelvin>,
    pub(super) difference: Frame<Difference>,
    pub(super) called: Called,
}

/// What counts on it.
pub(super) struct Called {
    /// The difference that a single pixel must exceed.
    pub(super) tolerance: Frame<Difference>,
    pub(super) places: Vec<CalledPlace>,
    pub(super) judged: JudgedParts,
}

/// How its parts stand, and what else is reported.
pub(super) struct JudgedParts {
    /// Standard deviations that a part's mean must differ by.
    part_critical: f64,
    pub(super) report: AgainstSpread,
}

/// Of two boards every difference has one degree of freedom: on the sample boards a fault of twelve kelvin then is
/// no more than chance. With fewer the limit decides.
const LEAST_BOARDS: usize = 3;

fn allowed(criteria: &Criteria) -> FalseAlarms {
    FalseAlarms {
        per_hundred_good_boards: criteria.false_alarms_per_hundred,
        least_difference: criteria.least_difference.value().abs(),
    }
}

/// Learns from the good boards; says why it cannot.
pub(super) fn learn(
    session: &Session,
    captures: &[Aligned],
    good: &[Frame<SurfaceKelvin>],
    emissivity: &Frame<EmissivityFraction>,
    footprints: &[Footprint],
) -> Result<PopulationBaseline, String> {
    if captures.len() < LEAST_BOARDS {
        return Err(match captures.len() {
            1 => "one known-good board says nothing of how good boards differ".to_owned(),
            _ => {
                "two known-good boards say too little of how good boards differ: three are needed".to_owned()
            }
        });
    }
    let boards: Vec<_> = captures
        .iter()
        .zip(good)
        .map(|(capture, temperature)| GoodBoard {
            serial: serial(session, capture),
            capture: capture.hash.clone(),
            temperature,
            ambient: conditions(session, &capture.hash).0,
        })
        .collect();
    PopulationBaseline::learn(&boards, Some(emissivity), footprints).map_err(|error| error.to_string())
}

/// A board's serial number, or its file's name where it states none.
fn serial(session: &Session, capture: &Aligned) -> String {
    session.capture(&capture.hash).map_or_else(String::new, |record| {
        let serial = &record.metadata.board.serial;
        if serial.is_empty() { record.file_name.clone() } else { serial.clone() }
    })
}

/// What a unit is judged with.
pub(super) struct Setting<'a> {
    pub(super) criteria: &'a Criteria,
    pub(super) boards: &'a GoodBoards,
    pub(super) population: &'a PopulationBaseline,
    /// The board's map and what it conducts and loses, where they are known.
    pub(super) board: Option<KnownBoard<'a>>,
    /// Noise of one pixel of the unit and of a good board.
    pub(super) netd: [KelvinDifference; 2],
}

/// Judges the unit; says why it cannot.
pub(super) fn judge(
    setting: &Setting<'_>,
    captured: &Aligned,
    unit: &Frame<SurfaceKelvin>,
) -> Result<Judged, String> {
    let Setting { criteria, boards, population, netd: [unit_netd, baseline_netd], .. } = *setting;
    let beyond = |own: f64, usual: f64| (own * own - usual * usual).max(0.0).sqrt();
    let residuals = boards.captures().iter().filter_map(|board| board.alignment.as_ref());
    let (sum, count) = residuals.fold((0.0, 0.0), |(sum, count), a| (sum + a.residual_px, count + 1.0));
    let usual_residual = if count > 0.0 { sum / count } else { 0.0 };
    let residual = captured.alignment.as_ref().map_or(0.0, |alignment| alignment.residual_px);
    let further = FurtherUncertainty {
        noise: KelvinDifference::known(beyond(unit_netd.value(), baseline_netd.value())),
        misalignment_px: beyond(residual, usual_residual),
    };
    let false_alarms = allowed(criteria);
    let (judged, sources) = population
        .judge_apart(unit, further, false_alarms, setting.board)
        .map_err(|error| error.to_string())?;

    let pixel_critical = population.pixel_critical(false_alarms);
    let least = false_alarms.least_difference as f32;
    let spreads = population.spread.as_slice().iter().zip(judged.standing.as_slice());
    let tolerance = judged
        .difference
        .as_slice()
        .iter()
        .zip(spreads)
        // Difference over standing is the spread with what this unit's capture adds to it.
        .map(
            |(difference, (spread, standing))| if *standing == 0.0 { *spread } else { difference / standing },
        )
        .map(|spread| if spread.is_nan() { f32::NAN } else { (pixel_critical as f32 * spread).max(least) })
        .collect();
    let (rows, columns) = judged.difference.shape();
    let tolerance = Frame::from_rows(rows, columns, tolerance).map_err(|error| error.to_string())?;
    let places = sources
        .iter()
        .filter_map(|source| {
            let anomaly = judged.anomalies.get(source.anomaly)?;
            let mut bathed: Vec<_> =
                source.bathed.iter().filter_map(|&other| judged.anomalies.get(other)).collect();
            let away = |other: &Anomaly| other.peak.distance(anomaly.peak);
            bathed.sort_by(|one, other| away(one).total_cmp(&away(other)));
            let mut place = called(anomaly, pixel_critical, least.into());
            let own = anomaly.designator.as_ref();
            let names = bathed.into_iter().flat_map(|other| other.designator.iter().chain(&other.also));
            for name in names.filter(|name| Some(*name) != own) {
                if !place.chance.bathed.contains(name) {
                    place.chance.bathed.push(name.clone());
                }
            }
            place.chance.watts = source.watts.map(|watts| [watts.value, watts.standard_uncertainty]);
            Some(place)
        })
        .collect();
    Ok(Judged {
        baseline: population.mean.clone(),
        difference: judged.difference,
        called: Called {
            tolerance,
            places,
            judged: JudgedParts {
                part_critical: population.part_critical(false_alarms),
                report: AgainstSpread {
                    baseline: population.summary.clone(),
                    nuisance: judged.nuisance,
                    parts: judged.parts,
                    false_alarms,
                },
            },
        },
    })
}

/// The board as a plate: its size by its marked corners, its loss of heat by the good boards' power.
pub(super) fn plate(
    session: &Session,
    boards: &GoodBoards,
    mean: &Frame<SurfaceKelvin>,
    map: &Homography<BoardMillimeters, BaselinePixels>,
) -> Option<BoardPlate> {
    let extent = |read: fn(&Point<BoardMillimeters>) -> f64| {
        let places = session.layout.corners.iter().map(|corner| read(&corner.board));
        places
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
    };
    let ((left, right), (bottom, top)) = (extent(|place| place.x), extent(|place| place.y));
    // The plate's corner is the board's origin; elsewhere its places cannot be told.
    let at_origin = left.abs() <= ORIGIN_MM && bottom.abs() <= ORIGIN_MM;
    if !(at_origin && right > 0.0 && top > 0.0) {
        return None;
    }
    let size_mm = [right, top];
    let each: Vec<_> = boards.captures().iter().map(|board| conditions(session, &board.hash)).collect();
    let count = each.len() as f64;
    let ambient = each.iter().map(|(ambient, _)| ambient.value()).sum::<f64>() / count;
    let powers: Option<Vec<Watts>> = each.iter().map(|(_, power)| *power).collect();
    let film = powers
        .and_then(|powers| Watts::new(powers.iter().map(|power| power.value()).sum::<f64>() / count).ok())
        .and_then(|power| {
            let rise = mean_over_board(mean, map, size_mm)? - ambient;
            Some(film_from_heat_balance(power, rise, size_mm))
        })
        .filter(|film| PLAUSIBLE_FILM.contains(film));
    Some(BoardPlate { size_mm, film: film.unwrap_or(USUAL_FILM), sheet_conductance: None })
}

/// A board's corner this near to (0, 0) counts as its origin, mm.
const ORIGIN_MM: f64 = 0.5;
/// Both faces together in still air, radiation included, W/m²K (common practice, no source).
const USUAL_FILM: f64 = 20.0;
/// Outside of this a heat balance rests on something else than the board's faces, W/m²K.
const PLAUSIBLE_FILM: std::ops::RangeInclusive<f64> = 8.0..=80.0;

/// Mean over places of the board a millimetre apart, K.
fn mean_over_board(
    picture: &Frame<SurfaceKelvin>,
    map: &Homography<BoardMillimeters, BaselinePixels>,
    [width, height]: [f64; 2],
) -> Option<f64> {
    let places = (0..height as usize).flat_map(|y| (0..width as usize).map(move |x| (x, y)));
    let values = places.filter_map(|(x, y)| {
        let pixel = map.apply(Point::new(x as f64 + 0.5, y as f64 + 0.5));
        let inside = pixel.x >= 0.0 && pixel.y >= 0.0;
        inside.then(|| picture.at(pixel.y.round() as usize, pixel.x.round() as usize)).flatten()
    });
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + f64::from(value), count + 1.0));
    (count > 0.0).then(|| sum / count)
}

fn called(anomaly: &Anomaly, critical: f64, least: f64) -> CalledPlace {
    let needed = (critical * anomaly.standard_uncertainty).max(least);
    CalledPlace {
        peak_at: anomaly.peak,
        peak: KelvinDifference::known(anomaly.difference),
        // A wide place counts by its many pixels, though no single one does.
        significance: (anomaly.difference.abs() / needed).max(1.0),
        chance: Chance {
            spread: KelvinDifference::known(anomaly.standard_uncertainty),
            probability: anomaly.probability,
            bathed: anomaly.also.clone(),
            watts: None,
        },
    }
}

impl JudgedParts {
    /// A part's mean is told better than its pixels: what it takes to call it follows from its own spread.
    pub(super) fn tell_parts(&self, readings: &mut [PartReading]) {
        for reading in readings {
            let standing = self.report.parts.iter().find(|part| part.designator == reading.designator);
            if let Some(spread) = standing.and_then(|part| part.spread) {
                let needed = (self.part_critical * spread).max(self.report.false_alarms.least_difference);
                reading.callable = Some(KelvinDifference::known(needed));
            }
        }
    }
}
