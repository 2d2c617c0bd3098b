//! Parts of one kind on each unit against each other: the same function as behind the page.

use std::path::Path;

use analysis::comparison::{LoneUnit, TwinReport, standing_out, stands_out, unit_alone};
use analysis::inspection::{Criteria, TwinCriteria};
use analysis::session::{Command, Role};

use crate::arguments::TwinsArguments;
use crate::bad_input::BadInput;
use crate::bench::Bench;
use crate::capture_file::read_capture_file;
use crate::compare::{Outcome, tell_set_aside, unit_names};
use crate::outputs::{prepare_folder, print, write_lone_unit};
use crate::tell;

/// Checks every unit and writes its sheet and table.
pub(crate) fn twins(arguments: &TwinsArguments) -> Result<Outcome, BadInput> {
    let names = unit_names(&arguments.unit)?;
    if !(arguments.usual > 0.0 && arguments.usual <= 100.0) {
        return Err(BadInput::UsualSpread { value: arguments.usual });
    }
    prepare_folder(&arguments.bench.out)?;
    let (mut found, mut failed) = (false, false);
    for (path, name) in arguments.unit.iter().zip(&names) {
        match check(arguments, path, name) {
            Ok(report) => found |= !report.check.named().is_empty(),
            // The other units may still be fine.
            Err(error) => {
                tell(&format!("boardglow: {error}"));
                failed = true;
            }
        }
    }
    Ok(match (failed, found) {
        (true, _) => Outcome::SomeUnitsFailed,
        (false, true) => Outcome::Found,
        (false, false) => Outcome::NothingFound,
    })
}

fn check(arguments: &TwinsArguments, path: &Path, name: &str) -> Result<TwinReport, BadInput> {
    let mut bench = Bench::at(&arguments.bench)?;
    let twins = TwinCriteria { usual_share: arguments.usual / 100.0, ..TwinCriteria::default() };
    bench.apply(path, Command::SetCriteria { criteria: Criteria { twins, ..Criteria::default() } })?;
    let capture = read_capture_file(path, Role::Unit)?;
    let board = capture.record.metadata.board.clone();
    bench.apply(path, Command::NameBoard { board })?;
    let corners = capture.record.metadata.corners.iter().map(|mark| mark.on_baseline()).collect();
    bench.take(path, capture)?;
    bench.apply(path, Command::MarkCorners { corners })?;
    bench.lay_out(&arguments.bench)?;
    let cannot = |source: analysis::comparison::CannotCheckTwins| BadInput::CannotCheckTwins {
        path: path.to_owned(),
        source: Box::new(source),
    };
    let unit = unit_alone(&bench.session, &bench.shelf).map_err(|source| cannot(source.into()))?;
    tell_set_aside(&bench.session, &unit);
    let unit = LoneUnit::of(&bench.session, &bench.shelf, &unit).map_err(cannot)?;
    write_lone_unit(&arguments.bench.out, name, &bench.session, &unit, &bench.originals)?;
    print(&line(name, &unit.twins, &bench));
    Ok(unit.twins)
}

/// `unit7: 1 part stands out: Q6 is 3.10 K above …`
fn line(name: &str, report: &TwinReport, bench: &Bench) -> String {
    let unit = bench.session.temperature_unit;
    let named = standing_out(report);
    let told: Vec<_> = named.iter().map(|(group, part)| stands_out(group, part, unit)).collect();
    let told = told.join(" ");
    match named.len() {
        0 => format!("{name}: no part stands out among its like, of {} kinds", report.check.groups.len()),
        1 => format!("{name}: 1 part stands out: {told}"),
        parts => format!("{name}: {parts} parts stand out: {told}"),
    }
}
