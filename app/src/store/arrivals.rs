//! Files coming in: dropped ones, the sample, restored results.

use std::rc::Rc;

use analysis::board::LengthUnit;
use analysis::content_hash::ContentHash;
use analysis::session::{Command, Role, Session, saved};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::engine::{Batch, Original, Purpose};
use super::{PlacementQuestion, Store};
use crate::arrival::{Arrived, welcome};
use crate::compute::protocol::{Buffer, Job, JobId, Sidecar};
use crate::intake::{self, Dropped, DroppedCapture, DroppedText, Sorted};
use crate::notice::Notice;
use crate::part_table::{TableRead, read_table};
use crate::platform::files;
use crate::sample;
use crate::wording;

impl Store {
    /// Takes dropped or chosen files, whatever they are: captures with their sidecars, tables of
    /// placements or limits, netlists, Gerber layers, results, saved sessions. What one drop does is undone in one step.
    pub fn take_files(self, files: Vec<web_sys::File>) {
        spawn_local(async move {
            let mut dropped = Vec::with_capacity(files.len());
            for file in files {
                let file_name = file.name();
                match files::read(&file).await {
                    Ok(bytes) => dropped.push(Dropped { file_name, bytes }),
                    Err(message) => self.tell(
                        Notice::trouble(
                            format!("{file_name} could not be opened."),
                            "Check that the file is still there and that it is no folder, then drop it again.",
                        )
                        .because(message),
                    ),
                }
            }
            self.take_in(dropped, false);
        });
    }

    /// Reads one text file that goes into no session by itself, such as a table of set-points.
    pub fn read_text(self, files: Vec<web_sys::File>, then: impl Fn(String, String) + 'static) {
        spawn_local(async move {
            let Some(file) = files.into_iter().next() else { return };
            let file_name = file.name();
            match files::read(&file).await {
                Ok(bytes) => then(file_name, String::from_utf8_lossy(&bytes).into_owned()),
                Err(message) => self.tell(
                    Notice::trouble(format!("{file_name} could not be opened."), "Choose it again.")
                        .because(message),
                ),
            }
        });
    }

    /// Loads the invented board as a new session; undo brings the present one back.
    pub fn load_sample(self) {
        self.notices.set(Vec::new());
        self.take_in(sample::files(), true);
    }

    /// An empty session; undo brings the present one back.
    pub fn start_afresh(self) {
        // What was told speaks of what is no longer here.
        self.notices.set(Vec::new());
        self.handed_over.set(None);
        self.history.update(|history| {
            let session =
                Session { temperature_unit: history.present().temperature_unit, ..Session::default() };
            history.replace(session);
        });
        self.starts.update(|starts| *starts += 1);
    }

    /// Takes one capture that was made here, for what it is known to be for.
    pub fn take_capture_as(self, capture: DroppedCapture, role: Role) {
        let sorted = Sorted { captures: vec![capture], ..Sorted::default() };
        self.take_sorted(sorted, Batch { role: Some(role), ..Batch::default() });
    }

    fn take_in(self, dropped: Vec<Dropped>, afresh: bool) {
        self.take_sorted(intake::sort(dropped), Batch { afresh, ..Batch::default() });
    }

    fn take_sorted(self, mut sorted: Sorted, mut batch: Batch) {
        for table in std::mem::take(&mut sorted.tables) {
            if let Some(file) = self.take_table(table, &mut batch) {
                sorted.captures.push(DroppedCapture { file, sidecar: None });
            }
        }
        let number = self.engine.try_update_value(|engine| {
            let number = engine.batches.keys().next_back().map_or(0, |last| last + 1);
            for capture in sorted.captures {
                let Dropped { file_name, bytes } = capture.file;
                let original = Original { file_name: file_name.clone(), bytes: Rc::from(bytes.as_slice()) };
                let has_sidecar = capture.sidecar.is_some();
                let job = Job::Decode { file_name, sidecar: capture.sidecar, metadata: None };
                let purpose = Purpose::Arrival { batch: number, original, has_sidecar };
                batch.outstanding.insert(engine.ask(purpose, job, vec![Buffer::Bytes(bytes)]));
            }
            (number, batch)
        });
        let Some((number, mut batch)) = number else { return };
        for sidecar in sorted.lone_sidecars {
            self.take_lone_sidecar(sidecar, number, &mut batch);
        }
        self.engine.update_value(|engine| drop(engine.batches.insert(number, batch)));
        for result in sorted.results {
            self.engine.update_value(|engine| {
                let job = Job::ReadResult { file_name: result.file_name };
                engine.ask(Purpose::Restore, job, vec![Buffer::Bytes(result.bytes)]);
            });
        }
        for session in sorted.sessions {
            self.take_saved_session(&session);
        }
        self.land_if_complete(number);
        self.pump();
    }

