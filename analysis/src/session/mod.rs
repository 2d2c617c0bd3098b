//! The session: everything a person said and did about one inspection, as one value.
//!
//! It holds no pixels (captures are named by content hash) and no results (they follow from it).
//! It changes only by [`Command`]s, so undo, autosave and the result file need nothing more.

pub mod command;
pub mod history;
pub mod recordings;
pub mod saved;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

pub use command::{Command, Refusal};
pub use history::History;
pub use recordings::{RecordingName, RecordingNotes, Watch, WatchedFor};

use crate::board::{BoardOutline, DatasheetCriteria, Netlist, PartLimit, Placement, PowerReading, Side};
use crate::capability::Repeatability;
use crate::capture::{BoardIdentity, CaptureMetadata, CornerMark, TestConditions};
use crate::content_hash::ContentHash;
use crate::frame::Frame;
use crate::geometry::{BaselinePixels, Point};
use crate::inspection::place_reading::{PlaceReading, read_area, read_line, read_point, read_values};
use crate::inspection::{Criteria, ProbeKey, ProbeReading};
use crate::procedure::Record;
use crate::radiometry::{Band, Surroundings};
use crate::registration::{LandmarkPair, LandmarkUse};
use crate::surface::{Region, Surface};
use crate::uncertainty::InputUncertainty;
use crate::units::{Kelvin, TemperatureUnit};

/// The names of emissivities that were worked out, and of their uncertainty.
pub const EMISSIVITY_FILES: [&str; 2] = ["emissivity.tiff", "emissivity-uncertainty.tiff"];

/// What a capture is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// A known-good board.
    Baseline,
    /// The unit under test.
    Unit,
    /// Another unit under test, judged in its turn.
    Waiting,
    /// Kept, but not used in the comparison.
    Aside,
}

/// A capture that was loaded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaptureRecord {
    /// Names its bytes.
    pub hash: ContentHash,
    /// The name of the file it came from.
    pub file_name: String,
    /// What it is for.
    pub role: Role,
    /// What is known of it, as the person left it.
    pub metadata: CaptureMetadata,
}

/// The design data of the board and where it lies on the baseline picture.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BoardLayout {
    /// The file the placements came from; where each side has its own, the top side's and the other's, a comma
    /// between.
    pub placement_file: String,
    /// Every part, both sides.
    pub placements: Vec<Placement>,
    /// The file the limits came from.
    pub limits_file: String,
    /// Limits by part.
    pub limits: Vec<PartLimit>,
    /// The file the netlist came from.
    pub netlist_file: String,
    /// Where each net can be touched.
    pub netlist: Netlist,
    /// The file the outline came from.
    pub outline_file: String,
    /// The board's edge and its openings.
    pub outline: BoardOutline,
    /// The side that faces the camera.
    pub side: Side,
    /// Places known on the board and in the baseline picture; four or more give the map.
    pub corners: Vec<CornerMark<BaselinePixels>>,
}

impl BoardLayout {
    /// Replaces the parts of one side. The other side's stay, and so does the name of their file.
    fn take_side(&mut self, file_name: String, side: Side, placements: Vec<Placement>) {
        self.placements.retain(|part| part.side != side);
        let named = match (self.placement_file.split_once(", "), side) {
            (Some((_, bottom)), Side::Top) => bottom,
            (Some((top, _)), Side::Bottom) => top,
            (None, _) => &self.placement_file,
        };
        self.placement_file = match (self.placements.is_empty() || named == file_name, side) {
            (true, _) => file_name,
            (false, Side::Top) => format!("{file_name}, {named}"),
            (false, Side::Bottom) => format!("{named}, {file_name}"),
        };
        self.placements.extend(placements);
    }
}

/// A place whose temperature is read out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gauge {
    /// What the person calls it.
    pub name: String,
    /// Where it is.
    pub place: GaugePlace,
}

