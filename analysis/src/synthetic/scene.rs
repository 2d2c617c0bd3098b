//! What lies in front of the camera: parts, finishes and copper of an invented board.

use ndarray::Array2;

use crate::board::{Placement, Side};
use crate::geometry::Point;

use super::conduction::{Plate, PlateField};

/// What a surface is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SurfaceMaterial {
    /// Solder mask over laminate or copper.
    SolderMask,
    /// Moulding compound.
    Epoxy,
    /// Ceramic body of chip parts.
    Ceramic,
    /// Housing of a connector or terminal.
    Plastic,
    /// Ferrite of an inductor or transformer.
    Ferrite,
    /// Paper label.
    Label,
    /// Tinned lead, pad or terminal.
    Tin,
    /// Gold-plated pad.
    Gold,
    /// Bare aluminium can.
    Aluminium,
    /// Sheet-metal shield or lid.
    SheetMetal,
    /// The mat that the board lies on.
    Mat,
}

impl SurfaceMaterial {
    /// The emissivity of the invented board's surface: a plausible value for the class of material
    /// (common practice, no source). It is the simulation's truth, not a statement about real boards.
    #[must_use]
    pub const fn emissivity(self) -> f64 {
        match self {
            Self::SolderMask => 0.92,
            Self::Epoxy => 0.93,
            Self::Ceramic => 0.90,
            Self::Plastic => 0.94,
            Self::Ferrite => 0.88,
            Self::Label => 0.94,
            Self::Tin => 0.22,
            Self::Gold => 0.10,
            Self::Aluminium => 0.16,
            Self::SheetMetal => 0.14,
            Self::Mat => 0.95,
        }
    }

    /// Whether it is bare metal, whose emissivity is low and differs from specimen to specimen.
    #[must_use]
    pub const fn is_metal(self) -> bool {
        matches!(self, Self::Tin | Self::Gold | Self::Aluminium | Self::SheetMetal)
    }
}

/// The outline of a body as seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BodyShape {
    /// A rectangle.
    Rectangle,
    /// An ellipse inscribed in the size.
    Disc,
}

/// The metal that a package shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Terminals {
    /// None to be seen.
    Hidden,
    /// The ends of the body along x, each this fraction of its length.
    EndCaps(f64),
    /// Leads beyond the long sides (±y).
    TwoRows {
        /// Lead to lead, mm.
        pitch: f64,
        /// Length beyond the body, mm.
        reach: f64,
    },
    /// Leads beyond all four sides.
    FourRows {
        /// Lead to lead, mm.
        pitch: f64,
        /// Length beyond the body, mm.
        reach: f64,
    },
    /// One wide pad beyond each end along x, this long, mm.
    EndPads(f64),
    /// Leads beyond −y, a full-width tab beyond +y.
    LeadsAndTab {
        /// Lead to lead, mm.
        pitch: f64,
        /// Length of leads and tab beyond the body, mm.
        reach: f64,
    },
}

/// A package: what parts of one kind share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Package {
    /// Its name in the placement file.
    pub name: &'static str,
    /// Body along x and y before rotation, mm.
    pub size: [f64; 2],
    /// Outline of the body.
    pub shape: BodyShape,
    /// The top of the body.
    pub top: SurfaceMaterial,
    /// Its visible metal.
    pub terminals: Terminals,
    /// How far the middle of the top rises above the board below it, K/W.
    pub case_to_board: f64,
    /// The fraction of the board's rise that reaches the top: below 1 for tall bodies.
    pub rise_kept: f64,
}

impl Package {
    /// The same package as a tall body, whose top keeps only this fraction of the board's rise.
    #[must_use]
    pub const fn tall(self, rise_kept: f64) -> Self {
        Self { rise_kept, ..self }
    }
}

/// One part of a board.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Reference designator.
    pub designator: &'static str,
    /// Its package.
    pub package: Package,
    /// Value or type.
    pub value: &'static str,
    /// Centre, mm.
    pub center: [f64; 2],
    /// Degrees counter-clockwise, y up.
    pub rotation: f64,
    /// Dissipated power, W.
    pub power: f64,
}

/// A finish that is no part: pad, label, fiducial, screw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Centre, mm.
    pub center: [f64; 2],
    /// Width and height, mm.
    pub size: [f64; 2],
    /// Its outline.
    pub shape: BodyShape,
    /// What it is made of; the mat shows through a hole.
    pub material: SurfaceMaterial,
}

/// A rectangle of copper: replaces what lies below it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pour {
    /// Lower left corner, mm.
    pub from: [f64; 2],
    /// Upper right corner, mm.
    pub to: [f64; 2],
    /// k·t, W/K.
    pub sheet_conductance: f64,
}

