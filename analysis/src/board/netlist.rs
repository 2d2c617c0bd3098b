//! Which net can be touched where: the netlist for the bare board test, IPC-D-356 and IPC-D-356A.
//!
//! **Source of the format.** The standard itself is sold and was not at hand. Columns, units and long names
//! follow three open-source programs that agree: the writer of KiCad (`pcbnew/exporters/export_d356.cpp`)
//! and the readers of pcb-tools (`gerber/ipc356.py`) and gerbonara 1.6.3 (`gerbonara/ipc356.py`). Columns, from 1:
//!
//! | columns | hold |
//! |---|---|
//! | 1 to 3 | kind of record, see [`parse_netlist`] |
//! | 4 to 17 | net, or `N/C` for none, or `NNAME` and a number for a long name stated elsewhere |
//! | 21 to 26 | reference designator, or `VIA` |
//! | 27, 28 to 31 | hyphen, pin |
//! | 32 | `M` in the middle of a net |
//! | 33 to 38 | `D`, hole in 4 digits, `P` plated or `U` unplated |
//! | 39 to 41 | `A`, access: 0 both faces, 1 the component side, the last layer's number the solder side |
//! | 42 to 49, 50 to 57 | `X`, `Y`, each a sign and 6 digits, in 0.0001 inch or 0.001 mm |
//! | 58 to 71 | size and turn of the pad, not read here |
//! | 72 or 73, and one more | `S`, faces under solder mask: 0 none, 1 component, 2 solder side, 3 both |

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::placement::{Placement, Side};
use crate::geometry::{BoardMillimeters, Point};
use crate::quantile::median;

/// What a test point is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PointKind {
    /// The pad of a plated hole that takes a part's pin.
    ThroughHole,
    /// A pad on one face.
    SurfaceMount,
    /// A plated hole without a part.
    Via,
    /// A hole without metal, or a feature for tooling: nothing to touch.
    Unplated,
}

/// One place where a net comes to a face of the board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TestPoint {
    /// Its net; `None` where nothing is connected.
    pub net: Option<String>,
    /// The part it belongs to, as the file cuts it (6 characters); `None` for a via.
    pub designator: Option<String>,
    /// The part's pin.
    pub pin: Option<String>,
    /// Where it is, in the file's own origin, millimetres.
    pub at: Point<BoardMillimeters>,
    /// What it is.
    pub kind: PointKind,
    /// Whether a probe reaches it from the component side: there is copper and no solder mask.
    pub from_top: bool,
    /// The same for the solder side.
    pub from_bottom: bool,
}

impl TestPoint {
    /// Whether a probe on this face reaches metal.
    #[must_use]
    pub const fn reached_from(&self, side: Side) -> bool {
        match side {
            Side::Top => self.from_top,
            Side::Bottom => self.from_bottom,
        }
    }
}

/// The test points of a board. Sharing them makes a session's copies cheap.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<TestPoint>", into = "Vec<TestPoint>")]
pub struct Netlist(Arc<Vec<TestPoint>>);

impl From<Vec<TestPoint>> for Netlist {
    fn from(points: Vec<TestPoint>) -> Self {
        Self(Arc::new(points))
    }
}

impl From<Netlist> for Vec<TestPoint> {
    fn from(netlist: Netlist) -> Self {
        Arc::unwrap_or_clone(netlist.0)
    }
}

/// A designator keeps this many characters in the file.
const DESIGNATOR_LENGTH: usize = 6;
/// Origins closer together than this are one: a part's pins need not lie evenly about its middle.
const SAME_ORIGIN_MM: f64 = 1.0;
/// Pins further off their part, once origins agree, mean that the two files do not tell of the same axes.
const AXES_DIFFER_MM: f64 = 3.0;

impl Netlist {
    /// Every point, in the order of the file.
    #[must_use]
    pub fn points(&self) -> &[TestPoint] {
        &self.0
    }

    /// The points of one part. A longer designator than the file can hold is found by its start.
    #[must_use]
    pub fn of_part(&self, designator: &str) -> Vec<&TestPoint> {
        let named = |name: &str| -> Vec<&TestPoint> {
            self.0.iter().filter(|point| point.designator.as_deref() == Some(name)).collect()
        };
        let exact = named(designator);
        let cut: String = designator.chars().take(DESIGNATOR_LENGTH).collect();
        if exact.is_empty() && cut != designator { named(&cut) } else { exact }
    }

