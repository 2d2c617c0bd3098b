//! What a Gerber file draws: paths along the middle of each stroke or around each region, and the flashes of parts.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, TAU};
use std::io::BufReader;

use gerber_parser::gerber_types::{
    ApertureAttribute, ApertureFunction, AttributeDeletionCriterion, Command, ComponentCharacteristics,
    CoordinateNumber, DCode, ExtendedCode, FunctionCode, GCode, InterpolationMode, ObjectAttribute,
    Operation, QuadrantMode, Unit,
};

use super::script::{APERTURE_FUNCTION, Script, unescaped};
use super::{GerberError, GerberWarning};

/// An arc's chords stay this close to it, mm: a tenth of what a board's edge is milled to (own choice; no source).
pub(super) const ARC_TOLERANCE_MM: f64 = 0.01;
/// Chords of one arc at most, whatever its radius.
const MOST_CHORDS: usize = 4096;
/// Points of all paths at most.
const MOST_POINTS: usize = 2_000_000;
const INCH_MM: f64 = 25.4;

/// What is drawn, in millimetres.
#[derive(Default)]
pub(super) struct Drawing {
    pub(super) paths: Vec<Path>,
    /// The flashes that stand for a part.
    pub(super) parts: Vec<PartFlash>,
}

/// A stroke's middle, or the edge of a region.
pub(super) struct Path {
    pub(super) points: Vec<[f64; 2]>,
    /// What it is drawn for.
    pub(super) function: Option<ApertureFunction>,
    /// The part it belongs to.
    pub(super) designator: Option<String>,
}

/// The reference point of a part, with what is said of it.
pub(super) struct PartFlash {
    pub(super) at: [f64; 2],
    pub(super) said: Said,
}

/// The object attributes of the moment.
#[derive(Default, Clone)]
pub(super) struct Said {
    pub(super) designator: Option<String>,
    pub(super) rotation: Option<f64>,
    pub(super) value: Option<String>,
    pub(super) footprint: Option<String>,
    pub(super) package: Option<String>,
}

/// Follows the commands of a file.
pub(super) fn draw(
    file_name: &str,
    script: Script,
    warnings: &mut Vec<GerberWarning>,
) -> Result<Drawing, GerberError> {
    let Script { text, lines, mut odd, ended } = script;
    let document = match gerber_parser::parse(BufReader::new(text.as_bytes())) {
        Ok(document) | Err((document, _)) => document,
    };
    let unstated = |missing| GerberError::Unstated { file_name: file_name.to_owned(), missing };
    let scale = match document.units.ok_or_else(|| unstated("the unit (MO)"))? {
        Unit::Millimeters => 1.0,
        Unit::Inches => INCH_MM,
    };
    if document.format_specification.is_none() {
        return Err(unstated("the number format (FS)"));
    }
    let mut pen = Pen::new(scale);
    for command in &document.commands {
        match command {
            Ok(command) => pen.follow(command),
            Err(error) => {
                let Some((number, command)) = &error.line else { continue };
                // The crate knows no deletion of what it was never told.
                if !command.starts_with("%TD") {
                    odd.extend(number.checked_sub(1).and_then(|place| lines.get(place)));
                }
                if command.starts_with("%TA") {
                    pen.function = None;
                }
            }
        }
        if pen.points > MOST_POINTS {
            return Err(GerberError::TooLong { file_name: file_name.to_owned(), allowed: MOST_POINTS });
        }
    }
    pen.finish_path();
    odd.sort_unstable();
    odd.dedup();
    if !odd.is_empty() {
        warnings.push(GerberWarning::OddCommands { lines: odd });
    }
    if !ended {
        warnings.push(GerberWarning::NoEnd);
    }
    Ok(pen.drawing)
}

struct Pen {
    /// Millimetres of a unit.
    scale: f64,
    drawing: Drawing,
    points: usize,
    at: Option<[f64; 2]>,
    /// The path that is being drawn.
    path: Vec<[f64; 2]>,
    mode: InterpolationMode,
    quadrant: QuadrantMode,
    region: bool,
    aperture: Option<i32>,
    aperture_functions: BTreeMap<i32, ApertureFunction>,
    /// The aperture attribute of the moment, for apertures that are defined and regions.
    function: Option<ApertureFunction>,
    said: Said,
}

impl Pen {
    fn new(scale: f64) -> Self {
        Self {
            scale,
            drawing: Drawing::default(),
            points: 0,
            at: None,
            path: Vec::new(),
            mode: InterpolationMode::Linear,
            quadrant: QuadrantMode::Multi,
            region: false,
            aperture: None,
            aperture_functions: BTreeMap::new(),
            function: None,
            said: Said::default(),
        }
    }

