//! Line drawings on buttons, in the colour of the text beside them.

use leptos::prelude::*;

/// What an icon shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// An arrow bent back.
    Undo,
    /// An arrow bent forward.
    Redo,
    /// Half light, half dark.
    Theme,
    /// Larger.
    Closer,
    /// Smaller.
    Further,
    /// The whole picture.
    Whole,
    /// Away with it.
    Remove,
    /// Upward in an order.
    Up,
    /// Let it run.
    Play,
    /// Hold it.
    Pause,
    /// One back.
    Back,
    /// One on.
    Forward,
}

impl Sign {
    const fn path(self) -> &'static str {
        match self {
            Self::Undo => "M8 5 4 9l4 4M4 9h9a6 6 0 0 1 0 12h-3",
            Self::Redo => "m16 5 4 4-4 4M20 9h-9a6 6 0 0 0 0 12h3",
            Self::Theme => "M12 3a9 9 0 1 0 0 18zM12 3a9 9 0 0 1 0 18M12 7h5M12 11h8M12 15h7",
            Self::Closer => "M12 5v14M5 12h14",
            Self::Further => "M5 12h14",
            Self::Whole => "M4 9V4h5M15 4h5v5M20 15v5h-5M9 20H4v-5",
            Self::Remove => "m6 6 12 12M18 6 6 18",
            Self::Up => "M12 19V5M6 11l6-6 6 6",
            Self::Play => "M7 4.5v15L19 12z",
            Self::Pause => "M8 5v14M16 5v14",
            Self::Back => "m15 5-7 7 7 7",
            Self::Forward => "m9 5 7 7-7 7",
        }
    }
}

/// An icon; the control it stands on carries the words.
#[component]
pub fn Icon(
    /// What it shows.
    sign: Sign,
) -> impl IntoView {
    view! {
        <svg
            viewBox="0 0 24 24"
            fill="none"
            stroke="currentColor"
            stroke-width="1.8"
            stroke-linecap="round"
            stroke-linejoin="round"
            aria-hidden="true"
        >
            <path d=sign.path() />
        </svg>
    }
}