    /// What to add to a place of this netlist to have it in the placement file's axes, mm; `None` where the
    /// two do not fit each other.
    ///
    /// The two files are often written from different origins. The shift is the median, over parts, from the
    /// middle of the outermost pins to the part's centre (own choice; no source).
    #[must_use]
    pub fn shift_to(&self, placements: &[Placement]) -> Option<[f64; 2]> {
        let mut extents: BTreeMap<&str, [f64; 4]> = BTreeMap::new();
        for point in self.0.iter() {
            let Some(designator) = point.designator.as_deref() else { continue };
            let Point { x, y, .. } = point.at;
            let [left, low, right, high] = extents.entry(designator).or_insert([x, y, x, y]);
            (*left, *low, *right, *high) = (left.min(x), low.min(y), right.max(x), high.max(y));
        }
        let offsets: Vec<[f64; 2]> = placements
            .iter()
            .filter_map(|part| {
                let [left, low, right, high] = extents.get(part.designator.as_str())?;
                Some([part.center.x - (left + right) / 2.0, part.center.y - (low + high) / 2.0])
            })
            .collect();
        let shift = [0, 1].map(|axis| median(offsets.iter().map(|offset| offset[axis])));
        let [Some(dx), Some(dy)] = shift else { return None };
        let off = median(offsets.iter().map(|[x, y]| (x - dx).hypot(y - dy)))?;
        if off > AXES_DIFFER_MM {
            None
        } else if dx.hypot(dy) < SAME_ORIGIN_MM {
            Some([0.0; 2])
        } else {
            Some([dx, dy])
        }
    }
}

/// Why a netlist cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NetlistError {
    /// The first record comes before any statement of the unit.
    #[error(
        "{file_name}, line {line}: nothing states the unit of the places before this record: add the line \
         \"P  UNITS CUST 0\" for 0.0001 inch, or \"P  UNITS CUST 1\" for 0.001 mm, at the top"
    )]
    UnitUnstated {
        /// The file.
        file_name: String,
        /// Line of the file, from 1.
        line: u64,
    },
    /// The unit is none that is known.
    #[error(
        "{file_name}, line {line}: the unit \"{text}\" is not known: export the netlist in CUST 0 (inch, \
         degrees), CUST 1 (mm, degrees) or CUST 2 (inch, radians)"
    )]
    UnknownUnit {
        /// The file.
        file_name: String,
        /// Line of the file, from 1.
        line: u64,
        /// What it states.
        text: String,
    },
    /// No record of a test point could be read.
    #[error(
        "{file_name}: no test point could be read: its records begin with 317, 327 or 367 and hold A, X and \
         Y in columns 39, 42 and 50{}: export it again as IPC-D-356 or IPC-D-356A",
        .first_odd.map_or(String::new(), |line| format!(" (the first odd one is line {line})"))
    )]
    NoPoints {
        /// The file.
        file_name: String,
        /// The first record that could not be read.
        first_odd: Option<u64>,
    },
}

/// What is odd in a netlist that can be used all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NetlistWarning {
    /// Test points that lack their place or access; left out.
    OddRecords {
        /// The lines, from 1.
        lines: Vec<u64>,
    },
    /// Lines of no known kind; left out.
    UnknownLines {
        /// The lines, from 1.
        lines: Vec<u64>,
    },
    /// A long name's short form that is stated nowhere; it is kept as the name.
    UnknownAlias {
        /// The short form.
        alias: String,
    },
    /// A short form that is stated twice; the first counts.
    AliasTwice {
        /// The short form.
        alias: String,
        /// The line left out.
        line: u64,
    },
    /// The line 999 is missing: the file may be cut off.
    NoEnd,
}

impl fmt::Display for NetlistWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OddRecords { lines } => {
                write!(f, "no place or no access can be read on {}: left out", numbered(lines))
            }
            Self::UnknownLines { lines } => write!(f, "{} of no known kind: left out", numbered(lines)),
            Self::UnknownAlias { alias } => {
                write!(f, "no line P {alias} states the long name of {alias}: it is kept as it stands")
            }
            Self::AliasTwice { alias, line } => write!(f, "{alias} is stated twice: line {line} is left out"),
            Self::NoEnd => write!(f, "the end, 999, is missing: check that the file is whole"),
        }
    }
}

/// The first few lines of many.
fn numbered(lines: &[u64]) -> String {
    const SHOWN: usize = 5;
    let shown: Vec<String> = lines.iter().take(SHOWN).map(u64::to_string).collect();
    let more = lines.len().saturating_sub(SHOWN);
    let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{} {}{rest}", if lines.len() == 1 { "line" } else { "lines" }, shown.join(", "))
}

