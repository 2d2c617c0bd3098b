//! The worker's side: one recording that is open, and what is asked of it.
//!
//! What runs over many frames is done in small portions, so that a person can go on looking at frames
//! meanwhile, and can stop it.

use std::collections::VecDeque;
use std::io::{Read, Seek};

use analysis::capture::CaptureMetadata;
use analysis::frame::{EmissivityFraction, Frame};
use analysis::session::Session;

use super::protocol::{Ask, AskId, Outcome, PictureKind, Request, Told, Wanted};
use super::recording::{Failure, Recording};
use super::runs::Run;
use crate::compute::handle::stated_by;
use crate::compute::protocol::{Buffer, Sidecar, numbers};

/// Frames kept corrected, so that going back and playing on need no reading: bytes.
pub const CACHE: usize = 64 << 20;

/// Whatever bytes can be read from and gone about in.
pub trait Stream: Read + Seek {}
impl<T: Read + Seek> Stream for T {}

/// A message to the page with the arrays beside it.
pub type Message = (Told, Vec<Buffer>);

/// Everything the worker remembers.
#[derive(Debug, Default)]
pub struct SequenceBench {
    recording: Option<Recording>,
    runs: VecDeque<(AskId, Run)>,
    /// Frames to have ready before they are asked for.
    ahead: VecDeque<usize>,
}

impl SequenceBench {
    /// Takes a question in, and answers it if it needs no run over frames.
    pub fn take(
        &mut self,
        request: Request,
        mut buffers: Vec<Buffer>,
        streams: Vec<Box<dyn Stream>>,
    ) -> Vec<Message> {
        let Request { id, ask } = request;
        let answer = match ask {
            Ask::Open { names, sidecar } => {
                let mut told = self.stop();
                told.push(done(id, self.open(names, sidecar, streams)));
                return told;
            }
            Ask::Settle { metadata, session } => {
                let mut told = self.stop();
                let settled = self.settle(*metadata, *session, &mut buffers);
                told.push(done(id, settled.map(|()| (Outcome::Settled, Vec::new()))));
                return told;
            }
            Ask::Stop => {
                let mut told = self.stop();
                told.push(done(id, Ok((Outcome::Stopped, Vec::new()))));
                return told;
            }
            Ask::Close => {
                let told = self.stop();
                self.recording = None;
                return told;
            }
            Ask::LetGo => {
                let mut told = self.stop();
                if let Some(recording) = &mut self.recording {
                    recording.let_go();
                }
                told.push(done(id, Ok((Outcome::Held { held: None, problems: Vec::new() }, Vec::new()))));
                return told;
            }
            Ask::Show { wanted, ahead } => {
                self.ahead = ahead.into();
                self.show(wanted)
            }
            over_frames => {
                let Some(recording) = &mut self.recording else { return vec![done(id, Err(nothing_open()))] };
                match Run::begin(over_frames, recording) {
                    Ok(run) => {
                        self.runs.push_back((id, run));
                        return Vec::new();
                    }
                    Err(failure) => Err(failure),
                }
            }
        };
        vec![done(id, answer)]
    }

    /// Whether [`work`](Self::work) has something to do.
    #[must_use]
    pub fn has_work(&self) -> bool {
        let growing = self.recording.as_ref().is_some_and(|recording| !recording.is_complete());
        growing || self.recording.is_some() && !(self.runs.is_empty() && self.ahead.is_empty())
    }

