//! The comparison itself: the same commands and functions as behind the page.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use analysis::board::{parse_limits, parse_netlist};
use analysis::comparison::{
    Aligned, Comparison, GoodBoards, LearnedBaseline, LeftOut, align_good, align_unit, judge, learn,
};
use analysis::inspection::{Criteria, Rule};
use analysis::result::UnitAnswer;
use analysis::session::{Command, Role, Session};
use analysis::units::KelvinDifference;

use crate::arguments::CompareArguments;
use crate::bad_input::{BadInput, read_text};
use crate::bench::Bench;
use crate::capture_file::{file_name, read_capture_file};
use crate::outputs::{prepare_folder, write_answer, write_unit};
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

/// The known-good boards, aligned and learned from once for all units.
struct Good {
    boards: GoodBoards,
    learned: LearnedBaseline,
}

/// Compares every unit and writes its files.
pub(crate) fn compare(arguments: &CompareArguments) -> Result<Outcome, BadInput> {
    let names = unit_names(&arguments.unit)?;
    let bench = Bench::with_baselines(arguments)?;
    let good = bench.good_boards(arguments)?;
    prepare_folder(&arguments.bench.out)?;
    let mut answers = Vec::new();
    let (mut found, mut failed) = (false, false);
    for (path, name) in arguments.unit.iter().zip(&names) {
        match bench.compare_unit(&good, path, name, &arguments.bench.out) {
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
    write_answer(&arguments.bench.out, &answers)?;
    Ok(if failed {
        Outcome::SomeUnitsFailed
    } else if found {
        Outcome::Found
    } else {
        Outcome::NothingFound
    })
}

pub(crate) fn tell_set_aside(session: &Session, capture: &Aligned) {
    if capture.set_aside > 0 {
        let file_name = session.capture(&capture.hash).map_or("", |record| &record.file_name);
        tell(&format!("{file_name}: note: isolated pixels set aside: {}", capture.set_aside));
    }
}

/// The stems of the units' files, under which their results are written.
pub(crate) fn unit_names(units: &[PathBuf]) -> Result<Vec<String>, BadInput> {
    let mut taken = BTreeSet::new();
    units
        .iter()
        .map(|path| {
            let name = path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
            // Some file systems hold "A" and "a" for the same.
            if taken.insert(name.to_lowercase()) { Ok(name) } else { Err(BadInput::SameName { name }) }
        })
        .collect()
}

impl Bench {
    fn with_baselines(arguments: &CompareArguments) -> Result<Self, BadInput> {
        let mut bench = Self::at(&arguments.bench)?;
        bench.apply_criteria(arguments)?;
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
        bench.lay_out(&arguments.bench)?;
        bench.load_datasheets(arguments)?;
        Ok(bench)
    }

    fn apply_criteria(&mut self, arguments: &CompareArguments) -> Result<(), BadInput> {
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
        self.apply(Path::new("settings"), Command::SetCriteria { criteria })
    }

    fn load_datasheets(&mut self, arguments: &CompareArguments) -> Result<(), BadInput> {
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
        let mut own = self.clone();
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
