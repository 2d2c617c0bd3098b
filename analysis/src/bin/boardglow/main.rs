//! `boardglow`: the comparison of the page and its trends over time, for the bench's own scripts.

mod arguments;
mod bad_input;
mod bench;
mod board_tables;
mod capture_file;
mod compare;
mod outputs;
mod sequence;
mod twins;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use arguments::{Arguments, Task};
use compare::Outcome;

/// What is wrong with the input; clap ends with the same number for arguments that cannot be.
const BAD_INPUT: u8 = 2;
/// Something was found.
const FOUND: u8 = 1;

fn main() -> ExitCode {
    let done = match Arguments::parse().task {
        Task::Compare(arguments) => compare::compare(&arguments),
        Task::Twins(arguments) => twins::twins(&arguments),
        Task::Sequence(arguments) => sequence::follow(&arguments).map(|()| Outcome::NothingFound),
    };
    match done {
        Ok(Outcome::NothingFound) => ExitCode::SUCCESS,
        Ok(Outcome::Found) => ExitCode::from(FOUND),
        Ok(Outcome::SomeUnitsFailed) => ExitCode::from(BAD_INPUT),
        Err(error) => {
            tell(&format!("boardglow: {error}"));
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// One line for the person; nothing can be done when nobody listens.
fn tell(line: &str) {
    let _ = writeln!(std::io::stderr(), "{line}");
}
