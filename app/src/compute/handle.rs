//! The worker's side: a bench with the captures it was given, and one function that does a job.

use std::collections::BTreeMap;
use std::sync::Arc;

use analysis::capture::{self, CaptureMetadata, PageChoice, complete_meaning, parse_sidecar, read_capture};
use analysis::comparison::{CannotCompare, Comparison, Shelf};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, RawNumber};
use analysis::radiometry::Band;
use analysis::session::Session;

use super::documents;
use super::kept_steps::KeptSteps;
use super::protocol::{Buffer, Job, Outcome, Sidecar, bytes, numbers, pack_comparison};

/// Tells how far a job has come: what it is doing, and how much is done, 0 to 1.
pub type Report<'a> = dyn FnMut(&str, f64) + 'a;

/// A capture as the worker keeps it.
#[derive(Debug)]
pub(super) struct Kept {
    pub(super) file_name: String,
    pub(super) bytes: Vec<u8>,
    pub(super) pixels: Arc<Frame<RawNumber>>,
    read_with: ReadWith,
}

/// What of a capture's metadata decides how its file is read.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ReadWith {
    page: PageChoice,
    saturated_at: Option<f64>,
}

impl From<&CaptureMetadata> for ReadWith {
    fn from(metadata: &CaptureMetadata) -> Self {
        Self { page: metadata.page, saturated_at: metadata.saturated_at }
    }
}

/// Everything the worker remembers between jobs.
#[derive(Debug, Default)]
pub struct Workbench {
    pub(super) captures: BTreeMap<ContentHash, Kept>,
    pub(super) steps: KeptSteps,
}

/// Why a job was not done, for the person.
#[derive(Debug)]
pub(super) struct Failure {
    what: String,
    hint: String,
}

impl Failure {
    pub(super) fn new(what: impl std::fmt::Display, hint: &str) -> Self {
        Self { what: what.to_string(), hint: hint.to_owned() }
    }
}

impl Workbench {
    /// Does a job and yields its outcome with the arrays beside it.
    pub fn handle(
        &mut self,
        job: Job,
        mut buffers: Vec<Buffer>,
        report: &mut Report<'_>,
    ) -> (Outcome, Vec<Buffer>) {
        let done = match job {
            Job::Decode { file_name, sidecar, metadata } => {
                bytes(&mut buffers, 0).map_err(|error| Failure::new(error, "")).and_then(|bytes| {
                    report("Reading captures", 0.0);
                    self.decode(file_name, sidecar, metadata.map(|boxed| *boxed), bytes)
                })
            }
            Job::Apparent { hash, metadata, band } => self.apparent(hash, &metadata, band),
            Job::EmissivityPicture { hash } => self.emissivity_picture(hash),
            Job::Compare { session } => match self.compare(&session, report) {
                Ok(comparison) => {
                    let (summary, buffers) = pack_comparison(comparison);
                    Ok((Outcome::Compared { summary: Box::new(summary) }, buffers))
                }
                Err(why) => Ok((Outcome::CannotCompare { why: why.to_string() }, Vec::new())),
            },
            Job::Survey { session, capture } => {
                let shelf = self.shelf();
                Ok(match self.steps.survey(&session, &shelf, &capture, report) {
                    Ok(unit) => (Outcome::Surveyed { unit: Box::new(unit) }, Vec::new()),
                    Err(why) => (Outcome::CannotSurvey { capture, why: why.to_string() }, Vec::new()),
                })
            }
            Job::CheckTwins { session } => {
                let shelf = self.shelf();
                Ok(match self.steps.twins(&session, &shelf, report) {
                    Ok(found) => (Outcome::TwinsChecked { report: Box::new(found) }, Vec::new()),
                    Err(why) => (Outcome::CannotCheckTwins { why: why.to_string() }, Vec::new()),
                })
            }
            Job::StudyRepeats { session, captures, confidence } => {
                self.study_repeats(&session, &captures, confidence, report)
            }
            Job::MapEmissivity { session, entered } => self.map_emissivity(&session, *entered, report),
            Job::Write { document, session, written_at } => {
                self.write(document, &session, &written_at, report)
            }
            Job::ReadResult { file_name } => bytes(&mut buffers, 0)
                .map_err(|error| Failure::new(error, ""))
                .and_then(|bytes| documents::read(file_name, &bytes)),
        };
        done.unwrap_or_else(|Failure { what, hint }| (Outcome::Failed { what, hint }, Vec::new()))
    }

