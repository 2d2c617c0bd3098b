//! What runs over the frames of a recording, one frame at a time: following places, summing up, lock-in,
//! warm-up maps, pulling a mean out.

use std::ops::{ControlFlow, Range};

use analysis::capture::{CaptureMetadata, FrameTimes};
use analysis::frame::{Frame, SurfaceKelvin};
use analysis::recorded_frame::{Followed, RawMean, followed_places, pulled_metadata};
use analysis::sequence::{
    FrameProblem, LockIn, PixelWarmUp, PlaceReader, SpanSummary, Timeline, WarmUp, detectable_amplitude,
    fit_warm_up, locate_source, walk,
};

use super::drift_search::DriftSearch;
use super::fit_parcel::{FitParcel, SourceParcel};
use super::protocol::{Ask, Outcome, PictureKind, Reading};
use super::recording::{Failure, Recording};
use super::series::Series;
use crate::compute::protocol::{Buffer, numbers};

/// Problems beyond these are counted, not listed.
const LISTED: usize = 4;
/// With this chance noise alone would make a swing called detectable anywhere in the picture.
const FALSE_ALARM: f64 = 0.01;

type Ended = Result<(Outcome, Vec<Buffer>), Failure>;

/// A run over frames or series.
#[derive(Debug)]
pub(super) enum Run {
    /// Over the frames of a span.
    Frames(Box<Walk>),
    /// Over series that were followed before.
    Fits(Fits),
}

impl Run {
    /// The run that a question needs.
    pub(super) fn begin(ask: Ask, recording: &mut Recording) -> Result<Self, Failure> {
        match ask {
            Ask::Summarize { span } => Ok(Self::walk(recording, span, Taking::Summary(SpanSummary::new()))),
            Ask::Pull { span } => Ok(Self::walk(recording, span, Taking::Mean(RawMean::default()))),
            Ask::Follow { span } => {
                let taking = Following::new(recording, span.clone())?;
                Ok(Self::walk(recording, span, Taking::Places(taking)))
            }
            Ask::LockIn { span, settings } => {
                stated_timeline(recording)?;
                let lock_in = LockIn::new(settings.into()).map_err(failed)?;
                Ok(Self::walk(recording, span, Taking::Swing(lock_in)))
            }
            Ask::MapWarmUp { place, reading, span } => {
                let fit = fitted(recording.series(), place, reading, &span).map_err(failed)?;
                Ok(Self::walk(recording, span, Taking::WarmUp(PixelWarmUp::new(&fit))))
            }
            Ask::HoldStill { reference } => {
                recording.let_go();
                let search = DriftSearch::new(recording, reference)?;
                Ok(Self::walk(recording, 0..recording.count(), Taking::Drift(Box::new(search))))
            }
            Ask::FitWarmUps { series, span } => Ok(Self::Fits(Fits { series, span, done: Vec::new() })),
            _ => Err(Failure { what: "This needs no run over frames.".to_owned(), hint: "" }),
        }
    }

    fn walk(recording: &Recording, span: Range<usize>, taking: Taking) -> Self {
        let span = span.start.min(recording.count())..span.end.min(recording.count());
        let timeline = recording.timeline().or_else(|| order(recording.count()));
        Self::Frames(Box::new(Walk { at: span.start, span, timeline, problems: Vec::new(), taking }))
    }

    /// Goes on by one frame or series; yields the outcome at the end.
    pub(super) fn step(&mut self, recording: &mut Recording) -> Option<Ended> {
        match self {
            Self::Frames(walk) => walk.step(recording),
            Self::Fits(fits) => fits.step(recording),
        }
    }

    /// How much is done, of how much.
    pub(super) fn progress(&self) -> (usize, usize) {
        match self {
            Self::Frames(walk) => (walk.at - walk.span.start, walk.span.len()),
            Self::Fits(fits) => (fits.done.len(), fits.series.len()),
        }
    }
}

/// Frame numbers in place of times, for what asks for no times.
fn order(frames: usize) -> Option<Timeline> {
    let counted =
        CaptureMetadata { frame_times: Some(FrameTimes::Interval(1.0)), ..CaptureMetadata::default() };
    Timeline::new(&counted, frames).ok()
}

fn stated_timeline(recording: &Recording) -> Result<Timeline, Failure> {
    Timeline::new(recording.metadata(), recording.count())
        .map_err(|error| Failure { what: error.to_string(), hint: "Enter it below the picture." })
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure { what: error.to_string(), hint: "" }
}

fn problems_told(problems: &[FrameProblem]) -> Vec<String> {
    let mut told: Vec<String> = problems.iter().take(LISTED).map(ToString::to_string).collect();
    if problems.len() > LISTED {
        told.push(format!("{} more frames were left out", problems.len() - LISTED));
    }
    told
}

