//! The one bridge between what a person sees and what there is: the session, its captures, its comparison.
//!
//! Components take it from context, read its signals and call its verbs. It is `Copy`; a copy is the
//! same store. Nothing else writes the session.

mod arrivals;
mod comparing;
mod emissivity_mapping;
mod engine;
mod keeping;
mod preview;
mod repeats;
mod state;
mod surveying;
mod twins;
mod worker_desk;

use std::collections::BTreeMap;
use std::sync::Arc;

use analysis::board::LengthUnit;
use analysis::content_hash::ContentHash;
use analysis::frame::{ApparentKelvin, EmissivityFraction, Frame};
use analysis::session::{Command, History, Refusal, Session};
use leptos::prelude::*;

pub use self::preview::Preview;
pub use self::state::{ComparisonState, PlacementQuestion, Progress, Question, SavedState};
pub use self::surveying::Surveyed;
pub use self::twins::TwinState;

use self::engine::{Engine, Purpose};
use self::surveying::Surveys;
use self::twins::Twins;
use crate::compute::protocol::{Document, Job};
use crate::notice::Notice;
use crate::platform::clock;

/// What is known of a capture's pixels without having them here.
#[derive(Debug, Clone, PartialEq)]
struct Known {
    shape: (usize, usize),
    raw_range: Option<(f32, f32)>,
}

/// The bridge. See the module's documentation.
#[derive(Debug, Clone, Copy)]
pub struct Store {
    history: RwSignal<History>,
    session: Memo<Arc<Session>>,
    /// Captures that the worker has read.
    known: RwSignal<BTreeMap<ContentHash, Known>>,
    frames: RwSignal<BTreeMap<ContentHash, Arc<Frame<ApparentKelvin>>>>,
    /// The picture that states emissivities, where the session uses one.
    emissivity_picture: RwSignal<Option<(ContentHash, Arc<Frame<EmissivityFraction>>)>>,
    comparison: RwSignal<ComparisonState>,
    /// What the session's units show, side by side.
    surveys: RwSignal<Surveys>,
    /// What parts of one kind on the unit show.
    twins: RwSignal<Twins>,
    placement_question: RwSignal<Option<PlacementQuestion>>,
    activity: RwSignal<Option<Progress>>,
    notices: RwSignal<Vec<Notice>>,
    /// What was last handed to the browser as downloads, in words.
    handed_over: RwSignal<Option<String>>,
    saved: RwSignal<SavedState>,
    restored: RwSignal<bool>,
    starts: RwSignal<u32>,
    engine: StoredValue<Engine, LocalStorage>,
}

impl Store {
    /// The store of this page, put into context, with its worker started and its last session on its way back.
    pub fn provide() -> Self {
        let store = Self::new();
        provide_context(store);
        store.start_worker();
        store.keep_in_step();
        store.keep_surveys();
        store.keep_twins();
        store.keep_session();
        store.keep_when_hidden();
        store
    }

    fn new() -> Self {
        let history = RwSignal::new(History::default());
        Self {
            history,
            session: Memo::new(move |_| Arc::new(history.with(|history| history.present().clone()))),
            known: RwSignal::new(BTreeMap::new()),
            frames: RwSignal::new(BTreeMap::new()),
            emissivity_picture: RwSignal::new(None),
            placement_question: RwSignal::new(None),
            comparison: RwSignal::new(ComparisonState::NotReady("Load a known-good capture.".to_owned())),
            surveys: RwSignal::new(Surveys::default()),
            twins: RwSignal::new(Twins::default()),
            activity: RwSignal::new(None),
            notices: RwSignal::new(Vec::new()),
            handed_over: RwSignal::new(None),
            saved: RwSignal::new(SavedState::Saving),
            restored: RwSignal::new(false),
            starts: RwSignal::new(0),
            engine: StoredValue::new_local(Engine::default()),
        }
    }

    /// The store from context.
    ///
    /// Components lie below [`provide`](Self::provide); a stray one gets a store of its own, without a worker.
    #[must_use]
    pub fn expect() -> Self {
        use_context::<Self>().unwrap_or_else(Self::new)
    }

    /// The session as it is now.
    #[must_use]
    pub fn session(self) -> Memo<Arc<Session>> {
        self.session
    }

    /// Whether the session of the last visit is back, or is known not to come.
    #[must_use]
    pub fn restored(self) -> Signal<bool> {
        self.restored.into()
    }

    /// How often an empty session was begun; whoever holds more than the session lets go of it then.
    #[must_use]
    pub fn starts(self) -> Signal<u32> {
        self.starts.into()
    }

