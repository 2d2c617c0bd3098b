//! The named commands: the only way a session changes.

use serde::{Deserialize, Serialize};

use super::{CaptureRecord, Gauge, PictureMarks, RecordingNotes, Role, Session, UnitNotes, Verdict, Watch};
use crate::board::{
    BoardOutline, DatasheetCriteria, GerberLayer, Netlist, PartLimit, Placement, PowerReading, Side,
};
use crate::capability::Repeatability;
use crate::capture::{BoardIdentity, CaptureMetadata, CornerMark, TestConditions};
use crate::content_hash::ContentHash;
use crate::geometry::BaselinePixels;
use crate::inspection::{Criteria, ProbeKey, ProbeReading, with_own_unit};
use crate::procedure::Record;
use crate::radiometry::{Band, Surroundings};
use crate::registration::{LandmarkPair, LandmarkUse};
use crate::surface::{Finish, PlacedOutline, Region};
use crate::uncertainty::InputUncertainty;
use crate::units::{Kelvin, TemperatureUnit};

/// One thing a person can do to the session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its command's sentence")]
pub enum Command {
    /// States which board is on the bench.
    NameBoard { board: BoardIdentity },
    /// States how the board is run.
    SetConditions { conditions: TestConditions },
    /// States the air temperature.
    SetAmbient { ambient: Kelvin },
    /// States the band of captures that do not state their own.
    SetBand { band: Band },
    /// Chooses the unit temperatures are shown in.
    ShowTemperaturesIn { unit: TemperatureUnit },
    /// Takes a capture into the session.
    AddCapture { record: CaptureRecord },
    /// Takes a capture out of the session.
    RemoveCapture { hash: ContentHash },
    /// Says what a capture is for. Naming a unit lets the previous unit wait.
    AssignRole { hash: ContentHash, role: Role },
    /// Says what is known of a capture.
    DescribeCapture { hash: ContentHash, metadata: CaptureMetadata },
    /// States reflected temperature and path.
    SetSurroundings { surroundings: Surroundings },
    /// States how well the inputs are known.
    SetInputUncertainty { input_uncertainty: InputUncertainty },
    /// States the emissivity outside all regions.
    SetWholeFinish { finish: Finish },
    /// Uses an emissivity picture, or none.
    UseEmissivityMap { map: Option<ContentHash>, uncertainty: Option<ContentHash> },
    /// Lays a region on top.
    AddRegion { region: Region },
    /// Replaces a region.
    ChangeRegion { index: usize, region: Region },
    /// Takes a region away.
    RemoveRegion { index: usize },
    /// Moves a region to another place in the order.
    MoveRegion { from: usize, to: usize },
    /// Loads the parts' places.
    LoadPlacements { file_name: String, placements: Vec<Placement> },
    /// Loads the parts' limits.
    LoadLimits { file_name: String, limits: Vec<PartLimit> },
    /// Says which side faces the camera.
    ShowSide { side: Side },
    /// Says where known places of the board lie in the baseline picture.
    MarkCorners { corners: Vec<CornerMark<BaselinePixels>> },
    /// Replaces the landmark pairs.
    SetLandmarks { landmarks: Vec<LandmarkPair>, landmark_use: LandmarkUse },
    /// States what counts as different.
    SetCriteria { criteria: Criteria },
    /// Adds a read-out.
    AddGauge { gauge: Gauge },
    /// Replaces a read-out.
    ChangeGauge { index: usize, gauge: Gauge },
    /// Takes a read-out away.
    RemoveGauge { index: usize },
    /// Keeps a procedure that was carried out.
    RecordProcedure { record: Box<Record> },
    /// Takes a procedure's record away.
    RemoveProcedure { index: usize },
    /// Keeps a study of the bench, or takes it away.
    KeepRepeatability { study: Option<Box<Repeatability>> },
    /// Enters a contact reading.
    RecordReading { key: ProbeKey, reading: ProbeReading },
    /// Takes a contact reading away.
    RemoveReading { key: ProbeKey },
    /// States what holding parts against their datasheets takes for granted.
    SetDatasheetCriteria { datasheet: DatasheetCriteria },
    /// Enters what a part of the unit turns into heat, or takes that away.
    MeasurePartPower { designator: String, power: Option<PowerReading> },
    /// Writes the verdict.
    Judge { verdict: Verdict },
    /// Withdraws the verdict.
    WithdrawVerdict,
    /// Loads where each net can be touched.
    LoadNetlist { file_name: String, netlist: Netlist },
    /// Loads the parts of one side; those of the other side stay.
    LoadComponentLayer { file_name: String, side: Side, placements: Vec<Placement> },
    /// Loads the board's outline.
    LoadOutline { file_name: String, outline: BoardOutline },
    /// Says what is known of a recording and what is marked in it.
    NoteRecording { notes: Box<RecordingNotes> },
    /// States what is watched for in recordings.
    WatchFor { watch: Watch },
}