    fn follow(&mut self, command: &Command) {
        match command {
            Command::FunctionCode(FunctionCode::GCode(GCode::InterpolationMode(mode))) => self.mode = *mode,
            Command::FunctionCode(FunctionCode::GCode(GCode::QuadrantMode(mode))) => self.quadrant = *mode,
            Command::FunctionCode(FunctionCode::GCode(GCode::RegionMode(on))) => {
                self.finish_path();
                self.region = *on;
            }
            Command::FunctionCode(FunctionCode::DCode(DCode::SelectAperture(code))) => {
                self.finish_path();
                self.aperture = Some(*code);
            }
            Command::FunctionCode(FunctionCode::DCode(DCode::Operation(operation))) => {
                self.operate(operation)
            }
            Command::ExtendedCode(ExtendedCode::ApertureDefinition(defined)) => {
                if let Some(function) = &self.function {
                    self.aperture_functions.insert(defined.code, function.clone());
                }
            }
            Command::ExtendedCode(ExtendedCode::ApertureAttribute(attribute)) => {
                self.function = match attribute {
                    ApertureAttribute::ApertureFunction(function) => Some(function.clone()),
                    _ => None,
                };
            }
            Command::ExtendedCode(ExtendedCode::ObjectAttribute(attribute)) => {
                self.finish_path();
                self.say(attribute);
            }
            Command::ExtendedCode(ExtendedCode::DeleteAttribute(what)) => {
                self.finish_path();
                self.forget(what);
            }
            _ => {}
        }
    }

    fn say(&mut self, attribute: &ObjectAttribute) {
        let text = |field: &String| Some(unescaped(field)).filter(|text| !text.is_empty());
        match attribute {
            ObjectAttribute::Component(name) => self.said.designator = text(name),
            ObjectAttribute::ComponentCharacteristics(characteristic) => match characteristic {
                ComponentCharacteristics::Rotation(angle) => {
                    self.said.rotation = Some(*angle).filter(|angle| angle.is_finite());
                }
                ComponentCharacteristics::Value(value) => self.said.value = text(value),
                ComponentCharacteristics::Footprint(name) => self.said.footprint = text(name),
                ComponentCharacteristics::PackageName(name) => self.said.package = text(name),
                _ => {}
            },
            // A field with a comma in it, which the standard forbids and some writers let pass.
            ObjectAttribute::UserDefined { name, values } => {
                let value = text(&values.join(", "));
                match name.as_str() {
                    ".C" => self.said.designator = value,
                    ".CVal" => self.said.value = value,
                    ".CFtp" => self.said.footprint = value,
                    ".CPgN" => self.said.package = value,
                    _ => {}
                }
            }
            _ => {}
        }
    }

    fn forget(&mut self, what: &AttributeDeletionCriterion) {
        match what {
            AttributeDeletionCriterion::AllApertureAndObjectAttributes => {
                self.function = None;
                self.said = Said::default();
            }
            AttributeDeletionCriterion::SingleApertureAttribute(name)
            | AttributeDeletionCriterion::SingleObjectAttribute(name) => match name.as_str() {
                APERTURE_FUNCTION => self.function = None,
                ".C" => self.said.designator = None,
                ".CRot" => self.said.rotation = None,
                ".CVal" => self.said.value = None,
                ".CFtp" => self.said.footprint = None,
                ".CPgN" => self.said.package = None,
                _ => {}
            },
        }
    }

    fn operate(&mut self, operation: &Operation) {
        let coordinates = match operation {
            Operation::Interpolate(to, _) | Operation::Move(to) | Operation::Flash(to) => to,
        };
        let [x, y] = self.at.unwrap_or_default();
        let named = |pick: fn(&gerber_parser::gerber_types::Coordinates) -> Option<CoordinateNumber>| {
            Some(self.millimeters(pick(coordinates.as_ref()?)?))
        };
        let to = [named(|to| to.x).unwrap_or(x), named(|to| to.y).unwrap_or(y)];
        match operation {
            Operation::Move(_) => self.finish_path(),
            Operation::Flash(_) => {
                self.finish_path();
                let function = self.aperture.and_then(|code| self.aperture_functions.get(&code));
                if function == Some(&ApertureFunction::ComponentMain) {
                    self.drawing.parts.push(PartFlash { at: to, said: self.said.clone() });
                }
            }
            Operation::Interpolate(_, offset) => {
                let offset = offset.as_ref().map(|offset| {
                    [offset.x, offset.y].map(|part| part.map_or(0.0, |part| self.millimeters(part)))
                });
                self.draw_to(to, offset.unwrap_or_default());
            }
        }
        self.at = Some(to);
    }

