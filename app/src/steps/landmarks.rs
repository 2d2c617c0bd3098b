//! Places marked in both pictures, for an alignment that does not find itself.

use analysis::registration::{LandmarkPair, LandmarkUse};
use analysis::session::Command;
use leptos::prelude::*;

use crate::stage::look::{Look, Tool};
use crate::store::Store;
use crate::widgets::{Choice, Icon, Sign};
use crate::wording;

const USES: [(LandmarkUse, &str); 2] =
    [(LandmarkUse::Start, "Start the fit from them"), (LandmarkUse::Override, "Go by them alone")];

/// The pairs and what they are for.
#[component]
pub fn Landmarks() -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let pairs = Memo::new(move |_| store.session().with(|session| session.landmarks.clone()));
    let landmark_use = Memo::new(move |_| store.session().with(|session| session.landmark_use));
    let set = move |landmarks: Vec<LandmarkPair>, landmark_use: LandmarkUse| {
        store.dispatch(Command::SetLandmarks { landmarks, landmark_use });
    };
    let remove = move |index: usize| {
        let mut landmarks = pairs.get_untracked();
        if index < landmarks.len() {
            landmarks.remove(index);
        }
        set(landmarks, landmark_use.get_untracked());
    };
    let items = move || {
        let item = |(index, pair): (usize, LandmarkPair)| {
            let place = |x: f64, y: f64| format!("{}, {}", wording::number(x, 0), wording::number(y, 0));
            let words = format!(
                "L{}: baseline {} px, unit {} px",
                index + 1,
                place(pair.baseline.x, pair.baseline.y),
                place(pair.unit.x, pair.unit.y)
            );
            view! {
                <li>
                    <span>{words}</span>
                    <button
                        class="quiet"
                        aria-label=format!("Take away landmark {}", index + 1)
                        on:click=move |_| remove(index)
                    >
                        <Icon sign=Sign::Remove />
                    </button>
                </li>
            }
        };
        pairs.get().into_iter().enumerate().map(item).collect::<Vec<_>>()
    };
    view! {
        <details class="block" data-testid="landmarks">
            <summary>"Landmarks, if the alignment needs help"</summary>
            <ul class="items">{items}</ul>
            <div class="row">
                <button
                    data-testid="tool-landmark"
                    aria-pressed=move || (look.tool.get() == Tool::Landmark).to_string()
                    on:click=move |_| look.take(Tool::Landmark)
                >
                    {Tool::Landmark.name()}
                </button>
            </div>
            <Choice
                legend="What they are for"
                quiet=true
                options=USES.to_vec()
                chosen=Signal::derive(move || Some(landmark_use.get()))
                choose=move |landmark_use| set(pairs.get_untracked(), landmark_use)
            />
        </details>
    }
}
