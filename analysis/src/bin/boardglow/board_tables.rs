//! The files of the board's parts and outline that the command line was given.

use std::path::Path;

use analysis::board::{BoardFileError, GerberLayer, is_gerber, parse_gerber, parse_placements};
use analysis::session::Command;

use crate::arguments::LengthArgument;
use crate::bad_input::{BadInput, read_text};
use crate::capture_file::file_name;
use crate::tell;

/// What a placement table or a Gerber layer says of the board. Oddities are told; a unit that nobody stated is an error.
pub(crate) fn placement_command(path: &Path, unit: Option<LengthArgument>) -> Result<Command, BadInput> {
    let (shown, text) = (path.display().to_string(), read_text(path)?);
    let file_name = file_name(path);
    let (command, warnings): (_, Vec<String>) = if is_gerber(&text) {
        let (layer, warnings) = parse_gerber(&shown, &text)?;
        let command = match layer {
            GerberLayer::Outline(outline) => Command::LoadOutline { file_name, outline },
            GerberLayer::Components { side, placements } => {
                Command::LoadComponentLayer { file_name, side, placements }
            }
        };
        (command, warnings.iter().map(ToString::to_string).collect())
    } else {
        let parsed = parse_placements(&shown, &text, unit.map(Into::into));
        let (placements, warnings) = parsed.map_err(|source| match source {
            BoardFileError::UnitUnstated { .. } => {
                BadInput::LengthUnit { path: path.to_owned(), source: Box::new(source) }
            }
            _ => source.into(),
        })?;
        let command = Command::LoadPlacements { file_name, placements };
        (command, warnings.iter().map(ToString::to_string).collect())
    };
    for warning in warnings {
        tell(&format!("{shown}: note: {warning}"));
    }
    Ok(command)
}
