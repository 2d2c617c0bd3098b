//! What lies behind the desk: the worker that reads the recording, and who waits for which answer.

use std::collections::{BTreeMap, VecDeque};
use std::ops::Range;

use analysis::session::{RecordingName, Role};
use leptos::prelude::*;
use leptos::task::spawn_local;
use web_sys::File;

use super::desk::{Desk, LockInFound, Opened, Trends, Work};
use super::fit_parcel::LockInAsk;
use super::picture::arrived;
use super::protocol::{Ask, AskId, Outcome, PictureKind, Reading, Request, Told, Wanted};
use super::series::Series;
use crate::compute::protocol::{Buffer, Sidecar};
use crate::notice::Notice;
use crate::platform::recording_worker::RecordingLink;
use crate::stage::look::Subject;

/// So many frames are made ready before they are asked for.
const AHEAD: usize = 6;

const FAULT_HINT: &str = "This is a fault of the page, not of your file. Open the recording again.";

/// Whether a picture shows temperatures, which share one colour scale.
const fn shows_temperatures(kind: PictureKind) -> bool {
    matches!(
        kind,
        PictureKind::Frame
            | PictureKind::Mean
            | PictureKind::Least
            | PictureKind::Greatest
            | PictureKind::Steady
    )
}

/// A request that waits for the worker to listen.
type Waiting = (Request, Vec<Buffer>, Vec<File>);

/// A run over frames that was asked for.
#[derive(Debug)]
struct UnderWay {
    /// What it is, in a few words.
    what: &'static str,
    /// The marked span that its outcome is of; none where it is of the whole recording or keeps its own.
    of_span: Option<Range<usize>>,
}

impl UnderWay {
    fn new(ask: &Ask, what: &'static str) -> Self {
        let of_span = match ask {
            Ask::Summarize { span } | Ask::FitWarmUps { span, .. } | Ask::MapWarmUp { span, .. } => {
                Some(span.clone())
            }
            _ => None,
        };
        Self { what, of_span }
    }
}

/// Everything that no component sees.
#[derive(Debug, Default)]
pub(super) struct Engine {
    link: Option<RecordingLink>,
    /// The size of the files that are open.
    bytes: u64,
    ready: bool,
    waiting: Vec<Waiting>,
    last_id: AskId,
    /// What is under way over frames, by its question.
    running: BTreeMap<AskId, UnderWay>,
    /// The picture that was asked for and has not come.
    showing: Option<AskId>,
    /// Whether another picture is wanted once it has.
    show_again: bool,
    /// The frame shown before, for how far apart the next ones are likely to be.
    shown_before: usize,
    /// Whether the worker does not know yet how frames are corrected now.
    pub(super) unsettled: bool,
    /// The picture to look at once a run has made it.
    pub(super) look_at_when_done: Option<PictureKind>,
    /// The series whose warm-ups are being fitted.
    pub(super) fitting: Vec<(usize, Reading)>,
    /// What a lock-in under way was asked.
    pub(super) locking: Option<(LockInAsk, Range<usize>)>,
    /// What the captures being pulled out are for, in order.
    pub(super) pulling: VecDeque<Role>,
}

impl Engine {
    fn send(&mut self, ask: Ask, buffers: Vec<Buffer>, files: Vec<File>) -> AskId {
        self.last_id += 1;
        let request = Request { id: self.last_id, ask };
        self.waiting.push((request, buffers, files));
        self.flush();
        self.last_id
    }

    fn flush(&mut self) {
        let Some(link) = self.link.as_ref().filter(|_| self.ready) else { return };
        for (request, buffers, files) in self.waiting.drain(..) {
            // A worker that takes no message has ended, which is told by its own error.
            let _ = link.send(&request, buffers, &files);
        }
    }
}

