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

/// Where the text of each ring begins, on its base line: of the places around the ring the first that
/// is inside the picture and covers the fewest labels, then the fewest other rings.
pub(super) fn label_places(rings: &[Ring], texts: &[String], letter: f64, size: [f64; 2]) -> Vec<[f64; 2]> {
    let mut taken: Vec<Area> = Vec::new();
    let mut places = Vec::new();
    for (index, (ring, text)) in rings.iter().zip(texts).enumerate() {
        let long = letter * 0.62 * text.chars().count() as f64;
        let area = |&[x, y]: &[f64; 2]| [x, y - letter * 0.8, x + long, y + letter * 0.2];
        let cost = |place: &[f64; 2]| {
            let area = area(place);
            let outside = area[0] < 0.0 || area[1] < 0.0 || area[2] > size[0] || area[3] > size[1];
            let labels = taken.iter().filter(|other| overlap(other, &area)).count();
            let others = rings.iter().enumerate().filter(|(other, _)| *other != index);
            let rings = others.filter(|(_, ring)| overlap(&ring.area(), &area)).count();
            (outside, labels, rings)
        };
        let candidates = around(ring, letter, long);
        let place = candidates.into_iter().min_by_key(cost).unwrap_or([ring.x, ring.y]);
        taken.push(area(&place));
        places.push(place);
    }
    places
}

/// The eight places around a ring, the right one first.
fn around(ring: &Ring, letter: f64, long: f64) -> [[f64; 2]; 8] {
    let gap = letter * 0.25;
    let (right, left, middle) =
        (ring.x + ring.radius + gap, ring.x - ring.radius - gap - long, ring.x - long / 2.0);
    let (level, above, below) =
        (ring.y + letter * 0.35, ring.y - ring.radius - gap, ring.y + ring.radius + gap + letter * 0.8);
    // Off the corners of the box, the ring itself leaves room.
    let in_corner = ring.radius * 0.3;
    [
        [right, level],
        [left, level],
        [middle, above],
        [middle, below],
        [right - in_corner, above + in_corner],
        [left + in_corner, above + in_corner],
        [right - in_corner, below - in_corner],
        [left + in_corner, below - in_corner],
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(x: f64, y: f64) -> Ring {
        Ring { x, y, radius: 5.0 }
    }

    fn texts(count: usize) -> Vec<String> {
        vec!["1 U7".to_owned(); count]
    }

    #[test]
    fn labels_of_neighbours_do_not_cover_each_other() {
        let rings = [ring(50.0, 50.0), ring(52.0, 53.0), ring(49.0, 48.0)];
        let places = label_places(&rings, &texts(3), 6.0, [100.0, 100.0]);
        // Four letters of 0.62 · 6 are 14.9 wide and 6 high.
        for (index, [x, y]) in places.iter().enumerate() {
            for [other_x, other_y] in &places[..index] {
                assert!((x - other_x).abs() >= 14.8 || (y - other_y).abs() >= 5.9, "{places:?}");
            }
        }
    }

    #[test]
    fn a_label_at_the_right_edge_moves_inside() {
        let [x, _] = label_places(&[ring(95.0, 50.0)], &texts(1), 6.0, [100.0, 100.0])[0];
        assert!(x + 14.9 <= 100.0, "{x}");
    }

    #[test]
    fn a_label_keeps_off_the_ring_beside_it() {
        let [x, _] = label_places(&[ring(50.0, 50.0), ring(62.0, 50.0)], &texts(2), 6.0, [100.0, 100.0])[0];
        assert!(x < 50.0, "{x}");
    }
}
