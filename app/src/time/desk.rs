//! The page's side of recordings: what is open, what is looked at, what was found.
//!
//! Provided as a context and `Copy`, as the store is. The frames stay in their file. What a person says of a recording
//! and marks in it is the session's, changed by its commands; where they look is the desk's.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use analysis::capture::{CaptureMetadata, CornerMark};
use analysis::geometry::BaselinePixels;
use analysis::sequence::{PointSource, Stability, Timeline, WarmUp};
use analysis::session::{RecordingName, RecordingNotes, Role, Session};
use leptos::prelude::*;

use super::engine::Engine;
use super::fit_parcel::LockInAsk;
use super::moment::moment_words;
use super::picture::name_of;
use super::protocol::{Ask, HeldParcel, PictureKind, Reading};
use super::series::Series;
use crate::stage::look::{Arrangement, Look, Subject};
use crate::stage::recorded::{Recorded, RecordedPicture};
use crate::store::Store;
use crate::wording;

/// A recording of fewer pixels than this, all frames together, is followed without asking: some seconds' work.
const FOLLOWED_AT_ONCE: usize = 40_000_000;

/// An open recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Opened {
    /// What the session knows it by.
    pub recording: RecordingName,
    /// How many frames it has, as far as they were found.
    pub frames: usize,
    /// Whether all were found.
    pub complete: bool,
    /// Rows and columns.
    pub shape: (usize, usize),
    /// The least and greatest number in its first frame, as the file holds them.
    pub raw_range: Option<(f32, f32)>,
}

/// The followed places over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Trends {
    /// Their values.
    pub series: Series,
    /// Their names: the picture as a whole first, then read-outs, then parts.
    pub names: Vec<String>,
    /// Which of them are parts.
    pub parts: Vec<bool>,
    /// Column and row of the hottest pixel in each frame.
    pub hottest: [Vec<f32>; 2],
    /// Frames that were left out, and why.
    pub problems: Vec<String>,
}

/// What a lock-in found beside its pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct LockInFound {
    /// What it was asked.
    pub ask: LockInAsk,
    /// Over which frames.
    pub span: Range<usize>,
    /// Frames used.
    pub frames: usize,
    /// Noise of a pixel in a frame, K.
    pub typical_noise: f64,
    /// Amplitude that noise alone shows, K.
    pub noise_floor: f64,
    /// Amplitude that noise alone hardly reaches anywhere in the picture, K.
    pub detectable: f64,
    /// The strongest source.
    pub source: Option<PointSource>,
    /// Frames that were left out, and why.
    pub problems: Vec<String>,
}

/// A run over the frames, under way.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    /// What it is, in a few words.
    pub what: &'static str,
    /// Frames done.
    pub done: usize,
    /// Frames in all.
    pub of: usize,
}

/// What frames are read and corrected with: when it changes, what was worked out is out of date.
#[derive(Debug, Clone, PartialEq)]
struct Grounds {
    metadata: CaptureMetadata,
    session: Arc<Session>,
}

/// The desk. See the module's documentation.
#[derive(Debug, Clone, Copy)]
pub struct Desk {
    pub(super) store: Store,
    pub(super) look: Look,
    pub(super) recorded: Recorded,
    /// The recording.
    pub opened: RwSignal<Option<Arc<Opened>>>,
    /// What its files state of it.
    stated: RwSignal<CaptureMetadata>,
    /// What a person said of it and marked in it.
    pub(super) notes: Memo<RecordingNotes>,
    /// What is known of it.
    pub metadata: Memo<CaptureMetadata>,
    /// The times of its frames, once they are stated.
    pub timeline: Memo<Option<Arc<Timeline>>>,
    /// The frame looked at, from 0.
    pub frame: RwSignal<usize>,
    /// The frame that is taken off in the picture of changes.
    pub reference: Memo<usize>,
    /// Sudden changes are counted from the mean of so many frames before.
    pub frames_before: Memo<usize>,
    /// Which picture is looked at.
    pub face: RwSignal<PictureKind>,
    /// The pictures there are.
    pub pictures: RwSignal<BTreeMap<PictureKind, Arc<RecordedPicture>>>,
    /// The marked span of frames: all where none is marked.
    pub span: Memo<Range<usize>>,
    /// Why the picture looked at is missing.
    pub trouble: RwSignal<Option<String>>,
    /// A run under way.
    pub work: RwSignal<Option<Work>>,
    /// The places over time.
    pub trends: RwSignal<Option<Arc<Trends>>>,
    /// Warm-ups by place.
    pub fits: RwSignal<BTreeMap<(usize, Reading), Result<WarmUp, String>>>,
    /// When a place counts as steady.
    pub stability: RwSignal<Stability>,
    /// What the lock-in found.
    pub lock_in: RwSignal<Option<Arc<LockInFound>>>,
    /// How the board that is held still had moved.
    pub held: RwSignal<Option<HeldParcel>>,
    /// Whether what was worked out no longer fits what is said now.
    pub out_of_date: RwSignal<bool>,
    grounds: Memo<Grounds>,
    pub(super) engine: StoredValue<Engine, LocalStorage>,
}