/// The shape of a [`Gauge`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape", rename_all = "kebab-case")]
pub enum GaugePlace {
    /// One point, read over 3 × 3 pixels.
    Point {
        /// Its centre.
        at: Point<BaselinePixels>,
    },
    /// An upright rectangle.
    Area {
        /// One corner.
        from: Point<BaselinePixels>,
        /// The opposite corner.
        to: Point<BaselinePixels>,
    },
    /// A straight line.
    Line {
        /// Start.
        from: Point<BaselinePixels>,
        /// End.
        to: Point<BaselinePixels>,
    },
}

impl GaugePlace {
    /// What the place reads in a picture; `None` where no pixel of it is valid.
    #[must_use]
    pub fn read<Q>(self, frame: &Frame<Q>) -> Option<PlaceReading> {
        match self {
            Self::Point { at } => read_point(frame, at),
            Self::Area { from, to } => read_area(frame, from, to),
            Self::Line { from, to } => read_values(&read_line(frame, from, to)),
        }
    }
}

/// The judgement of the whole unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Healthy.
    Pass,
    /// Faulty.
    Fail,
    /// To be captured or measured again.
    Recheck,
}

/// The verdict with its reasons.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    /// The judgement.
    pub outcome: Outcome,
    /// Why, in the person's words.
    pub reason: String,
    /// Who judged, as they want to be named; may be empty.
    pub judged_by: String,
}

/// What lies on the pixels of a unit that was compared with no known-good board.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PictureMarks {
    /// Places known on the board and in its picture.
    pub corners: Vec<CornerMark<BaselinePixels>>,
    /// Regions drawn on its picture, each with its place in the order of all regions, from 0.
    pub regions: Vec<(usize, Region)>,
    /// The emissivity picture.
    pub map: Option<ContentHash>,
    /// The standard uncertainties of that.
    pub map_uncertainty: Option<ContentHash>,
}

impl PictureMarks {
    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// What was said of a unit that is not on the bench now: it is taken up again with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UnitNotes {
    /// Its capture.
    pub capture: ContentHash,
    /// Its identity.
    pub board: BoardIdentity,
    /// Marked pairs of places in it and the baseline.
    pub landmarks: Vec<LandmarkPair>,
    /// What the landmarks are for.
    pub landmark_use: LandmarkUse,
    /// Contact readings.
    pub readings: Vec<(ProbeKey, ProbeReading)>,
    /// Powers measured on its parts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub part_powers: Vec<(String, PowerReading)>,
    /// What was marked on its picture, where that was the reference.
    #[serde(default, skip_serializing_if = "PictureMarks::is_empty")]
    pub on_picture: PictureMarks,
    /// The verdict.
    pub verdict: Option<Verdict>,
}

/// Everything a person did, in one value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Session {
    /// The board under inspection: the unit's own identity.
    pub board: BoardIdentity,
    /// The conditions that the inspection is meant to run under.
    pub conditions: TestConditions,
    /// Air temperature, used for captures that do not state their own.
    pub ambient: Kelvin,
    /// Spectral band, used for captures that do not state their own.
    pub band: Band,
    /// The unit temperatures are shown in.
    pub temperature_unit: TemperatureUnit,
    /// Captures in the order they were loaded.
    pub captures: Vec<CaptureRecord>,
    /// Reflected temperature and path.
    pub surroundings: Surroundings,
    /// How well the inputs of the measurement are known.
    pub input_uncertainty: InputUncertainty,
    /// Emissivities.
    pub surface: Surface,
    /// Design data.
    pub layout: BoardLayout,
    /// Marked pairs of places in unit and baseline.
    pub landmarks: Vec<LandmarkPair>,
    /// What the landmarks are for.
    pub landmark_use: LandmarkUse,
    /// What counts as different.
    pub criteria: Criteria,
    /// Read-outs.
    pub gauges: Vec<Gauge>,
    /// Procedures carried out at the bench, in the order recorded.
    pub procedures: Vec<Record>,
    /// What repeat captures said of the bench.
    pub repeatability: Option<Repeatability>,
    /// What holding parts against their datasheets takes for granted.
    #[serde(default)]
    pub datasheet: DatasheetCriteria,
    /// Contact readings, in the order first entered.
    pub readings: Vec<(ProbeKey, ProbeReading)>,
    /// Powers measured on parts of the unit, by designator.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub part_powers: Vec<(String, PowerReading)>,
    /// The verdict, once there is one.
    pub verdict: Option<Verdict>,
    /// What was said of the units that wait or were judged before.
    pub other_units: Vec<UnitNotes>,
    /// What was said of recordings and marked in them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recordings: Vec<RecordingNotes>,
    /// What is watched for in recordings.
    #[serde(default, skip_serializing_if = "Watch::is_unstated")]
    pub watch: Watch,
}