impl Desk {
    /// Opens a recording: one file of many frames, or numbered files of one frame each.
    pub fn open(self, files: Vec<File>, sidecar: Option<Sidecar>) {
        // A worker of its own for each recording: whatever the last one held is given back with it.
        self.engine.update_value(|engine| *engine = Engine::default());
        let started = RecordingLink::start(move |told, buffers| self.on_told(told, buffers));
        match started {
            Ok(link) => self.engine.update_value(|engine| {
                engine.link = Some(link);
                engine.bytes = files.iter().map(|file| file.size() as u64).sum();
                let names = files.iter().map(File::name).collect();
                engine.send(Ask::Open { names, sidecar }, Vec::new(), files);
            }),
            Err(message) => self.store.tell(
                Notice::trouble(
                    "The browser started no worker, so no recording can be read.",
                    "Allow workers for this page, or use another browser.",
                )
                .because(message),
            ),
        }
    }

    /// Asks for a run over frames.
    pub(super) fn ask(self, ask: Ask, what: &'static str) {
        if self.opened.with_untracked(Option::is_none) {
            return;
        }
        self.settle_if_due();
        let run = (ask != Ask::Stop).then(|| UnderWay::new(&ask, what));
        let is_run = run.is_some();
        self.engine.update_value(|engine| {
            let id = engine.send(ask, Vec::new(), Vec::new());
            if let Some(run) = run {
                engine.running.insert(id, run);
            }
        });
        if is_run && self.work.with_untracked(Option::is_none) {
            self.work.set(Some(Work { what, done: 0, of: 1 }));
        }
    }

    /// Tells the worker how frames are corrected now, if that has changed.
    fn settle_if_due(self) {
        let due = self.engine.try_update_value(|engine| std::mem::take(&mut engine.unsettled));
        if due != Some(true) {
            return;
        }
        let (metadata, session) = self.settling();
        let picture = self.store.stated_emissivities().filter(|frame| {
            let shape = self.opened.with_untracked(|opened| opened.as_ref().map(|opened| opened.shape));
            session.surface.map.is_some() && Some(frame.shape()) == shape
        });
        let buffers = picture.map(|frame| Buffer::Numbers(frame.as_slice().to_vec())).into_iter().collect();
        self.engine.update_value(|engine| {
            let ask = Ask::Settle { metadata: Box::new(metadata), session: Box::new(session) };
            engine.send(ask, buffers, Vec::new());
        });
    }

    /// Asks for the picture looked at; while one is on its way only the last wish counts.
    pub(super) fn ask_to_show(self) {
        let (frame, less) = (self.frame.get_untracked(), self.reference.get_untracked());
        let wanted = match self.face.get_untracked() {
            PictureKind::Frame => Wanted::Frame(frame),
            PictureKind::Difference => Wanted::Difference { frame, less },
            PictureKind::Sudden => Wanted::Sudden { frame, before: self.frames_before.get_untracked() },
            _ => return,
        };
        let meaningless = self.metadata.with_untracked(|metadata| metadata.quantity.is_none());
        if self.opened.with_untracked(Option::is_none) || meaningless {
            return;
        }
        let busy = self.engine.try_update_value(|engine| {
            engine.show_again = engine.showing.is_some();
            engine.show_again
        });
        if busy != Some(false) {
            return;
        }
        self.settle_if_due();
        let last = self.last();
        self.engine.update_value(|engine| {
            let step = frame as i64 - engine.shown_before as i64;
            let step = if step == 0 || step.unsigned_abs() > 50 { 1 } else { step };
            let likely = (1..=AHEAD as i64).map(|n| frame as i64 + n * step);
            let ahead = likely.filter(|frame| (0..=last as i64).contains(frame)).map(|frame| frame as usize);
            engine.shown_before = frame;
            let ask = Ask::Show { wanted, ahead: ahead.collect() };
            engine.showing = Some(engine.send(ask, Vec::new(), Vec::new()));
        });
    }

