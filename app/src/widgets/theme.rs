//! Light, dark, or as the system has it.

use leptos::prelude::*;

use super::{Icon, Sign};

/// How the page is lit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Theme {
    System,
    Light,
    Dark,
}

impl Theme {
    const fn following(self) -> Self {
        match self {
            Self::System => Self::Light,
            Self::Light => Self::Dark,
            Self::Dark => Self::System,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::System => "as the system",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

/// Steps through the three.
#[component]
pub fn ThemeSwitch() -> impl IntoView {
    let theme = RwSignal::new(Theme::System);
    Effect::new(move || {
        let Some(root) = document().document_element() else { return };
        // The attribute is one of our own; a page without it follows the system.
        let _ = match theme.get() {
            Theme::System => root.remove_attribute("data-theme"),
            Theme::Light => root.set_attribute("data-theme", "light"),
            Theme::Dark => root.set_attribute("data-theme", "dark"),
        };
    });
    let label = move || format!("Light or dark: {}", theme.get().name());
    view! {
        <button
            aria-label=label
            title=label
            data-testid="theme"
            on:click=move |_| theme.update(|theme| *theme = theme.following())
        >
            <Icon sign=Sign::Theme />
        </button>
    }
}