impl Command {
    /// Loads what a Gerber layer holds.
    #[must_use]
    pub fn load_layer(file_name: String, layer: GerberLayer) -> Self {
        match layer {
            GerberLayer::Outline(outline) => Self::LoadOutline { file_name, outline },
            GerberLayer::Components { side, placements } => {
                Self::LoadComponentLayer { file_name, side, placements }
            }
        }
    }
}

/// Why a command was not carried out. The session is as it was.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No capture has this hash.
    #[error("no capture with content {hash} is loaded")]
    UnknownCapture {
        /// The hash asked for.
        hash: ContentHash,
    },
    /// The same file is already loaded.
    #[error("this capture is already loaded as {file_name}")]
    AlreadyLoaded {
        /// Its name in the session.
        file_name: String,
    },
    /// The list has no such place.
    #[error("there is no {what} number {index}: there are {count}")]
    NoSuchItem {
        /// Kind of item.
        what: &'static str,
        /// Place asked for, from 0.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// No reading was entered for this measurement.
    #[error("no reading is entered for {target}")]
    UnknownReading {
        /// The place asked for.
        target: String,
    },
}

impl Session {
    /// Carries out one command, or leaves the session as it was.
    ///
    /// # Errors
    /// [`Refusal`], when the command names something that is not there or is there already.
    pub fn apply(&mut self, command: Command) -> Result<(), Refusal> {
        let unit = self.unit().map(|record| (record.hash.clone(), record.metadata.conditions.clone()));
        let reference = self.reference().map(|record| record.hash.clone());
        self.carry_out(command)?;
        self.keep_apart_what_belongs_to(unit, reference.as_ref());
        Ok(())
    }

    /// A verdict, readings and landmarks speak of one unit, marks on the picture of one reference: when
    /// another takes its place they must not be taken for the new one's. A unit's come back with it, and so do the
    /// marks on its picture where it is the reference itself.
    fn keep_apart_what_belongs_to(
        &mut self,
        unit: Option<(ContentHash, TestConditions)>,
        reference: Option<&ContentHash>,
    ) {
        let bench_was_empty = unit.is_none();
        let now = self.reference().map(|record| &record.hash);
        let another_reference = now != reference;
        let reference_changed = reference.is_some() && another_reference;
        let left = if reference_changed { self.take_picture_marks() } else { PictureMarks::default() };
        let mut known_of_old = PictureMarks::default();
        if let Some((hash, stated)) =
            unit.filter(|(hash, _)| self.unit().map(|record| &record.hash) != Some(hash))
        {
            let on_picture = if reference == Some(&hash) { left } else { PictureMarks::default() };
            self.put_aside_notes_on(hash, on_picture);
            self.conditions.forget(&stated);
            if let Some(stated) = self.unit().map(|record| record.metadata.clone()) {
                self.take_over_what_is_stated(stated);
            }
            known_of_old = self.take_up_notes();
        } else if reference_changed {
            self.landmarks.clear();
        }
        if bench_was_empty && let Some(stated) = self.unit().map(|record| record.metadata.clone()) {
            if self.board.serial.is_empty() && stated.board != BoardIdentity::default() {
                self.board = stated.board;
            }
            // What was said before the unit came holds; the unit says the rest.
            let said = std::mem::replace(&mut self.conditions, stated.conditions);
            self.conditions.take_over(said);
            known_of_old = self.take_up_notes();
        }
        if reference_changed {
            for notes in &mut self.other_units {
                notes.landmarks.clear();
            }
            // What its own metadata says of it is known; what a person marked on the other picture is not.
            let known = self.reference().map(|record| record.metadata.corners.clone());
            self.layout.corners =
                known.unwrap_or_default().into_iter().map(CornerMark::on_baseline).collect();
        }
        if another_reference && self.is_without_good_boards() {
            self.lay_picture_marks(known_of_old);
        }
    }

