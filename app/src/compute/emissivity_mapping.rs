//! The emissivity of every pixel from captures of the soaked board, worked out in the worker.

use analysis::capture::encode_tiff;
use analysis::comparison::soaked_frames;
use analysis::procedure::{EmissivityMap, SoakedMap};
use analysis::session::Session;

use super::handle::{Failure, Report, Workbench};
use super::protocol::{Buffer, Outcome};

const NOTHING_CHANGED: &str = "The session is as it was.";

/// How much of the work aligning takes, roughly.
const ALIGNING: f64 = 0.8;

impl Workbench {
    /// Works the map out; its files come back as bytes.
    pub(super) fn map_emissivity(
        &mut self,
        session: &Session,
        entered: SoakedMap,
        report: &mut Report<'_>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let frames = soaked_frames(session, &self.shelf(), &entered, &mut |fraction, file_name| {
            report(&format!("Aligning {file_name}"), fraction * ALIGNING);
        })
        .map_err(|error| Failure::new(error, NOTHING_CHANGED))?;
        report("Working out emissivities", ALIGNING);
        let EmissivityMap { emissivity, uncertainty, outcome, .. } =
            entered.map(&frames).map_err(|error| Failure::new(error, NOTHING_CHANGED))?;
        let files = [encode_tiff(&emissivity), encode_tiff(&uncertainty)];
        let mut buffers = Vec::with_capacity(files.len());
        for bytes in files {
            buffers.push(Buffer::Bytes(bytes.map_err(|error| Failure::new(error, NOTHING_CHANGED))?));
        }
        Ok((Outcome::EmissivityMapped { entered: Box::new(entered), map: Box::new(outcome) }, buffers))
    }
}
