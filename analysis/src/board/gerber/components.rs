//! The parts of a component layer.

use std::collections::{BTreeMap, BTreeSet};

use gerber_parser::gerber_types::{ApertureFunction, ComponentOutline};

use super::drawing::{Drawing, PartFlash};
use super::{GerberError, GerberWarning};
use crate::board::package::body_size;
use crate::board::placement::{ASSUMED_SIZE_MM, Placement, Side};
use crate::geometry::Point;

/// Which outline tells most of the body; smaller is better. The courtyard is wider than the part, so a size that
/// the package's name tells goes before it.
fn rank(outline: ComponentOutline) -> u8 {
    match outline {
        ComponentOutline::Body => 0,
        ComponentOutline::Lead2Lead => 1,
        ComponentOutline::Footprint => 2,
        ComponentOutline::Courtyard => 3,
    }
}

/// The best outline of a part.
struct Outline {
    kind: ComponentOutline,
    points: Vec<[f64; 2]>,
}

/// The parts, each with its body where the file or the package's name tells it.
pub(super) fn components(
    file_name: &str,
    side: Side,
    drawing: Drawing,
    warnings: &mut Vec<GerberWarning>,
) -> Result<Vec<Placement>, GerberError> {
    let mut outlines: BTreeMap<String, Outline> = BTreeMap::new();
    for path in drawing.paths {
        let (Some(ApertureFunction::ComponentOutline(kind)), Some(name)) = (path.function, path.designator)
        else {
            continue;
        };
        let outline = outlines.entry(name).or_insert_with(|| Outline { kind, points: Vec::new() });
        if rank(kind) < rank(outline.kind) {
            *outline = Outline { kind, points: Vec::new() };
        }
        if kind == outline.kind {
            outline.points.extend(path.points);
        }
    }
    let (mut placements, mut taken) = (Vec::new(), BTreeSet::new());
    let (mut unturned, mut assumed, mut twice, mut nameless) = (Vec::new(), Vec::new(), BTreeSet::new(), 0);
    for PartFlash { at, said } in drawing.parts {
        let Some(designator) = said.designator else {
            nameless += 1;
            continue;
        };
        if !taken.insert(designator.clone()) {
            twice.insert(designator);
            continue;
        }
        if said.rotation.is_none() {
            unturned.push(designator.clone());
        }
        let rotation = said.rotation.unwrap_or(0.0);
        let names = [said.package.as_deref(), said.footprint.as_deref()];
        let by_name = names.into_iter().flatten().find_map(body_size);
        let (center, size) = match outlines.get(&designator).and_then(|outline| extent(outline, rotation)) {
            Some((kind, center, size)) => {
                (center, by_name.filter(|_| kind == ComponentOutline::Courtyard).unwrap_or(size))
            }
            None => {
                if by_name.is_none() {
                    assumed.push(designator.clone());
                }
                (at, by_name.unwrap_or(ASSUMED_SIZE_MM))
            }
        };
        placements.push(Placement {
            designator,
            center: Point::from(center),
            rotation,
            side,
            package: said.package.or(said.footprint).unwrap_or_default(),
            size,
            value: said.value.unwrap_or_default(),
        });
    }
    if placements.is_empty() {
        return Err(GerberError::NoParts { file_name: file_name.to_owned() });
    }
    let listed = |names: Vec<String>, warning: fn(Vec<String>) -> GerberWarning| {
        (!names.is_empty()).then(|| warning(names))
    };
    warnings.extend(listed(unturned, |designators| GerberWarning::RotationUnstated { designators }));
    warnings.extend(listed(assumed, |designators| GerberWarning::SizeAssumed { designators }));
    let twice = twice.into_iter().collect();
    warnings.extend(listed(twice, |designators| GerberWarning::Duplicates { designators }));
    warnings.extend((nameless > 0).then_some(GerberWarning::Nameless { count: nameless }));
    Ok(placements)
}

/// The middle of an outline and its lengths before the part was turned; `None` where it has no width or no height.
fn extent(outline: &Outline, rotation: f64) -> Option<(ComponentOutline, [f64; 2], [f64; 2])> {
    let (sine, cosine) = rotation.to_radians().sin_cos();
    let [mut low, mut high] = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
    for [x, y] in &outline.points {
        let turned_back = [x * cosine + y * sine, y * cosine - x * sine];
        for axis in [0, 1] {
            low[axis] = low[axis].min(turned_back[axis]);
            high[axis] = high[axis].max(turned_back[axis]);
        }
    }
    let nanometers = |length: f64| (length * 1e6).round() / 1e6;
    let size = [0, 1].map(|axis| nanometers(high[axis] - low[axis]));
    let [x, y] = [0, 1].map(|axis| (low[axis] + high[axis]) / 2.0);
    let center = [x * cosine - y * sine, x * sine + y * cosine].map(nanometers);
    size.iter().all(|&length| length > 0.0 && length.is_finite()).then_some((outline.kind, center, size))
}