    /// Rounded to a nanometre, so that an inch is 25.4 mm and not a little less.
    fn millimeters(&self, number: CoordinateNumber) -> f64 {
        (f64::from(number) * self.scale * 1e6).round() / 1e6
    }

    fn draw_to(&mut self, to: [f64; 2], offset: [f64; 2]) {
        let from = self.at.unwrap_or(to);
        let before = self.path.len();
        if self.path.is_empty() {
            self.path.push(from);
        }
        match (self.mode, self.quadrant) {
            (InterpolationMode::Linear, _) => {}
            (mode, quadrant) => {
                let clockwise = mode == InterpolationMode::ClockwiseCircular;
                let arc = match quadrant {
                    QuadrantMode::Multi => Some(Arc::around(from, to, offset, clockwise)),
                    QuadrantMode::Single => Arc::within_a_quadrant(from, to, offset, clockwise),
                };
                if let Some(arc) = arc {
                    self.path.extend(arc.inner_points());
                }
            }
        }
        self.path.push(to);
        self.points += self.path.len() - before;
    }

    fn finish_path(&mut self) {
        let points = std::mem::take(&mut self.path);
        if points.len() < 2 {
            return;
        }
        let function = if self.region {
            self.function.clone()
        } else {
            self.aperture.and_then(|code| self.aperture_functions.get(&code)).cloned()
        };
        self.drawing.paths.push(Path { points, function, designator: self.said.designator.clone() });
    }
}

/// A turn around a centre; positive is counter-clockwise.
#[derive(Clone, Copy)]
struct Arc {
    center: [f64; 2],
    radii: [f64; 2],
    start: f64,
    sweep: f64,
}

impl Arc {
    /// Multi quadrant: any sweep, and where start and end are one, the whole circle.
    fn around(from: [f64; 2], to: [f64; 2], offset: [f64; 2], clockwise: bool) -> Self {
        let center = [from[0] + offset[0], from[1] + offset[1]];
        let [start, end] = [from, to].map(|[x, y]| (y - center[1]).atan2(x - center[0]));
        let turn = if clockwise { start - end } else { end - start }.rem_euclid(TAU);
        let turn = if from == to { TAU } else { turn };
        Self {
            center,
            radii: [from, to].map(|[x, y]| (x - center[0]).hypot(y - center[1])),
            start,
            sweep: if clockwise { -turn } else { turn },
        }
    }

    /// Single quadrant (deprecated): the offset has no sign, and the sweep is a quarter at most. Of the four
    /// centres the one is meant whose radii agree best.
    fn within_a_quadrant(from: [f64; 2], to: [f64; 2], offset: [f64; 2], clockwise: bool) -> Option<Self> {
        // Coordinates are rounded, so a quarter may come out a little wider.
        const SLACK: f64 = 1e-3;
        let signs = [[1.0, 1.0], [1.0, -1.0], [-1.0, 1.0], [-1.0, -1.0]];
        let arcs = signs.map(|[x, y]| Self::around(from, to, [x * offset[0], y * offset[1]], clockwise));
        let gap = |arc: &Self| (arc.radii[0] - arc.radii[1]).abs();
        arcs.into_iter()
            .filter(|arc| arc.sweep.abs() <= FRAC_PI_2 + SLACK)
            .min_by(|one, other| gap(one).total_cmp(&gap(other)))
    }

    /// The corners of its chords without the two ends.
    fn inner_points(self) -> impl Iterator<Item = [f64; 2]> {
        let radius = self.radii[0].max(self.radii[1]);
        // A chord over the angle a is r (1 - cos(a / 2)) away from its arc in the middle.
        let widest = 2.0 * (1.0 - ARC_TOLERANCE_MM / radius.max(ARC_TOLERANCE_MM)).acos();
        let chords = ((self.sweep.abs() / widest).ceil() as usize).clamp(1, MOST_CHORDS);
        (1..chords).map(move |chord| {
            let share = chord as f64 / chords as f64;
            let radius = self.radii[0] + share * (self.radii[1] - self.radii[0]);
            let (sine, cosine) = (self.start + share * self.sweep).sin_cos();
            [self.center[0] + radius * cosine, self.center[1] + radius * sine]
        })
    }
}
