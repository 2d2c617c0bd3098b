//! The sheet: seven numbered steps that fill in like a test protocol as the work goes on.

pub mod standing;

mod alignment;
mod bench_limits;
mod board;
mod board_places;
mod calibration_from_set_points;
mod captures;
mod cautions;
mod compare;
mod criteria_form;
mod emissivity_lesson;
mod emissivity_picture;
mod findings;
mod finish_form;
mod good_boards;
mod handover;
mod hard_to_judge;
mod input_uncertainty;
mod kelvin_fields;
mod landmarks;
mod part_limits;
mod part_powers;
mod placement_unit;
mod probes;
mod procedures;
mod quantity_answer;
mod quantity_form;
mod recording;
mod regions;
mod repair;
mod step_frame;
mod surface;
mod twins;
mod unit_list;

pub use captures::TAKES;
use leptos::prelude::*;

use crate::store::Store;
use standing::{Standing, standing};
use step_frame::StepFrame;

/// One step of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Step {
    /// Which board, and how it is run.
    Board,
    /// Which pictures, and what each is for.
    Captures,
    /// What the board is made of.
    Surface,
    /// How unit and board data lie on the baseline.
    Alignment,
    /// What differs.
    Compare,
    /// What contact measurements say of it.
    Probes,
    /// The verdict, and the files to pass on.
    HandOver,
}

impl Step {
    /// All of them, in the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Board,
        Self::Captures,
        Self::Surface,
        Self::Alignment,
        Self::Compare,
        Self::Probes,
        Self::HandOver,
    ];

    /// Its number on the sheet, from 1.
    #[must_use]
    pub const fn number(self) -> usize {
        self as usize + 1
    }

    /// Its heading.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Board => "Board and conditions",
            Self::Captures => "Captures",
            Self::Surface => "Surface",
            Self::Alignment => "Baseline and alignment",
            Self::Compare => "Compare",
            Self::Probes => "Probe list",
            Self::HandOver => "Hand over",
        }
    }

    /// The one after it.
    #[must_use]
    pub fn following(self) -> Option<Self> {
        Self::ALL.get(self.number()).copied()
    }
}

/// Which step is open, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct OpenStep(pub RwSignal<Option<Step>>);

/// The whole sheet.
#[component]
pub fn Sheet() -> impl IntoView {
    let store = Store::expect();
    let standings = Memo::new(move |_| {
        let state = store.comparison().get();
        let (twins, questions) = (store.twins(), store.questions().with(Vec::len));
        store
            .session()
            .with(|session| Step::ALL.map(|step| standing(step, session, &state, &twins, questions)))
    });
    let next = Memo::new(move |_| {
        standings.with(|all| {
            let open = all.iter().position(|standing| matches!(standing, Standing::Lacks(_)));
            open.and_then(|place| Step::ALL.get(place).copied())
        })
    });
    let steps = Step::ALL.map(|step| {
        let standing = Signal::derive(move || {
            standings.with(|all| all.get(step.number() - 1).cloned().unwrap_or_default())
        });
        view! { <StepFrame step=step standing=standing next=next /> }
    });
    view! { <ol class="steps">{steps}</ol> }
}

/// What a step holds when it is open.
fn body(step: Step) -> AnyView {
    match step {
        Step::Board => view! { <board::BoardStep /> }.into_any(),
        Step::Captures => view! { <captures::CapturesStep /> }.into_any(),
        Step::Surface => view! { <surface::SurfaceStep /> }.into_any(),
        Step::Alignment => view! { <alignment::AlignmentStep /> }.into_any(),
        Step::Compare => view! { <compare::CompareStep /> }.into_any(),
        Step::Probes => view! { <probes::ProbesStep /> }.into_any(),
        Step::HandOver => view! { <handover::HandOverStep /> }.into_any(),
    }
}
