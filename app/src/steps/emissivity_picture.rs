//! A picture that states the emissivity of every pixel, in place of one value for the whole board.

use analysis::session::{Command, Role};
use leptos::prelude::*;

use crate::store::Store;
use crate::widgets::Picker;

/// Chooses among the captures that were set aside.
#[component]
pub fn EmissivityPicture() -> impl IntoView {
    let store = Store::expect();
    let candidates = Memo::new(move |_| {
        store.session().with(|session| {
            let aside = session.with_role(Role::Aside);
            aside.map(|record| (record.hash.clone(), record.file_name.clone())).collect::<Vec<_>>()
        })
    });
    let used = Memo::new(move |_| store.session().with(|session| session.surface.map.clone()));
    let names = Signal::derive(move || {
        let names = candidates.get().into_iter().map(|(_, name)| name);
        std::iter::once("None: the value above".to_owned()).chain(names).collect::<Vec<_>>()
    });
    let chosen = Signal::derive(move || match used.get() {
        None => Some(0),
        Some(used) => candidates.get().iter().position(|(hash, _)| *hash == used).map(|place| place + 1),
    });
    let choose = move |place: usize| {
        let picked = place.checked_sub(1).and_then(|place| candidates.get_untracked().get(place).cloned());
        store.dispatch(Command::UseEmissivityMap { map: picked.map(|(hash, _)| hash), uncertainty: None });
    };
    let nothing = move || candidates.with(Vec::is_empty) && used.with(Option::is_none);
    view! {
        <div hidden=nothing>
            <Picker
                label="Emissivity picture, on the baseline's pixels"
                options=names
                chosen=chosen
                choose=choose
                hint="a picture that is not among the captures"
                testid="emissivity-picture"
            />
            <p class="remark">
                "A capture that was set aside and holds emissivities between 0 and 1. Where it is valid it takes the place of the whole board's value; regions lie above it."
            </p>
        </div>
    }
}
