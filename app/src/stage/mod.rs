//! The picture stage: the picture, what is drawn on it, and everything it reads out.

pub mod view;

pub mod draft;
pub mod keys;
pub mod outline_path;

pub mod look;

pub mod bodies;
pub mod shown;

pub mod bar;
pub mod beyond;
pub mod certainty;
pub mod draws_chart;
pub mod gauges;
pub mod hatch;
pub mod layer;
pub mod overlay;
pub mod pane;
pub mod placing;
pub mod pointer;
pub mod profile;
pub mod readout;
pub mod recorded;
pub mod scale;
pub mod tool_button;

use analysis::session::Role;
use leptos::html::Div;
use leptos::prelude::*;

use crate::platform::element_size::watch_size;
use crate::store::Store;
use look::{Arrangement, BLINK, Look, Subject, Tool};
use recorded::Recorded;
use shown::{Shown, captured, recorded, shown};
use view::{Extent, View};

/// A picture, or what it waits for.
pub type Picture = Memo<Result<Shown, String>>;

/// The pictures there are, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct Pictures {
    /// The known-good boards.
    pub baseline: Picture,
    /// The unit, on the baseline's pixels once it is aligned.
    pub unit: Picture,
    /// Unit minus baseline.
    pub difference: Picture,
    /// How well the difference is known.
    pub uncertainty: Picture,
    /// How much good boards differ among themselves.
    pub spread: Picture,
    /// The unit in its own pixels.
    pub unit_own: Picture,
    /// What a recording shows.
    pub recording: Picture,
}

impl Pictures {
    /// The pictures of this store.
    #[must_use]
    pub fn new(store: Store, recording: Recorded) -> Self {
        Self {
            recording: Memo::new(move |_| recorded(recording)),
            baseline: Memo::new(move |_| shown(store, Subject::Baseline)),
            unit: Memo::new(move |_| shown(store, Subject::Unit)),
            difference: Memo::new(move |_| shown(store, Subject::Difference)),
            uncertainty: Memo::new(move |_| shown(store, Subject::Uncertainty)),
            spread: Memo::new(move |_| shown(store, Subject::Spread)),
            unit_own: Memo::new(move |_| captured(store, Role::Unit)),
        }
    }

    /// The picture of a subject.
    #[must_use]
    pub const fn of(self, subject: Subject) -> Picture {
        match subject {
            Subject::Baseline => self.baseline,
            Subject::Unit => self.unit,
            Subject::Difference => self.difference,
            Subject::Uncertainty => self.uncertainty,
            Subject::Spread => self.spread,
            Subject::Recording => self.recording,
        }
    }
}

/// Puts what stage and steps share into context.
pub fn provide(store: Store) {
    let look = Look::new();
    let recorded = Recorded::new();
    let pictures = Pictures::new(store, recorded);
    provide_context(look);
    provide_context(recorded);
    provide_context(pictures);
    provide_context(bodies::Bodies::new(store, look, recorded));
    provide_context(scale::Scales::new(store, look, recorded, [pictures.baseline, pictures.unit]));
}

