//! One capture with the sidecar found beside it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use analysis::capture::sidecar::{parse_sidecar, sidecar_names};
use analysis::capture::{CaptureMetadata, complete_meaning, mask_invalid, missing_meaning, read_capture};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, RawNumber};
use analysis::session::{CaptureRecord, Role};

use crate::bad_input::{BadInput, read_bytes, read_text};
use crate::tell;

/// A capture that is ready for a session.
pub(crate) struct CaptureFile {
    pub(crate) record: CaptureRecord,
    pub(crate) bytes: Vec<u8>,
    pub(crate) pixels: Arc<Frame<RawNumber>>,
}

/// Reads a capture and what is said of it. Oddities are told; an open question is an error.
pub(crate) fn read_capture_file(path: &Path, role: Role) -> Result<CaptureFile, BadInput> {
    let shown = path.display().to_string();
    let (mut metadata, sidecar) = stated_beside(path)?;
    let bytes = read_bytes(path)?;
    let decoded = read_capture(&shown, &bytes, &metadata)?;
    for warning in &decoded.warnings {
        tell(&format!("{shown}: note: {warning}"));
    }
    complete_meaning(&mut metadata, decoded.samples);
    if let Some(question) = missing_meaning(&metadata) {
        return Err(BadInput::Unstated { path: path.to_owned(), question, sidecar });
    }
    let pixels = Arc::new(mask_invalid(decoded.pixels, &metadata));
    let record = CaptureRecord { hash: ContentHash::of(&bytes), file_name: file_name(path), role, metadata };
    Ok(CaptureFile { record, bytes, pixels })
}

/// What is said beside a file, and the name of the sidecar to say it in.
pub(crate) fn stated_beside(path: &Path) -> Result<(CaptureMetadata, String), BadInput> {
    let sidecars = sidecar_names(&path.display().to_string());
    let metadata = match sidecars.iter().find(|name| Path::new(name).is_file()) {
        Some(name) => read_sidecar(name)?,
        None => CaptureMetadata::default(),
    };
    let [sidecar, _] = sidecars;
    Ok((metadata, sidecar))
}

fn read_sidecar(name: &str) -> Result<CaptureMetadata, BadInput> {
    let (metadata, warnings) = parse_sidecar(name, &read_text(&PathBuf::from(name))?)?;
    for warning in warnings {
        tell(&format!("{name}: note: {warning}"));
    }
    Ok(metadata)
}

/// The file's own name, without its folder.
pub(crate) fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}