/// A board: y up, origin at the lower left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardDesign {
    /// The invented product.
    pub product: &'static str,
    /// Width and height, mm.
    pub size: [f64; 2],
    /// Its parts.
    pub parts: Vec<Part>,
    /// Finishes above the mask and the parts; later ones on top.
    pub patches: Vec<Patch>,
    /// k·t where no pour lies, W/K.
    pub sheet_conductance: f64,
    /// Copper, later ones on top.
    pub pours: Vec<Pour>,
    /// Film coefficient of both faces together, convection and radiation made linear, W/m²K.
    pub film: f64,
}

/// Edge of a conduction cell, mm: fine against the parts that dissipate, coarse enough for a
/// board in a fraction of a second.
const CELL_MM: f64 = 0.5;

impl BoardDesign {
    /// The part with this designator.
    #[must_use]
    pub fn part(&self, designator: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.designator == designator)
    }

    /// The designator of the part whose body is nearest to (`x`, `y`) mm; empty for a board without parts.
    #[must_use]
    pub fn nearest_part(&self, x: f64, y: f64) -> &'static str {
        let near = |a: &&Part, b: &&Part| a.distance(x, y).total_cmp(&b.distance(x, y));
        self.parts.iter().min_by(near).map_or("", |part| part.designator)
    }

    /// The sum of all parts' powers, W.
    #[must_use]
    pub fn total_power(&self) -> f64 {
        self.parts.iter().map(|part| part.power).sum()
    }

    /// The placement file's rows.
    #[must_use]
    pub fn placements(&self) -> Vec<Placement> {
        self.parts
            .iter()
            .map(|part| Placement {
                designator: part.designator.to_owned(),
                center: Point::new(part.center[0], part.center[1]),
                rotation: part.rotation,
                side: Side::Top,
                package: part.package.name.to_owned(),
                size: part.package.size,
                value: part.value.to_owned(),
            })
            .collect()
    }

    /// The board as a conducting plate.
    #[must_use]
    pub fn plate(&self) -> Plate {
        let sheet_conductance = Array2::from_shape_fn(self.grid(), |(row, column)| {
            let (x, y) = ((column as f64 + 0.5) * CELL_MM, (row as f64 + 0.5) * CELL_MM);
            self.pours
                .iter()
                .rfind(|pour| {
                    (pour.from[0]..pour.to[0]).contains(&x) && (pour.from[1]..pour.to[1]).contains(&y)
                })
                .map_or(self.sheet_conductance, |pour| pour.sheet_conductance)
        });
        Plate { cell_mm: CELL_MM, sheet_conductance, film: self.film }
    }

    /// The parts' powers on the plate's cells, W per cell: each spread evenly under its body.
    #[must_use]
    pub fn power_map(&self) -> Array2<f64> {
        let mut map = Array2::zeros(self.grid());
        for part in self.parts.iter().filter(|part| part.power != 0.0) {
            self.spread_power(&mut map, part.center, part.reach(), part.power, |x, y| {
                if part.covers(x, y) { 1.0 } else { 0.0 }
            });
        }
        map
    }

    /// `watts` around `center`, falling off as a Gaussian of standard deviation `radius_mm`.
    #[must_use]
    pub fn buried_power_map(&self, center: [f64; 2], radius_mm: f64, watts: f64) -> Array2<f64> {
        let mut map = Array2::zeros(self.grid());
        self.spread_power(&mut map, center, 4.0 * radius_mm, watts, |x, y| {
            let squared = (x - center[0]).powi(2) + (y - center[1]).powi(2);
            (-squared / (2.0 * radius_mm * radius_mm)).exp()
        });
        map
    }

    /// Adds exactly `watts` to the cells within `reach`, shared out by `density` at sixteen points per cell.
    fn spread_power(
        &self,
        map: &mut Array2<f64>,
        center: [f64; 2],
        reach: f64,
        watts: f64,
        density: impl Fn(f64, f64) -> f64,
    ) {
        let span = |middle: f64, count: usize| {
            let lo = ((middle - reach) / CELL_MM).floor().max(0.0) as usize;
            let hi = ((middle + reach) / CELL_MM).ceil().max(0.0) as usize;
            lo.min(count)..hi.min(count)
        };
        let (rows, columns) = map.dim();
        let mut shares = Vec::new();
        for row in span(center[1], rows) {
            for column in span(center[0], columns) {
                let share: f64 = (0..16)
                    .map(|i| {
                        let (right, up) = (f64::from(i % 4), f64::from(i / 4));
                        let x = (column as f64 + (right + 0.5) / 4.0) * CELL_MM;
                        let y = (row as f64 + (up + 0.5) / 4.0) * CELL_MM;
                        density(x, y)
                    })
                    .sum();
                shares.push(((row, column), share));
            }
        }
        let total: f64 = shares.iter().map(|(_, share)| share).sum();
        if total > 0.0 {
            for (cell, share) in shares {
                map[cell] += watts * share / total;
            }
        }
    }

    fn grid(&self) -> (usize, usize) {
        let count = |length: f64| (length / CELL_MM).round().max(1.0) as usize;
        (count(self.size[1]), count(self.size[0]))
    }
}

