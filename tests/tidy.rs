//! The house rules that a machine can check.