impl Desk {
    /// The desk of this page, put into context.
    pub fn provide(store: Store) -> Self {
        let (look, recorded) = (expect_context::<Look>(), expect_context::<Recorded>());
        let stated = RwSignal::new(CaptureMetadata::default());
        let opened = RwSignal::new(None::<Arc<Opened>>);
        let notes = Memo::new(move |_| {
            let recording = opened.with(|opened| opened.as_ref().map(|opened| opened.recording.clone()));
            store.session().with(|session| session.notes_on(&recording.unwrap_or_default()))
        });
        let metadata = Memo::new(move |_| stated.with(|stated| notes.with(|notes| notes.laid_over(stated))));
        let span = Memo::new(move |_| {
            let frames = opened.with(|opened| opened.as_ref().map_or(0, |opened| opened.frames));
            let marked = notes.with(|notes| notes.span).filter(|[from, to]| from <= to && *to < frames);
            marked.map_or(0..frames, |[from, to]| from..to + 1)
        });
        let timeline = Memo::new(move |_| {
            let frames = opened.with(|opened| opened.as_ref().map(|opened| opened.frames))?;
            metadata.with(|metadata| Timeline::new(metadata, frames).ok()).map(Arc::new)
        });
        let grounds = Memo::new(move |_| Grounds {
            metadata: metadata.get(),
            session: recorded
                .corners
                .with(|corners| store.session().with(|session| Arc::new(what_corrects(session, corners)))),
        });
        let desk = Self {
            store,
            look,
            recorded,
            opened,
            stated,
            notes,
            metadata,
            timeline,
            frame: RwSignal::new(0),
            reference: Memo::new(move |_| notes.with(|notes| notes.counted_from)),
            frames_before: Memo::new(move |_| notes.with(|notes| notes.frames_before)),
            face: RwSignal::new(PictureKind::Frame),
            pictures: RwSignal::new(BTreeMap::new()),
            span,
            trouble: RwSignal::new(None),
            work: RwSignal::new(None),
            trends: RwSignal::new(None),
            fits: RwSignal::new(BTreeMap::new()),
            // Common practice, no source: slow enough that a reading does not change while it is taken.
            stability: RwSignal::new(Stability { rate_k_per_min: 0.2, over_min: 1.0 }),
            lock_in: RwSignal::new(None),
            held: RwSignal::new(None),
            out_of_date: RwSignal::new(false),
            grounds,
            engine: StoredValue::new_local(Engine::default()),
        };
        provide_context(desk);
        desk.keep_in_step();
        desk.keep_corners();
        desk.end_with_the_session();
        desk
    }