    pub(super) fn decode(
        &mut self,
        file_name: String,
        sidecar: Option<Sidecar>,
        known: Option<CaptureMetadata>,
        bytes: Vec<u8>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let (mut metadata, mut warnings) = stated_by(sidecar, known.unwrap_or_default());
        let decoded = read_capture(&file_name, &bytes, &metadata).map_err(|error| Failure::new(error, ""))?;
        complete_meaning(&mut metadata, decoded.samples);
        warnings.extend(decoded.warnings.iter().map(|warning| format!("{file_name}: {warning}")));
        let hash = ContentHash::of(&bytes);
        let (rows, columns) = decoded.pixels.shape();
        let outcome = Outcome::Decoded {
            hash: hash.clone(),
            file_name: file_name.clone(),
            rows,
            columns,
            raw_range: decoded.pixels.range(),
            warnings,
            metadata: Box::new(metadata.clone()),
        };
        let read_with = ReadWith::from(&metadata);
        self.captures.insert(hash, Kept { file_name, bytes, pixels: Arc::new(decoded.pixels), read_with });
        Ok((outcome, Vec::new()))
    }

    /// Reads a capture again when its metadata now choose other pages or another saturation.
    fn read_again_if_needed(
        &mut self,
        hash: &ContentHash,
        metadata: &CaptureMetadata,
    ) -> Result<(), Failure> {
        let Some(kept) = self.captures.get_mut(hash) else { return Ok(()) };
        let read_with = ReadWith::from(metadata);
        if kept.read_with != read_with {
            let decoded = read_capture(&kept.file_name, &kept.bytes, metadata)
                .map_err(|error| Failure::new(error, "Change what is said of this capture."))?;
            kept.pixels = Arc::new(decoded.pixels);
            kept.read_with = read_with;
        }
        Ok(())
    }

    fn apparent(
        &mut self,
        hash: ContentHash,
        metadata: &CaptureMetadata,
        band: Band,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        self.read_again_if_needed(&hash, metadata)?;
        let kept = self.captures.get(&hash).ok_or_else(|| {
            Failure::new(format!("The pixels of capture {hash} are not loaded."), "Load its file again.")
        })?;
        let frame = capture::apparent(&kept.pixels, metadata, band).map_err(|error| {
            Failure::new(format!("{}: {error}", kept.file_name), "Say what the capture's numbers mean.")
        })?;
        let (rows, columns) = frame.shape();
        Ok((Outcome::Apparent { hash, rows, columns }, vec![numbers(frame)]))
    }

    fn emissivity_picture(&self, hash: ContentHash) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let kept = self.captures.get(&hash).ok_or_else(|| {
            Failure::new("The pixels of the emissivity picture are not loaded.", "Load its file again.")
        })?;
        let frame = analysis::surface::emissivities_of(&kept.pixels);
        let (rows, columns) = frame.shape();
        Ok((Outcome::EmissivityPicture { hash, rows, columns }, vec![numbers(frame)]))
    }

    /// The comparison of a session.
    pub(super) fn compare(
        &mut self,
        session: &Session,
        report: &mut Report<'_>,
    ) -> Result<Comparison, CannotCompare> {
        for record in &session.captures {
            // A capture that cannot be read as now described keeps its former pixels; its own job tells.
            let _ = self.read_again_if_needed(&record.hash, &record.metadata);
        }
        let shelf = self.shelf();
        self.steps.compare(session, &shelf, report)
    }

    pub(super) fn shelf(&self) -> Shelf {
        self.captures.iter().map(|(hash, kept)| (hash.clone(), Arc::clone(&kept.pixels))).collect()
    }
}