    /// Carries out a command; a refusal becomes a notice.
    pub fn dispatch(self, command: Command) {
        let refusal = self.history.try_update(|history| history.apply(command).err()).flatten();
        if let Some(refusal) = refusal {
            self.tell_refusal(&refusal);
        }
    }

    fn tell_refusal(self, refusal: &Refusal) {
        self.tell(Notice::warning(format!("Not done: {refusal}."), "The session is as it was."));
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

    /// The emissivities of the picture that states them, where the session uses one.
    #[must_use]
    pub fn stated_emissivities(self) -> Option<Arc<Frame<EmissivityFraction>>> {
        self.emissivity_picture.with_untracked(|picture| picture.as_ref().map(|(_, frame)| Arc::clone(frame)))
    }

    /// Rows and columns of a capture, once it is read. Reactive.
    #[must_use]
    pub fn shape(self, hash: &ContentHash) -> Option<(usize, usize)> {
        self.known.with(|known| known.get(hash).map(|known| known.shape))
    }

    /// Where the comparison stands.
    #[must_use]
    pub fn comparison(self) -> Signal<ComparisonState> {
        self.comparison.into()
    }

    /// What the worker is doing right now, of whatever kind; `None` while it rests.
    #[must_use]
    pub fn activity(self) -> Signal<Option<Progress>> {
        self.activity.into()
    }

    /// Captures of which nobody has said what their numbers mean. An emissivity picture needs no saying.
    #[must_use]
    pub fn questions(self) -> Signal<Vec<Question>> {
        Signal::derive(move || {
            let session = self.session.get();
            session
                .captures
                .iter()
                .filter(|record| record.metadata.quantity.is_none())
                .filter(|record| session.surface.map.as_ref() != Some(&record.hash))
                .filter_map(|record| self.question_of(&record.hash))
                .collect()
        })
    }

    /// What to ask of a capture's numbers, answered before or not, once it is read. Reactive.
    #[must_use]
    pub fn question_of(self, hash: &ContentHash) -> Option<Question> {
        let file_name =
            self.session.with(|session| session.capture(hash).map(|record| record.file_name.clone()))?;
        let Known { raw_range, .. } = self.known.with(|known| known.get(hash).cloned())?;
        Some(Question { hash: hash.clone(), file_name, raw_range })
    }

    /// A placement file that does not say in which unit its places are, until that is answered.
    #[must_use]
    pub fn placement_question(self) -> Signal<Option<PlacementQuestion>> {
        self.placement_question.into()
    }

    /// Answers [`placement_question`](Self::placement_question); `None` leaves the file out.
    pub fn answer_placement_unit(self, unit: Option<LengthUnit>) {
        self.read_unitless(unit);
    }

    /// What there is to tell, oldest first.
    #[must_use]
    pub fn notices(self) -> Signal<Vec<Notice>> {
        self.notices.into()
    }

    /// What was last handed to the browser as downloads, in words.
    #[must_use]
    pub fn handed_over(self) -> Signal<Option<String>> {
        self.handed_over.into()
    }

    /// Tells something. What stands there already is not told twice.
    pub fn tell(self, notice: Notice) {
        self.notices.update(|notices| {
            if !notices.iter().any(|told| told.what == notice.what && told.detail == notice.detail) {
                let id = notices.last().map_or(1, |last| last.id + 1);
                notices.push(Notice { id, ..notice });
            }
        });
    }

    /// Takes a notice away.
    pub fn dismiss(self, id: u32) {
        self.notices.update(|notices| notices.retain(|notice| notice.id != id));
    }

    /// Downloads the result as one file.
    pub fn save_result(self) {
        self.save(Document::Result);
    }

    /// Downloads the findings as a table.
    pub fn save_findings_csv(self) {
        self.save(Document::Findings);
    }

    /// Downloads the parts of one kind against each other as a table.
    pub fn save_twins_csv(self) {
        self.save(Document::Twins);
    }

    /// Downloads the temperature and difference maps.
    pub fn save_maps(self) {
        self.save(Document::Maps);
    }

    /// Downloads the known-good boards as one file, for later units.
    pub fn save_baseline(self) {
        self.save(Document::Baseline);
    }

    fn save(self, document: Document) {
        let session = Box::new(Session::clone(&self.session.get_untracked()));
        let job = Job::Write { document, session, written_at: clock::now() };
        self.engine.update_value(|engine| {
            engine.ask(Purpose::Write, job, Vec::new());
        });
        self.pump();
    }

    /// Whether what a person did would survive closing the page.
    #[must_use]
    pub fn saved_state(self) -> Signal<SavedState> {
        self.saved.into()
    }
}