    /// Takes off what lies on the pixels of the reference.
    fn take_picture_marks(&mut self) -> PictureMarks {
        let regions = std::mem::take(&mut self.surface.regions).into_iter().enumerate();
        let (on_board, on_picture): (Vec<_>, Vec<_>) =
            regions.partition(|(_, region)| matches!(region.outline, PlacedOutline::Board(_)));
        self.surface.regions = on_board.into_iter().map(|(_, region)| region).collect();
        PictureMarks {
            corners: std::mem::take(&mut self.layout.corners),
            regions: on_picture,
            map: self.surface.map.take(),
            map_uncertainty: self.surface.map_uncertainty.take(),
        }
    }

    /// Lays on the reference's pixels what was taken off them before; where nothing was, what is there stays.
    fn lay_picture_marks(&mut self, marks: PictureMarks) {
        if !marks.corners.is_empty() {
            self.layout.corners = marks.corners;
        }
        for (place, region) in marks.regions {
            let regions = &mut self.surface.regions;
            regions.insert(place.min(regions.len()), region);
        }
        if marks.map.is_some() {
            self.surface.map = marks.map;
            self.surface.map_uncertainty = marks.map_uncertainty;
        }
    }

    /// What was said of the unit that leaves the bench, unless nothing was or it leaves the session.
    fn put_aside_notes_on(&mut self, capture: ContentHash, on_picture: PictureMarks) {
        let notes = UnitNotes {
            board: std::mem::take(&mut self.board),
            landmarks: std::mem::take(&mut self.landmarks),
            landmark_use: std::mem::take(&mut self.landmark_use),
            readings: std::mem::take(&mut self.readings),
            part_powers: std::mem::take(&mut self.part_powers),
            verdict: self.verdict.take(),
            on_picture,
            capture,
        };
        // The product is the same for all units of a session; only the number is this one's.
        self.board.product = notes.board.product.clone();
        if self.capture(&notes.capture).is_some() {
            self.other_units.push(notes);
        }
    }

    /// What was said before of the unit that is on the bench now; handed back, what was marked on its picture.
    fn take_up_notes(&mut self) -> PictureMarks {
        let unit = self.unit().map(|record| record.hash.clone());
        let place = self.other_units.iter().position(|notes| Some(&notes.capture) == unit.as_ref());
        let Some(place) = place else { return PictureMarks::default() };
        let notes = self.other_units.remove(place);
        self.board = notes.board;
        self.landmarks = notes.landmarks;
        self.landmark_use = notes.landmark_use;
        self.readings = notes.readings;
        self.part_powers = notes.part_powers;
        self.verdict = notes.verdict;
        notes.on_picture
    }

    /// The board and its conditions as a unit's own metadata state them.
    fn take_over_what_is_stated(&mut self, unit: CaptureMetadata) {
        if unit.board != BoardIdentity::default() {
            self.board = unit.board;
        }
        self.conditions.take_over(unit.conditions);
    }

