//! Where the rings and labels of findings go, so that they can be told apart.

use crate::inspection::Finding;

/// A circle around a finding, in pixels of the picture.
pub(super) struct Ring {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) radius: f64,
}

impl Ring {
    /// Of the finding's own area, never too small to see beside a letter of this size.
    pub(super) fn around(finding: &Finding, letter: f64) -> Self {
        let radius = (f64::from(finding.area_px) / std::f64::consts::PI).sqrt() * 1.15;
        Self { x: finding.centroid.x, y: finding.centroid.y, radius: radius.max(letter * 0.6) }
    }

    fn area(&self) -> Area {
        [self.x - self.radius, self.y - self.radius, self.x + self.radius, self.y + self.radius]
    }
}

/// A box: left, top, right, bottom.
type Area = [f64; 4];

fn overlap(a: &Area, b: &Area) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
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
        let long = letter * 0.62 * text.chars().count() as f64;
        let cost = |label: &Label| {
            let area = label.area(long, letter);
            let outside = area[0] < 0.0 || area[1] < 0.0 || area[2] > size[0] || area[3] > size[1];
            let covered = taken.iter().filter(|other| overlap(other, &area)).count();
            let others = rings.iter().enumerate().filter(|(other, _)| *other != index);
            let crossed = others.filter(|(_, ring)| overlap(&ring.area(), &area)).count();
            (outside, covered, crossed)
        };
        if let Some(label) = around(ring, letter).into_iter().min_by_key(cost) {
            taken.push(label.area(long, letter));
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

#[cfg(test)]
mod tests {
    use super::*;

    const LETTER: f64 = 6.0;
    /// Four letters of 0.62 of the size each.
    const LONG: f64 = 4.0 * 0.62 * LETTER;

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
