//! The files of the board's parts and outline that the command line was given.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use analysis::board::{BoardFileError, Placement, Side, is_gerber, parse_gerber, parse_placements};
use analysis::session::Command;

use crate::arguments::{BoardArguments, LengthArgument};
use crate::bad_input::{BadInput, read_text};
use crate::capture_file::file_name;
use crate::tell;

/// What the placement files say of the board, each with the file to name if it is refused: the parts of all of them
/// together, and outlines. A part that stands in two files counts as in the first; that is told.
pub(crate) fn board_commands(arguments: &BoardArguments) -> Result<Vec<(PathBuf, Command)>, BadInput> {
    let mut commands = Vec::new();
    let mut parts = JoinedParts::default();
    for path in &arguments.placement {
        match placement_command(path, arguments.placement_unit)? {
            Command::LoadPlacements { file_name, placements }
            | Command::LoadComponentLayer { file_name, placements, .. } => {
                parts.take(path, file_name, placements);
            }
            outline => commands.push((path.clone(), outline)),
        }
    }
    commands.extend(parts.command());
    Ok(commands)
}

/// The parts of several files.
#[derive(Default)]
struct JoinedParts {
    files: Vec<(PathBuf, String, Option<Side>)>,
    placements: Vec<Placement>,
    /// Which of the files has a designator, by its place in `files`.
    found_in: BTreeMap<String, usize>,
}

impl JoinedParts {
    fn take(&mut self, path: &Path, file_name: String, placements: Vec<Placement>) {
        let here = self.files.len();
        self.files.push((path.to_owned(), file_name, placements.first().map(|part| part.side)));
        let mut repeated: BTreeMap<usize, Vec<String>> = BTreeMap::new();
        for part in placements {
            match self.found_in.get(&part.designator) {
                Some(&earlier) if earlier != here => {
                    repeated.entry(earlier).or_default().push(part.designator);
                }
                _ => {
                    self.found_in.insert(part.designator.clone(), here);
                    self.placements.push(part);
                }
            }
        }
        for (earlier, designators) in repeated {
            let earlier = self.files[earlier].0.display();
            tell(&format!(
                "{}: note: left out, as {earlier} has them already: {}",
                path.display(),
                designators.join(", ")
            ));
        }
    }

    /// One command with all of them; the top side's file is named first, as a session does.
    fn command(mut self) -> Option<(PathBuf, Command)> {
        let (path, ..) = self.files.first()?.clone();
        self.files.sort_by_key(|(.., side)| *side == Some(Side::Bottom));
        let names: Vec<String> = self.files.into_iter().map(|(_, name, _)| name).collect();
        let command = Command::LoadPlacements { file_name: names.join(", "), placements: self.placements };
        Some((path, command))
    }
}

/// What a placement table or a Gerber layer says of the board. Oddities are told; a unit that nobody stated is an error.
fn placement_command(path: &Path, unit: Option<LengthArgument>) -> Result<Command, BadInput> {
    let (shown, text) = (path.display().to_string(), read_text(path)?);
    let file_name = file_name(path);
    let (command, warnings): (_, Vec<String>) = if is_gerber(&text) {
        let (layer, warnings) = parse_gerber(&shown, &text)?;
        (Command::load_layer(file_name, layer), warnings.iter().map(ToString::to_string).collect())
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