    fn carry_out(&mut self, command: Command) -> Result<(), Refusal> {
        match command {
            Command::NameBoard { board } => self.board = board,
            Command::SetConditions { conditions } => self.conditions = conditions,
            Command::SetAmbient { ambient } => self.ambient = ambient,
            Command::SetBand { band } => self.band = band,
            Command::ShowTemperaturesIn { unit } => self.temperature_unit = unit,
            Command::AddCapture { record } => self.add_capture(record)?,
            Command::RemoveCapture { hash } => {
                self.require_capture(&hash)?;
                self.captures.retain(|record| record.hash != hash);
                self.other_units.retain(|notes| notes.capture != hash);
            }
            Command::AssignRole { hash, role } => self.assign_role(&hash, role)?,
            Command::DescribeCapture { hash, metadata } => self.require_capture(&hash)?.metadata = metadata,
            Command::SetSurroundings { surroundings } => self.surroundings = surroundings,
            Command::SetInputUncertainty { input_uncertainty } => self.input_uncertainty = input_uncertainty,
            Command::SetWholeFinish { finish } => self.surface.whole = finish,
            Command::UseEmissivityMap { map, uncertainty } => {
                self.surface.map = map;
                self.surface.map_uncertainty = uncertainty;
            }
            Command::AddRegion { region } => self.surface.regions.push(region),
            Command::ChangeRegion { index, region } => {
                *require_item("region", &mut self.surface.regions, index)? = region
            }
            Command::RemoveRegion { index } => {
                require_item("region", &mut self.surface.regions, index)?;
                self.surface.regions.remove(index);
            }
            Command::MoveRegion { from, to } => {
                let regions = &mut self.surface.regions;
                require_item("region", regions, from)?;
                require_item("region", regions, to)?;
                let region = regions.remove(from);
                regions.insert(to, region);
            }
            Command::LoadPlacements { file_name, placements } => {
                self.layout.placement_file = file_name;
                self.layout.placements = placements;
            }
            Command::LoadLimits { file_name, limits } => {
                self.layout.limits_file = file_name;
                self.layout.limits = limits;
            }
            Command::ShowSide { side } => self.layout.side = side,
            Command::MarkCorners { corners } => self.layout.corners = corners,
            Command::SetLandmarks { landmarks, landmark_use } => {
                self.landmarks = landmarks;
                self.landmark_use = landmark_use;
            }
            Command::SetCriteria { criteria } => self.criteria = criteria,
            Command::AddGauge { gauge } => self.gauges.push(gauge),
            Command::ChangeGauge { index, gauge } => {
                *require_item("read-out", &mut self.gauges, index)? = gauge
            }
            Command::RemoveGauge { index } => {
                require_item("read-out", &mut self.gauges, index)?;
                self.gauges.remove(index);
            }
            Command::RecordProcedure { record } => self.procedures.push(*record),
            Command::RemoveProcedure { index } => {
                require_item("procedure", &mut self.procedures, index)?;
                self.procedures.remove(index);
            }
            Command::KeepRepeatability { study } => self.repeatability = study.map(|study| *study),
            Command::RecordReading { key, reading } => {
                let own = |text: &str| with_own_unit(key.quantity, text, self.temperature_unit);
                let (expected, read) = (own(&reading.expected), own(&reading.read));
                let reading = ProbeReading { expected, read, ..reading };
                match self.readings.iter_mut().find(|(recorded, _)| *recorded == key) {
                    Some((_, recorded)) => *recorded = reading,
                    None => self.readings.push((key, reading)),
                }
            }
            Command::RemoveReading { key } => {
                let before = self.readings.len();
                self.readings.retain(|(recorded, _)| *recorded != key);
                if self.readings.len() == before {
                    return Err(Refusal::UnknownReading { target: key.target });
                }
            }
            Command::SetDatasheetCriteria { datasheet } => self.datasheet = datasheet,
            Command::MeasurePartPower { designator, power } => {
                self.part_powers.retain(|(part, _)| *part != designator);
                self.part_powers.extend(power.map(|power| (designator, power)));
            }
            Command::Judge { verdict } => self.verdict = Some(verdict),
            Command::WithdrawVerdict => self.verdict = None,
            Command::LoadNetlist { file_name, netlist } => {
                self.layout.netlist_file = file_name;
                self.layout.netlist = netlist;
            }
            Command::LoadComponentLayer { file_name, side, placements } => {
                self.layout.take_side(file_name, side, placements);
            }
            Command::LoadOutline { file_name, outline } => {
                self.layout.outline_file = file_name;
                self.layout.outline = outline;
            }
            Command::NoteRecording { notes } => {
                self.recordings.retain(|known| known.recording != notes.recording);
                self.recordings.push(*notes);
            }
            Command::WatchFor { watch } => self.watch = watch,
        }
        Ok(())
    }

