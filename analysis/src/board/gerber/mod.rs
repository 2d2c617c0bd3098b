//! The board's outline and its parts from Gerber files: the profile and the component layers.
//!
//! **Source of the format.** Ucamco, *The Gerber Layer Format Specification*, revision 2024.05: graphics in chapter 4
//! (regions 4.10), attributes in 5 (`.FileFunction`; `.AperFunction` 5.6.10; `.C` 5.6.15; `.CRot`, `.CVal`, `.CFtp` and
//! their kin 5.6.16), the profile in 6.5, component layers with an annotated example in 6.9. Chapter 6 was read; the
//! rest is known from the crate below, which follows the same revision, and from other open-source readers and writers.
//!
//! Attributes came with the generation called X2, component layers with X3; they may also stand in comments (5.1.1).
//! The crate `gerber_parser` reads single commands; `script` gives it only those that it can be trusted with.
//!
//! All layers of a board are seen from the top, the bottom side's as well (6.3), so places need no mirroring and
//! turns count counter-clockwise as seen from the top, whichever side the part is on.

mod components;
mod drawing;
mod outline;
mod script;

use std::fmt;

pub use outline::BoardOutline;
pub use script::is_gerber;

use super::placement::{Placement, Side};

/// What one file holds.
#[derive(Debug, Clone, PartialEq)]
pub enum GerberLayer {
    /// The board's outline.
    Outline(BoardOutline),
    /// The parts of one side.
    Components {
        /// The side.
        side: Side,
        /// The parts, in the order of the file. Each is as large as its body's outline, and its centre is that
        /// outline's middle, since the reference point of a part with wires is often its first pin.
        placements: Vec<Placement>,
    },
}

/// Why a Gerber file cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GerberError {
    /// It is a layer that says nothing here.
    #[error(
        "{file_name}: this is the layer \"{function}\", which is not needed: drop the file whose FileFunction is \
         Profile for the board's outline, or Component for its parts"
    )]
    OtherLayer {
        /// The file.
        file_name: String,
        /// Its file function.
        function: String,
    },
    /// It does not say which layer it is.
    #[error(
        "{file_name}: this Gerber file does not say which layer it is: export it with attributes (X2), so that it \
         states FileFunction Profile or Component"
    )]
    LayerUnstated {
        /// The file.
        file_name: String,
    },
    /// Unit or number format is missing.
    #[error("{file_name}: {missing} is not stated or cannot be read: export the file again")]
    Unstated {
        /// The file.
        file_name: String,
        /// What is missing.
        missing: &'static str,
    },
    /// It uses something that is not read here.
    #[error("{file_name}, line {line}: {what} is not read: export the single board, in absolute coordinates")]
    Unsupported {
        /// The file.
        file_name: String,
        /// Line of the file, from 1.
        line: u64,
        /// What it uses.
        what: &'static str,
    },
    /// It is larger than any board needs.
    #[error(
        "{file_name}: more than {allowed} commands, far more than an outline or a list of parts needs: check that \
         it is the right file"
    )]
    TooLong {
        /// The file.
        file_name: String,
        /// As many are read.
        allowed: usize,
    },
    /// The lines of the profile do not form a closed path.
    #[error(
        "{file_name}: no closed outline: the line that ends at x {:.3}, y {:.3} mm is not continued: close the \
         board's outline and export it again", at[0], at[1]
    )]
    NotClosed {
        /// The file.
        file_name: String,
        /// A loose end, mm.
        at: [f64; 2],
    },
    /// Nothing is drawn, or nothing with an area.
    #[error("{file_name}: no outline is drawn in it: export the board's profile again")]
    NoOutline {
        /// The file.
        file_name: String,
    },
    /// No part is named.
    #[error(
        "{file_name}: no part is named in it: a part is a flash with AperFunction ComponentMain and the attribute \
         .C: export the component layer again (X3)"
    )]
    NoParts {
        /// The file.
        file_name: String,
    },
}

