//! The live preview: a capture's surface temperature, corrected on the page itself while a person drags.

use std::sync::Arc;

use analysis::capture::CornerMark;
use analysis::comparison::{board_to_picture, surroundings};
use analysis::content_hash::ContentHash;
use analysis::frame::{EmissivityFraction, Frame, SurfaceKelvin};
use analysis::geometry::BaselinePixels;
use analysis::radiometry::{Band, BandTable, correct};
use analysis::session::Session;
use analysis::surface::{Surface, emissivity_map};
use leptos::prelude::*;

use super::Store;

/// A capture corrected on the spot.
#[derive(Debug, Clone)]
pub struct Preview {
    /// Its surface temperature.
    pub temperature: Arc<Frame<SurfaceKelvin>>,
    /// The emissivity that each pixel was corrected with.
    pub emissivity: Arc<Frame<EmissivityFraction>>,
}

/// What is costly to prepare and often the same: kept from one preview to the next.
#[derive(Debug, Default)]
pub(super) struct Prepared {
    table: Option<Arc<BandTable>>,
    emissivity: Option<(Painted, Arc<Frame<EmissivityFraction>>)>,
}

/// What the emissivity of every pixel depends on.
#[derive(Debug, Clone, PartialEq)]
struct Painted {
    surface: Surface,
    corners: Vec<CornerMark<BaselinePixels>>,
    shape: (usize, usize),
    picture: Option<ContentHash>,
}

impl Prepared {
    fn table(&mut self, band: Band) -> Arc<BandTable> {
        match &self.table {
            Some(table) if table.band() == band => Arc::clone(table),
            _ => {
                let table = Arc::new(BandTable::new(band));
                self.table = Some(Arc::clone(&table));
                table
            }
        }
    }

    fn emissivity(
        &mut self,
        session: &Session,
        shape: (usize, usize),
        picture: Option<(ContentHash, Arc<Frame<EmissivityFraction>>)>,
    ) -> Option<Arc<Frame<EmissivityFraction>>> {
        // A picture of another size belongs to another camera; the comparison says so, the preview goes without.
        let picture = picture.filter(|(_, frame)| frame.shape() == shape);
        let painted = Painted {
            surface: session.surface.clone(),
            corners: session.layout.corners.clone(),
            shape,
            picture: picture.as_ref().map(|(hash, _)| hash.clone()),
        };
        if let Some((earlier, frame)) = &self.emissivity
            && *earlier == painted
        {
            return Some(Arc::clone(frame));
        }
        let board_to_picture = board_to_picture(&session.layout).ok().flatten();
        let picture = picture.as_ref().map(|(_, frame)| frame.as_ref());
        let frame = emissivity_map(&session.surface, shape, board_to_picture.as_ref(), picture).ok()?;
        let frame = Arc::new(frame);
        self.emissivity = Some((painted, Arc::clone(&frame)));
        Some(frame)
    }
}

impl Store {
    /// A capture's surface temperature in its own pixels, corrected on the spot with the session's surface
    /// and surroundings, for a live preview. Regions lie on the baseline's pixels, so in another capture
    /// they are only right where it lies as the baseline does. Reactive.
    #[must_use]
    pub fn corrected(self, hash: &ContentHash) -> Option<Preview> {
        let apparent = self.apparent(hash)?;
        let session = self.session.get();
        let band = session.capture(hash).and_then(|record| record.metadata.band).unwrap_or(session.band);
        let picture = self.emissivity_picture.get();
        let (table, emissivity) = self.engine.try_update_value(|engine| {
            let emissivity = engine.prepared.emissivity(&session, apparent.shape(), picture)?;
            Some((engine.prepared.table(band), emissivity))
        })??;
        let corrected = correct(&apparent, &emissivity, &surroundings(&session, hash), &table).ok()?;
        Some(Preview { temperature: Arc::new(corrected.temperature), emissivity })
    }
}
