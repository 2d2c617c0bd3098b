//! Captures: pictures from an infrared camera in open formats, with what a person knows of them.
//!
//! Readers yield raw numbers and metadata and apply no physics; [`apparent`](apparent()) then makes
//! apparent temperature of them. What the numbers mean is never guessed: a capture whose metadata lacks
//! its quantity or scale stays raw until it is told.

pub mod apparent;
pub mod frame_times;
pub mod invalid_pixels;
pub mod isolated_pixels;
mod matrix_csv;
pub mod meaning;
pub mod metadata;
pub mod pages;
pub(crate) mod pgm;
pub mod pixels;
pub mod read_error;
pub mod read_limits;
pub mod sidecar;
pub mod tiff_file;

pub use apparent::{NotMeaningful, apparent, apparent_with_table};
pub use frame_times::{BenchEvent, FrameTimes};
pub use invalid_pixels::mask_invalid;
pub use isolated_pixels::set_aside_isolated;
pub use meaning::{Question, complete_meaning, missing_meaning};
pub use metadata::{
    BoardIdentity, CaptureMetadata, CornerMark, PageChoice, Quantity, TestConditions, readable_time,
};
pub use pages::{Decoded, SampleKind};
pub use pixels::{read_capture, read_pixels};
pub use read_error::{ReadError, ReadWarning};
pub use sidecar::{parse_sidecar, sidecar_names, write_sidecar};
pub use tiff_file::{WriteError, encode_tiff, encode_tiff_u16};