    /// Goes on with what is to be done while `there_is_time`, at least by one frame.
    pub fn work(&mut self, there_is_time: &dyn Fn() -> bool) -> Vec<Message> {
        let Some(recording) = &mut self.recording else { return Vec::new() };
        let mut told = Vec::new();
        if !recording.is_complete() {
            // Runs wait until it is known how far they go.
            told.push(grown(recording));
            return told;
        }
        loop {
            if let Some((id, run)) = self.runs.front_mut() {
                if let Some(ended) = run.step(recording) {
                    told.push(done(*id, ended));
                    self.runs.pop_front();
                }
            } else if let Some(frame) = self.ahead.pop_front() {
                // Whoever asks for it is told why it cannot be read.
                let _ = recording.surface(frame);
            } else {
                break;
            }
            if !there_is_time() {
                break;
            }
        }
        if let Some((id, run)) = self.runs.front() {
            let (done, of) = run.progress();
            told.push((Told::Progress { id: *id, done, of }, Vec::new()));
        }
        told
    }

    fn stop(&mut self) -> Vec<Message> {
        self.ahead.clear();
        self.runs.drain(..).map(|(id, _)| done(id, Ok((Outcome::Stopped, Vec::new())))).collect()
    }

    fn open(
        &mut self,
        names: Vec<String>,
        sidecar: Option<Sidecar>,
        streams: Vec<Box<dyn Stream>>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let has_sidecar = sidecar.is_some();
        let (metadata, mut warnings) = stated_by(sidecar, CaptureMetadata::default());
        let recording = Recording::open(names, streams, metadata)?;
        let complete = recording.is_complete();
        if complete {
            warnings.extend(recording.warnings());
        }
        let (rows, columns) = recording.shape();
        let outcome = Outcome::Opened {
            name: recording.name().to_owned(),
            head: recording.head().cloned(),
            frames: recording.count(),
            complete,
            rows,
            columns,
            raw_range: recording.raw_range(),
            metadata: Box::new(recording.metadata().clone()),
            has_sidecar,
            warnings,
        };
        self.recording = Some(recording);
        Ok((outcome, Vec::new()))
    }

    fn settle(
        &mut self,
        metadata: CaptureMetadata,
        session: Session,
        buffers: &mut Vec<Buffer>,
    ) -> Result<(), Failure> {
        let recording = self.recording.as_mut().ok_or_else(nothing_open)?;
        let (rows, columns) = recording.shape();
        let picture = match buffers.pop() {
            Some(Buffer::Numbers(values)) => {
                Frame::<EmissivityFraction>::from_rows(rows, columns, values).ok()
            }
            _ => None,
        };
        recording.settle(metadata, session, picture);
        Ok(())
    }

    fn show(&mut self, wanted: Wanted) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let recording = self.recording.as_mut().ok_or_else(nothing_open)?;
        let (kind, buffer) = match wanted {
            Wanted::Frame(frame) => {
                let surface = recording.surface(frame)?;
                (PictureKind::Frame, Buffer::Numbers(surface.as_slice().to_vec()))
            }
            Wanted::Difference { frame, less } => {
                (PictureKind::Difference, numbers(recording.difference(frame, less)?))
            }
            Wanted::Sudden { frame, before } => {
                (PictureKind::Sudden, numbers(recording.sudden_change(frame, before)?))
            }
        };
        let (rows, columns) = recording.shape();
        let pictures = vec![kind];
        Ok((Outcome::Pictures { rows, columns, pictures, problems: Vec::new() }, vec![buffer]))
    }
}

fn done(id: AskId, ended: Result<(Outcome, Vec<Buffer>), Failure>) -> Message {
    let (outcome, buffers) = ended.unwrap_or_else(|Failure { what, hint }| {
        (Outcome::Failed { what, hint: hint.to_owned() }, Vec::new())
    });
    (Told::Done { id, outcome: Box::new(outcome) }, buffers)
}

/// Some more frames of a recording that is being found out.
fn grown(recording: &mut Recording) -> Message {
    let trouble = recording.find_more();
    let complete = recording.is_complete();
    let mut warnings: Vec<String> = trouble.into_iter().collect();
    if complete {
        warnings.extend(recording.warnings());
    }
    (Told::Grown { frames: recording.count(), complete, warnings }, Vec::new())
}