/// What a point of a part shows.
#[derive(Debug, Clone, Copy, PartialEq)]
struct PartPoint {
    material: SurfaceMaterial,
    /// Fraction of the part's case rise, 1 in the middle of the body, 0 on leads.
    own_rise: f64,
    /// Fraction of the board's rise.
    board_rise: f64,
}

impl Part {
    /// Rise of the middle of the top above the board, K.
    #[must_use]
    pub fn case_rise(&self) -> f64 {
        self.power * self.package.case_to_board
    }

    /// No point of the part or its leads is farther from its centre, mm.
    fn reach(&self) -> f64 {
        let beyond = match self.package.terminals {
            Terminals::Hidden | Terminals::EndCaps(_) => 0.0,
            Terminals::EndPads(reach)
            | Terminals::TwoRows { reach, .. }
            | Terminals::FourRows { reach, .. }
            | Terminals::LeadsAndTab { reach, .. } => reach,
        };
        self.package.size[0].hypot(self.package.size[1]) / 2.0 + beyond
    }

    /// Sine and cosine of the rotation.
    fn turn(&self) -> (f64, f64) {
        self.rotation.to_radians().sin_cos()
    }

    /// (x, y) in the part's own axes, mm from its centre.
    fn local(&self, (sin, cos): (f64, f64), x: f64, y: f64) -> (f64, f64) {
        let (dx, dy) = (x - self.center[0], y - self.center[1]);
        (cos * dx + sin * dy, cos * dy - sin * dx)
    }

    /// From the board's (x, y) to the body's box, mm; 0 on it.
    fn distance(&self, x: f64, y: f64) -> f64 {
        let (x, y) = self.local(self.turn(), x, y);
        let [width, height] = self.package.size;
        (x.abs() - width / 2.0).max(0.0).hypot((y.abs() - height / 2.0).max(0.0))
    }

    /// Whether the body covers the board's (x, y).
    #[must_use]
    pub fn covers(&self, x: f64, y: f64) -> bool {
        let (x, y) = self.local(self.turn(), x, y);
        self.body_covers(2.0 * x / self.package.size[0], 2.0 * y / self.package.size[1])
    }

    /// The same for a place in the part's own axes, ±1 at the ends of the body.
    fn body_covers(&self, u: f64, v: f64) -> bool {
        match self.package.shape {
            BodyShape::Rectangle => u.abs() <= 1.0 && v.abs() <= 1.0,
            BodyShape::Disc => u.hypot(v) <= 1.0,
        }
    }

    fn point(&self, turn: (f64, f64), board_x: f64, board_y: f64) -> Option<PartPoint> {
        let (x, y) = self.local(turn, board_x, board_y);
        let (half_x, half_y) = (self.package.size[0] / 2.0, self.package.size[1] / 2.0);
        let (u, v) = (x / half_x, y / half_y);
        if self.body_covers(u, v) {
            let material = match self.package.terminals {
                Terminals::EndCaps(fraction) if u.abs() > 1.0 - 2.0 * fraction => SurfaceMaterial::Tin,
                _ => self.package.top,
            };
            // A dome: 1 in the middle, three quarters in the middle of an edge.
            let own_rise = (1.0 - 0.25 * u * u) * (1.0 - 0.25 * v * v);
            return Some(PartPoint { material, own_rise, board_rise: self.package.rise_kept });
        }
        let beyond_x = x.abs() - half_x;
        let beyond_y = y.abs() - half_y;
        let on_lead = |along: f64, pitch: f64| (along / pitch + 1000.5).fract() < 0.45;
        let metal = match self.package.terminals {
            Terminals::Hidden | Terminals::EndCaps(_) => false,
            Terminals::TwoRows { pitch, reach } => {
                u.abs() <= 1.0 && (0.0..reach).contains(&beyond_y) && on_lead(x, pitch)
            }
            Terminals::FourRows { pitch, reach } => {
                (u.abs() <= 0.85 && (0.0..reach).contains(&beyond_y) && on_lead(x, pitch))
                    || (v.abs() <= 0.85 && (0.0..reach).contains(&beyond_x) && on_lead(y, pitch))
            }
            Terminals::EndPads(reach) => v.abs() <= 0.8 && (0.0..reach).contains(&beyond_x),
            Terminals::LeadsAndTab { pitch, reach } => {
                u.abs() <= 0.9 && (0.0..reach).contains(&beyond_y) && (y > 0.0 || on_lead(x, pitch))
            }
        };
        metal.then_some(PartPoint { material: SurfaceMaterial::Tin, own_rise: 0.0, board_rise: 1.0 })
    }
}