impl Default for Session {
    fn default() -> Self {
        Self {
            board: BoardIdentity::default(),
            conditions: TestConditions::default(),
            ambient: Kelvin::ROOM,
            band: Band::default(),
            temperature_unit: TemperatureUnit::default(),
            captures: Vec::new(),
            surroundings: Surroundings::default(),
            input_uncertainty: InputUncertainty::default(),
            surface: Surface::default(),
            layout: BoardLayout::default(),
            landmarks: Vec::new(),
            landmark_use: LandmarkUse::default(),
            criteria: Criteria::default(),
            gauges: Vec::new(),
            procedures: Vec::new(),
            repeatability: None,
            datasheet: DatasheetCriteria::default(),
            readings: Vec::new(),
            part_powers: Vec::new(),
            verdict: None,
            other_units: Vec::new(),
            recordings: Vec::new(),
            watch: Watch::default(),
        }
    }
}

impl Session {
    /// The captures with this role, in the order they were loaded.
    pub fn with_role(&self, role: Role) -> impl Iterator<Item = &CaptureRecord> {
        self.captures.iter().filter(move |record| record.role == role)
    }

    /// Whether there is no known-good board: a unit is then held against itself.
    #[must_use]
    pub fn is_without_good_boards(&self) -> bool {
        self.with_role(Role::Baseline).next().is_none()
    }

    /// The unit under test, if one is named.
    #[must_use]
    pub fn unit(&self) -> Option<&CaptureRecord> {
        self.with_role(Role::Unit).next()
    }

    /// The capture on whose pixels everything lies: the first known-good one, and the unit itself where there is none.
    #[must_use]
    pub fn reference(&self) -> Option<&CaptureRecord> {
        self.with_role(Role::Baseline).next().or_else(|| self.unit())
    }

    /// What is kept of the session as a baseline for later: the known-good boards with everything that was said of
    /// them, the surface and the bench, and no unit.
    #[must_use]
    pub fn baseline_only(&self) -> Self {
        let mut kept = self.clone();
        kept.captures.retain(|record| record.role == Role::Baseline);
        kept.board.serial.clear();
        if let Some(unit) = self.unit() {
            kept.conditions.forget(&unit.metadata.conditions);
        }
        kept.landmarks.clear();
        kept.readings.clear();
        kept.part_powers.clear();
        kept.verdict = None;
        kept.other_units.clear();
        kept.recordings.clear();
        kept.watch = Watch::default();
        kept
    }

    /// What was said of a recording and marked in it; nothing yet, where it is not known.
    #[must_use]
    pub fn notes_on(&self, recording: &RecordingName) -> RecordingNotes {
        let known = self.recordings.iter().find(|notes| notes.recording == *recording);
        known
            .cloned()
            .unwrap_or_else(|| RecordingNotes { recording: recording.clone(), ..RecordingNotes::default() })
    }

    /// The units in the order they were loaded: the one under test and those that wait.
    pub fn units(&self) -> impl Iterator<Item = &CaptureRecord> {
        self.captures.iter().filter(|record| matches!(record.role, Role::Unit | Role::Waiting))
    }