    fn on_told(self, told: Told, buffers: Vec<Buffer>) {
        match told {
            Told::Ready => self.engine.update_value(|engine| {
                engine.ready = true;
                engine.flush();
            }),
            Told::Progress { id, done, of } => {
                let what = self.engine.with_value(|engine| Some(engine.running.get(&id)?.what));
                if let Some(what) = what {
                    self.work.set(Some(Work { what, done, of }));
                }
            }
            Told::Grown { frames, complete, warnings } => {
                self.tell_of_recording(warnings);
                self.take_more(frames, complete);
            }
            Told::Done { id, outcome } => self.on_done(id, *outcome, buffers),
            Told::Panicked { message } => {
                // Not within the dying worker's own call.
                spawn_local(async move {
                    self.close();
                    let what = "Reading the recording met a fault and was ended.";
                    self.store.tell(Notice::trouble(what, FAULT_HINT).because(message));
                });
            }
        }
    }

    fn on_done(self, id: AskId, outcome: Outcome, buffers: Vec<Buffer>) {
        let (run, shown) = self
            .engine
            .try_update_value(|engine| {
                let run = engine.running.remove(&id);
                (run, engine.showing.take_if(|showing| *showing == id).is_some())
            })
            .unwrap_or_default();
        if self.engine.with_value(|engine| engine.running.is_empty()) {
            self.work.set(None);
        }
        let of_another_span =
            run.and_then(|run| run.of_span).is_some_and(|span| span != self.span.get_untracked());
        // A later question may wait for the same picture of the span that is marked now.
        if !of_another_span {
            self.take_outcome(outcome, buffers, shown);
        }
        let again = self
            .engine
            .try_update_value(|engine| engine.showing.is_none() && std::mem::take(&mut engine.show_again));
        if again == Some(true) {
            self.ask_to_show();
        }
    }

    fn take_outcome(self, outcome: Outcome, mut buffers: Vec<Buffer>, shown: bool) {
        match outcome {
            Outcome::Opened {
                name,
                head,
                frames,
                complete,
                rows,
                columns,
                raw_range,
                metadata,
                warnings,
                ..
            } => {
                self.tell_of_recording(warnings);
                let bytes = self.engine.with_value(|engine| engine.bytes);
                let recording = RecordingName { name, bytes, head };
                let opened = Opened { recording, frames, complete, shape: (rows, columns), raw_range };
                self.take_opened(opened, *metadata);
            }
            Outcome::Settled => {}
            Outcome::Pictures { rows, columns, pictures, problems } => {
                self.trouble.set(None);
                self.take_pictures((rows, columns), &pictures, &mut buffers);
                self.tell_left_out(&problems);
            }
            Outcome::Followed { span, names, parts, problems } => {
                self.take_trends(span, names, parts, problems, buffers);
            }
            Outcome::Pulled { span, file_name, metadata, problems } => {
                self.tell_left_out(&problems);
                let role = self.engine.try_update_value(|engine| engine.pulling.pop_front()).flatten();
                let role = role.unwrap_or(Role::Aside);
                self.take_pulled(&span, file_name, *metadata, buffers, role);
            }
            Outcome::FittedWarmUps { fits } => {
                let series = self.engine.with_value(|engine| engine.fitting.clone());
                let fits = fits.into_iter().map(|fit| fit.map(Into::into));
                self.fits.set(series.into_iter().zip(fits).collect());
            }
            Outcome::LockedIn {
                rows,
                columns,
                frames,
                typical_noise,
                noise_floor,
                detectable,
                source,
                problems,
                ..
            } => {
                let kinds = [PictureKind::Amplitude, PictureKind::Lag];
                self.take_pictures((rows, columns), &kinds, &mut buffers);
                let ask = self.engine.with_value(|engine| engine.locking.clone());
                self.lock_in.set(ask.map(|(ask, span)| {
                    let source = source.map(Into::into);
                    LockInFound {
                        ask,
                        span,
                        frames,
                        typical_noise,
                        noise_floor,
                        detectable,
                        source,
                        problems,
                    }
                    .into()
                }));
                self.face.set(PictureKind::Amplitude);
                self.look.subject.set(Subject::Recording);
            }
            Outcome::Held { held, problems } => {
                self.tell_left_out(&problems);
                self.held.set(held);
                self.see_anew();
            }
            Outcome::Stopped => {
                self.engine.update_value(|engine| engine.pulling.clear());
            }
            Outcome::Failed { what, hint } if shown => {
                let told = [what.as_str(), hint.as_str()].join(" ");
                self.trouble.set(Some(told.trim().to_owned()));
            }
            Outcome::Failed { what, hint } => self.store.tell(Notice::trouble(what, hint)),
        }
    }