impl Patch {
    fn covers(&self, x: f64, y: f64) -> bool {
        let u = 2.0 * (x - self.center[0]) / self.size[0];
        let v = 2.0 * (y - self.center[1]) / self.size[1];
        match self.shape {
            BodyShape::Rectangle => u.abs() <= 1.0 && v.abs() <= 1.0,
            BodyShape::Disc => u.hypot(v) <= 1.0,
        }
    }
}

/// One point of the scene as the camera needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScenePoint {
    /// Temperature of the surface, K.
    pub temperature: f64,
    /// Emissivity of the surface.
    pub emissivity: f64,
}

/// A board at its temperature on its mat, ready to be looked at.
#[derive(Debug)]
pub struct Scene<'a> {
    board: &'a BoardDesign,
    rise: &'a PlateField,
    ambient: f64,
    metal_emissivity_factor: f64,
    emissivity_override: Option<f64>,
    /// Sine and cosine of each part's rotation: asked for at millions of points.
    turns: Vec<(f64, f64)>,
    /// Indices of the parts that reach into each square of `BUCKET_MM`.
    buckets: Array2<Vec<usize>>,
    patch_buckets: Array2<Vec<usize>>,
}

const BUCKET_MM: f64 = 1.0;

impl<'a> Scene<'a> {
    /// `board` with its plate at `rise` above `ambient` kelvin.
    #[must_use]
    pub fn new(board: &'a BoardDesign, rise: &'a PlateField, ambient: f64) -> Self {
        let shape = (
            (board.size[1] / BUCKET_MM).ceil().max(1.0) as usize,
            (board.size[0] / BUCKET_MM).ceil().max(1.0) as usize,
        );
        let fill = |reaches: Vec<([f64; 2], f64)>| {
            Array2::from_shape_fn(shape, |(row, column)| {
                let (x, y) = ((column as f64 + 0.5) * BUCKET_MM, (row as f64 + 0.5) * BUCKET_MM);
                let within = |reach: f64| reach + BUCKET_MM;
                let close = |(c, r): &([f64; 2], f64)| (c[0] - x).hypot(c[1] - y) <= within(*r);
                reaches.iter().enumerate().filter(|(_, p)| close(p)).map(|(i, _)| i).collect()
            })
        };
        let buckets = fill(board.parts.iter().map(|p| (p.center, p.reach())).collect());
        let patch_buckets =
            fill(board.patches.iter().map(|p| (p.center, p.size[0].hypot(p.size[1]) / 2.0)).collect());
        Self {
            board,
            rise,
            ambient,
            metal_emissivity_factor: 1.0,
            emissivity_override: None,
            turns: board.parts.iter().map(Part::turn).collect(),
            buckets,
            patch_buckets,
        }
    }

    /// The same scene with every metal's emissivity multiplied by `factor`.
    #[must_use]
    pub fn with_metal_factor(mut self, factor: f64) -> Self {
        self.metal_emissivity_factor = factor;
        self
    }

    /// The same scene painted all over with a finish of one emissivity.
    #[must_use]
    pub fn painted(mut self, emissivity: f64) -> Self {
        self.emissivity_override = Some(emissivity);
        self
    }

    /// What the point (`x`, `y`) mm of the board's plane shows.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> ScenePoint {
        let [width, height] = self.board.size;
        if !((0.0..width).contains(&x) && (0.0..height).contains(&y)) {
            return self.seen(SurfaceMaterial::Mat, self.ambient);
        }
        let bucket = ((y / BUCKET_MM) as usize, (x / BUCKET_MM) as usize);
        let mut material = SurfaceMaterial::SolderMask;
        let (mut kept, mut above) = (1.0, 0.0);
        for &index in &self.buckets[bucket] {
            let part = &self.board.parts[index];
            if let Some(point) = part.point(self.turns[index], x, y) {
                material = point.material;
                kept = point.board_rise;
                above = point.own_rise * part.case_rise();
            }
        }
        for &index in &self.patch_buckets[bucket] {
            let patch = &self.board.patches[index];
            if patch.covers(x, y) {
                material = patch.material;
            }
        }
        if material == SurfaceMaterial::Mat {
            return self.seen(material, self.ambient);
        }
        self.seen(material, self.ambient + kept * self.rise.at(x, y) + above)
    }

    fn seen(&self, material: SurfaceMaterial, temperature: f64) -> ScenePoint {
        let factor = if material.is_metal() { self.metal_emissivity_factor } else { 1.0 };
        let own = (material.emissivity() * factor).clamp(0.02, 1.0);
        ScenePoint { temperature, emissivity: self.emissivity_override.unwrap_or(own) }
    }
}
