//! Where the rings, their labels and the parts' names go, so that they can be told apart.

use crate::board::Footprint;
use crate::geometry::{BaselinePixels, Point};

/// How wide a letter is, as a share of its size: common sans-serif faces lie close to this.
const LETTER_WIDTH: f64 = 0.62;

/// A circle around a place, in pixels of the picture.
pub(super) struct Ring {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) radius: f64,
}

impl Ring {
    /// Around the place where a probe goes, as large as what is marked itself as far as that still points
    /// somewhere: a glow may cover half the board. Never too small to see beside a letter of this size.
    pub(super) fn around(at: Point<BaselinePixels>, area_px: f64, letter: f64) -> Self {
        let radius = (area_px / std::f64::consts::PI).sqrt() * 1.15;
        Self { x: at.x, y: at.y, radius: radius.clamp(letter * 0.6, letter * 2.5) }
    }

    fn area(&self) -> Area {
        [self.x - self.radius, self.y - self.radius, self.x + self.radius, self.y + self.radius]
    }
}

/// A box: left, top, right, bottom.
pub(super) type Area = [f64; 4];

fn overlap(a: &Area, b: &Area) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

fn is_outside(area: &Area, size: [f64; 2]) -> bool {
    area[0] < 0.0 || area[1] < 0.0 || area[2] > size[0] || area[3] > size[1]
}

/// The text beside a ring.
#[derive(Debug, Clone, Copy)]
pub(super) struct Label {
    /// The anchor, on the text's base line.
    pub(super) x: f64,
    pub(super) y: f64,
    /// Which end of the text lies there, so that a smaller text stays at its ring: an SVG `text-anchor`.
    pub(super) anchor: &'static str,
}

impl Label {
    /// The place that this text takes in letters of this size.
    pub(super) fn area_of(&self, text: &str, letter: f64) -> Area {
        self.area(letter * LETTER_WIDTH * text.chars().count() as f64, letter)
    }

    /// The place that a text of this length and letter takes.
    fn area(&self, long: f64, letter: f64) -> Area {
        let left = match self.anchor {
            "end" => self.x - long,
            "middle" => self.x - long / 2.0,
            _ => self.x,
        };
        [left, self.y - letter * 0.8, left + long, self.y + letter * 0.2]
    }
}

/// Where the text of each ring goes: of the places around the ring the first that is inside the
/// picture and covers the fewest labels, then the fewest other rings.
pub(super) fn label_places(rings: &[Ring], texts: &[String], letter: f64, size: [f64; 2]) -> Vec<Label> {
    let mut taken: Vec<Area> = Vec::new();
    let mut labels = Vec::new();
    for (index, (ring, text)) in rings.iter().zip(texts).enumerate() {
        let cost = |label: &Label| {
            let area = label.area_of(text, letter);
            let outside = is_outside(&area, size);
            let covered = taken.iter().filter(|other| overlap(other, &area)).count();
            let others = rings.iter().enumerate().filter(|(other, _)| *other != index);
            let crossed = others.filter(|(_, ring)| overlap(&ring.area(), &area)).count();
            (outside, covered, crossed)
        };
        if let Some(label) = around(ring, letter).into_iter().min_by_key(cost) {
            taken.push(label.area_of(text, letter));
            labels.push(label);
        }
    }
    labels
}

/// The eight places around a ring, the right one first.
fn around(ring: &Ring, letter: f64) -> [Label; 8] {
    let gap = letter * 0.25;
    let (right, left) = (ring.x + ring.radius + gap, ring.x - ring.radius - gap);
    let (level, above) = (ring.y + letter * 0.35, ring.y - ring.radius - gap);
    let below = ring.y + ring.radius + gap + letter * 0.8;
    // Off the corners of its box, the ring itself leaves room.
    let corner = ring.radius * 0.3;
    [
        Label { x: right, y: level, anchor: "start" },
        Label { x: left, y: level, anchor: "end" },
        Label { x: ring.x, y: above, anchor: "middle" },
        Label { x: ring.x, y: below, anchor: "middle" },
        Label { x: right - corner, y: above + corner, anchor: "start" },
        Label { x: left + corner, y: above + corner, anchor: "end" },
        Label { x: right - corner, y: below - corner, anchor: "start" },
        Label { x: left + corner, y: below - corner, anchor: "end" },
    ]
}

/// A part's name over its body.
pub(super) struct Name {
    pub(super) at: Label,
    pub(super) letter: f64,
}

