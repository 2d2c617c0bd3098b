//! Filled by the visible part.
