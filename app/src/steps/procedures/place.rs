//! The part or place that a procedure is carried out at, so that two records of one kind are told apart.

use leptos::prelude::*;

use crate::stage::bodies::Bodies;
use crate::stage::look::Look;
use crate::widgets::TextField;

/// What is written in the field: the part under the cross-hair until something is typed.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    typed: RwSignal<Option<String>>,
    part: Memo<Option<String>>,
}

impl Place {
    /// Of a procedure that measures one place of the board.
    #[must_use]
    pub fn of_a_part() -> Self {
        let (look, bodies) = (expect_context::<Look>(), expect_context::<Bodies>());
        let part = Memo::new(move |_| look.cursor.get().and_then(|cursor| bodies.part_at(cursor.at)));
        Self { typed: RwSignal::new(None), part }
    }

    /// Of a procedure that measures what surrounds the whole board.
    #[must_use]
    pub fn of_the_bench() -> Self {
        Self { typed: RwSignal::new(None), part: Memo::new(|_| None) }
    }

    /// What to keep with the record; empty where nothing is known. Reactive.
    #[must_use]
    pub fn words(self) -> String {
        self.typed.get().or_else(|| self.part.get()).unwrap_or_default()
    }

    /// Whether the person typed it. Reactive.
    #[must_use]
    pub fn is_typed(self) -> bool {
        self.typed.with(Option::is_some)
    }
}

/// The field for it.
#[component]
pub fn PlaceField(
    /// What is written in it.
    place: Place,
    /// Stable name for the browser tests.
    testid: &'static str,
) -> impl IntoView {
    view! {
        <div class="fields">
            <TextField
                label="Part or place"
                value=Signal::derive(move || place.words())
                commit=move |typed: String| place.typed.set(Some(typed.trim().to_owned()))
                hint="kept with the record"
                wide=true
                testid=format!("{testid}-place")
            />
        </div>
    }
}
