//! The comparison itself: the same commands and functions as behind the page.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use analysis::board::{parse_limits, parse_netlist};
use analysis::capture::{PageChoice, read_pixels};
use analysis::comparison::{
    Aligned, Comparison, GoodBoards, LearnedBaseline, LeftOut, Shelf, align_good, align_unit, judge, learn,
};
use analysis::content_hash::ContentHash;
use analysis::inspection::{Criteria, Rule};
use analysis::radiometry::Surroundings;
use analysis::result::UnitAnswer;
use analysis::session::{Command, Role, Session};
use analysis::surface::Surface;
use analysis::units::{Kelvin, KelvinDifference};

use crate::arguments::CompareArguments;
use crate::bad_input::{BadInput, read_bytes, read_text};
use crate::board_tables::placements_of;
use crate::capture_file::{CaptureFile, file_name, read_capture_file};
use crate::outputs::{Original, prepare_folder, write_answer, write_unit};
use crate::tell;

/// How it went.
pub(crate) enum Outcome {
    /// No unit differs and no part is over its limit.
    NothingFound,
    /// Something differs or is over its limit.
    Found,
    /// Some units could not be compared; each was told of.
    SomeUnitsFailed,
}

/// What every unit is held against: baselines and settings, read once.
struct Bench {
    session: Session,
    shelf: Shelf,
    originals: Vec<Original>,
}

/// The known-good boards, aligned and learned from once for all units.
struct Good {
    boards: GoodBoards,
    learned: LearnedBaseline,
}

/// Compares every unit and writes its files.
pub(crate) fn compare(arguments: &CompareArguments) -> Result<Outcome, BadInput> {
    let names = unit_names(arguments)?;
    let bench = Bench::set_up(arguments)?;
    let good = bench.good_boards(arguments)?;
    prepare_folder(&arguments.out)?;
    let mut answers = Vec::new();
    let (mut found, mut failed) = (false, false);
    for (path, name) in arguments.unit.iter().zip(&names) {
        match bench.compare_unit(&good, path, name, &arguments.out) {
            Ok((answer, comparison)) => {
                found |= !comparison.findings.is_empty() || comparison.parts_over_limit().next().is_some();
                answers.push(answer);
            }
            // The other units may still be fine.
            Err(error) => {
                tell(&format!("boardglow: {error}"));
                failed = true;
            }
        }
    }
    write_answer(&arguments.out, &answers)?;
    Ok(if failed {
        Outcome::SomeUnitsFailed
    } else if found {
        Outcome::Found
    } else {
        Outcome::NothingFound
    })
}

fn tell_set_aside(session: &Session, capture: &Aligned) {
    if capture.set_aside > 0 {
        let file_name = session.capture(&capture.hash).map_or("", |record| &record.file_name);
        tell(&format!("{file_name}: note: isolated pixels set aside: {}", capture.set_aside));
    }
}

/// The stems of the units' files, under which their results are written.
fn unit_names(arguments: &CompareArguments) -> Result<Vec<String>, BadInput> {
    let mut taken = BTreeSet::new();
    arguments
        .unit
        .iter()
        .map(|path| {
            let name = path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
            // Some file systems hold "A" and "a" for the same.
            if taken.insert(name.to_lowercase()) { Ok(name) } else { Err(BadInput::SameName { name }) }
        })
        .collect()
}

impl Bench {
    fn set_up(arguments: &CompareArguments) -> Result<Self, BadInput> {
        let mut bench = Self { session: Session::default(), shelf: Shelf::new(), originals: Vec::new() };
        bench.apply_settings(arguments)?;
        for (index, path) in arguments.baseline.iter().enumerate() {
            let capture = read_capture_file(path, Role::Baseline)?;
            if index == 0 {
                let metadata = &capture.record.metadata;
                let corners = metadata.corners.iter().map(|mark| mark.on_baseline()).collect();
                bench.apply(path, Command::MarkCorners { corners })?;
                bench.apply(path, Command::SetConditions { conditions: metadata.conditions.clone() })?;
            }
            bench.take(path, capture)?;
        }
        if let Some(path) = &arguments.emissivity {
            bench.use_emissivity(path)?;
        }
        bench.load_board(arguments)?;
        Ok(bench)
    }

    fn apply(&mut self, path: &Path, command: Command) -> Result<(), BadInput> {
        self.session.apply(command).map_err(|source| BadInput::Refused { path: path.to_owned(), source })
    }

    /// Puts a capture into the session and its pixels on the shelf.
    fn take(&mut self, path: &Path, capture: CaptureFile) -> Result<(), BadInput> {
        let CaptureFile { record, bytes, pixels } = capture;
        let (hash, file_name) = (record.hash.clone(), record.file_name.clone());
        self.apply(path, Command::AddCapture { record })?;
        self.shelf.insert(hash, pixels);
        self.originals.push(Original { file_name, bytes: Arc::new(bytes) });
        Ok(())
    }

