//! Shared by the test targets.
