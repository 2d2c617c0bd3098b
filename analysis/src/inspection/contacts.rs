//! Which nets a measurement is about, and where a probe reaches them on the side that is seen.
//!
//! Which place is the better one to touch is common practice of the bench, without a source: a test point
//! made for it, then the part's own pin, then another part's pad, then a via.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::board::{Netlist, Placement, PointKind, Side, TestPoint};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};

/// A net to measure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contact {
    /// Its name.
    pub net: String,
    /// The pins of the part that lie on it; empty where the place is on no part.
    pub pins: Vec<String>,
    /// Where to touch it; `None` where nothing of it can be reached nearby.
    pub touch: Option<Touch>,
}

/// A place where a probe reaches a net.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Touch {
    /// Part and pin, or "a via".
    pub place: String,
    /// How far from the part's middle, or from the place, mm.
    pub distance_mm: f64,
    /// Whether it can be reached from the other side only.
    pub far_side: bool,
}

/// No further than this, mm: a hand and a lens find what lies beside the part (own choice; no source).
const REACH_MM: f64 = 10.0;
/// A place without a part is about the nets no further than this, mm (own choice; no source).
const AROUND_MM: f64 = 5.0;
/// Nets told of one place.
const MOST_NETS: usize = 8;

/// The board's nets as the probe list needs them.
#[derive(Debug, Clone)]
pub struct Nets<'a> {
    netlist: &'a Netlist,
    by_net: BTreeMap<&'a str, Vec<&'a TestPoint>>,
    side: Side,
    /// From the picture to the board, and from the netlist's origin to the placement file's.
    picture_to_board: Option<(Homography<BaselinePixels, BoardMillimeters>, [f64; 2])>,
}

impl<'a> Nets<'a> {
    /// `None` for an empty netlist.
    #[must_use]
    pub fn new(
        netlist: &'a Netlist,
        side: Side,
        placements: &[Placement],
        board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    ) -> Option<Self> {
        let mut by_net: BTreeMap<&str, Vec<&TestPoint>> = BTreeMap::new();
        for point in netlist.points() {
            if let Some(net) = &point.net {
                by_net.entry(net).or_default().push(point);
            }
        }
        let picture_to_board = board_to_picture.map(Homography::inverse).zip(netlist.shift_to(placements));
        (!by_net.is_empty()).then_some(Self { netlist, by_net, side, picture_to_board })
    }

    /// The nets of a part's pins, those that come to most points of the board first, ground last; each with the
    /// best place to touch within 10 mm of the middle of the part's pins. Never more than 8.
    #[must_use]
    pub fn of_part(&self, designator: &str) -> Vec<Contact> {
        let own = self.netlist.of_part(designator);
        let mut pins: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        for point in &own {
            if let Some(net) = &point.net {
                pins.entry(net).or_default().extend(point.pin.clone());
            }
        }
        let count = own.len().max(1) as f64;
        let sum = own.iter().fold([0.0; 2], |[x, y], point| [x + point.at.x, y + point.at.y]);
        let middle = Point::new(sum[0] / count, sum[1] / count);
        let mut nets: Vec<_> = pins.into_iter().collect();
        // A supply comes to more pins of the board than a signal, and matters more than one.
        nets.sort_by_key(|(net, _)| (is_ground(net), std::cmp::Reverse(self.points_of(net).len())));
        self.shortened(nets)
            .into_iter()
            .map(|(net, pins)| {
                let own_name = own.first().and_then(|point| point.designator.as_deref());
                let touch = self.touch(self.points_of(net), middle, REACH_MM, own_name);
                Contact { net: net.to_owned(), pins, touch }
            })
            .collect()
    }