    fn keep_in_step(self) {
        Effect::new(move |before: Option<()>| {
            // Read, not only tracked: a memo that was never worked out hears of no change.
            self.grounds.with(|_| ());
            if before.is_some() && self.opened.with_untracked(Option::is_some) {
                self.engine.update_value(|engine| engine.unsettled = true);
                self.recorded.seen.set(None);
                self.see_anew();
            }
        });
        Effect::new(move || {
            self.frame.track();
            self.face.track();
            self.reference.track();
            self.frames_before.track();
            self.ask_to_show();
        });
        Effect::new(move || {
            let there = self.opened.with(Option::is_some);
            self.recorded.there.set(there);
            let found = self.pictures.with(|pictures| pictures.get(&self.face.get()).cloned());
            let picture = match (found, self.trouble.get()) {
                (_, Some(trouble)) => Err(trouble),
                (Some(picture), None) => Ok(picture),
                (None, None) if self.metadata.with(|metadata| metadata.quantity.is_none()) && there => {
                    Err("Step 2 asks what the numbers of this recording mean".to_owned())
                }
                (None, None) => Err("The recording is being read".to_owned()),
            };
            self.recorded.picture.set(picture);
        });
        Effect::new(move || self.recorded.caption.set(self.caption()));
        Effect::new(move |before: Option<Range<usize>>| {
            let now = self.span.get();
            if before.is_some_and(|before| before != now) {
                self.forget_what_is_of_the_span();
            }
            now
        });
    }

    /// What frames are corrected with, for the worker.
    pub(super) fn settling(self) -> (CaptureMetadata, Session) {
        let Grounds { metadata, session } = self.grounds.get_untracked();
        (metadata, Session::clone(&session))
    }

    /// A recording was opened.
    pub(super) fn take_opened(self, opened: Opened, metadata: CaptureMetadata) {
        self.forget();
        self.engine.update_value(|engine| engine.unsettled = true);
        self.tell_other_pixels(&opened);
        self.take_corners(&metadata);
        self.stated.set(metadata);
        self.opened.set(Some(Arc::new(opened)));
        self.look.arrangement.set(Arrangement::Single);
        self.look.subject.set(Subject::Recording);
        self.ask_to_show();
        self.follow_if_small();
    }

    /// More frames of the recording were found.
    pub(super) fn take_more(self, frames: usize, complete: bool) {
        let Some(before) = self.opened.get_untracked() else { return };
        self.opened.set(Some(Arc::new(Opened { frames, complete, ..Opened::clone(&before) })));
        self.follow_if_small();
    }

    /// What the picture is and when it was. Reactive.
    fn caption(self) -> String {
        let moment = |frame: usize| {
            let time =
                self.time_of(frame).map_or_else(String::new, |time| format!(" at {}", moment_words(time)));
            format!("{}{time}", frame + 1)
        };
        let span = move || {
            self.span.with(|span| format!("{} to {}", moment(span.start), moment(span.end.saturating_sub(1))))
        };
        match self.face.get() {
            PictureKind::Frame => format!("frame {}", moment(self.frame.get())),
            PictureKind::Difference => {
                format!("frame {} less frame {}", moment(self.frame.get()), moment(self.reference.get()))
            }
            PictureKind::Sudden => {
                let frame = self.frame.get();
                let before = wording::count(self.frames_before.get().min(frame), "frame");
                format!("frame {} less the mean of {before} before it", moment(frame))
            }
            kind @ (PictureKind::Mean | PictureKind::Least | PictureKind::Greatest) => {
                format!("{} of frames {}", name_of(kind).to_lowercase(), span())
            }
            kind => name_of(kind).to_lowercase(),
        }
    }

    /// The last frame's number, from 0.
    #[must_use]
    pub fn last(self) -> usize {
        self.opened
            .with_untracked(|opened| opened.as_ref().map_or(0, |opened| opened.frames.saturating_sub(1)))
    }

    /// Looks at a frame.
    pub fn go_to(self, frame: usize) {
        self.frame.set(frame.min(self.last()));
        if !self.face.get_untracked().is_of_a_frame() {
            self.face.set(PictureKind::Frame);
        }
        self.look.subject.set(Subject::Recording);
    }

    /// Looks at the frame of a time, s.
    pub fn go_to_time(self, time_s: f64) {
        let frame = self.timeline.with_untracked(|timeline| timeline.as_ref()?.frame_at(time_s));
        if let Some(frame) = frame {
            self.go_to(frame);
        }
    }

    /// The time of a frame, s. Reactive.
    #[must_use]
    pub fn time_of(self, frame: usize) -> Option<f64> {
        self.timeline.with(|timeline| timeline.as_ref()?.time(frame))
    }

