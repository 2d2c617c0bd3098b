//! Captures: pictures from an infrared camera in open formats, with what a person knows of them.
//!
//! Readers yield raw numbers and metadata; no physics is applied here. What the numbers mean is
//! never guessed: a capture whose metadata lacks its quantity or scale stays raw until it is told.

pub mod metadata;

pub use metadata::{BoardIdentity, CaptureMetadata, CornerMark, Quantity, TestConditions};
