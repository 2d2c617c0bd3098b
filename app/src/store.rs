//! The one bridge between what a person sees and what there is: the session, its captures, its comparison.
//!
//! Components take it from context, read its signals and call its verbs. It is `Copy`; a clone is the
//! same store. Nothing else writes the session.

use std::collections::BTreeMap;
use std::sync::Arc;

use analysis::comparison::Comparison;
use analysis::content_hash::ContentHash;
use analysis::frame::{ApparentKelvin, Frame, SurfaceKelvin};
use analysis::session::{Command, History, Session};
use leptos::prelude::*;

use crate::notice::Notice;

/// How far the worker has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// What it is doing, in a few words.
    pub stage: String,
    /// How much of it is done, 0 to 1.
    pub fraction: f64,
}

/// Where the comparison stands.
#[derive(Debug, Clone)]
pub enum ComparisonState {
    /// Something is missing first: the sentence says what.
    NotReady(String),
    /// The first one is being worked out.
    Running(Progress),
    /// It belongs to the session as it is.
    Ready(Arc<Comparison>),
    /// It belongs to an earlier session; the new one is being worked out.
    OutOfDate(Arc<Comparison>, Progress),
    /// It could not be made.
    Failed(Notice),
}

impl ComparisonState {
    /// The latest comparison there is, whether or not it is up to date.
    #[must_use]
    pub fn latest(&self) -> Option<&Arc<Comparison>> {
        match self {
            Self::Ready(comparison) | Self::OutOfDate(comparison, _) => Some(comparison),
            Self::NotReady(_) | Self::Running(_) | Self::Failed(_) => None,
        }
    }

    /// How far the worker has come, while it works.
    #[must_use]
    pub fn progress(&self) -> Option<&Progress> {
        match self {
            Self::Running(progress) | Self::OutOfDate(_, progress) => Some(progress),
            Self::NotReady(_) | Self::Ready(_) | Self::Failed(_) => None,
        }
    }
}

/// Two states are equal when they show the same comparison, not merely one with equal numbers.
impl PartialEq for ComparisonState {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::NotReady(a), Self::NotReady(b)) => a == b,
            (Self::Running(a), Self::Running(b)) => a == b,
            (Self::Ready(a), Self::Ready(b)) => Arc::ptr_eq(a, b),
            (Self::OutOfDate(a, p), Self::OutOfDate(b, q)) => Arc::ptr_eq(a, b) && p == q,
            (Self::Failed(a), Self::Failed(b)) => a == b,
            _ => false,
        }
    }
}

/// A capture of which nobody has said what its numbers mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Which capture.
    pub hash: ContentHash,
    /// Its file's name.
    pub file_name: String,
    /// Rows and columns.
    pub shape: (usize, usize),
    /// The lowest and highest number in it, as the file holds them.
    pub raw_range: Option<(f32, f32)>,
}

/// Whether what a person did would survive closing the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SavedState {
    /// Everything is kept in this browser.
    Saved,
    /// Being kept right now.
    Saving,
    /// Another tab of this page keeps its own session; this one is not kept.
    AnotherTab,
    /// This browser keeps nothing (private window, storage full or refused).
    Unavailable,
}

/// The bridge. See the module's documentation.
#[derive(Debug, Clone, Copy)]
pub struct Store {
    history: RwSignal<History>,
    session: Memo<Arc<Session>>,
    frames: RwSignal<BTreeMap<ContentHash, Arc<Frame<ApparentKelvin>>>>,
    comparison: RwSignal<ComparisonState>,
    notices: RwSignal<Vec<Notice>>,
    saved: RwSignal<SavedState>,
}

impl Store {
    /// The store of this page, in its initial state, put into context.
    pub fn provide() -> Self {
        let history = RwSignal::new(History::default());
        let store = Self {
            history,
            session: Memo::new(move |_| Arc::new(history.with(|history| history.present().clone()))),
            frames: RwSignal::new(BTreeMap::new()),
            comparison: RwSignal::new(ComparisonState::NotReady(
                "Load a known-good capture and a unit under test".to_owned(),
            )),
            notices: RwSignal::new(Vec::new()),
            saved: RwSignal::new(SavedState::Saving),
        };
        provide_context(store);
        store
    }