/// What is odd in a Gerber file that can be used all the same.
#[derive(Debug, Clone, PartialEq)]
pub enum GerberWarning {
    /// Commands that could not be read; left out.
    OddCommands {
        /// The lines, from 1.
        lines: Vec<u64>,
    },
    /// The command for the end, M02, is missing.
    NoEnd,
    /// Lines of the profile that close no path; left out.
    LooseLines {
        /// How many chains of them.
        count: usize,
    },
    /// Parts without a rotation; taken as not turned.
    RotationUnstated {
        /// Their designators.
        designators: Vec<String>,
    },
    /// Parts without an outline whose package name tells no size either; [`ASSUMED_SIZE_MM`] was taken.
    ///
    /// [`ASSUMED_SIZE_MM`]: super::placement::ASSUMED_SIZE_MM
    SizeAssumed {
        /// Their designators.
        designators: Vec<String>,
    },
    /// Designators that stand more than once; the first counts.
    Duplicates {
        /// The designators.
        designators: Vec<String>,
    },
    /// Parts without a designator; left out.
    Nameless {
        /// How many.
        count: usize,
    },
}

impl fmt::Display for GerberWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plural = |count: usize| if count == 1 { "" } else { "s" };
        match self {
            Self::OddCommands { lines } => {
                let shown: Vec<String> = lines.iter().take(5).map(u64::to_string).collect();
                let more = if lines.len() > shown.len() { " and more" } else { "" };
                write!(f, "commands on line {}{more} cannot be read: left out", shown.join(", "))
            }
            Self::NoEnd => write!(f, "the end, M02, is missing: check that the file is whole"),
            Self::LooseLines { count } => {
                write!(f, "{count} line{} of the profile enclose nothing: left out", plural(*count))
            }
            Self::RotationUnstated { designators } => {
                write!(f, "the rotation of {} is not stated: taken as not turned", designators.join(", "))
            }
            Self::SizeAssumed { designators } => {
                let [x, y] = super::placement::ASSUMED_SIZE_MM;
                write!(f, "the body of {} is not stated: {x} × {y} mm assumed", designators.join(", "))
            }
            Self::Duplicates { designators } => {
                write!(f, "{} stand more than once: the first of each counts", designators.join(", "))
            }
            Self::Nameless { count } => {
                write!(f, "{count} part{} without a designator: left out", plural(*count))
            }
        }
    }
}

/// Reads a board's profile or one of its component layers, told apart by the file's own statement.
///
/// # Errors
/// Every [`GerberError`]; each names the file. What is odd in single commands comes back as warnings.
///
/// # Example
/// ```
/// use analysis::board::{GerberLayer, parse_gerber};
/// let text = "%TF.FileFunction,Profile,NP*%\n%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,0.1*%\nD10*\n\
///             X0Y0D02*\nX100000000D01*\nY75000000D01*\nX0D01*\nY0D01*\nM02*\n";
/// let (layer, warnings) = parse_gerber("board.gbr", text)?;
/// let GerberLayer::Outline(outline) = layer else { panic!("a profile") };
/// assert_eq!(outline.size(), [100.0, 75.0]);
/// assert!(warnings.is_empty());
/// assert!(parse_gerber("copper.gbr", "%TF.FileFunction,Copper,L1,Top*%\nM02*\n").is_err());
/// # Ok::<(), analysis::board::GerberError>(())
/// ```
pub fn parse_gerber(file_name: &str, text: &str) -> Result<(GerberLayer, Vec<GerberWarning>), GerberError> {
    let function = script::file_function(text)
        .ok_or_else(|| GerberError::LayerUnstated { file_name: file_name.to_owned() })?;
    let fields: Vec<&str> = function.split(',').map(str::trim).collect();
    let side = match (fields.as_slice(), fields.last()) {
        (["Component", ..], Some(&"Top")) => Some(Side::Top),
        (["Component", ..], Some(&"Bot")) => Some(Side::Bottom),
        (["Profile", ..], _) => None,
        _ => return Err(GerberError::OtherLayer { file_name: file_name.to_owned(), function }),
    };
    let script = script::read(file_name, text)?;
    let mut warnings = Vec::new();
    let drawn = drawing::draw(file_name, script, &mut warnings)?;
    let layer = match side {
        None => GerberLayer::Outline(outline::outline(file_name, drawn, &mut warnings)?),
        Some(side) => {
            let placements = components::components(file_name, side, drawn, &mut warnings)?;
            GerberLayer::Components { side, placements }
        }
    };
    Ok((layer, warnings))
}