    /// A table of placements or limits. Yields one that is neither, to be read as a capture.
    fn take_table(self, file: Dropped, batch: &mut Batch) -> Option<Dropped> {
        let table = intake::text(file.clone());
        match read_table(&table, None) {
            TableRead::Parts { commands, warnings } => {
                self.tell_replaced(&commands);
                batch.commands.extend(commands);
                self.tell_warnings(&table.file_name, &warnings);
            }
            TableRead::UnitUnstated { span } => {
                self.tell(Notice::warning(
                    format!("{} does not say in which unit its places are.", table.file_name),
                    "Choose the unit where the board is described, or write it into the headings, as in X (mm).",
                ));
                let question = PlacementQuestion { file_name: table.file_name.clone(), span };
                self.engine.update_value(|engine| engine.unitless = Some(table));
                self.placement_question.set(Some(question));
            }
            TableRead::Damaged(what) => self.tell(Notice::trouble(what, "")),
            TableRead::NoParts => return Some(file),
        }
        None
    }

    /// A table that takes another's place says so.
    fn tell_replaced(self, commands: &[Command]) {
        let session = self.session.get_untracked();
        let layout = &session.layout;
        for command in commands {
            let (name, now, former, before, noun) = match command {
                Command::LoadPlacements { file_name, placements } => {
                    (file_name, placements.len(), &layout.placement_file, layout.placements.len(), "part")
                }
                Command::LoadLimits { file_name, limits } => {
                    (file_name, limits.len(), &layout.limits_file, layout.limits.len(), "limit")
                }
                Command::LoadNetlist { file_name, netlist } => (
                    file_name,
                    netlist.points().len(),
                    &layout.netlist_file,
                    layout.netlist.points().len(),
                    "test point",
                ),
                Command::LoadComponentLayer { file_name, side, placements } => {
                    let before = layout.placements.iter().filter(|part| part.side == *side).count();
                    (file_name, placements.len(), &layout.placement_file, before, "part")
                }
                Command::LoadOutline { file_name, outline } => (
                    file_name,
                    outline.loops().len(),
                    &layout.outline_file,
                    layout.outline.loops().len(),
                    "closed line",
                ),
                _ => continue,
            };
            if before > 0 {
                self.tell(Notice::warning(
                    format!(
                        "{name} ({}) took the place of {former} ({}).",
                        wording::count(now, noun),
                        wording::count(before, noun)
                    ),
                    "Undo leads back.",
                ));
            }
        }
    }

    /// Reads the placements that waited for their unit; without one they are left out.
    pub(super) fn read_unitless(self, unit: Option<LengthUnit>) {
        self.placement_question.set(None);
        let table = self.engine.try_update_value(|engine| engine.unitless.take()).flatten();
        let (Some(table), Some(_)) = (table, unit) else { return };
        match read_table(&table, unit) {
            TableRead::Parts { commands, warnings } => {
                self.tell_warnings(&table.file_name, &warnings);
                self.begin_gesture();
                for command in commands {
                    self.dispatch(command);
                }
                self.end_gesture();
            }
            TableRead::Damaged(what) => self.tell(Notice::trouble(what, "")),
            // Neither can be said of a table that lacked nothing but its unit.
            TableRead::UnitUnstated { .. } | TableRead::NoParts => {}
        }
    }

