//! Captures: pictures from an infrared camera in open formats, with what a person knows of them.
//!
//! Readers yield raw numbers and metadata and apply no physics; [`apparent`](apparent()) then makes
//! apparent temperature of them. What the numbers mean is never guessed: a capture whose metadata lacks
//! its quantity or scale stays raw until it is told.

pub mod apparent;
pub mod metadata;

pub use apparent::{NotMeaningful, apparent, apparent_with_table};
pub use metadata::{BoardIdentity, CaptureMetadata, CornerMark, Quantity, TestConditions};