/// A run over the frames of a span.
#[derive(Debug)]
pub(super) struct Walk {
    span: Range<usize>,
    at: usize,
    timeline: Option<Timeline>,
    problems: Vec<FrameProblem>,
    taking: Taking,
}

/// What is made of the frames.
#[derive(Debug)]
enum Taking {
    Summary(SpanSummary),
    Mean(RawMean),
    Places(Following),
    Swing(LockIn<SurfaceKelvin>),
    WarmUp(PixelWarmUp<SurfaceKelvin>),
    Drift(Box<DriftSearch>),
}

impl Walk {
    fn step(&mut self, recording: &mut Recording) -> Option<Ended> {
        if self.at < self.span.end {
            if let Err(failure) = self.take_one(recording) {
                return Some(Err(failure));
            }
            self.at += 1;
        }
        if self.at < self.span.end {
            return None;
        }
        let taking = std::mem::replace(&mut self.taking, Taking::Summary(SpanSummary::new()));
        Some(self.finish(taking, recording))
    }

    fn take_one(&mut self, recording: &mut Recording) -> Result<(), Failure> {
        let Some(timeline) = &self.timeline else { return Err(failed("there are no frames")) };
        let mut read = None;
        let met = walk(recording.source(), timeline, self.at..self.at + 1, |_, time_s, pixels| {
            read = Some((time_s, pixels));
            ControlFlow::Continue(())
        });
        self.problems.extend(met);
        let Some((time_s, raw)) = read else { return Ok(()) };
        if let Taking::Mean(mean) = &mut self.taking {
            return mean.add(&raw, recording.metadata(), recording.samples()).map_err(failed);
        }
        if let Taking::Drift(drift) = &mut self.taking {
            drift.add(self.at, &recording.apparent(&raw)?);
            return Ok(());
        }
        let surface = recording.corrected(self.at, &raw)?;
        match &mut self.taking {
            Taking::Mean(_) | Taking::Drift(_) => Ok(()),
            Taking::Summary(summary) => summary.add(&surface).map_err(failed),
            Taking::Places(following) => following.add(self.at - self.span.start, &surface),
            Taking::Swing(lock_in) => lock_in.add(time_s, surface).map_err(failed),
            Taking::WarmUp(maps) => maps.add(time_s, surface).map_err(failed),
        }
    }

    fn finish(&self, taking: Taking, recording: &mut Recording) -> Ended {
        let problems = problems_told(&self.problems);
        let (rows, columns) = recording.shape();
        let nothing =
            || Failure { what: "No frame of this span can be read.".to_owned(), hint: "Mark another span." };
        match taking {
            Taking::Summary(summary) => {
                let found = summary.pictures::<SurfaceKelvin>().ok_or_else(nothing)?;
                let pictures = vec![PictureKind::Mean, PictureKind::Least, PictureKind::Greatest];
                let buffers = vec![numbers(found.mean), numbers(found.least), numbers(found.greatest)];
                Ok((Outcome::Pictures { rows, columns, pictures, problems }, buffers))
            }
            Taking::Mean(mean) => {
                let bytes = mean.into_tiff().ok_or_else(nothing)?.map_err(failed)?;
                let timeline = recording.timeline();
                let name = recording.name();
                let metadata = pulled_metadata(recording.metadata(), timeline.as_ref(), &self.span, name);
                let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
                let frames = match self.span.len() {
                    0 | 1 => format!("frame-{}", self.span.start + 1),
                    _ => format!("frames-{}-{}", self.span.start + 1, self.span.end),
                };
                let outcome = Outcome::Pulled {
                    span: self.span.clone(),
                    file_name: format!("{stem}-{frames}.tiff"),
                    metadata: Box::new(metadata),
                    problems,
                };
                Ok((outcome, vec![Buffer::Bytes(bytes)]))
            }
            Taking::Places(following) => following.finish(recording, self.span.clone(), problems),
            Taking::WarmUp(maps) => {
                let maps = maps.finish().map_err(failed)?;
                let pictures =
                    vec![PictureKind::Steady, PictureKind::SteadyUncertainty, PictureKind::TimeConstant];
                let buffers =
                    vec![numbers(maps.steady), numbers(maps.steady_uncertainty), numbers(maps.time_constant)];
                Ok((Outcome::Pictures { rows, columns, pictures, problems }, buffers))
            }
            Taking::Swing(lock_in) => locked_in(lock_in, (rows, columns), problems),
            Taking::Drift(drift) => Ok((drift.finish(recording, problems), Vec::new())),
        }
    }
}

