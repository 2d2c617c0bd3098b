//! What this bench can call: repeat captures of one board, from files to limits.

use crate::board::footprints;
use crate::capability::{NoStudy, RegionPixels, Repeatability, RepeatabilitySettings, repeatability};
use crate::comparison::{
    CannotCompare, Shelf, board_to_picture, emissivity_of_baseline, netd, on_baseline, surface_of,
};
use crate::content_hash::ContentHash;
use crate::session::Session;

/// Smaller bodies than this many pixels say more of the camera's pixels than of the bench.
const LEAST_PIXELS: usize = 9;
/// Without placed parts the picture is read in this many fields each way.
const FIELDS: usize = 3;

/// Why there is no study.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotStudy {
    /// The captures could not be brought onto the baseline or read.
    #[error(transparent)]
    Captures(#[from] CannotCompare),
    /// The scatter could not be taken apart.
    #[error(transparent)]
    Study(#[from] NoStudy),
}

/// The study of `captures`, each a placement of the same board, which is the session's first baseline.
///
/// Regions are the visible parts' bodies; where none is placed, nine fields of the picture. Surface temperatures
/// are compared, so the emissivities stated are those that the limits hold for.
///
/// # Errors
/// [`CannotStudy`], which names the file and says what to do.
pub fn repeat_study(
    session: &Session,
    shelf: &Shelf,
    captures: &[ContentHash],
    settings: RepeatabilitySettings,
    on_progress: &mut dyn FnMut(f64, &str),
) -> Result<Repeatability, CannotStudy> {
    let aligned = on_baseline(session, shelf, captures, on_progress)?;
    let Some(shape) = aligned.first().map(|capture| capture.apparent.shape()) else {
        return Err(NoStudy::NoRegions.into());
    };
    let emissivity = emissivity_of_baseline(session, shelf, shape)?;
    let mut placements = Vec::with_capacity(aligned.len());
    for capture in &aligned {
        placements.push(vec![surface_of(session, capture, &emissivity)?.temperature]);
    }
    let pixel_noise = settings.pixel_noise.or_else(|| captures.first().map(|hash| netd(session, hash)));
    let settings = RepeatabilitySettings { pixel_noise, ..settings };
    Ok(repeatability(&placements, &regions(session, shape)?, &settings)?)
}

fn regions(session: &Session, shape: (usize, usize)) -> Result<Vec<RegionPixels>, CannotCompare> {
    let (rows, columns) = shape;
    let Some(map) = board_to_picture(&session.layout)? else { return Ok(fields(rows, columns)) };
    let bodies = footprints(&session.layout.placements, session.layout.side, &map);
    let regions: Vec<_> = bodies
        .iter()
        .map(|body| {
            let runs = body.pixel_runs(shape).into_iter();
            let pixels = runs.flat_map(|(row, run)| run.map(move |column| row * columns + column)).collect();
            RegionPixels { name: body.designator.clone(), pixels }
        })
        .filter(|region: &RegionPixels| region.pixels.len() >= LEAST_PIXELS)
        .collect();
    Ok(if regions.is_empty() { fields(rows, columns) } else { regions })
}

/// The picture cut into equal fields, named by row and column.
fn fields(rows: usize, columns: usize) -> Vec<RegionPixels> {
    let cut = |length: usize, part: usize| length * part / FIELDS..length * (part + 1) / FIELDS;
    let field = |down: usize, across: usize| RegionPixels {
        name: format!("field {}.{}", down + 1, across + 1),
        pixels: cut(rows, down)
            .flat_map(|row| cut(columns, across).map(move |column| row * columns + column))
            .collect(),
    };
    (0..FIELDS).flat_map(|down| (0..FIELDS).map(move |across| field(down, across))).collect()
}
