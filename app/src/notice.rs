//! What the page tells a person when something did not go as asked: what happened, and what to do.

/// How much a notice matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gravity {
    /// Done as asked; worth knowing.
    Information,
    /// Done, but look at it.
    Warning,
    /// Not done.
    Trouble,
}

/// One thing to tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Names this notice for as long as the page lives.
    pub id: u32,
    /// How much it matters.
    pub gravity: Gravity,
    /// What happened, as a sentence that names the file or place.
    pub what: String,
    /// What to do about it; empty when nothing need be done.
    pub hint: String,
    /// The cause in the words of the code that met it; empty when `what` says it all.
    pub detail: String,
}

impl Notice {
    /// A notice; the store gives it its `id`.
    #[must_use]
    pub fn new(gravity: Gravity, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { id: 0, gravity, what: what.into(), hint: hint.into(), detail: String::new() }
    }

    /// Something that was not done.
    #[must_use]
    pub fn trouble(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Gravity::Trouble, what, hint)
    }

    /// Something that was done, but wants a look.
    #[must_use]
    pub fn warning(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Gravity::Warning, what, hint)
    }

    /// Something worth knowing.
    #[must_use]
    pub fn information(what: impl Into<String>) -> Self {
        Self::new(Gravity::Information, what, "")
    }

    /// The same with its cause.
    #[must_use]
    pub fn because(mut self, detail: impl Into<String>) -> Self {
        self.detail = detail.into();
        self
    }
}