    /// Looks at a picture; one over the marked span is worked out first.
    pub fn look_at(self, kind: PictureKind) {
        self.look.subject.set(Subject::Recording);
        let there = self.pictures.with_untracked(|pictures| pictures.contains_key(&kind));
        match kind {
            PictureKind::Mean | PictureKind::Least | PictureKind::Greatest if !there => {
                let span = self.span.get_untracked();
                self.engine.update_value(|engine| engine.look_at_when_done = Some(kind));
                self.ask(Ask::Summarize { span }, "Summing the span up");
            }
            _ => {
                // A complaint was about what was looked at before.
                self.trouble.set(None);
                self.face.set(kind);
            }
        }
    }

    /// Follows all places through the whole recording.
    pub fn follow(self) {
        let frames = self.opened.with_untracked(|opened| opened.as_ref().map_or(0, |opened| opened.frames));
        self.ask(Ask::Follow { span: 0..frames }, "Following places");
    }

    /// Follows all places where that takes some seconds only.
    pub(super) fn follow_if_small(self) {
        let known = self.metadata.with_untracked(|m| m.quantity.is_some() && m.frame_times.is_some());
        let complete =
            self.opened.with_untracked(|opened| opened.as_ref().is_some_and(|opened| opened.complete));
        let pixels = self.opened.with_untracked(|opened| {
            opened.as_ref().map_or(0, |opened| opened.frames.saturating_mul(opened.shape.0 * opened.shape.1))
        });
        if known && complete && pixels > 0 && pixels <= FOLLOWED_AT_ONCE {
            self.follow();
        }
    }

    /// Fits warm-ups of places over the marked span.
    pub fn fit_warm_ups(self, series: Vec<(usize, Reading)>) {
        let span = self.span.get_untracked();
        self.engine.update_value(|engine| engine.fitting.clone_from(&series));
        self.ask(Ask::FitWarmUps { series, span }, "Fitting warm-ups");
    }

    /// Maps the warm-up of every pixel over the marked span, beginning from a place.
    pub fn map_warm_up(self, place: usize, reading: Reading) {
        let span = self.span.get_untracked();
        self.engine.update_value(|engine| engine.look_at_when_done = Some(PictureKind::Steady));
        self.ask(Ask::MapWarmUp { place, reading, span }, "Fitting every pixel");
    }

    /// Locks in over the marked span. What an earlier one found goes, so that nothing stays beneath one that fails.
    pub fn lock_in_to(self, settings: LockInAsk) {
        let swing = |kind: &PictureKind| matches!(kind, PictureKind::Amplitude | PictureKind::Lag);
        if swing(&self.face.get_untracked()) {
            self.face.set(PictureKind::Frame);
        }
        self.pictures.update(|pictures| pictures.retain(|kind, _| !swing(kind)));
        self.lock_in.set(None);
        self.recorded.ellipse.set(None);
        let span = self.span.get_untracked();
        self.engine.update_value(|engine| engine.locking = Some((settings, span.clone())));
        self.ask(Ask::LockIn { span, settings }, "Locking in");
    }

    /// Pulls a frame, or the mean of several, out as a capture for this role.
    pub fn pull(self, span: Range<usize>, role: Role) {
        self.engine.update_value(|engine| engine.pulling.push_back(role));
        self.ask(Ask::Pull { span }, "Pulling a capture out");
    }

    /// Draws an ellipse over the picture of the recording, or none.
    pub fn show_ellipse(self, ellipse: Option<[f64; 5]>) {
        self.recorded.ellipse.set(ellipse);
    }

    /// Ends whatever runs over frames.
    pub fn stop(self) {
        self.ask(Ask::Stop, "Stopping");
    }
}

/// Of a session what frames are corrected with and what is followed in them, with the recording's own places of
/// the board where it has any; the rest may change without effect.
fn what_corrects(session: &Session, own: &[CornerMark<BaselinePixels>]) -> Session {
    let corners = if own.is_empty() { session.layout.corners.clone() } else { own.to_vec() };
    Session {
        band: session.band,
        surroundings: session.surroundings,
        input_uncertainty: session.input_uncertainty.clone(),
        surface: session.surface.clone(),
        layout: analysis::session::BoardLayout { limits: Vec::new(), corners, ..session.layout.clone() },
        gauges: session.gauges.clone(),
        ..Session::default()
    }
}
