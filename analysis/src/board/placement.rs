//! Where each part sits: the placement (pick-and-place) file.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::length::{DecimalSign, LengthUnit, UNIT_SPELLINGS, read_length};
use super::package::body_size;
use super::table::{BoardFileError, Column, Row, Spellings, Table, plain, read_table};
use crate::geometry::{BoardMillimeters, Point};

/// The side of the board a part sits on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The component side.
    #[default]
    Top,
    /// The solder side.
    Bottom,
}

/// One part as placed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Placement {
    /// Reference designator.
    pub designator: String,
    /// Centre, millimetres.
    pub center: Point<BoardMillimeters>,
    /// Rotation, degrees counter-clockwise in the file's axes.
    pub rotation: f64,
    /// Side of the board.
    pub side: Side,
    /// Package name as the file gives it.
    pub package: String,
    /// Body length along x and y before rotation, millimetres.
    pub size: [f64; 2],
    /// Value or type as the file gives it.
    #[serde(default)]
    pub value: String,
}

/// What a placement file left open or said twice.
#[derive(Debug, Clone, PartialEq)]
pub enum PlacementWarning {
    /// No column tells the side; every part is taken to sit on top.
    SideUnstated,
    /// No column tells the rotation; every part is taken as not turned.
    RotationUnstated,
    /// Neither columns nor package name tell the body of these parts; [`ASSUMED_SIZE_MM`] was taken.
    SizeAssumed {
        /// Their designators.
        designators: Vec<String>,
    },
    /// A designator stands on more than one line; the first counts.
    DuplicateDesignator {
        /// The designator.
        designator: String,
        /// The line left out.
        line: u64,
    },
    /// Lines without a designator or without a place, left out.
    Incomplete {
        /// The lines, from 1.
        lines: Vec<u64>,
    },
}

impl fmt::Display for PlacementWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SideUnstated => write!(f, "no column tells the side: every part is taken to sit on top"),
            Self::RotationUnstated => write!(f, "no column tells the rotation: no part is taken as turned"),
            Self::SizeAssumed { designators } => write!(
                f,
                "the body of {} is not stated: {} × {} mm assumed",
                designators.join(", "),
                ASSUMED_SIZE_MM[0],
                ASSUMED_SIZE_MM[1]
            ),
            Self::DuplicateDesignator { designator, line } => {
                write!(f, "{designator} stands twice: line {line} is left out")
            }
            Self::Incomplete { lines } => {
                let lines: Vec<String> = lines.iter().map(u64::to_string).collect();
                write!(f, "no designator or no place on line {}: left out", lines.join(", "))
            }
        }
    }
}

/// The body of a part whose size nobody states, mm.
pub const ASSUMED_SIZE_MM: [f64; 2] = [2.0, 2.0];

const DESIGNATOR: Spellings = &[
    "designator",
    "refdes",
    "referencedesignator",
    "reference",
    "ref",
    "partreference",
    "partdesignator",
    "componentname",
    "component",
    "part",
    "name",
];
const X: Spellings = &[
    "centerx",
    "centrex",
    "midx",
    "posx",
    "xpos",
    "positionx",
    "xposition",
    "locationx",
    "xlocation",
    "coordx",
    "xcoord",
    "xcoordinate",
    "xcenter",
    "x",
];
const Y: Spellings = &[
    "centery",
    "centrey",
    "midy",
    "posy",
    "ypos",
    "positiony",
    "yposition",
    "locationy",
    "ylocation",
    "coordy",
    "ycoord",
    "ycoordinate",
    "ycenter",
    "y",
];
const ROTATION: Spellings = &["rotation", "rot", "angle", "orientation", "theta"];
const ANGLE_UNITS: Spellings = &["deg", "degree", "degrees"];
const SIDE: Spellings = &["side", "layer", "tb", "topbottom", "boardside", "mountside", "face"];
const PACKAGE: Spellings =
    &["package", "footprint", "pattern", "packagename", "packagetype", "case", "casesize"];