    fn add_capture(&mut self, record: CaptureRecord) -> Result<(), Refusal> {
        if let Some(loaded) = self.capture(&record.hash) {
            return Err(Refusal::AlreadyLoaded { file_name: loaded.file_name.clone() });
        }
        let (hash, role) = (record.hash.clone(), record.role);
        self.captures.push(record);
        self.assign_role(&hash, role)
    }

    /// There is one unit under test at a time; its predecessor waits.
    fn assign_role(&mut self, hash: &ContentHash, role: Role) -> Result<(), Refusal> {
        self.require_capture(hash)?;
        for record in &mut self.captures {
            if record.hash == *hash {
                record.role = role;
            } else if role == Role::Unit && record.role == Role::Unit {
                record.role = Role::Waiting;
            }
        }
        Ok(())
    }

    fn require_capture(&mut self, hash: &ContentHash) -> Result<&mut CaptureRecord, Refusal> {
        self.captures
            .iter_mut()
            .find(|record| record.hash == *hash)
            .ok_or_else(|| Refusal::UnknownCapture { hash: hash.clone() })
    }
}

fn require_item<'a, T>(what: &'static str, items: &'a mut [T], index: usize) -> Result<&'a mut T, Refusal> {
    let count = items.len();
    items.get_mut(index).ok_or(Refusal::NoSuchItem { what, index, count })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::CaptureMetadata;
    use crate::session::{EMISSIVITY_FILES, Outcome, saved};
    use crate::surface::{Outline, Surface};

    fn add(name: &str, role: Role) -> Command {
        let hash = ContentHash::of(name.as_bytes());
        let metadata = CaptureMetadata::default();
        Command::AddCapture { record: CaptureRecord { hash, file_name: name.to_owned(), role, metadata } }
    }

    #[test]
    fn another_unit_does_not_inherit_the_verdict() {
        let mut session = Session::default();
        let verdict = Verdict { outcome: Outcome::Fail, reason: String::new(), judged_by: String::new() };
        for command in [add("good", Role::Baseline), add("a", Role::Unit), Command::Judge { verdict }] {
            session.apply(command).unwrap();
        }
        session.apply(add("second good", Role::Baseline)).unwrap();
        assert!(session.verdict.is_some(), "one more known-good board changes nothing about the unit");
        session.apply(add("b", Role::Unit)).unwrap();
        assert_eq!(session.verdict, None);
        assert!(session.verdict_on(&ContentHash::of(b"a")).is_some());
        let back = Command::AssignRole { hash: ContentHash::of(b"a"), role: Role::Unit };
        session.apply(back).unwrap();
        assert!(session.verdict.is_some(), "it comes back with its unit");
        assert_eq!(session.units().count(), 2);
    }

    #[test]
    fn a_unit_that_is_removed_takes_what_it_stated_along() {
        let mut session = Session::default();
        let conditions = TestConditions { voltage: Some(12.0), ..TestConditions::default() };
        let metadata = CaptureMetadata { conditions: conditions.clone(), ..CaptureMetadata::default() };
        let hash = ContentHash::of(b"a");
        let record =
            CaptureRecord { hash: hash.clone(), file_name: "a".to_owned(), role: Role::Unit, metadata };
        session.apply(Command::AddCapture { record }).unwrap();
        session.apply(Command::SetConditions { conditions }).unwrap();
        session.apply(Command::RemoveCapture { hash }).unwrap();
        assert_eq!(session.conditions.voltage, None);
        assert_eq!(session.other_units, []);
    }

    #[test]
    fn another_unit_brings_its_own_serial_number() {
        let mut session = Session::default();
        session.apply(add("a", Role::Unit)).unwrap();
        let board = |serial: &str| BoardIdentity { product: "lamp".to_owned(), serial: serial.to_owned() };
        session.apply(Command::NameBoard { board: board("12") }).unwrap();
        session.apply(add("b", Role::Unit)).unwrap();
        assert_eq!(session.board, board(""), "its number is not known");
        let metadata = CaptureMetadata { board: board("14"), ..CaptureMetadata::default() };
        let hash = ContentHash::of(b"c");
        let record = CaptureRecord { hash, file_name: "c".to_owned(), role: Role::Unit, metadata };
        session.apply(Command::AddCapture { record }).unwrap();
        assert_eq!(session.board, board("14"));
    }

    #[test]
    fn corners_marked_on_one_baseline_are_not_kept_for_another() {
        let mut session = Session::default();
        session.apply(add("good", Role::Baseline)).unwrap();
        let corner = serde_json::from_str(r#"{"pixel": [1.0, 2.0], "board": [0.0, 0.0]}"#).unwrap();
        session.apply(Command::MarkCorners { corners: vec![corner] }).unwrap();
        session.apply(add("second good", Role::Baseline)).unwrap();
        assert_eq!(session.layout.corners.len(), 1);
        session.apply(Command::RemoveCapture { hash: ContentHash::of(b"good") }).unwrap();
        assert_eq!(session.layout.corners, []);
    }

    #[test]
    fn what_was_marked_on_a_unit_alone_comes_back_with_it() {
        let mut session = Session::default();
        session.apply(add("a", Role::Unit)).unwrap();
        let corner = serde_json::from_str(r#"{"pixel": [1.0, 2.0], "board": [0.0, 0.0]}"#).unwrap();
        let (map, doubt) = (ContentHash::of(b"map"), ContentHash::of(b"doubt"));
        let region = |name: &str, outline: PlacedOutline| Command::AddRegion {
            region: Region { name: name.to_owned(), outline, finish: Surface::default().whole },
        };
        let tape = Outline::Rectangle { from: [1.0, 1.0].into(), to: [5.0, 5.0].into() };
        let shield = Outline::Rectangle { from: [1.0, 1.0].into(), to: [5.0, 5.0].into() };
        for command in [
            Command::MarkCorners { corners: vec![corner] },
            Command::UseEmissivityMap { map: Some(map.clone()), uncertainty: Some(doubt.clone()) },
            region("tape", PlacedOutline::Pixels(tape)),
            region("shield", PlacedOutline::Board(shield)),
        ] {
            session.apply(command).unwrap();
        }
        let before = session.clone();
        let names = |session: &Session| {
            session.surface.regions.iter().map(|region| region.name.clone()).collect::<Vec<_>>().join(" ")
        };
        session.apply(add("b", Role::Unit)).unwrap();
        assert_eq!((session.layout.corners.len(), session.surface.map.clone()), (0, None));
        assert_eq!(names(&session), "shield", "what lies on the board holds for every unit");
        assert!(session.files().contains(&map) && session.files().contains(&doubt), "still needed");
        assert_eq!(session.file_name_of(&doubt), EMISSIVITY_FILES[1]);
        let mut session = saved::load(&saved::save(&session).unwrap()).unwrap();
        let back = Command::AssignRole { hash: ContentHash::of(b"a"), role: Role::Unit };
        session.apply(back).unwrap();
        assert_eq!((&session.layout, &session.surface), (&before.layout, &before.surface));

        // A known-good board is another reference, which knows none of it.
        session.apply(add("good", Role::Baseline)).unwrap();
        assert_eq!((session.layout.corners.len(), names(&session).as_str()), (0, "shield"));
    }

    #[test]
    fn corners_marked_on_a_unit_alone_hold_until_a_known_good_board_comes() {
        let mut session = Session::default();
        session.apply(add("unit", Role::Unit)).unwrap();
        let corner = serde_json::from_str(r#"{"pixel": [1.0, 2.0], "board": [0.0, 0.0]}"#).unwrap();
        session.apply(Command::MarkCorners { corners: vec![corner] }).unwrap();
        session.apply(add("set aside", Role::Aside)).unwrap();
        assert_eq!(session.layout.corners.len(), 1);
        session.apply(add("good", Role::Baseline)).unwrap();
        assert_eq!(session.layout.corners, []);
    }
}