    /// The verdict on a unit, whether it is on the bench now or not.
    #[must_use]
    pub fn verdict_on(&self, capture: &ContentHash) -> Option<&Verdict> {
        if self.unit().is_some_and(|unit| unit.hash == *capture) {
            return self.verdict.as_ref();
        }
        self.other_units.iter().find(|notes| notes.capture == *capture)?.verdict.as_ref()
    }

    /// The files that the session needs: captures, emissivity pictures, and those of its procedures.
    #[must_use]
    pub fn files(&self) -> BTreeSet<ContentHash> {
        let captures = self.captures.iter().map(|record| &record.hash);
        let pictures = self.surface.map.iter().chain(&self.surface.map_uncertainty);
        let marks = self.other_units.iter().map(|notes| &notes.on_picture);
        let of_others = marks.flat_map(|marks| marks.map.iter().chain(&marks.map_uncertainty));
        let worked_out = self.procedures.iter().flat_map(Record::files);
        captures.chain(pictures).chain(of_others).chain(worked_out).cloned().collect()
    }

    /// The name of a file that the session needs; empty where it needs none of this content.
    #[must_use]
    pub fn file_name_of(&self, hash: &ContentHash) -> &str {
        if let Some(record) = self.capture(hash) {
            return &record.file_name;
        }
        let is_doubt = |record: &Record| record.files().get(1) == Some(&hash);
        let doubts = self.other_units.iter().map(|notes| &notes.on_picture.map_uncertainty);
        let doubted = doubts.chain([&self.surface.map_uncertainty]).any(|doubt| doubt.as_ref() == Some(hash));
        match (doubted || self.procedures.iter().any(is_doubt), self.files().contains(hash)) {
            (true, _) => EMISSIVITY_FILES[1],
            (false, true) => EMISSIVITY_FILES[0],
            (false, false) => "",
        }
    }

    /// The capture with this content.
    #[must_use]
    pub fn capture(&self, hash: &ContentHash) -> Option<&CaptureRecord> {
        self.captures.iter().find(|record| &record.hash == hash)
    }

    /// What was entered for this contact measurement.
    #[must_use]
    pub fn reading(&self, key: &ProbeKey) -> Option<&ProbeReading> {
        self.readings.iter().find(|(recorded, _)| recorded == key).map(|(_, reading)| reading)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layer(file_name: &str, side: Side, names: &[&str]) -> Command {
        let part = |name: &&str| Placement {
            designator: (*name).to_owned(),
            center: Point::new(0.0, 0.0),
            rotation: 0.0,
            side,
            package: String::new(),
            size: [1.0, 1.0],
            value: String::new(),
        };
        let placements = names.iter().map(part).collect();
        Command::LoadComponentLayer { file_name: file_name.to_owned(), side, placements }
    }

    #[test]
    fn a_component_layer_replaces_its_own_side_only() {
        let mut session = Session::default();
        let said = |session: &Session| {
            let names: Vec<_> =
                session.layout.placements.iter().map(|part| part.designator.clone()).collect();
            (session.layout.placement_file.clone(), names.join(" "))
        };
        for (command, file, parts) in [
            (layer("top.gbr", Side::Top, &["R1"]), "top.gbr", "R1"),
            (layer("bottom.gbr", Side::Bottom, &["C1"]), "top.gbr, bottom.gbr", "R1 C1"),
            (layer("newer.gbr", Side::Top, &["R1", "R2"]), "newer.gbr, bottom.gbr", "C1 R1 R2"),
            (layer("bottom.gbr", Side::Bottom, &["C2"]), "newer.gbr, bottom.gbr", "R1 R2 C2"),
            (
                Command::LoadPlacements { file_name: "none.csv".into(), placements: Vec::new() },
                "none.csv",
                "",
            ),
            (layer("bottom.gbr", Side::Bottom, &["C1"]), "bottom.gbr", "C1"),
        ] {
            session.apply(command).unwrap();
            assert_eq!(said(&session), (file.to_owned(), parts.to_owned()));
        }
    }
}