    fn apply_settings(&mut self, arguments: &CompareArguments) -> Result<(), BadInput> {
        let nowhere = Path::new("settings");
        let kelvin = |argument, celsius| {
            Kelvin::from_celsius(celsius).map_err(|source| BadInput::Argument { argument, source })
        };
        if let Some(celsius) = arguments.ambient {
            self.apply(nowhere, Command::SetAmbient { ambient: kelvin("--ambient", celsius)? })?;
        }
        match arguments.reflected {
            Some(celsius) => {
                let reflected = kelvin("--reflected", celsius)?;
                let surroundings = Surroundings { reflected, ..Surroundings::default() };
                self.apply(nowhere, Command::SetSurroundings { surroundings })?;
            }
            None => {
                tell("note: --reflected is not stated: a reflected apparent temperature of 23 °C is taken")
            }
        }
        let mut criteria = Criteria { basis: arguments.basis.into(), ..Criteria::default() };
        if let Some(rate) = arguments.false_alarms {
            if !(0.0..=50.0).contains(&rate) {
                return Err(BadInput::FalseAlarms { value: rate });
            }
            criteria.false_alarms_per_hundred = rate;
        }
        if let Some(value) = arguments.limit {
            criteria.rule = Rule::Limit;
            let limit = KelvinDifference::new(value).ok().filter(|limit| limit.value() >= 0.0);
            criteria.limit = limit.ok_or(BadInput::Limit { value })?;
        }
        self.apply(nowhere, Command::SetCriteria { criteria })
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

    fn load_board(&mut self, arguments: &CompareArguments) -> Result<(), BadInput> {
        if let Some(path) = &arguments.placement {
            let placements = placements_of(path, arguments.placement_unit)?;
            if self.session.layout.corners.len() < 4 {
                tell(&format!(
                    "{}: note: parts stay unnamed: the first baseline's JSON file states fewer than four corners",
                    path.display()
                ));
            }
            self.apply(path, Command::LoadPlacements { file_name: file_name(path), placements })?;
            self.apply(path, Command::ShowSide { side: arguments.side.into() })?;
        }
        if let Some(path) = &arguments.limits {
            let shown = path.display().to_string();
            let (limits, warnings) = parse_limits(&shown, &read_text(path)?)?;
            for warning in warnings {
                tell(&format!("{shown}: note: {warning}"));
            }
            self.apply(path, Command::LoadLimits { file_name: file_name(path), limits })?;
        }
        if let Some(path) = &arguments.netlist {
            let shown = path.display().to_string();
            let (netlist, warnings) = parse_netlist(&shown, &read_text(path)?)?;
            for warning in warnings {
                tell(&format!("{shown}: note: {warning}"));
            }
            self.apply(path, Command::LoadNetlist { file_name: file_name(path), netlist })?;
        }
        Ok(())
    }

    fn good_boards(&self, arguments: &CompareArguments) -> Result<Good, BadInput> {
        let first = arguments.baseline.first().cloned().unwrap_or_default();
        let cannot = |source| BadInput::CannotCompare { path: first.clone(), source: Box::new(source) };
        let boards = align_good(&self.session, &self.shelf, &mut |_, _| ()).map_err(cannot)?;
        for LeftOut { file_name, reason } in &boards.left_out {
            tell(&format!("{file_name}: note: left out as baseline: {reason}"));
        }
        for board in boards.captures() {
            tell_set_aside(&self.session, board);
        }
        let learned = learn(&self.session, &boards, &mut |_| ()).map_err(cannot)?;
        for check in learned.population().iter().flat_map(|baseline| &baseline.summary.boards) {
            if check.outlier {
                tell(&format!(
                    "{}: note: differs from the other known-good boards as one in a hundred would: look at it before it serves as baseline",
                    check.serial
                ));
            }
        }
        Ok(Good { boards, learned })
    }

    /// Compares one unit, in a session of its own, and writes its files.
    fn compare_unit(
        &self,
        good: &Good,
        path: &Path,
        name: &str,
        folder: &Path,
    ) -> Result<(UnitAnswer, Comparison), BadInput> {
        let mut own = Self {
            session: self.session.clone(),
            shelf: self.shelf.clone(),
            originals: self.originals.clone(),
        };
        let capture = read_capture_file(path, Role::Unit)?;
        let board = capture.record.metadata.board.clone();
        own.apply(path, Command::NameBoard { board })?;
        own.take(path, capture)?;
        let cannot = |source| BadInput::CannotCompare { path: path.to_owned(), source: Box::new(source) };
        let unit = align_unit(&own.session, &own.shelf, &good.boards).map_err(cannot)?;
        tell_set_aside(&own.session, &unit);
        let comparison =
            judge(&own.session, &good.boards, &good.learned, &unit, &mut |_| ()).map_err(cannot)?;
        let answer = write_unit(folder, name, &own.session, &comparison, &own.originals)?;
        Ok((answer, comparison))
    }
}
