//! What the command line can be asked for.

use std::path::PathBuf;

use analysis::board::{LengthUnit, Side};
use analysis::inspection::Basis;
use clap::{Args, Parser, Subcommand, ValueEnum};

/// Compare infrared captures of powered circuit boards.
///
/// Boardglow holds a unit under test against captures of known-good boards, names what differs and
/// writes a bench sheet for each unit. Nothing leaves this machine.
#[derive(Debug, Parser)]
#[command(name = "boardglow", version)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) task: Task,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Task {
    /// Hold units under test against known-good boards.
    Compare(CompareArguments),
    /// Hold parts of one kind on a unit against each other, without any known-good board.
    Twins(TwinsArguments),
    /// Follow the parts of a recording over time.
    Sequence(SequenceArguments),
}

/// Hold units under test against known-good boards.
///
/// Captures are TIFF, PGM or number matrices in CSV. What their numbers mean stands in a small JSON
/// file beside each: for unit7.tif it is unit7.tif.json or unit7.json. Where that is missing or
/// leaves a question open, nothing is guessed: the question is printed and the exit code is 2.
#[derive(Debug, Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct CompareArguments {
    /// Captures of known-good boards. The first one's pixels are those everything is compared on;
    /// further ones show how much good boards differ from each other
    #[arg(long, required = true, num_args = 1.., value_name = "FILE")]
    pub(crate) baseline: Vec<PathBuf>,

    /// Captures of the units under test, each compared on its own
    #[arg(long, required = true, num_args = 1.., value_name = "FILE")]
    pub(crate) unit: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchArguments,

    /// Datasheet limits by part: max_case_degC, max_junction_degC, power_W, psi_jt_K_per_W, …
    #[arg(long, value_name = "CSV")]
    pub(crate) limits: Option<PathBuf>,

    /// Netlist for the bare board test (IPC-D-356, IPC-D-356A): the probe list names nets and where
    /// to touch them
    #[arg(long, value_name = "IPC")]
    pub(crate) netlist: Option<PathBuf>,

    /// With two or more known-good boards a difference counts when another good board would hardly
    /// show it: of a hundred good boards this many may be called different by chance [default: 5]
    #[arg(long, value_name = "N", conflicts_with = "limit")]
    pub(crate) false_alarms: Option<f64>,

    /// Let a limit decide instead: a smaller difference than this is never a finding, kelvin.
    /// With a single known-good board this is how it is decided anyway [default: 2]
    #[arg(long, value_name = "K")]
    pub(crate) limit: Option<f64>,

    /// What is subtracted where a limit decides: temperatures as they are, rises above ambient, or rises above ambient
    /// scaled to equal electrical power
    #[arg(long, value_name = "BASIS", default_value = "rise")]
    pub(crate) basis: BasisArgument,
}

/// What every task is told of the board and the bench.
#[derive(Debug, Args)]
pub(crate) struct BenchArguments {
    /// Emissivities: a picture on the first baseline's (or the unit's) pixels (values above 0, at most 1), or JSON
    /// with a value for the whole board and regions. Without it: solder mask all over
    #[arg(long, value_name = "MAP.tif|REGIONS.json")]
    pub(crate) emissivity: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) board: BoardArguments,

    /// Air temperature around the boards, °C, for captures that do not state their own [default: 23]
    #[arg(long, value_name = "degC", allow_negative_numbers = true)]
    pub(crate) ambient: Option<f64>,

    /// Folder to write to; it is made if need be, and files of the same name are replaced
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
}

/// What every task is told of the board's parts and what the board mirrors.
#[derive(Debug, Args)]
pub(crate) struct BoardArguments {
    /// Placement (pick-and-place) files or Gerber component layers (X3), to name the parts; those of several files,
    /// as one for each side, count together, and a designator that stands in two counts as in the first. A Gerber
    /// profile among them gives the board's outline. Parts need the board's corners in the JSON file of the first
    /// baseline, or of the unit where there is none
    #[arg(long, num_args = 1.., value_name = "CSV|GERBER")]
    pub(crate) placement: Vec<PathBuf>,

    /// Unit of the placement files' coordinates, where a file itself does not say
    #[arg(long, value_name = "UNIT")]
    pub(crate) placement_unit: Option<LengthArgument>,

    /// The side that faces the camera
    #[arg(long, value_name = "SIDE", default_value = "top")]
    pub(crate) side: SideArgument,

    /// Reflected apparent temperature, °C [default: 23]
    #[arg(long, value_name = "degC", allow_negative_numbers = true)]
    pub(crate) reflected: Option<f64>,
}