const VALUE: Spellings = &["value", "comment", "val", "type", "description", "partnumber"];
const SIZE_X: Spellings = &["sizex", "xsize", "bodyx", "dimx", "bodylength", "length"];
const SIZE_Y: Spellings = &["sizey", "ysize", "bodyy", "dimy", "bodywidth", "width"];
/// Where no length is given, the width is the one along x and the height the one along y.
const WIDTH_ALONE: Spellings = &["bodywidth", "width"];
const HEIGHT_ALONE: Spellings = &["bodyheight", "height"];
const SIZE: Spellings = &["size", "bodysize", "dimensions"];
const TOP: Spellings =
    &["top", "t", "toplayer", "topside", "front", "f", "fcu", "component", "componentside", "primary"];
const BOTTOM: Spellings =
    &["bottom", "bot", "b", "bottomlayer", "bottomside", "back", "bcu", "solder", "solderside", "secondary"];

/// Reads a placement file: one line per part, under a line of headings.
///
/// Columns are found by the usual spellings of their headings, whatever the case: designator and the
/// centre's x and y must be there; rotation, side, package, value and body size may be. Separators are
/// commas, semicolons or tabs; remarks may stand above the headings and begin with `#` below.
///
/// The unit of a length is, in this order, what the cell says ("484mil"), what its heading says
/// ("Center-X(mm)"), what a remark above says ("Units used: mm"), and `unit`. Nothing is assumed: pass
/// `None` first and ask the person upon [`BoardFileError::UnitUnstated`].
///
/// # Errors
/// Every [`BoardFileError`]; each names the file.
///
/// # Example
/// ```
/// use analysis::board::parse_placements;
/// let (parts, warnings) =
///     parse_placements("parts.csv", "Ref,X (mil),Y (mil),Rot,Side,Package\nR1,1000,500,90,top,0603\n", None)?;
/// assert_eq!(parts[0].center.x, 25.4);
/// assert!(warnings.is_empty());
/// assert!(parse_placements("parts.csv", "Ref,X,Y\nR1,1000,500\n", None).is_err());
/// # Ok::<(), analysis::board::BoardFileError>(())
/// ```
pub fn parse_placements(
    file_name: &str,
    text: &str,
    unit: Option<LengthUnit>,
) -> Result<(Vec<Placement>, Vec<PlacementWarning>), BoardFileError> {
    let table = read_table(text, &[DESIGNATOR, X, Y], UNIT_SPELLINGS).ok_or_else(|| {
        BoardFileError::NoHeadings { file_name: file_name.to_owned(), needed: "designator, x and y" }
    })?;
    let reader = Reader::new(file_name, &table, unit);
    let mut warnings = Vec::new();
    if reader.side.is_none() {
        warnings.push(PlacementWarning::SideUnstated);
    }
    if reader.rotation.is_none() {
        warnings.push(PlacementWarning::RotationUnstated);
    }
    let mut placements = Vec::new();
    let mut first_lines = BTreeMap::new();
    let mut assumed = Vec::new();
    let mut incomplete = Vec::new();
    for row in table.rows() {
        let designator = row.cell(reader.designator.as_ref());
        let placeless = row.cell(reader.x.as_ref()).is_empty() && row.cell(reader.y.as_ref()).is_empty();
        if designator.is_empty() || placeless {
            incomplete.push(row.line);
            continue;
        }
        if first_lines.insert(designator.to_owned(), row.line).is_some() {
            let designator = designator.to_owned();
            warnings.push(PlacementWarning::DuplicateDesignator { designator, line: row.line });
            continue;
        }
        let size = reader.size(row, designator)?.unwrap_or_else(|| {
            assumed.push(designator.to_owned());
            ASSUMED_SIZE_MM
        });
        placements.push(Placement {
            designator: designator.to_owned(),
            center: Point::new(
                reader.place(row, designator, reader.x.as_ref(), "x")?,
                reader.place(row, designator, reader.y.as_ref(), "y")?,
            ),
            rotation: reader.rotation(row, designator)?,
            side: reader.side(row, designator)?,
            package: row.cell(reader.package.as_ref()).to_owned(),
            size,
            value: row.cell(reader.value.as_ref()).to_owned(),
        });
    }
    if placements.is_empty() {
        return Err(BoardFileError::NoParts { file_name: file_name.to_owned() });
    }
    if !assumed.is_empty() {
        warnings.push(PlacementWarning::SizeAssumed { designators: assumed });
    }
    if !incomplete.is_empty() {
        warnings.push(PlacementWarning::Incomplete { lines: incomplete });
    }
    Ok((placements, warnings))
}

