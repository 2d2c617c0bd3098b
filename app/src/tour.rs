//! The guided tour of the sample board: eight stops at the real controls, to be left at any time.

use leptos::prelude::*;

use crate::steps::{OpenStep, Step};

/// One stop.
struct Stop {
    /// The step that must be open.
    step: Step,
    /// The control it points at, as a selector.
    target: &'static str,
    /// What it says.
    words: &'static str,
}

const STOPS: [Stop; 8] = [
    Stop {
        step: Step::Captures,
        target: "[data-testid=captures]",
        words: "An invented board: known-good specimens give the baseline, one capture is the unit under test. Your own captures go in the same way.",
    },
    Stop {
        step: Step::Board,
        target: "[data-testid=step-1]",
        words: "The sheet fills in from top to bottom. Step 1 states the board and how it is run; read its cautions before you power yours.",
    },
    Stop {
        step: Step::Surface,
        target: "[data-testid=whole-slider]",
        words: "Click the picture, then pull the emissivity: the picture follows. Open “What emissivity does” to see how much of the reading is the surface's own.",
    },
    Stop {
        step: Step::Surface,
        target: "[data-testid=new-regions]",
        words: "Bare metal reads cold. Choose its finish and draw over it, or click a part and lay the finish over its body.",
    },
    Stop {
        step: Step::Alignment,
        target: "[data-testid=step-4]",
        words: "The unit was brought onto the baseline's pixels. The figures say how far to trust that; four known places lay the parts on the picture.",
    },
    Stop {
        step: Step::Compare,
        target: "[data-testid=findings]",
        words: "What differs by more than noise, spread and your limit, the most significant first. Click a finding and the picture goes there.",
    },
    Stop {
        step: Step::Probes,
        target: "[data-testid=probes]",
        words: "Each finding asks for contact measurements. Enter what you expect and what you read, and judge it.",
    },
    Stop {
        step: Step::HandOver,
        target: "[data-testid=save-result]",
        words: "Write the verdict and save the result file: this sheet, filled in, as one file that any browser opens.",
    },
];

/// Where the tour is, provided as a context; `None` while there is none.
#[derive(Debug, Clone, Copy)]
pub struct TourStop(pub RwSignal<Option<usize>>);

impl TourStop {
    /// Begins the tour at its first stop.
    pub fn begin(self) {
        self.0.set(Some(0));
    }
}

/// The mark on the control that the tour points at.
const MARK: &str = "toured";

fn unmark() {
    if let Ok(Some(marked)) = document().query_selector(&format!(".{MARK}")) {
        // A class of our own: taking it away cannot fail on an element that bears it.
        let _ = marked.class_list().remove_1(MARK);
    }
}

fn mark(selector: &str) {
    unmark();
    if let Ok(Some(target)) = document().query_selector(selector) {
        let _ = target.class_list().add_1(MARK);
        target.scroll_into_view();
    }
}

/// The tour's card, while it runs.
#[component]
pub fn Tour() -> impl IntoView {
    let TourStop(place) = expect_context();
    let OpenStep(open) = expect_context();
    Effect::new(move || match place.get().and_then(|place| STOPS.get(place)) {
        Some(stop) => {
            open.set(Some(stop.step));
            // The step's content is there after the page has been drawn once more.
            request_animation_frame(move || request_animation_frame(move || mark(stop.target)));
        }
        None => unmark(),
    });
    on_cleanup(unmark);
    let escape = window_event_listener(leptos::ev::keydown, move |event| {
        if event.key() == "Escape" {
            place.set(None);
        }
    });
    on_cleanup(move || escape.remove());
    let last = move || place.get().is_some_and(|place| place + 1 == STOPS.len());
    let words = move || place.get().and_then(|place| STOPS.get(place)).map(|stop| stop.words);
    let go = move |by: isize| {
        place.update(|place| {
            *place = place.and_then(|p| p.checked_add_signed(by)).filter(|p| *p < STOPS.len())
        });
    };
    view! {
        <aside
            class="tour"
            role="region"
            aria-label="Guided tour"
            aria-live="polite"
            data-testid="tour"
            hidden=move || place.with(Option::is_none)
        >
            <p class="remark">{move || place.get().map(|place| format!("Tour, {} of {}", place + 1, STOPS.len()))}</p>
            <p>{words}</p>
            <div class="row">
                <button class="quiet" data-testid="tour-skip" on:click=move |_| place.set(None)>
                    {move || if last() { "Close" } else { "Skip the tour" }}
                </button>
                <div class="row">
                    <button disabled=move || place.get() == Some(0) on:click=move |_| go(-1)>
                        "Back"
                    </button>
                    <button class="primary" data-testid="tour-next" hidden=last on:click=move |_| go(1)>
                        "Next"
                    </button>
                </div>
            </div>
        </aside>
    }
}
