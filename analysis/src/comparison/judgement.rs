//! The fast half of the main job: correct, subtract, find and name.

use super::against_spread::{self, Called, JudgedBy};
use super::alignment::{Aligned, GoodBoards, Shelf, stated_picture};
use super::conditions::{at_least_as_seen, conditions, netd, of_difference, seen_noise, surroundings};
use super::part_power::part_powers;
use super::{CannotCompare, Comparison, SetAside, board_to_picture};
use crate::board::{Footprint, footprints};
use crate::frame::{EmissivityFraction, EmissivityUncertainty, Frame, SurfaceKelvin};
use crate::inspection::{
    Basis, Datasheet, Exposure, Nets, PartPictures, Rule, describe, difference, find, read_parts,
    suggest_probes, tolerance,
};
use crate::noise::{Pixels, estimate_noise};
use crate::population::{BoardPlate, PopulationBaseline};
use crate::radiometry::{Corrected, correct};
use crate::session::Session;
use crate::surface::{emissivities_of, emissivity_map, emissivity_uncertainty_map};
use crate::uncertainty::{DifferenceSetting, certainty};

/// An aligned capture as surface temperature, with the session's surface and surroundings.
///
/// # Errors
/// [`CannotCompare::Shape`] when the emissivities are of another size.
pub fn surface_of(
    session: &Session,
    capture: &Aligned,
    emissivity: &Frame<EmissivityFraction>,
) -> Result<Corrected, CannotCompare> {
    Ok(correct(&capture.apparent, emissivity, &surroundings(session, &capture.hash), &capture.table)?)
}

/// The emissivity of every pixel of the baseline, as the session states it.
///
/// # Errors
/// [`CannotCompare::MissingEmissivityPicture`], [`CannotCompare::Corners`] and [`CannotCompare::Shape`].
pub fn emissivity_of_baseline(
    session: &Session,
    shelf: &Shelf,
    shape: (usize, usize),
) -> Result<Frame<EmissivityFraction>, CannotCompare> {
    let picture = stated_picture(&session.surface.map, shelf, emissivities_of)?;
    let board_to_picture = board_to_picture(&session.layout)?;
    Ok(emissivity_map(&session.surface, shape, board_to_picture.as_ref(), picture.as_ref())?)
}

/// What the known-good boards say before any unit is looked at.
///
/// It depends on them, on the surface and on the board's layout, not on the unit or the limits: units that
/// follow one another share it.
#[derive(Debug, Clone)]
pub struct LearnedBaseline {
    /// The emissivity each pixel is corrected with.
    emissivity: Frame<EmissivityFraction>,
    emissivity_uncertainty: Frame<EmissivityUncertainty>,
    /// The corrected captures, in the order of the boards.
    good: Vec<Frame<SurfaceKelvin>>,
    /// The visible parts' bodies.
    footprints: Vec<Footprint>,
    /// How the boards differ among themselves, or why that cannot be told.
    population: Result<PopulationBaseline, String>,
    /// What the board conducts and loses, where its size is known.
    plate: Option<BoardPlate>,
}

impl LearnedBaseline {
    /// How the boards differ among themselves, where there are enough of them.
    #[must_use]
    pub fn population(&self) -> Option<&PopulationBaseline> {
        self.population.as_ref().ok()
    }
}

/// Corrects the known-good boards and learns how they differ.
///
/// # Errors
/// [`CannotCompare::Corners`] and [`CannotCompare::Shape`].
pub fn learn(
    session: &Session,
    boards: &GoodBoards,
    on_step: &mut dyn FnMut(&str),
) -> Result<LearnedBaseline, CannotCompare> {
    let shape = boards.reference()?.apparent.shape();
    let board_to_picture = board_to_picture(&session.layout)?;
    on_step("Laying emissivities");
    let emissivity = emissivity_map(
        &session.surface,
        shape,
        board_to_picture.as_ref(),
        boards.emissivity_picture.as_ref(),
    )?;
    let emissivity_uncertainty = emissivity_uncertainty_map(
        &session.surface,
        shape,
        board_to_picture.as_ref(),
        boards.emissivity_uncertainty_picture.as_ref(),
    )?;
    on_step("Correcting the known-good boards");
    let corrected = |capture| Ok(surface_of(session, capture, &emissivity)?.temperature);
    let good = boards.captures().iter().map(corrected).collect::<Result<Vec<_>, CannotCompare>>()?;
    let footprints = board_to_picture
        .as_ref()
        .map(|map| footprints(&session.layout.placements, session.layout.side, map))
        .unwrap_or_default();
    on_step("Learning how known-good boards differ");
    let population = match session.criteria.rule {
        Rule::Limit => Err(against_spread::BY_CHOICE.to_owned()),
        Rule::GoodBoardsSpread => {
            against_spread::learn(session, boards.captures(), &good, &emissivity, &footprints)
        }
    };
    let plate = match (&population, &board_to_picture) {
        (Ok(population), Some(map)) => against_spread::plate(session, boards, &population.mean, map),
        _ => None,
    };
    Ok(LearnedBaseline { emissivity, emissivity_uncertainty, good, footprints, population, plate })
}