/// What a sidecar states, or else what was `known`, and what is odd about it. Pictures are worth having without
/// their sidecar, so a bad one is a warning.
pub(crate) fn stated_by(sidecar: Option<Sidecar>, known: CaptureMetadata) -> (CaptureMetadata, Vec<String>) {
    let Some(sidecar) = sidecar else { return (known, Vec::new()) };
    match parse_sidecar(&sidecar.file_name, &sidecar.text) {
        Ok((stated, odd)) => {
            (stated, odd.iter().map(|warning| format!("{}: {warning}", sidecar.file_name)).collect())
        }
        Err(error) => (known, vec![error.to_string()]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compute::protocol::picture;
    use analysis::frame::ApparentKelvin;

    /// A 16-bit greymap of two rows and two columns.
    fn greymap(numbers: [u16; 4]) -> Vec<u8> {
        let mut bytes = b"P5\n2 2\n65535\n".to_vec();
        bytes.extend(numbers.iter().flat_map(|number| number.to_be_bytes()));
        bytes
    }

    fn sidecar(text: &str) -> Option<Sidecar> {
        Some(Sidecar { file_name: "board.json".to_owned(), text: text.to_owned() })
    }

    fn decode(bench: &mut Workbench, sidecar: Option<Sidecar>, bytes: Vec<u8>) -> Outcome {
        let job = Job::Decode { file_name: "board.pgm".to_owned(), sidecar, metadata: None };
        bench.handle(job, vec![Buffer::Bytes(bytes)], &mut |_, _| {}).0
    }

    #[test]
    fn a_capture_with_its_sidecar_becomes_apparent_temperature() {
        let mut bench = Workbench::default();
        let says = r#"{"boardglow_sidecar": 1, "quantity": "temperature", "unit": "degC", "scale": 0.01, "offset": -100}"#;
        let decoded = decode(&mut bench, sidecar(says), greymap([12_300, 12_400, 12_500, 12_600]));
        let Outcome::Decoded { hash, metadata, rows, columns, raw_range, warnings, .. } = decoded else {
            panic!("not decoded: {decoded:?}");
        };
        assert_eq!((rows, columns, raw_range), (2, 2, Some((12_300.0, 12_600.0))));
        assert!(warnings.is_empty());
        let job = Job::Apparent { hash, metadata, band: Band::default() };
        let (outcome, mut buffers) = bench.handle(job, vec![], &mut |_, _| {});
        assert!(matches!(outcome, Outcome::Apparent { rows: 2, columns: 2, .. }), "{outcome:?}");
        let frame = picture::<ApparentKelvin>(&mut buffers, 0, 2, 2).unwrap();
        // 12 300 · 0.01 − 100 = 23 °C = 296.15 K.
        assert!((frame.at(0, 0).unwrap() - 296.15).abs() < 1e-3);
    }

    #[test]
    fn a_damaged_sidecar_is_told_and_the_capture_is_kept() {
        let decoded = decode(&mut Workbench::default(), sidecar("{ quantity"), greymap([1, 2, 3, 4]));
        let Outcome::Decoded { metadata, warnings, .. } = decoded else { panic!("not decoded: {decoded:?}") };
        assert_eq!(metadata.quantity, None);
        assert!(warnings.iter().any(|warning| warning.contains("board.json")), "{warnings:?}");
    }

    #[test]
    fn a_file_that_is_no_picture_is_named_in_the_failure() {
        let failed = decode(&mut Workbench::default(), None, b"PK\x03\x04 something else".to_vec());
        assert!(matches!(&failed, Outcome::Failed { what, .. } if what.contains("board.pgm")), "{failed:?}");
    }

    #[test]
    fn a_picture_that_was_never_read_is_asked_for_again() {
        let job = Job::Apparent {
            hash: ContentHash::of(b"elsewhere"),
            metadata: Box::default(),
            band: Band::default(),
        };
        let (outcome, _) = Workbench::default().handle(job, vec![], &mut |_, _| {});
        assert!(matches!(outcome, Outcome::Failed { .. }));
    }

    #[test]
    fn a_session_without_captures_says_what_it_lacks() {
        let (outcome, _) =
            Workbench::default().handle(Job::Compare { session: Box::default() }, vec![], &mut |_, _| {});
        assert_eq!(outcome, Outcome::CannotCompare { why: CannotCompare::NoBaseline.to_string() });
    }
}