    fn tell_of_recording(self, warnings: Vec<String>) {
        for warning in warnings {
            self.store.tell(Notice::warning(warning, "The rest of the recording is used."));
        }
    }

    fn tell_left_out(self, problems: &[String]) {
        if !problems.is_empty() {
            let what = format!("Frames were left out: {}.", problems.join("; "));
            self.store.tell(Notice::warning(what, "The others were used."));
        }
    }

    fn take_pictures(self, shape: (usize, usize), kinds: &[PictureKind], buffers: &mut [Buffer]) {
        for (index, kind) in kinds.iter().enumerate() {
            let Ok(picture) = arrived(*kind, buffers, index, shape) else {
                self.store.tell(Notice::trouble("A picture was lost on its way.", "Ask for it again."));
                continue;
            };
            // What was worked out may lie beyond what was seen, as where a board is heading.
            if shows_temperatures(*kind) {
                self.widen_seen(picture.range());
            }
            self.pictures.update(|pictures| {
                pictures.insert(*kind, picture.into());
            });
        }
        let wanted = self
            .engine
            .try_update_value(|engine| engine.look_at_when_done.take_if(|wanted| kinds.contains(wanted)));
        if let Some(Some(kind)) = wanted {
            self.face.set(kind);
        }
    }

    /// Temperatures of the recording that were seen now.
    fn widen_seen(self, range: Option<(f32, f32)>) {
        self.recorded.seen.update(|seen| {
            *seen = match (*seen, range) {
                (Some(before), Some(now)) => Some((before.0.min(now.0), before.1.max(now.1))),
                (before, now) => before.or(now),
            };
        });
    }

    fn take_trends(
        self,
        span: Range<usize>,
        names: Vec<String>,
        parts: Vec<bool>,
        problems: Vec<String>,
        buffers: Vec<Buffer>,
    ) {
        let mut columns: Vec<Vec<f32>> = buffers
            .into_iter()
            .map(|buffer| match buffer {
                Buffer::Numbers(values) => values,
                Buffer::Bytes(_) => Vec::new(),
            })
            .collect();
        let row = columns.pop().unwrap_or_default();
        let column = columns.pop().unwrap_or_default();
        let Some(timeline) = self.timeline.get_untracked() else { return };
        if let Some(series) = Series::arrived(&timeline, span, columns) {
            // Equal colours are equal temperatures in every frame, once all were seen.
            self.widen_seen(range_of_picture(&series));
            let trends = Trends { series, names, parts, hottest: [column, row], problems };
            self.out_of_date.set(false);
            self.trends.set(Some(trends.into()));
        }
    }
}

/// The lowest and the highest temperature of all frames, K.
fn range_of_picture(series: &Series) -> Option<(f32, f32)> {
    let all = [Reading::Least, Reading::Greatest].map(|reading| series.column(0, reading).iter().copied());
    let valid = all.into_iter().flatten().filter(|kelvin| kelvin.is_finite());
    valid.fold(None, |range, kelvin| {
        Some(range.map_or((kelvin, kelvin), |(lo, hi): (f32, f32)| (lo.min(kelvin), hi.max(kelvin))))
    })
}