    /// A sidecar without its capture describes the capture that is loaded already, if there is one.
    fn take_lone_sidecar(self, sidecar: Sidecar, number: u32, batch: &mut Batch) {
        let session = self.session.get_untracked();
        let record =
            session.captures.iter().find(|record| intake::belongs(&sidecar.file_name, &record.file_name));
        let asked = record.and_then(|record| {
            self.engine.try_update_value(|engine| {
                let original = engine.originals.get(&record.hash)?.clone();
                let job = Job::Decode {
                    file_name: original.file_name.clone(),
                    sidecar: Some(sidecar.clone()),
                    metadata: None,
                };
                let buffers = vec![Buffer::Bytes(original.bytes.to_vec())];
                let purpose = Purpose::Arrival { batch: number, original, has_sidecar: true };
                Some(engine.ask(purpose, job, buffers))
            })?
        });
        match asked {
            Some(id) => {
                batch.outstanding.insert(id);
            }
            None => self.tell(Notice::warning(
                format!("{} describes a capture that is not loaded.", sidecar.file_name),
                "Drop the capture and its sidecar together; a sidecar has the capture's name and ends in .json.",
            )),
        }
    }

    fn take_saved_session(self, file: &DroppedText) {
        match saved::load(&file.text) {
            Ok(session) => {
                self.history.update(|history| history.replace(session));
                self.tell(Notice::information(format!("{} was opened; undo leads back.", file.file_name)));
            }
            Err(error) => self.tell(
                Notice::trouble(
                    format!("{} was not opened.", file.file_name),
                    "Save the session again where it came from, or load its captures anew.",
                )
                .because(error.to_string()),
            ),
        }
    }

    /// A result file was read: its session becomes the present one, and undo leads back.
    pub(super) fn take_restored(
        self,
        file_name: &str,
        session: Session,
        captures: Vec<ContentHash>,
        buffers: Vec<Buffer>,
    ) {
        self.engine.update_value(|engine| {
            for (hash, buffer) in captures.into_iter().zip(buffers) {
                if let Buffer::Bytes(bytes) = buffer {
                    let file_name = session.file_name_of(&hash).to_owned();
                    engine.originals.insert(hash, Original { file_name, bytes: Rc::from(bytes) });
                }
            }
        });
        self.history.update(|history| history.replace(session));
        self.tell(Notice::information(format!("{file_name} was opened; undo leads back.")));
    }

    /// What the captures of a batch are for, where that was known beforehand.
    pub(super) fn role_asked_of(self, batch: u32) -> Option<Role> {
        self.engine.with_value(|engine| engine.batches.get(&batch)?.role)
    }

    /// The reading of a dropped capture is over, with success or without.
    pub(super) fn capture_over(self, batch: u32, id: JobId, arrived: Option<Arrived>) {
        self.engine.update_value(|engine| {
            if let Some(batch) = engine.batches.get_mut(&batch) {
                batch.outstanding.remove(&id);
                if let Some(arrived) = arrived {
                    batch.arrived.insert(id, arrived);
                }
            }
        });
        self.land_if_complete(batch);
    }

    /// Once everything of a drop is read, it goes into the session as one step.
    fn land_if_complete(self, number: u32) {
        let batch = self.engine.try_update_value(|engine| {
            let complete = engine.batches.get(&number).is_some_and(|batch| batch.outstanding.is_empty());
            if complete { engine.batches.remove(&number) } else { None }
        });
        let Some(Some(batch)) = batch else { return };
        let base =
            if batch.afresh { Session::default() } else { Session::clone(&self.session.get_untracked()) };
        let (welcomed, notices) = welcome(&base, batch.arrived.into_values().collect());
        let refusals = self.history.try_update(|history| {
            history.begin_gesture();
            if batch.afresh {
                history.replace(base);
            }
            let commands = batch.commands.into_iter().chain(welcomed);
            let refusals: Vec<_> = commands.filter_map(|command| history.apply(command).err()).collect();
            history.end_gesture();
            refusals
        });
        for notice in notices {
            self.tell(notice);
        }
        for refusal in refusals.unwrap_or_default() {
            self.tell_refusal(&refusal);
        }
    }
}
