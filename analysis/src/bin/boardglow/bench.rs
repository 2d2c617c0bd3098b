//! What every task begins with: settings, emissivities and the board's parts, in one session.

use std::path::Path;
use std::sync::Arc;

use analysis::capture::{PageChoice, read_pixels};
use analysis::comparison::Shelf;
use analysis::content_hash::ContentHash;
use analysis::radiometry::Surroundings;
use analysis::session::{Command, Session};
use analysis::surface::Surface;
use analysis::units::Kelvin;

use crate::arguments::{BenchArguments, BoardArguments};
use crate::bad_input::{BadInput, read_bytes};
use crate::board_tables::board_commands;
use crate::capture_file::{CaptureFile, file_name};
use crate::outputs::Original;
use crate::tell;

/// The session with the pixels and files of its captures.
#[derive(Clone)]
pub(crate) struct Bench {
    pub(crate) session: Session,
    pub(crate) shelf: Shelf,
    pub(crate) originals: Vec<Original>,
}

impl Bench {
    /// A session with the surroundings that are stated.
    pub(crate) fn at(arguments: &BenchArguments) -> Result<Self, BadInput> {
        let mut bench = Self::mirroring(arguments.board.reflected)?;
        if let Some(celsius) = arguments.ambient {
            let ambient = kelvin("--ambient", celsius)?;
            bench.apply(Path::new("settings"), Command::SetAmbient { ambient })?;
        }
        Ok(bench)
    }

    /// A session with a reflected apparent temperature, °C; the usual one is told.
    pub(crate) fn mirroring(reflected: Option<f64>) -> Result<Self, BadInput> {
        let mut bench = Self { session: Session::default(), shelf: Shelf::new(), originals: Vec::new() };
        match reflected {
            Some(celsius) => {
                let reflected = kelvin("--reflected", celsius)?;
                let surroundings = Surroundings { reflected, ..Surroundings::default() };
                bench.apply(Path::new("settings"), Command::SetSurroundings { surroundings })?;
            }
            None => {
                tell("note: --reflected is not stated: a reflected apparent temperature of 23 °C is taken")
            }
        }
        Ok(bench)
    }

    pub(crate) fn apply(&mut self, path: &Path, command: Command) -> Result<(), BadInput> {
        self.session.apply(command).map_err(|source| BadInput::Refused { path: path.to_owned(), source })
    }

    /// Puts a capture into the session and its pixels on the shelf.
    pub(crate) fn take(&mut self, path: &Path, capture: CaptureFile) -> Result<(), BadInput> {
        let CaptureFile { record, bytes, pixels } = capture;
        let (hash, file_name) = (record.hash.clone(), record.file_name.clone());
        self.apply(path, Command::AddCapture { record })?;
        self.shelf.insert(hash, pixels);
        self.originals.push(Original { file_name, bytes: Arc::new(bytes) });
        Ok(())
    }

    /// Emissivities and parts, once the capture is there on whose pixels they lie.
    pub(crate) fn lay_out(&mut self, arguments: &BenchArguments) -> Result<(), BadInput> {
        if let Some(path) = &arguments.emissivity {
            self.use_emissivity(path)?;
        }
        self.place_parts(&arguments.board, "the first baseline, or of the unit without one,")
    }

    /// Parts and outline, once the corners are marked that `whose` JSON file states.
    pub(crate) fn place_parts(&mut self, arguments: &BoardArguments, whose: &str) -> Result<(), BadInput> {
        for (path, command) in board_commands(arguments)? {
            self.apply(&path, command)?;
        }
        if let Some(path) = arguments.placement.first() {
            if self.session.layout.corners.len() < 4 {
                tell(&format!(
                    "{}: note: parts cannot be placed: the JSON file of {whose} states fewer than four corners",
                    path.display()
                ));
            }
            self.apply(path, Command::ShowSide { side: arguments.side.into() })?;
        }
        Ok(())
    }

    /// A picture or a statement of regions, told apart by content.
    fn use_emissivity(&mut self, path: &Path) -> Result<(), BadInput> {
        let bytes = read_bytes(path)?;
        if bytes.trim_ascii_start().starts_with(b"{") {
            let surface: Surface = serde_json::from_slice(&bytes)
                .map_err(|error| BadInput::Emissivity { path: path.to_owned(), what: error.to_string() })?;
            if surface.map.is_some() {
                let what =
                    "it names an emissivity picture, which only --emissivity MAP.tif can give".to_owned();
                return Err(BadInput::Emissivity { path: path.to_owned(), what });
            }
            self.apply(path, Command::SetWholeFinish { finish: surface.whole })?;
            for region in surface.regions {
                self.apply(path, Command::AddRegion { region })?;
            }
            return Ok(());
        }
        let pixels = read_pixels(&path.display().to_string(), &bytes, PageChoice::First)?.pixels;
        let hash = ContentHash::of(&bytes);
        self.apply(path, Command::UseEmissivityMap { map: Some(hash.clone()), uncertainty: None })?;
        self.shelf.insert(hash, Arc::new(pixels));
        self.originals.push(Original { file_name: file_name(path), bytes: Arc::new(bytes) });
        Ok(())
    }
}

fn kelvin(argument: &'static str, celsius: f64) -> Result<Kelvin, BadInput> {
    Kelvin::from_celsius(celsius).map_err(|source| BadInput::Argument { argument, source })
}