/// The columns of one file and how its numbers are to be read.
struct Reader<'a> {
    file_name: &'a str,
    table: &'a Table,
    designator: Option<Column>,
    x: Option<Column>,
    y: Option<Column>,
    rotation: Option<Column>,
    side: Option<Column>,
    package: Option<Column>,
    value: Option<Column>,
    size: Option<(Column, Column)>,
    size_in_one: Option<Column>,
    decimals: DecimalSign,
    /// From a remark above the headings, else from the caller.
    unit: Option<LengthUnit>,
}

impl<'a> Reader<'a> {
    fn new(file_name: &'a str, table: &'a Table, unit: Option<LengthUnit>) -> Self {
        let length = |spellings| table.column(spellings, UNIT_SPELLINGS);
        let plain_column = |spellings| table.column(spellings, &[]);
        let (x, y) = (length(X), length(Y));
        let both = |first: Spellings, second: Spellings| Some((length(first)?, length(second)?));
        let decimals =
            DecimalSign::of(table.rows().flat_map(|row| [row.cell(x.as_ref()), row.cell(y.as_ref())]));
        Self {
            file_name,
            table,
            designator: plain_column(DESIGNATOR),
            rotation: table.column(ROTATION, ANGLE_UNITS),
            side: plain_column(SIDE),
            package: plain_column(PACKAGE),
            value: plain_column(VALUE),
            size: both(SIZE_X, SIZE_Y).or_else(|| both(WIDTH_ALONE, HEIGHT_ALONE)),
            size_in_one: length(SIZE),
            decimals,
            unit: table.preamble.iter().find_map(|line| LengthUnit::in_remark(line)).or(unit),
            x,
            y,
        }
    }

    fn place(
        &self,
        row: Row<'_>,
        designator: &str,
        column: Option<&Column>,
        name: &'static str,
    ) -> Result<f64, BoardFileError> {
        let text = row.cell(column);
        let what = "write a length such as 12.5, 12.5mm or 484mil";
        let (value, stated) =
            read_length(text, self.decimals).ok_or_else(|| self.cell(row, name, designator, text, what))?;
        let heading = column.and_then(|column| LengthUnit::named(&column.rest));
        let unit = stated.or(heading).or(self.unit).ok_or_else(|| self.unit_unstated())?;
        Ok(in_millimeters(value, unit))
    }

    fn rotation(&self, row: Row<'_>, designator: &str) -> Result<f64, BoardFileError> {
        let text = row.cell(self.rotation.as_ref());
        if text.is_empty() {
            return Ok(0.0);
        }
        self.decimals
            .read(text)
            // A file may write angles with a point and lengths as whole numbers.
            .or_else(|| DecimalSign::of([text]).read(text))
            .filter(|(_, rest)| ["", "°", "deg"].contains(rest))
            .map(|(angle, _)| angle)
            .ok_or_else(|| {
                self.cell(row, "rotation", designator, text, "write an angle in degrees such as 90")
            })
    }