fn nothing_open() -> Failure {
    Failure { what: "No recording is open.".to_owned(), hint: "Choose its file again." }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    use super::super::protocol::Reading;
    use crate::compute::protocol::picture;
    use analysis::frame::SurfaceKelvin;

    /// Greymaps of two by two pixels one after the other; the frames' numbers are 10 000 and 1000 more each.
    fn greymaps(frames: u16) -> Vec<u8> {
        (0..frames)
            .flat_map(|frame| {
                let mut bytes = b"P5\n2 2\n65535\n".to_vec();
                bytes.extend([10_000 + 1000 * frame; 4].iter().flat_map(|number| number.to_be_bytes()));
                bytes
            })
            .collect()
    }

    fn ask(bench: &mut SequenceBench, ask: Ask, streams: Vec<Box<dyn Stream>>) -> (Outcome, Vec<Buffer>) {
        let mut told = bench.take(Request { id: 1, ask }, Vec::new(), streams);
        while bench.has_work() {
            told.extend(bench.work(&|| false));
        }
        let done = told.into_iter().rev().find_map(|(told, buffers)| match told {
            Told::Done { outcome, .. } => Some((*outcome, buffers)),
            _ => None,
        });
        done.expect("every question is answered")
    }

    fn opened(frames: u16) -> SequenceBench {
        let mut bench = SequenceBench::default();
        let text = r#"{"boardglow_sidecar": 1, "quantity": "temperature", "unit": "degC", "scale": 0.001,
            "offset": 20, "frame_interval_s": 0.5}"#;
        let sidecar = Sidecar { file_name: "run.json".to_owned(), text: text.to_owned() };
        let open = Ask::Open { names: vec!["run.pgm".to_owned()], sidecar: Some(sidecar) };
        let stream: Box<dyn Stream> = Box::new(Cursor::new(greymaps(frames)));
        let (outcome, _) = ask(&mut bench, open, vec![stream]);
        let Outcome::Opened { frames: found, warnings, metadata, .. } = outcome else {
            panic!("not opened: {outcome:?}");
        };
        assert_eq!((found, warnings.len()), (usize::from(frames), 0));
        // An emissivity of 1 and the clear path of a new session leave the apparent temperature as it is.
        let mut session = Session::default();
        session.surface.whole.emissivity = analysis::units::Emissivity::new(1.0).unwrap();
        let settle = Ask::Settle { metadata, session: Box::new(session) };
        assert_eq!(ask(&mut bench, settle, vec![]).0, Outcome::Settled);
        bench
    }

    fn first_pixel(buffer: Buffer) -> f32 {
        picture::<SurfaceKelvin>(&mut [buffer], 0, 2, 2).unwrap().at(0, 0).unwrap()
    }

    #[test]
    fn a_frame_a_difference_and_the_hold_of_a_span_are_what_the_numbers_say() {
        let mut bench = opened(8);
        // 10 000 · 0.001 + 20 = 30 °C for the first frame, 1 K more each.
        let show = |wanted| Ask::Show { wanted, ahead: vec![4, 5] };
        let (_, mut frame) = ask(&mut bench, show(Wanted::Frame(3)), vec![]);
        assert!((first_pixel(frame.remove(0)) - 306.15).abs() < 0.02);
        let (_, mut difference) = ask(&mut bench, show(Wanted::Difference { frame: 6, less: 2 }), vec![]);
        assert!((first_pixel(difference.remove(0)) - 4.0).abs() < 0.02);
        // Less the mean of the three before, which is that of the middle one; the first frame has none before it.
        let (_, mut sudden) = ask(&mut bench, show(Wanted::Sudden { frame: 6, before: 3 }), vec![]);
        assert!((first_pixel(sudden.remove(0)) - 2.0).abs() < 0.02);
        let (outcome, _) = ask(&mut bench, show(Wanted::Sudden { frame: 0, before: 3 }), vec![]);
        assert!(matches!(outcome, Outcome::Failed { .. }), "{outcome:?}");
        let (outcome, mut pictures) = ask(&mut bench, Ask::Summarize { span: 1..4 }, vec![]);
        assert!(
            matches!(outcome, Outcome::Pictures { ref pictures, .. } if pictures.len() == 3),
            "{outcome:?}"
        );
        let means: Vec<f32> = pictures.drain(..).map(first_pixel).collect();
        for (found, expected) in means.into_iter().zip([305.15, 304.15, 306.15]) {
            assert!((found - expected).abs() < 0.02, "{found} for {expected}");
        }
    }

    #[test]
    fn followed_places_arrive_for_every_frame_and_are_there_for_a_fit() {
        let mut bench = opened(20);
        let (outcome, buffers) = ask(&mut bench, Ask::Follow { span: 0..20 }, vec![]);
        let Outcome::Followed { names, .. } = outcome else { panic!("not followed: {outcome:?}") };
        assert_eq!(names, ["Picture"]);
        // Three values, their uncertainties, and where the hottest pixel is.
        assert_eq!(buffers.len(), 8);
        let Buffer::Numbers(doubts) = &buffers[3] else { panic!("no numbers") };
        assert!(doubts.len() == 20 && doubts.iter().all(|doubt| (0.1..3.0).contains(doubt)), "{doubts:?}");
        let fits = Ask::FitWarmUps { series: vec![(0, Reading::Mean)], span: 0..10 };
        let (outcome, _) = ask(&mut bench, fits, vec![]);
        // Ten samples are too few, and that is said.
        let Outcome::FittedWarmUps { fits } = outcome else { panic!("not fitted: {outcome:?}") };
        assert!(fits[0].as_ref().is_err_and(|why| why.contains("10 valid samples")), "{fits:?}");
    }

    #[test]
    fn a_pulled_frame_is_a_capture_with_the_numbers_of_its_file() {
        let mut bench = opened(5);
        let (outcome, buffers) = ask(&mut bench, Ask::Pull { span: 2..3 }, vec![]);
        let Outcome::Pulled { file_name, metadata, .. } = outcome else { panic!("not pulled: {outcome:?}") };
        assert_eq!(file_name, "run-frame-3.tiff");
        assert!(metadata.frame_times.is_none() && metadata.notes.contains("frame 3, at 1.0 s"));
        let Some(Buffer::Bytes(bytes)) = buffers.first() else { panic!("no bytes") };
        let read = analysis::capture::read_capture(&file_name, bytes, &metadata).unwrap();
        assert_eq!(read.pixels.at(1, 1), Some(12_000.0));
    }

    /// Greymaps of a board with warm parts that moves to the right by `step` pixels a frame.
    fn moving_board(frames: usize, step: f64) -> Vec<u8> {
        let inside = |away: f64, half: f64| 1.0 / (1.0 + ((away.abs() - half) * 1.2).exp());
        let parts = [(60.0, 40.0, 16.0), (120.0, 70.0, 25.0), (170.0, 50.0, 9.0), (50.0, 110.0, 12.0)];
        let picture = |frame: usize| {
            let numbers = (0..160 * 220).flat_map(move |index| {
                let (x, y) = (f64::from(index % 220) - step * frame as f64, f64::from(index / 220));
                let warm = parts.iter().map(|(px, py, k)| k * inside(x - px, 11.0) * inside(y - py, 7.0));
                ((10_000.0 + 1000.0 * warm.sum::<f64>()) as u16).to_be_bytes()
            });
            b"P5\n220 160\n65535\n".iter().copied().chain(numbers).collect::<Vec<u8>>()
        };
        (0..frames).flat_map(picture).collect()
    }

    #[test]
    fn a_board_that_moves_is_held_still_and_let_go_again() {
        let mut bench = SequenceBench::default();
        let text = r#"{"boardglow_sidecar": 1, "quantity": "temperature", "unit": "degC", "scale": 0.001,
            "offset": 20, "frame_interval_s": 0.5}"#;
        let sidecar = Sidecar { file_name: "run.json".to_owned(), text: text.to_owned() };
        let open = Ask::Open { names: vec!["run.pgm".to_owned()], sidecar: Some(sidecar) };
        let (outcome, _) = ask(&mut bench, open, vec![Box::new(Cursor::new(moving_board(6, 0.8)))]);
        assert!(matches!(outcome, Outcome::Opened { frames: 6, .. }), "{outcome:?}");
        let changed = |bench: &mut SequenceBench| {
            let wanted = Wanted::Difference { frame: 5, less: 0 };
            let (_, mut buffers) = ask(bench, Ask::Show { wanted, ahead: vec![] }, vec![]);
            let Buffer::Numbers(values) = buffers.remove(0) else { panic!("no numbers") };
            values
                .iter()
                .filter(|change| !change.is_nan())
                .fold(0.0_f32, |most, change| most.max(change.abs()))
        };
        let moved = changed(&mut bench);
        let (outcome, _) = ask(&mut bench, Ask::HoldStill { reference: 0 }, vec![]);
        let Outcome::Held { held: Some(held), .. } = outcome else { panic!("not held: {outcome:?}") };
        // Five steps of 0.8 pixels.
        assert!((held.most_px - 4.0).abs() < 0.2 && held.unsure == 0, "{held:?}");
        let still = changed(&mut bench);
        assert!(still < 0.1 * moved, "{still} K of {moved} K");
        let (outcome, _) = ask(&mut bench, Ask::LetGo, vec![]);
        assert!(matches!(outcome, Outcome::Held { held: None, .. }), "{outcome:?}");
        assert!((changed(&mut bench) - moved).abs() < 1e-3);
    }

    #[test]
    fn what_cannot_be_read_is_said_and_the_rest_goes_on() {
        let mut bench = SequenceBench::default();
        let mut bytes = greymaps(4);
        bytes.truncate(bytes.len() - 3);
        let open = Ask::Open { names: vec!["cut.pgm".to_owned()], sidecar: None };
        ask(&mut bench, open, vec![Box::new(Cursor::new(bytes))]);
        let (outcome, _) = ask(&mut bench, Ask::Follow { span: 0..4 }, vec![]);
        assert!(
            matches!(&outcome, Outcome::Failed { what, .. } if what.contains("frame interval")),
            "{outcome:?}"
        );
        let (outcome, _) = ask(&mut bench, Ask::Pull { span: 0..4 }, vec![]);
        assert!(
            matches!(&outcome, Outcome::Pulled { problems, .. } if problems[0].starts_with("frame 4: ")),
            "{outcome:?}"
        );
    }

    #[test]
    fn a_file_that_is_no_recording_is_named() {
        let open = Ask::Open { names: vec!["notes.tiff".to_owned()], sidecar: None };
        let stream: Box<dyn Stream> = Box::new(Cursor::new(b"PK\x03\x04".to_vec()));
        let (outcome, _) = ask(&mut SequenceBench::default(), open, vec![stream]);
        assert!(
            matches!(&outcome, Outcome::Failed { what, .. } if what.contains("notes.tiff")),
            "{outcome:?}"
        );
    }

    #[test]
    fn a_stopped_run_answers_that_it_was_stopped() {
        let mut bench = opened(5);
        let follow = Request { id: 7, ask: Ask::Follow { span: 0..5 } };
        assert!(bench.take(follow, Vec::new(), Vec::new()).is_empty());
        let told = bench.take(Request { id: 8, ask: Ask::Stop }, Vec::new(), Vec::new());
        let stopped = told
            .iter()
            .any(|(told, _)| matches!(told, Told::Done { id: 7, outcome } if **outcome == Outcome::Stopped));
        assert!(stopped && !bench.has_work());
    }
}
