//! A recording's places over time, as a table.

use std::fs::File;
use std::io::BufReader;
use std::ops::ControlFlow;
use std::path::Path;

use analysis::capture::{CaptureMetadata, complete_meaning, missing_meaning};
use analysis::frame::{Frame, RawNumber, SurfaceKelvin};
use analysis::recorded_frame::{FrameCorrection, NotCorrectable, PlaceUncertainty, followed_places};
use analysis::sequence::{
    FrameFile, FrameSource, Place, PlaceReader, PlaceSample, TableFrame, TableRegion, Timeline, TrendColumn,
    TrendTable, walk,
};
use analysis::session::{Command, Session};
use analysis::units::TemperatureUnit;

use crate::arguments::SequenceArguments;
use crate::bad_input::BadInput;
use crate::bench::Bench;
use crate::capture_file::stated_beside;
use crate::tell;

/// Follows the whole picture and every part through the recording, and writes the table.
pub(crate) fn follow(arguments: &SequenceArguments) -> Result<(), BadInput> {
    let path = &arguments.recording;
    let shown = path.display().to_string();
    let (mut metadata, sidecar) = stated_beside(path)?;
    let opened = File::open(path).map_err(|source| BadInput::Unreadable { path: path.clone(), source })?;
    let mut file = FrameFile::open(&shown, BufReader::new(opened))?;
    let first = first_readable(&mut file, path)?;
    if let Some(samples) = file.samples() {
        complete_meaning(&mut metadata, samples);
    }
    if let Some(question) = missing_meaning(&metadata) {
        return Err(BadInput::Unstated { path: path.clone(), question, sidecar });
    }
    let timeline = Timeline::new(&metadata, file.count()).map_err(|source| BadInput::Untimed {
        path: path.clone(),
        source,
        sidecar,
    })?;
    let session = session_of(arguments, &metadata)?;
    let cannot = |source| BadInput::Uncorrectable { path: path.clone(), source };
    let correction = FrameCorrection::new(&session, &metadata, &first, None).map_err(cannot)?;
    let mut following = Following::new(&session, &correction, first.shape()).map_err(cannot)?;
    let mut failed = None;
    let problems = walk(&mut file, &timeline, 0..timeline.count(), |frame, time_s, raw| {
        match correction.surface(&raw).and_then(|surface| following.add(frame, time_s, &surface)) {
            Ok(()) => ControlFlow::Continue(()),
            Err(error) => {
                failed = Some(error);
                ControlFlow::Break(())
            }
        }
    });
    if let Some(error) = failed {
        return Err(cannot(error));
    }
    for problem in problems {
        tell(&format!("{shown}: note: {problem}"));
    }
    let text = following.into_table(&timeline).to_csv();
    let text = text.map_err(|source| BadInput::Table { path: arguments.out.clone(), source })?;
    std::fs::write(&arguments.out, text)
        .map_err(|source| BadInput::Unwritable { path: arguments.out.clone(), source })
}

/// The first frame that can be read, from which stuck pixels are known.
fn first_readable(file: &mut FrameFile<BufReader<File>>, path: &Path) -> Result<Frame<RawNumber>, BadInput> {
    let mut problem = None;
    let found = (0..file.count()).find_map(|frame| match file.read(frame) {
        Ok(pixels) => Some(pixels),
        Err(met) => {
            problem.get_or_insert(met);
            None
        }
    });
    found.ok_or_else(|| {
        let what = problem.map_or_else(|| "it holds no frames".to_owned(), |problem| problem.to_string());
        BadInput::NoFrames { path: path.to_owned(), what }
    })
}

fn session_of(arguments: &SequenceArguments, metadata: &CaptureMetadata) -> Result<Session, BadInput> {
    let mut bench = Bench::mirroring(arguments.board.reflected)?;
    let corners = metadata.corners.iter().map(|mark| mark.on_baseline()).collect();
    bench.apply(&arguments.recording, Command::MarkCorners { corners })?;
    bench.place_parts(&arguments.board, "the recording")?;
    Ok(bench.session)
}

/// The places and what they had so far.
struct Following {
    names: Vec<String>,
    reader: PlaceReader,
    doubts: Vec<PlaceUncertainty>,
    rows: Vec<(usize, f64, Vec<Option<PlaceSample>>)>,
}

impl Following {
    fn new(
        session: &Session,
        correction: &FrameCorrection,
        shape: (usize, usize),
    ) -> Result<Self, NotCorrectable> {
        let followed = followed_places(session);
        let places: Vec<Place> = followed.iter().map(|followed| followed.place.clone()).collect();
        let reader = PlaceReader::new(&places, shape);
        let doubts = PlaceUncertainty::of_places(session, correction, &reader)?;
        let names = followed.into_iter().map(|followed| followed.name).collect();
        Ok(Self { names, reader, doubts, rows: Vec::new() })
    }

    fn add(
        &mut self,
        frame: usize,
        time_s: f64,
        surface: &Frame<SurfaceKelvin>,
    ) -> Result<(), NotCorrectable> {
        self.rows.push((frame, time_s, self.reader.read(surface)?));
        Ok(())
    }

    /// A row for every frame that has a time; one that could not be read is empty.
    fn into_table(self, timeline: &Timeline) -> TrendTable {
        let region = |name: String| TableRegion {
            name,
            is_point: false,
            samples: Vec::new(),
            uncertainties_k: Vec::new(),
        };
        let mut table =
            TrendTable::new(TemperatureUnit::Celsius, self.names.into_iter().map(region).collect());
        table.columns =
            vec![TrendColumn::Mean, TrendColumn::Minimum, TrendColumn::Maximum, TrendColumn::Uncertainty];
        let mut rows = self.rows.into_iter().peekable();
        for frame in 0..timeline.count() {
            let read = rows.next_if(|(number, ..)| *number == frame);
            let time_s = timeline.time(frame);
            let samples = read.map(|(.., samples)| samples).unwrap_or_default();
            table.push(TableFrame { frame, time_s, stamp: String::new() }, &samples);
        }
        for (region, doubt) in table.regions.iter_mut().zip(self.doubts) {
            let means = region.samples.iter().map(|sample| sample.map_or(f32::NAN, |sample| sample.mean));
            let found = doubt.of_means(&means.collect::<Vec<f32>>());
            let known = |u: f32| u.is_finite().then_some(f64::from(u));
            region.uncertainties_k = found.into_iter().map(known).collect();
        }
        table
    }
}