    /// The nets that come to a face within 5 mm of this place of the picture, the nearest first. None where the
    /// netlist's axes do not fit the placement file's, or the board's place in the picture is unknown.
    #[must_use]
    pub fn around(&self, place: Point<BaselinePixels>) -> Vec<Contact> {
        let Some((picture_to_board, [dx, dy])) = &self.picture_to_board else { return Vec::new() };
        let at = picture_to_board.apply(place);
        let at = Point::new(at.x - dx, at.y - dy);
        let mut contacts: Vec<Contact> = self
            .by_net
            .iter()
            .filter_map(|(net, points)| {
                let touch = self.touch(points, at, AROUND_MM, None)?;
                Some(Contact { net: (*net).to_owned(), pins: Vec::new(), touch: Some(touch) })
            })
            .collect();
        let distance =
            |contact: &Contact| contact.touch.as_ref().map_or(f64::INFINITY, |touch| touch.distance_mm);
        contacts.sort_by(|one, other| distance(one).total_cmp(&distance(other)));
        contacts.truncate(MOST_NETS);
        contacts
    }

    fn points_of(&self, net: &str) -> &[&'a TestPoint] {
        self.by_net.get(net).map_or(&[], Vec::as_slice)
    }

    /// The first nets and, always, the ground to measure against.
    fn shortened<T>(&self, mut nets: Vec<(&'a str, T)>) -> Vec<(&'a str, T)> {
        if nets.len() > MOST_NETS {
            let ground = nets.pop().filter(|(net, _)| is_ground(net));
            nets.truncate(MOST_NETS - usize::from(ground.is_some()));
            nets.extend(ground);
        }
        nets
    }

    fn touch(
        &self,
        points: &[&TestPoint],
        from: Point<BoardMillimeters>,
        reach_mm: f64,
        own: Option<&str>,
    ) -> Option<Touch> {
        let rank = |point: &TestPoint| match point.designator.as_deref() {
            Some(name) if is_made_for_testing(name) => 0,
            Some(name) if Some(name) == own => 1,
            Some(_) => 2,
            None => 3,
        };
        let far_side = |point: &TestPoint| !point.reached_from(self.side);
        points
            .iter()
            .filter(|point| point.from_top || point.from_bottom)
            .map(|point| (far_side(point), rank(point), point.at.distance(from), point))
            .filter(|(_, _, distance, _)| *distance <= reach_mm)
            .min_by(|one, other| (one.0, one.1).cmp(&(other.0, other.1)).then(one.2.total_cmp(&other.2)))
            .map(|(far_side, _, distance_mm, point)| Touch { place: named(point), distance_mm, far_side })
    }
}

fn named(point: &TestPoint) -> String {
    match (&point.designator, &point.pin) {
        (Some(part), _) if is_made_for_testing(part) => part.clone(),
        (Some(part), Some(pin)) => format!("{part} pin {pin}"),
        (Some(part), None) => part.clone(),
        (None, _) if point.kind == PointKind::Via => "a via".to_owned(),
        (None, _) => "a pad".to_owned(),
    }
}

/// TP and a number (common practice, no source).
fn is_made_for_testing(designator: &str) -> bool {
    designator.strip_prefix("TP").is_some_and(|rest| rest.chars().all(|digit| digit.is_ascii_digit()))
}

/// By its usual names (common practice, no source).
fn is_ground(net: &str) -> bool {
    let net = net.to_ascii_uppercase();
    net.contains("GND") || ["0V", "VSS", "GROUND"].contains(&net.trim_start_matches('/'))
}

/// The nets of a measurement as a sentence; `None` when there are none.
#[must_use]
pub fn contact_words(contacts: &[Contact]) -> Option<String> {
    let one = |contact: &Contact| {
        let pins = match contact.pins.as_slice() {
            [] => String::new(),
            [pin] => format!(" (pin {pin})"),
            [first, .., last] if contact.pins.len() > 4 => {
                format!(" ({} pins, {first} to {last})", contact.pins.len())
            }
            pins => format!(" (pins {})", pins.join(", ")),
        };
        let touch = match &contact.touch {
            None => ", nothing of it in reach".to_owned(),
            Some(Touch { place, distance_mm, far_side }) => {
                let side = if *far_side { " from the other side" } else { "" };
                format!(" at {place}{side}, {distance_mm:.1} mm away")
            }
        };
        format!("{}{pins}{touch}", contact.net)
    };
    (!contacts.is_empty())
        .then(|| format!("Nets: {}.", contacts.iter().map(one).collect::<Vec<_>>().join("; ")))
}