/// Whether a text looks like a netlist, by a statement of its unit or by its records.
#[must_use]
pub fn is_netlist(text: &str) -> bool {
    text.lines().take(400).any(|line| {
        let states_unit = line.starts_with('P')
            && line.get(1..).is_some_and(|rest| rest.trim_start().starts_with("UNITS "));
        states_unit || (kind_of(line).is_some() && Record::read(line).is_some())
    })
}

/// Reads a netlist for the bare board test.
///
/// Read are the test points 317 (through hole), 327 (surface mount), 307 (blind or buried via), 367 (hole
/// without metal), 337 and 347 (tooling); the parameters `P UNITS` and `P NNAME…`; comments `C`; the end `999`.
/// Conductors 378, neighbours 379, outlines 389 and lines that go on with the one above (`0…`) are passed over.
/// `CUST` and `CUST 0` are 0.0001 inch and degrees, `CUST 1` 0.001 mm and degrees, `CUST 2` 0.0001 inch and
/// radians; no angle is used here. A long name may also be stated in a comment, as one common writer does.
///
/// The number of the last layer stands nowhere: it is the highest that a surface-mount pad has, and 1 where
/// there are no others; pads on layers between are out of reach.
///
/// # Errors
/// Every [`NetlistError`]; each names the file. What is odd on single lines comes back as warnings.
///
/// # Example
/// ```
/// use analysis::board::parse_netlist;
/// let text = "P  UNITS CUST 0\n\
///             327GND              R1    -2          A01X+001000Y-000500X0512Y0591R000 S2\n\
///             999\n";
/// let (netlist, warnings) = parse_netlist("board.ipc", text)?;
/// let point = &netlist.points()[0];
/// assert_eq!((point.at.x, point.at.y), (2.54, -1.27));
/// assert!(point.from_top && !point.from_bottom && warnings.is_empty());
/// # Ok::<(), analysis::board::NetlistError>(())
/// ```
pub fn parse_netlist(file_name: &str, text: &str) -> Result<(Netlist, Vec<NetlistWarning>), NetlistError> {
    let mut reader = Reader::default();
    for (line, number) in text.lines().zip(1..) {
        let line = line.trim_end();
        if line.starts_with("999") {
            reader.ended = true;
            break;
        }
        reader.take(file_name, line, number)?;
    }
    reader.finish(file_name)
}

/// Micrometres of one step of the numbers.
const INCH_STEP: f64 = 2.54;
const MILLIMETER_STEP: f64 = 1.0;

/// The kinds of record that tell of a test point.
fn kind_of(line: &str) -> Option<PointKind> {
    match line.get(..3)? {
        "317" | "307" => Some(PointKind::ThroughHole),
        "327" => Some(PointKind::SurfaceMount),
        "367" | "337" | "347" => Some(PointKind::Unplated),
        _ => None,
    }
}

/// One record, as its columns say.
struct Record {
    net: String,
    designator: String,
    pin: String,
    unplated: bool,
    access: u8,
    at: [f64; 2],
    masked: u8,
}

impl Record {
    /// `None` without access or place.
    fn read(line: &str) -> Option<Self> {
        let letters: Vec<char> = line.chars().collect();
        // Columns from 1, the last included; what lies beyond the line is empty.
        let text = |from: usize, to: usize| -> String {
            let to = to.min(letters.len());
            letters.get(from - 1..to).unwrap_or_default().iter().collect::<String>().trim().to_owned()
        };
        let letter = |column: usize| letters.get(column - 1).copied().unwrap_or(' ');
        // Some writers let a long designator push the rest to the right.
        let pushed = if matches!(letter(27), '-' | ' ') {
            0
        } else {
            let hyphens = (28..=letters.len()).filter(|&column| letter(column) == '-');
            hyphens.map(|column| column - 27).find(|by| letter(39 + by) == 'A' && letter(42 + by) == 'X')?
        };
        let digits = |from: usize, to: usize| {
            let digits: String = text(from + pushed, to + pushed).split_whitespace().collect();
            digits.parse::<i32>().ok()
        };
        if letter(39 + pushed) != 'A' || letter(42 + pushed) != 'X' || letter(50 + pushed) != 'Y' {
            return None;
        }
        let mask = [72, 73].into_iter().find(|column| letter(column + pushed) == 'S');
        Some(Self {
            net: text(4, 17),
            designator: text(21, 26 + pushed),
            pin: text(28 + pushed, 31 + pushed),
            unplated: letter(38 + pushed) == 'U',
            access: u8::try_from(digits(40, 41)?).ok()?,
            at: [f64::from(digits(43, 49)?), f64::from(digits(51, 57)?)],
            masked: mask.and_then(|column| letter(column + 1 + pushed).to_digit(4)).unwrap_or(0) as u8,
        })
    }
}

