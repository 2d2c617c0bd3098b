//! Light, dark, or as the system has it.

use leptos::prelude::*;

use super::{Icon, Sign};
use crate::platform::preference;

/// The name that the choice is kept under.
const PREFERENCE: &str = "boardglow-theme";

/// How the page is lit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Theme {
    System,
    Light,
    Dark,
}

impl Theme {
    /// The next one: from the system's own first to what is seen to differ from it.
    fn following(self) -> Self {
        match (self, system_is_dark()) {
            (Self::System, true) | (Self::Dark, false) => Self::Light,
            (Self::System, false) | (Self::Light, true) => Self::Dark,
            (Self::Light, false) | (Self::Dark, true) => Self::System,
        }
    }

    const ALL: [Self; 3] = [Self::System, Self::Light, Self::Dark];

    /// The one chosen on the last visit.
    fn kept() -> Self {
        let kept = preference::kept(PREFERENCE);
        Self::ALL.into_iter().find(|theme| kept.as_deref() == Some(theme.name())).unwrap_or(Self::System)
    }

    const fn name(self) -> &'static str {
        match self {
            Self::System => "as the system",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

fn system_is_dark() -> bool {
    let query = window().match_media("(prefers-color-scheme: dark)").ok().flatten();
    query.is_some_and(|query| query.matches())
}

/// The theme chosen, provided as a context.
#[derive(Debug, Clone, Copy)]
struct ThemeChoice(RwSignal<Theme>);

/// Lights the page as it was on the last visit, and as the switch says from then on.
pub fn provide_theme() {
    let theme = RwSignal::new(Theme::kept());
    provide_context(ThemeChoice(theme));
    Effect::new(move || {
        let Some(root) = document().document_element() else { return };
        // The attribute is one of our own; a page without it follows the system.
        let _ = match theme.get() {
            Theme::System => root.remove_attribute("data-theme"),
            Theme::Light => root.set_attribute("data-theme", "light"),
            Theme::Dark => root.set_attribute("data-theme", "dark"),
        };
    });
}

/// Steps through the three.
#[component]
pub fn ThemeSwitch() -> impl IntoView {
    let ThemeChoice(theme) = expect_context();
    let choose = move |_| {
        theme.update(|theme| *theme = theme.following());
        preference::keep(PREFERENCE, theme.get_untracked().name());
    };
    let label = move || format!("Light or dark: {}", theme.get().name());
    view! {
        <button
            aria-label=label
            title=label
            data-testid="theme"
            on:click=choose
        >
            <Icon sign=Sign::Theme />
        </button>
    }
}