/// Where the names of `parts` go that find room beside what is `taken`: on the body, above or below it, in letters of
/// down to half the size where larger ones do not fit. A name without room is left out, as it would make two unreadable.
pub(super) fn name_places<'a>(
    parts: &[&'a Footprint],
    mut taken: Vec<Area>,
    letter: f64,
    size: [f64; 2],
) -> Vec<(&'a Footprint, Name)> {
    let mut named = Vec::new();
    for part in parts {
        let heights = part.corners.map(|corner| corner.y);
        let top = heights.into_iter().fold(f64::INFINITY, f64::min);
        let bottom = heights.into_iter().fold(f64::NEG_INFINITY, f64::max);
        let places = [letter, 0.75 * letter, 0.5 * letter].into_iter().flat_map(|letter| {
            let lines =
                [part.center.y + 0.3 * letter, top - 0.3 * letter, bottom + letter].map(|y| (y, letter));
            lines.map(|(y, letter)| Name { at: Label { x: part.center.x, y, anchor: "middle" }, letter })
        });
        let free = |name: &Name| {
            let area = name.at.area_of(&part.designator, name.letter);
            !is_outside(&area, size) && !taken.iter().any(|other| overlap(other, &area))
        };
        if let Some(name) = places.into_iter().find(free) {
            taken.push(name.at.area_of(&part.designator, name.letter));
            named.push((*part, name));
        }
    }
    named
}

#[cfg(test)]
mod tests {
    use super::*;

    const LETTER: f64 = 6.0;
    /// Four letters.
    const LONG: f64 = 4.0 * LETTER_WIDTH * LETTER;

    fn areas(rings: &[Ring]) -> Vec<Area> {
        let texts = vec!["1 U7".to_owned(); rings.len()];
        let labels = label_places(rings, &texts, LETTER, [100.0, 100.0]);
        labels.iter().map(|label| label.area(LONG, LETTER)).collect()
    }

    fn ring(x: f64, y: f64) -> Ring {
        Ring { x, y, radius: 5.0 }
    }

    #[test]
    fn labels_of_neighbours_do_not_cover_each_other() {
        let areas = areas(&[ring(50.0, 50.0), ring(52.0, 53.0), ring(49.0, 48.0)]);
        for (index, area) in areas.iter().enumerate() {
            assert!(areas[..index].iter().all(|other| !overlap(other, area)), "{areas:?}");
        }
    }

    #[test]
    fn names_of_parts_keep_off_each_other_and_inside_and_what_finds_no_room_is_left_out() {
        use crate::board::{Placement, Side, footprints};
        use crate::geometry::Homography;
        // Three parts side by side with room for their names, and ten on one place.
        let at = |x: f64| Placement {
            designator: "C10".to_owned(),
            center: Point::new(x, 50.0),
            rotation: 0.0,
            side: Side::Top,
            package: String::new(),
            size: [3.0, 3.0],
            value: String::new(),
        };
        let placements: Vec<_> = [20.0, 50.0, 99.0].into_iter().chain([70.0; 10]).map(at).collect();
        let map = Homography::try_from([1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]).unwrap();
        let parts = footprints(&placements, Side::Top, &map);
        let parts: Vec<&Footprint> = parts.iter().collect();
        let ring = [40.0, 40.0, 60.0, 51.0];
        let named = name_places(&parts, vec![ring], LETTER, [100.0, 100.0]);
        let mut taken = vec![ring];
        for (part, name) in &named {
            let area = name.at.area_of(&part.designator, name.letter);
            assert!(!is_outside(&area, [100.0, 100.0]), "{area:?}");
            assert!(!taken.iter().any(|other| overlap(other, &area)), "{area:?} on one of {taken:?}");
            taken.push(area);
        }
        let at = |x: f64| named.iter().filter(|(part, _)| (part.center.x - x).abs() < 1.0).count();
        // At the right edge there is room for none, on one place for some.
        assert_eq!((at(20.0), at(50.0), at(99.0)), (1, 1, 0));
        assert!((1..10).contains(&at(70.0)), "{}", at(70.0));
    }

    #[test]
    fn a_label_at_the_right_edge_moves_inside() {
        let [_, _, right, _] = areas(&[ring(95.0, 50.0)])[0];
        assert!(right <= 100.0, "{right}");
    }

    #[test]
    fn a_label_keeps_off_the_ring_beside_it() {
        let [_, _, right, _] = areas(&[ring(50.0, 50.0), ring(62.0, 50.0)])[0];
        assert!(right <= 45.0, "{right}");
    }
}