    fn side(&self, row: Row<'_>, designator: &str) -> Result<Side, BoardFileError> {
        if self.side.is_none() {
            return Ok(Side::Top);
        }
        let text = row.cell(self.side.as_ref());
        match plain(text).as_str() {
            word if TOP.contains(&word) => Ok(Side::Top),
            word if BOTTOM.contains(&word) => Ok(Side::Bottom),
            _ => Err(self.cell(row, "side", designator, text, "write top or bottom")),
        }
    }

    /// From the size columns, else from the package name; `None` where neither tells.
    fn size(&self, row: Row<'_>, designator: &str) -> Result<Option<[f64; 2]>, BoardFileError> {
        if let Some((x, y)) = &self.size {
            let (text_x, text_y) = (row.cell(Some(x)), row.cell(Some(y)));
            if !text_x.is_empty() && !text_y.is_empty() {
                let read = |column, text: &str| {
                    let decimals = if text.contains('.') { DecimalSign::Point } else { self.decimals };
                    let length = read_length(text, decimals).filter(|(value, _)| *value > 0.0);
                    let what = "write a length above zero such as 3.2, 3.2mm or 126mil";
                    let (value, stated) =
                        length.ok_or_else(|| self.cell(row, "body size", designator, text, what))?;
                    Ok(in_millimeters(value, self.size_unit(stated, column)?))
                };
                return Ok(Some([read(x, text_x)?, read(y, text_y)?]));
            }
        }
        let text = row.cell(self.size_in_one.as_ref());
        if let (Some(column), Some((x, y))) = (&self.size_in_one, text.split_once(['x', 'X', '×', '*'])) {
            let read =
                |text: &str| read_length(text, DecimalSign::of([text])).filter(|(value, _)| *value > 0.0);
            let what = "write two lengths such as 3.2x1.6 or 3.2x1.6mm";
            let ((x, x_unit), (y, y_unit)) =
                read(x).zip(read(y)).ok_or_else(|| self.cell(row, "body size", designator, text, what))?;
            let unit = self.size_unit(y_unit.or(x_unit), column)?;
            return Ok(Some([x, y].map(|length| in_millimeters(length, unit))));
        }
        Ok(body_size(text).or_else(|| body_size(row.cell(self.package.as_ref()))))
    }

    /// A size without a unit of its own is in the unit of the coordinates.
    fn size_unit(&self, stated: Option<LengthUnit>, column: &Column) -> Result<LengthUnit, BoardFileError> {
        stated
            .or_else(|| LengthUnit::named(&column.rest))
            .or_else(|| self.x.as_ref().and_then(|x| LengthUnit::named(&x.rest)))
            .or(self.unit)
            .ok_or_else(|| self.unit_unstated())
    }

    fn unit_unstated(&self) -> BoardFileError {
        let span = |column: Option<&Column>| {
            let numbers = self.table.rows().filter_map(|row| self.decimals.read(row.cell(column)));
            let (lo, hi) = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), (value, _)| {
                (lo.min(value), hi.max(value))
            });
            if lo <= hi { ((hi - lo) * 1000.0).round() / 1000.0 } else { 0.0 }
        };
        BoardFileError::UnitUnstated {
            file_name: self.file_name.to_owned(),
            span: [span(self.x.as_ref()), span(self.y.as_ref())],
        }
    }

    fn cell(
        &self,
        row: Row<'_>,
        column: &'static str,
        designator: &str,
        text: &str,
        what: &'static str,
    ) -> BoardFileError {
        BoardFileError::Cell {
            file_name: self.file_name.to_owned(),
            line: row.line,
            column,
            designator: designator.to_owned(),
            text: text.to_owned(),
            what,
        }
    }
}

/// Rounded to a nanometre, so that 1000 mil are 25.4 mm and not 25.399999999999999.
fn in_millimeters(length: f64, unit: LengthUnit) -> f64 {
    (length * unit.millimeters() * 1e6).round() / 1e6
}