fn locked_in(
    lock_in: LockIn<SurfaceKelvin>,
    (rows, columns): (usize, usize),
    problems: Vec<String>,
) -> Ended {
    let maps = lock_in.finish().map_err(failed)?;
    let fundamental = maps.harmonics.first().ok_or_else(|| failed("there is no fundamental"))?;
    let noise_floor = fundamental.noise_floor(maps.typical_noise);
    let detectable = detectable_amplitude(noise_floor, rows * columns, FALSE_ALARM);
    let source = locate_source(fundamental, maps.typical_noise);
    let outcome = Outcome::LockedIn {
        rows,
        columns,
        frames: maps.frames,
        harmonics: maps.harmonics.len(),
        typical_noise: maps.typical_noise,
        noise_floor,
        detectable,
        source: source.as_ref().and_then(SourceParcel::of),
        problems,
    };
    // The lag of a pixel that hardly swings is that of its noise.
    let swings = |amplitude: f32| f64::from(amplitude) > detectable;
    let lag = fundamental.lag.as_slice().iter().zip(fundamental.amplitude.as_slice());
    let lag = lag.map(|(&lag, &amplitude)| if swings(amplitude) { lag } else { f32::NAN }).collect();
    Ok((outcome, vec![Buffer::Numbers(fundamental.amplitude.as_slice().to_vec()), Buffer::Numbers(lag)]))
}

/// Places that are being followed.
#[derive(Debug)]
struct Following {
    places: Vec<Followed>,
    reader: PlaceReader,
    series: Series,
    /// Column and row of the hottest pixel.
    hottest: [Vec<f32>; 2],
}

impl Following {
    fn new(recording: &Recording, span: Range<usize>) -> Result<Self, Failure> {
        let timeline = stated_timeline(recording)?;
        let places = followed_places(recording.session());
        let wanted: Vec<_> = places.iter().map(|followed| followed.place.clone()).collect();
        let reader = PlaceReader::new(&wanted, recording.shape());
        let series = Series::empty(&timeline, span, places.len());
        let frames = series.frames();
        Ok(Self { places, reader, series, hottest: [vec![f32::NAN; frames], vec![f32::NAN; frames]] })
    }

    fn add(&mut self, at: usize, surface: &Frame<SurfaceKelvin>) -> Result<(), Failure> {
        for (place, sample) in self.reader.read(surface).map_err(failed)?.into_iter().enumerate() {
            let Some(sample) = sample else { continue };
            self.series.put(place, at, [sample.mean, sample.least, sample.greatest]);
            if place == 0 {
                let (row, column) = sample.greatest_at;
                for (axis, value) in self.hottest.iter_mut().zip([column, row]) {
                    if let Some(slot) = axis.get_mut(at) {
                        *slot = value as f32;
                    }
                }
            }
        }
        Ok(())
    }

    fn finish(mut self, recording: &mut Recording, span: Range<usize>, problems: Vec<String>) -> Ended {
        self.series.doubt(&recording.doubts(&self.reader)?);
        let mut buffers: Vec<Buffer> =
            self.series.columns().map(|column| Buffer::Numbers(column.to_vec())).collect();
        buffers.extend(self.hottest.map(Buffer::Numbers));
        let (names, parts) = self.places.into_iter().map(|place| (place.name, place.is_part)).unzip();
        recording.keep_series(self.series);
        Ok((Outcome::Followed { span, names, parts, problems }, buffers))
    }
}

/// Warm-ups that are being fitted.
#[derive(Debug)]
pub(super) struct Fits {
    series: Vec<(usize, Reading)>,
    span: Range<usize>,
    done: Vec<Result<FitParcel, String>>,
}

impl Fits {
    fn step(&mut self, recording: &Recording) -> Option<Ended> {
        if let Some(&(place, reading)) = self.series.get(self.done.len()) {
            let fit = fitted(recording.series(), place, reading, &self.span);
            self.done.push(fit.map(|fit| FitParcel::from(&fit)));
        }
        let over = self.done.len() >= self.series.len();
        over.then(|| Ok((Outcome::FittedWarmUps { fits: std::mem::take(&mut self.done) }, Vec::new())))
    }
}

fn fitted(
    series: Option<&Series>,
    place: usize,
    reading: Reading,
    span: &Range<usize>,
) -> Result<WarmUp, String> {
    let series = series.ok_or_else(|| "Follow the places over time first.".to_owned())?;
    let (times, values) =
        series.of(place, reading, span).ok_or_else(|| "there is no such place".to_owned())?;
    fit_warm_up(&times, &values).map_err(|error| error.to_string())
}
