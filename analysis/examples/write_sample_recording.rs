//! Writes `sample-captures/warm-up.tiff`: an invented recording of an invented board, small enough to ship.
//!
//! ```sh
//! cargo run --release --package analysis --features synthetic --example write_sample_recording
//! ```
//!
//! An argument names another folder. The same source writes the same recording.

use std::error::Error;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use analysis::capture::write_sidecar;
use analysis::synthetic::warm_up_recording;
use tiff::encoder::{Compression, DeflateLevel, Predictor, TiffEncoder, colortype};

const NAME: &str = "warm-up.tiff";

fn main() -> Result<(), Box<dyn Error>> {
    let default = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let folder = std::env::args_os().nth(1).map_or(default, PathBuf::from);
    let recording = warm_up_recording()?;
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file)?
        .with_compression(Compression::Deflate(DeflateLevel::Best))
        .with_predictor(Predictor::Horizontal);
    for frame in &recording.frames {
        let (rows, columns) = frame.shape();
        let counts: Vec<u16> = frame.as_slice().iter().map(|&count| count as u16).collect();
        encoder.write_image::<colortype::Gray16>(u32::try_from(columns)?, u32::try_from(rows)?, &counts)?;
    }
    fs::write(folder.join(NAME), file.into_inner())?;
    fs::write(folder.join(format!("{NAME}.json")), write_sidecar(&recording.metadata)? + "\n")?;
    Ok(())
}