/// Hold parts of one kind on a unit against each other, without any known-good board.
///
/// Each part by how much warmer it is than the board close around it, among those of the same package and value. The
/// unit's JSON file states where four places of the board lie in its picture.
#[derive(Debug, Args)]
#[command(after_help = AFTER_HELP_TWINS)]
pub(crate) struct TwinsArguments {
    /// Captures of the units under test, each by itself
    #[arg(long, required = true, num_args = 1.., value_name = "FILE")]
    pub(crate) unit: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchArguments,

    /// What healthy parts of one kind usually differ by, percent of what each warms itself by: a standard deviation
    #[arg(long, value_name = "PERCENT", default_value_t = 5.0)]
    pub(crate) usual: f64,
}

const AFTER_HELP_TWINS: &str = "\
For each unit NAME the folder then holds NAME.html, the sheet for a browser, and NAME-twins.csv, every
part that has a twin.

Exit codes
  0  no part stands out among its like
  1  one does
  2  something is wrong with the input; the message says what and what to do

Live boards can kill, also after switch-off. Local codes and licensed practice come first.";

/// Follow the parts of a recording over time.
///
/// Writes a table with a row for each frame: mean, least and greatest surface temperature of the whole
/// picture and of every part in view, °C, and the standard uncertainty of each mean, K. A frame that
/// cannot be read leaves an empty row and is told.
#[derive(Debug, Args)]
// Several files after one flag would take the recording's name for one of theirs.
#[command(after_help = AFTER_SEQUENCE_HELP, mut_arg("placement", |placement| {
    placement.num_args(1).help(PLACEMENT_OF_A_RECORDING)
}))]
pub(crate) struct SequenceArguments {
    /// The recording: a TIFF or BigTIFF of many pages, or PGM pictures one after the other in one
    /// file, with a JSON file beside it that says what its numbers mean and when frames were taken
    #[arg(value_name = "FILE")]
    pub(crate) recording: PathBuf,

    #[command(flatten)]
    pub(crate) board: BoardArguments,

    /// The table to write; a file of this name is replaced
    #[arg(long, value_name = "CSV")]
    pub(crate) out: PathBuf,
}

const PLACEMENT_OF_A_RECORDING: &str = "\
Placement (pick-and-place) file or Gerber component layer (X3), for the parts; give the flag again for each further \
file. Those of several files count together, and a designator that stands in two counts as in the first. Parts need \
the board's corners in the recording's JSON file";

const AFTER_SEQUENCE_HELP: &str = "\
Solder mask is taken all over the board. For emissivities of its own, lock-in and warm-up fits use the page.

Exit codes
  0  the table was written
  2  something is wrong with the input; the message says what and what to do

Live boards can kill, also after switch-off. Local codes and licensed practice come first.";

const AFTER_HELP: &str = "\
For each unit NAME the folder then holds
  NAME.html            the bench sheet: one file that any browser opens
  NAME-unit.tif, NAME-baseline.tif, NAME-difference.tif
                       the maps on the baseline's pixels, kelvin, 32-bit float
  NAME-findings.csv    what differs, as a table
and answer.json        the findings of all units, for other programs.

Exit codes
  0  compared, nothing found
  1  compared, and a unit differs beyond tolerance or a part is over its limit
  2  something is wrong with the input; the message says what and what to do

Live boards can kill, also after switch-off. Local codes and licensed practice come first.";

/// See [`Basis`].
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum BasisArgument {
    /// Surface temperatures as they are
    Absolute,
    /// Rises above each capture's own ambient
    Rise,
    /// Rises above ambient, scaled to the baseline's electrical power
    EqualPower,
}

impl From<BasisArgument> for Basis {
    fn from(argument: BasisArgument) -> Self {
        match argument {
            BasisArgument::Absolute => Self::Absolute,
            BasisArgument::Rise => Self::RiseAboveAmbient,
            BasisArgument::EqualPower => Self::RiseAtEqualPower,
        }
    }
}

/// See [`Side`].
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum SideArgument {
    /// Component side
    Top,
    /// Solder side
    Bottom,
}

impl From<SideArgument> for Side {
    fn from(argument: SideArgument) -> Self {
        match argument {
            SideArgument::Top => Self::Top,
            SideArgument::Bottom => Self::Bottom,
        }
    }
}

/// See [`LengthUnit`].
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum LengthArgument {
    /// Millimetres
    Mm,
    /// Thousandths of an inch
    Mil,
    /// Inches
    Inch,
}

impl From<LengthArgument> for LengthUnit {
    fn from(argument: LengthArgument) -> Self {
        match argument {
            LengthArgument::Mm => Self::Millimeter,
            LengthArgument::Mil => Self::Mil,
            LengthArgument::Inch => Self::Inch,
        }
    }
}