/// Corrects the unit, subtracts, finds and names. `on_step` hears what is next in hand.
///
/// # Errors
/// [`CannotCompare::Corners`], [`CannotCompare::Difference`] and [`CannotCompare::Shape`].
pub fn judge(
    session: &Session,
    boards: &GoodBoards,
    learned: &LearnedBaseline,
    captured: &Aligned,
    on_step: &mut dyn FnMut(&str),
) -> Result<Comparison, CannotCompare> {
    let reference = boards.reference()?;
    let alignment = captured.alignment.clone().ok_or(CannotCompare::NoUnit)?;
    let board_to_picture = board_to_picture(&session.layout)?;
    let map = board_to_picture.as_ref();
    let LearnedBaseline { emissivity, emissivity_uncertainty, good, footprints, .. } = learned;

    on_step("Correcting");
    let unit = surface_of(session, captured, emissivity)?;
    let stated = [captured, reference].map(|capture| netd(session, &capture.hash));
    let seen = seen_noise(&captured.apparent, &reference.apparent);
    let [unit_netd, baseline_netd] = at_least_as_seen(stated, seen);

    on_step("Subtracting");
    let against_spread = match &learned.population {
        Err(why) => Err(why.clone()),
        Ok(population) => {
            let setting = against_spread::Setting {
                criteria: &session.criteria,
                boards,
                population,
                board: map.zip(learned.plate),
                netd: [unit_netd, baseline_netd],
            };
            against_spread::judge(&setting, captured, &unit.temperature)
        }
    };
    let (baseline, difference, unit_gain, called) = match against_spread {
        Ok(judged) => (judged.baseline, judged.difference, 1.0, Ok(judged.called)),
        Err(why) => {
            let exposure = |capture: &Aligned, temperature| {
                let (ambient, power) = conditions(session, &capture.hash);
                Exposure { temperature, ambient, power }
            };
            let exposures: Vec<_> =
                boards.captures().iter().zip(good).map(|(capture, frame)| exposure(capture, frame)).collect();
            let map = difference(&exposures, &exposure(captured, &unit.temperature), session.criteria.basis)?;
            (map.baseline, map.difference, map.unit_gain, Err((why, map.spread)))
        }
    };

    let noise = estimate_noise(&difference, Pixels::Interpolated);
    on_step("Weighing uncertainties");
    let certainty = certainty(
        &DifferenceSetting {
            unit: &unit.temperature,
            baseline: &baseline,
            baseline_apparent: &reference.apparent,
            baselines: good.len(),
            emissivity,
            emissivity_uncertainty,
            unit_surroundings: &surroundings(session, &captured.hash),
            baseline_surroundings: &surroundings(session, &reference.hash),
            unit_table: &captured.table,
            baseline_table: &reference.table,
            unit_netd,
            baseline_netd,
            residual_px: alignment.residual_px,
            above_ambient: called.is_ok() || session.criteria.basis != Basis::Absolute,
            unit_gain,
        },
        &session.input_uncertainty,
    )?;
    on_step("Finding");
    let pixel_pitch = session.capture(&reference.hash).and_then(|record| record.metadata.pixel_pitch);
    let (tolerance, findings, judged) = match called {
        Ok(Called { tolerance, places, judged }) => {
            let findings = describe(&difference, &tolerance, &places, footprints, map, pixel_pitch)?;
            (tolerance, findings, Ok(judged))
        }
        Err((why, spread)) => {
            let tolerance = tolerance(&certainty.between_equals, spread.as_ref(), &session.criteria)?;
            let findings = find(&difference, &tolerance, &session.criteria, footprints, map, pixel_pitch)?;
            (tolerance, findings, Err(why))
        }
    };
    on_step("Reading parts");
    let pictures = PartPictures {
        unit: &unit.temperature,
        unit_uncertainty: &certainty.unit,
        difference: &difference,
        tolerance: &tolerance,
    };
    let datasheet = Datasheet {
        limits: &session.layout.limits,
        powers: &part_powers(session, &findings),
        path_share: session.datasheet.path_share,
    };
    let mut parts = read_parts(&pictures, footprints, &datasheet)?;
    if let Ok(judged) = &judged {
        judged.tell_parts(&mut parts);
    }
    let layout = &session.layout;
    let nets = Nets::new(&layout.netlist, layout.side, &layout.placements, map);
    let probes = suggest_probes(&findings, &parts, &layout.placements, nets.as_ref());
    let judged_by = match judged {
        Err(why) => JudgedBy::Limit { why },
        Ok(judged) => JudgedBy::GoodBoardsSpread(Box::new(judged.report)),
    };

    Ok(Comparison {
        unit_capture: captured.hash.clone(),
        emissivity: emissivity.clone(),
        emissivity_uncertainty: emissivity_uncertainty.clone(),
        baseline,
        baseline_count: good.len(),
        unit: unit.temperature,
        difference,
        unit_uncertainty: certainty.unit,
        difference_uncertainty: certainty.difference,
        spread: learned.population().map(|population| population.spread.clone()),
        tolerance,
        alignment,
        left_out: boards.left_out.clone(),
        noise: noise.unwrap_or_else(|| of_difference([unit_netd, baseline_netd], good.len())),
        netd: [unit_netd, baseline_netd],
        unit_gain,
        judged_by,
        rejected: unit.rejected,
        set_aside: SetAside {
            unit: captured.set_aside,
            baselines: boards.captures().iter().map(|board| board.set_aside).sum(),
        },
        findings,
        footprints: footprints.clone(),
        parts,
        probes,
    })
}
