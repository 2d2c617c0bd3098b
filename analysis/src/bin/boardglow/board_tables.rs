//! The placement file that the command line was given.

use std::path::Path;

use analysis::board::{BoardFileError, Placement, parse_placements};

use crate::arguments::LengthArgument;
use crate::bad_input::{BadInput, read_text};
use crate::tell;

/// The parts of a placement file. Oddities are told; a unit that nobody stated is an error.
pub(crate) fn placements_of(path: &Path, unit: Option<LengthArgument>) -> Result<Vec<Placement>, BadInput> {
    let shown = path.display().to_string();
    let parsed = parse_placements(&shown, &read_text(path)?, unit.map(Into::into));
    let (placements, warnings) = parsed.map_err(|source| match source {
        BoardFileError::UnitUnstated { .. } => {
            BadInput::LengthUnit { path: path.to_owned(), source: Box::new(source) }
        }
        _ => source.into(),
    })?;
    for warning in warnings {
        tell(&format!("{shown}: note: {warning}"));
    }
    Ok(placements)
}
