//! Controls that know nothing of the session: fields with units, choices, sliders, drop zone, icons.

pub mod chart;
pub mod choice;
pub mod dot_strip;
pub mod drop_zone;
pub mod field;
pub mod icon;
pub mod share_bar;
pub mod slider;
pub mod theme;

pub use choice::{Choice, Picker, Tick};
pub use dot_strip::{Dot, DotStrip};
pub use drop_zone::{DropZone, files_of};
pub use field::{NumberField, TextArea, TextField};
pub use icon::{Icon, Sign};
pub use share_bar::ShareBar;
pub use slider::Slider;
pub use theme::{ThemeSwitch, provide_theme};

use std::sync::atomic::{AtomicUsize, Ordering};

/// An id for an element, different at each call, so that a label finds its control.
#[must_use]
pub fn fresh_id(stem: &str) -> String {
    static LAST: AtomicUsize = AtomicUsize::new(0);
    format!("{stem}-{}", LAST.fetch_add(1, Ordering::Relaxed))
}