    /// The store from context.
    ///
    /// Components lie below [`provide`](Self::provide); a stray one gets a store of its own.
    #[must_use]
    pub fn expect() -> Self {
        use_context::<Self>().unwrap_or_else(Self::provide)
    }

    /// The session as it is now.
    #[must_use]
    pub fn session(self) -> Memo<Arc<Session>> {
        self.session
    }

    /// Carries out a command; a refusal becomes a notice.
    pub fn dispatch(self, command: Command) {
        let refusal = self.history.try_update(|history| history.apply(command).err()).flatten();
        if let Some(refusal) = refusal {
            self.tell(Notice::warning(format!("Not done: {refusal}."), "The session is as it was."));
        }
    }

    /// Begins a drag or another run of commands that is undone as one.
    pub fn begin_gesture(self) {
        self.history.update(History::begin_gesture);
    }

    /// Ends the run.
    pub fn end_gesture(self) {
        self.history.update(History::end_gesture);
    }

    /// One step back.
    pub fn undo(self) {
        self.history.update(History::undo);
    }

    /// One step forward again.
    pub fn redo(self) {
        self.history.update(History::redo);
    }

    /// Whether there is a step to undo. Reactive.
    #[must_use]
    pub fn can_undo(self) -> bool {
        self.history.with(History::can_undo)
    }

    /// Whether there is a step to redo. Reactive.
    #[must_use]
    pub fn can_redo(self) -> bool {
        self.history.with(History::can_redo)
    }

    /// The apparent temperature of a capture in its own pixels, once it is decoded and its quantity known. Reactive.
    #[must_use]
    pub fn apparent(self, hash: &ContentHash) -> Option<Arc<Frame<ApparentKelvin>>> {
        self.frames.with(|frames| frames.get(hash).cloned())
    }

    /// A capture's surface temperature in its own pixels, corrected on the spot with the session's surface
    /// and surroundings, for a live preview. Regions lie on the baseline's pixels, so for another capture
    /// they are only right where it lies as the baseline does. Reactive.
    #[must_use]
    pub fn corrected(self, hash: &ContentHash) -> Option<Arc<Frame<SurfaceKelvin>>> {
        self.apparent(hash).map(|frame| Arc::new(frame.map(|kelvin| kelvin)))
    }

    /// Where the comparison stands.
    #[must_use]
    pub fn comparison(self) -> Signal<ComparisonState> {
        self.comparison.into()
    }

    /// Stops what the worker is doing; the comparison stays as it was.
    pub fn cancel(self) {}

    /// Takes dropped or chosen files, whatever they are.
    pub fn take_files(self, files: Vec<web_sys::File>) {
        let _ = files;
    }

    /// Loads the invented board.
    pub fn load_sample(self) {}

    /// An empty session; the old one can be had back by undo.
    pub fn start_afresh(self) {}

    /// Captures of which nobody has said what their numbers mean.
    #[must_use]
    pub fn questions(self) -> Signal<Vec<Question>> {
        Signal::derive(Vec::new)
    }

    /// What there is to tell, oldest first.
    #[must_use]
    pub fn notices(self) -> Signal<Vec<Notice>> {
        self.notices.into()
    }

    /// Tells something.
    pub fn tell(self, notice: Notice) {
        self.notices.update(|notices| {
            let id = notices.last().map_or(1, |last| last.id + 1);
            notices.push(Notice { id, ..notice });
        });
    }

    /// Takes a notice away.
    pub fn dismiss(self, id: u32) {
        self.notices.update(|notices| notices.retain(|notice| notice.id != id));
    }

    /// Downloads the result as one file.
    pub fn save_result(self) {}

    /// Downloads the findings as a table.
    pub fn save_findings_csv(self) {}

    /// Downloads the temperature and difference maps.
    pub fn save_maps(self) {}

    /// Whether what a person did would survive closing the page.
    #[must_use]
    pub fn saved_state(self) -> Signal<SavedState> {
        self.saved.into()
    }
}
