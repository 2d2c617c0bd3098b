//! Room for names on the picture: no two names over each other, the weightier ones first.

use crate::stage::view::{Extent, Spot};

/// Size of a letter on the screen, CSS pixels: enough for the widest of our type sizes, with its outline.
const LETTER: f64 = 7.4;
const LINE: f64 = 15.0;
/// Space to the pane's edge.
const EDGE: f64 = 3.0;

/// Where a name lies on the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Area {
    left: f64,
    top: f64,
    width: f64,
}

impl Area {
    fn overlaps(self, other: Self) -> bool {
        self.left < other.left + other.width
            && other.left < self.left + self.width
            && (self.top - other.top).abs() < LINE
    }
}

/// A name that asks for room, in the order of weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// Middle of what it names, on the screen.
    pub around: Spot,
    /// How far from there it stands, to the side and up or down; zero stands on it.
    pub away: f64,
    /// The whole name.
    pub name: String,
    /// What is left of it where there is no room for the whole; empty where it may go.
    pub short: String,
}

/// Where a name stands: its left end on the baseline of its letters.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// On the screen.
    pub at: Spot,
    /// What is written.
    pub text: String,
}

/// Gives each name room in a pane of this size, in the order asked; `None` for one that goes.
#[must_use]
pub fn give_room(asked: &[Asked], pane: Extent) -> Vec<Option<Given>> {
    let mut taken: Vec<Area> = Vec::new();
    let mut give = |asked: &Asked| {
        let texts = [asked.name.as_str(), asked.short.as_str()];
        for text in texts.into_iter().filter(|text| !text.is_empty()) {
            for area in areas(asked, text) {
                let inside = area.left >= EDGE
                    && area.left + area.width <= pane.width - EDGE
                    && area.top >= EDGE
                    && area.top + LINE <= pane.height - EDGE;
                if inside && !taken.iter().any(|other| area.overlaps(*other)) {
                    taken.push(area);
                    return Some(Given {
                        at: Spot::new(area.left, area.top + 0.8 * LINE),
                        text: text.to_owned(),
                    });
                }
            }
        }
        // What must not go stands where it would like to, over whatever is there.
        let area = areas(asked, &asked.short).into_iter().next().filter(|_| !asked.short.is_empty())?;
        Some(Given { at: Spot::new(area.left, area.top + 0.8 * LINE), text: asked.short.clone() })
    };
    asked.iter().map(&mut give).collect()
}

/// The places a text may stand at, the best first.
fn areas(asked: &Asked, text: &str) -> Vec<Area> {
    let width = LETTER * text.chars().count() as f64;
    let Spot { x, y } = asked.around;
    if asked.away == 0.0 {
        return vec![Area { left: x - width / 2.0, top: y - LINE / 2.0, width }];
    }
    let (right, left) = (x + asked.away, x - asked.away - width);
    let (above, below) = (y - asked.away - LINE, y + asked.away);
    [(right, above), (right, below), (left, above), (left, below)]
        .into_iter()
        .map(|(left, top)| Area { left, top, width })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const PANE: Extent = Extent { width: 300.0, height: 200.0 };

    fn found(x: f64, y: f64, name: &str) -> Asked {
        Asked { around: Spot::new(x, y), away: 8.0, name: name.to_owned(), short: "1".to_owned() }
    }

    fn part(x: f64, y: f64, name: &str) -> Asked {
        Asked { around: Spot::new(x, y), away: 0.0, name: name.to_owned(), short: String::new() }
    }

    #[test]
    fn a_name_at_the_edge_turns_inwards() {
        let given = give_room(&[found(280.0, 100.0, "1  board beside J5")], PANE);
        let given = given[0].as_ref().unwrap();
        assert_eq!(given.text, "1  board beside J5");
        assert!(given.at.x + LETTER * 18.0 <= 280.0, "{given:?}");
    }

    #[test]
    fn of_two_names_at_one_place_the_second_stands_elsewhere_and_a_parts_name_goes() {
        let asked = [found(100.0, 100.0, "1  Q2"), found(100.0, 100.0, "2  R1"), part(120.0, 84.0, "U6")];
        let given = give_room(&asked, PANE);
        let (first, second) = (given[0].as_ref().unwrap(), given[1].as_ref().unwrap());
        assert_ne!(first.at, second.at);
        assert_eq!(given[2], None);
    }

    #[test]
    fn without_room_for_the_whole_the_number_is_left() {
        let narrow = Extent { width: 60.0, height: 200.0 };
        let given = give_room(&[found(30.0, 100.0, "1  board beside J5")], narrow);
        assert_eq!(given[0].as_ref().unwrap().text, "1");
    }
}
