//! The live preview: a capture's surface temperature, corrected on the page itself while a person drags.

use std::sync::Arc;

use analysis::content_hash::ContentHash;
use analysis::frame::{EmissivityFraction, Frame, SurfaceKelvin};
use analysis::radiometry::{Band, BandTable, correct};
use analysis::session::Session;
use leptos::prelude::*;

use super::Store;

/// What is costly to prepare and often the same: kept from one preview to the next.
#[derive(Debug, Default)]
pub(super) struct Prepared {
    table: Option<Arc<BandTable>>,
    emissivity: Option<(Painted, Arc<Frame<EmissivityFraction>>)>,
}

/// What an emissivity picture depends on.
#[derive(Debug, PartialEq)]
struct Painted {
    surface: analysis::surface::Surface,
    shape: (usize, usize),
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
    ) -> Option<Arc<Frame<EmissivityFraction>>> {
        let painted = Painted { surface: session.surface.clone(), shape };
        if let Some((earlier, frame)) = &self.emissivity
            && *earlier == painted
        {
            return Some(Arc::clone(frame));
        }
        // SHIM: regions follow when `analysis` paints them.
        let value = session.surface.whole.emissivity.value() as f32;
        let frame = Arc::new(Frame::from_rows(shape.0, shape.1, vec![value; shape.0 * shape.1]).ok()?);
        self.emissivity = Some((painted, Arc::clone(&frame)));
        Some(frame)
    }
}

impl Store {
    /// A capture's surface temperature in its own pixels, corrected on the spot with the session's surface
    /// and surroundings, for a live preview. Regions lie on the baseline's pixels, so in another capture
    /// they are only right where it lies as the baseline does. Reactive.
    #[must_use]
    pub fn corrected(self, hash: &ContentHash) -> Option<Arc<Frame<SurfaceKelvin>>> {
        let apparent = self.apparent(hash)?;
        let session = self.session.get();
        let band = session.capture(hash).and_then(|record| record.metadata.band).unwrap_or(session.band);
        let (table, emissivity) = self.engine.try_update_value(|engine| {
            let emissivity = engine.prepared.emissivity(&session, apparent.shape())?;
            Some((engine.prepared.table(band), emissivity))
        })??;
        let corrected = correct(&apparent, &emissivity, &session.surroundings, &table).ok()?;
        Some(Arc::new(corrected.temperature))
    }
}
