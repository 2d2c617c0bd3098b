//! The states that the page shows.

use std::sync::Arc;

use analysis::comparison::Comparison;
use analysis::content_hash::ContentHash;

use crate::notice::Notice;

/// How far the worker has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// What it is doing, in a few words.
    pub stage: String,
    /// How much of it is done, 0 to 1.
    pub fraction: f64,
}

impl Progress {
    /// Work of which nothing is done yet.
    #[must_use]
    pub fn beginning(stage: impl Into<String>) -> Self {
        Self { stage: stage.into(), fraction: 0.0 }
    }
}

/// Where the comparison stands.
#[derive(Debug, Clone)]
pub enum ComparisonState {
    /// Something is missing first: the sentence says what.
    NotReady(String),
    /// The first one is being worked out.
    Running(Progress),
    /// It belongs to the session as it is.
    Ready(Arc<Comparison>),
    /// It belongs to an earlier session; the new one is being worked out.
    OutOfDate(Arc<Comparison>, Progress),
    /// It could not be made.
    Failed(Notice),
}

impl ComparisonState {
    /// The latest comparison there is, whether or not it is up to date.
    #[must_use]
    pub fn latest(&self) -> Option<&Arc<Comparison>> {
        match self {
            Self::Ready(comparison) | Self::OutOfDate(comparison, _) => Some(comparison),
            Self::NotReady(_) | Self::Running(_) | Self::Failed(_) => None,
        }
    }

    /// How far the worker has come, while it works.
    #[must_use]
    pub fn progress(&self) -> Option<&Progress> {
        match self {
            Self::Running(progress) | Self::OutOfDate(_, progress) => Some(progress),
            Self::NotReady(_) | Self::Ready(_) | Self::Failed(_) => None,
        }
    }

    /// The state while `progress` is made: what there is stays visible, marked as out of date.
    #[must_use]
    pub fn working(&self, progress: Progress) -> Self {
        match self.latest() {
            Some(comparison) => Self::OutOfDate(Arc::clone(comparison), progress),
            None => Self::Running(progress),
        }
    }
}

/// Two states are equal when they show the same comparison, not merely one with equal numbers.
impl PartialEq for ComparisonState {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::NotReady(a), Self::NotReady(b)) => a == b,
            (Self::Running(a), Self::Running(b)) => a == b,
            (Self::Ready(a), Self::Ready(b)) => Arc::ptr_eq(a, b),
            (Self::OutOfDate(a, p), Self::OutOfDate(b, q)) => Arc::ptr_eq(a, b) && p == q,
            (Self::Failed(a), Self::Failed(b)) => a == b,
            _ => false,
        }
    }
}

/// A capture of which nobody has said what its numbers mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Which capture.
    pub hash: ContentHash,
    /// Its file's name.
    pub file_name: String,
    /// The lowest and highest number in it, as the file holds them.
    pub raw_range: Option<(f32, f32)>,
}

/// A placement file that does not say in which unit its places are.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacementQuestion {
    /// The file.
    pub file_name: String,
    /// How far its parts spread, in the file's numbers: a board of 80 mm is no board of 80 inches.
    pub span: [f64; 2],
}

/// Whether what a person did would survive closing the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SavedState {
    /// Everything is kept in this browser.
    Saved,
    /// Being kept right now.
    Saving,
    /// Another tab of this page keeps its own session; this one is not kept.
    AnotherTab,
    /// This browser keeps nothing (private window, storage full or refused).
    Unavailable,
}