/// The picture stage.
#[component]
pub fn Stage(
    /// Right below the picture, always in sight.
    #[prop(into)]
    below: ViewFn,
    /// At the head of what is opened below it.
    #[prop(into)]
    panels: ViewFn,
) -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let pictures = expect_context::<Pictures>();
    let measured = NodeRef::<Div>::new();
    watch_size(
        move || measured.get().map(Into::into),
        move |width, height| look.pane.set(Extent { width, height }),
    );
    keep_fitted(look, pictures);
    follow_the_work(store, look, pictures);
    blink(look);
    let single = Signal::derive(move || match look.arrangement.get() {
        Arrangement::Blink if look.blink_unit.get() => pictures.unit.get().ok(),
        Arrangement::Single => pictures.of(look.subject.get()).get().ok(),
        _ => pictures.baseline.get().ok(),
    });
    let title = Signal::derive(move || match look.arrangement.get() {
        Arrangement::Blink if look.blink_unit.get() => Subject::Unit.name(),
        Arrangement::Single => {
            let subject = look.subject.get();
            subject.caption().unwrap_or_else(|| subject.name())
        }
        Arrangement::Swipe => "Baseline | Unit",
        _ => Subject::Baseline.name(),
    });
    let second = Signal::derive(move || {
        let own = look.tool.get() == Tool::Landmark;
        if own { pictures.unit_own.get().ok() } else { pictures.unit.get().ok() }
    });
    let over = Signal::derive(move || pictures.unit.get().ok());
    let unit_title = Signal::derive(|| Subject::Unit.name());
    view! {
        <section class="stage" aria-label="Picture">
            <bar::StageBar />
            <div class="stage-middle">
                <div class="panes">
                    <pane::Pane shown=single over=over title=title testid="picture" measured=measured />
                    <Show when=move || look.arrangement.get() == Arrangement::Beside>
                        <pane::Pane
                            shown=second
                            title=unit_title
                            testid="picture-unit"
                            measured=NodeRef::new()
                        />
                    </Show>
                    <bar::ToolAdvice />
                    <bar::StageState />
                </div>
                <scale::ColorScale />
            </div>
            {below.run()}
            <div class="stage-foot">
                <readout::ReadOut />
                {panels.run()}
                <certainty::CertaintyPanel />
                <gauges::Gauges />
            </div>
        </section>
    }
}

/// Fits the picture when it or its pane changes, unless a person has moved it.
fn keep_fitted(look: Look, pictures: Pictures) {
    Effect::new(move |before: Option<View>| {
        let size = |picture: Picture| picture.with(|p| p.as_ref().ok().map(Shown::extent));
        let Some(extent) = size(pictures.of(look.subject.get())).or_else(|| size(pictures.baseline)) else {
            return before.unwrap_or_default();
        };
        let fitted = View::fit(extent, look.pane.get());
        let untouched = before.is_none_or(|before| before == look.view.get_untracked());
        if untouched || look.picture.get_untracked() != extent {
            look.view.set(fitted);
        }
        look.picture.set(extent);
        fitted
    });
}

/// Shows what there is: the unit where there is no baseline, and the difference once it exists.
fn follow_the_work(store: Store, look: Look, pictures: Pictures) {
    Effect::new(move || {
        let there = |subject| pictures.of(subject).with(Result::is_ok);
        let (baseline, unit) = (there(Subject::Baseline), there(Subject::Unit));
        if !baseline && unit && look.subject.get_untracked() == Subject::Baseline {
            look.subject.set(Subject::Unit);
        }
    });
    let compared = Memo::new(move |_| store.comparison().with(|state| state.latest().is_some()));
    Effect::new(move |before: Option<bool>| {
        let now = compared.get();
        let at_rest = look.tool.get_untracked() == Tool::Look;
        if now && before == Some(false) && at_rest {
            look.subject.set(Subject::Difference);
        }
        if !now {
            look.forget_looked_at_alone();
            if look.subject.get_untracked().is_derived() {
                look.subject.set(Subject::Baseline);
            }
        }
        now
    });
}

/// Turns the pictures of a blink over.
fn blink(look: Look) {
    let running = StoredValue::new(None::<IntervalHandle>);
    let stop = move || {
        if let Some(timer) = running.get_value() {
            timer.clear();
        }
    };
    Effect::new(move || {
        stop();
        let blinking = look.arrangement.get() == Arrangement::Blink;
        let turn = move || look.blink_unit.update(|unit| *unit = !*unit);
        // Without a timer the picture stands still, which is no worse than a single one.
        let timer = if blinking { set_interval_with_handle(turn, BLINK).ok() } else { None };
        running.set_value(timer);
    });
    on_cleanup(stop);
}