#[derive(Default)]
struct Reader {
    /// Micrometres of a step.
    step: Option<f64>,
    aliases: BTreeMap<String, String>,
    points: Vec<(PointKind, Record, [f64; 2])>,
    odd: Vec<u64>,
    unknown: Vec<u64>,
    warnings: Vec<NetlistWarning>,
    ended: bool,
}

impl Reader {
    fn take(&mut self, file_name: &str, line: &str, number: u64) -> Result<(), NetlistError> {
        if let Some(kind) = kind_of(line) {
            let step = self.step.ok_or_else(|| NetlistError::UnitUnstated {
                file_name: file_name.to_owned(),
                line: number,
            })?;
            match Record::read(line) {
                Some(record) => {
                    let at = record.at.map(|steps| (steps * step * 1e3).round() / 1e6);
                    self.points.push((kind, record, at));
                }
                None => self.odd.push(number),
            }
            return Ok(());
        }
        let mut words = line.get(1..).unwrap_or_default().split_whitespace();
        match line.chars().next() {
            Some('P' | 'C') => match words.next() {
                Some("UNITS") if line.starts_with('P') => {
                    let text = words.collect::<Vec<_>>().join(" ");
                    self.step = Some(match text.as_str() {
                        "CUST" | "CUST 0" | "CUST 2" => INCH_STEP,
                        "CUST 1" => MILLIMETER_STEP,
                        _ => {
                            let file_name = file_name.to_owned();
                            return Err(NetlistError::UnknownUnit { file_name, line: number, text });
                        }
                    });
                }
                Some(alias) if is_alias(alias) => {
                    let name = words.collect::<Vec<_>>().join(" ");
                    if name.is_empty() {
                        self.unknown.push(number);
                    } else if self.aliases.contains_key(alias) {
                        let alias = alias.to_owned();
                        self.warnings.push(NetlistWarning::AliasTwice { alias, line: number });
                    } else {
                        self.aliases.insert(alias.to_owned(), name);
                    }
                }
                _ => {}
            },
            None | Some('0') => {}
            Some(_) if ["378", "379", "389"].iter().any(|known| line.starts_with(known)) => {}
            Some(_) => self.unknown.push(number),
        }
        Ok(())
    }

    fn finish(self, file_name: &str) -> Result<(Netlist, Vec<NetlistWarning>), NetlistError> {
        if self.points.is_empty() {
            let file_name = file_name.to_owned();
            return Err(NetlistError::NoPoints { file_name, first_odd: self.odd.first().copied() });
        }
        let on_a_face = self.points.iter().filter(|(kind, ..)| *kind == PointKind::SurfaceMount);
        let last_layer = on_a_face.map(|(_, record, _)| record.access).max().filter(|&layer| layer > 1);
        let mut warnings = self.warnings;
        if !self.odd.is_empty() {
            warnings.push(NetlistWarning::OddRecords { lines: self.odd });
        }
        if !self.unknown.is_empty() {
            warnings.push(NetlistWarning::UnknownLines { lines: self.unknown });
        }
        if !self.ended {
            warnings.push(NetlistWarning::NoEnd);
        }
        let mut points = Vec::with_capacity(self.points.len());
        for (kind, record, [x, y]) in self.points {
            let net = match self.aliases.get(&record.net) {
                Some(name) => Some(name.clone()),
                None => (!matches!(record.net.as_str(), "" | "N/C")).then(|| record.net.clone()),
            };
            if is_alias(&record.net) && !self.aliases.contains_key(&record.net) {
                let warning = NetlistWarning::UnknownAlias { alias: record.net };
                if !warnings.contains(&warning) {
                    warnings.push(warning);
                }
            }
            let via = record.designator == "VIA";
            let kind = match kind {
                PointKind::Unplated => kind,
                _ if record.unplated => PointKind::Unplated,
                _ if via => PointKind::Via,
                _ => kind,
            };
            let metal = kind != PointKind::Unplated;
            points.push(TestPoint {
                net,
                designator: Some(record.designator).filter(|name| !via && !name.is_empty()),
                pin: Some(record.pin).filter(|pin| !pin.is_empty()),
                at: Point::new(x, y),
                kind,
                from_top: metal && record.access <= 1 && record.masked & 1 == 0,
                from_bottom: metal
                    && (record.access == 0 || Some(record.access) == last_layer)
                    && record.masked & 2 == 0,
            });
        }
        Ok((points.into(), warnings))
    }
}

/// `NNAME` and a number.
fn is_alias(word: &str) -> bool {
    word.strip_prefix("NNAME")
        .is_some_and(|number| !number.is_empty() && number.chars().all(|digit| digit.is_ascii_digit()))
}
