//! The first visit, step by step.
