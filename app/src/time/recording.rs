//! A recording that is open in the worker: its frames, what is known of them, and how they are corrected.

use std::io::{Read, Seek, SeekFrom};
use std::sync::Arc;

use analysis::capture::{CaptureMetadata, ReadError, SampleKind, complete_meaning};
use analysis::content_hash::ContentHash;
use analysis::frame::{ApparentKelvin, Difference, EmissivityFraction, Frame, RawNumber, SurfaceKelvin};
use analysis::recorded_frame::{FrameCorrection, NotCorrectable, PlaceUncertainty, frame_difference};
use analysis::registration::ViewDrift;
use analysis::sequence::{
    FrameFile, FrameProblem, FrameSeries, FrameSource, PlaceReader, SpanSummary, Timeline,
};
use analysis::session::Session;

use super::frame_cache::FrameCache;
use super::series::Series;
use super::worker_bench::{CACHE, Stream};

/// This many frames at the beginning may be damaged before a recording counts as unreadable.
const TRIED: usize = 20;
/// So many frames are looked for between two looks at what the page wants.
const FOUND_AT_ONCE: usize = 256;
/// So much of a file names it beside its size: several rows of its first frame, bytes.
const HEAD: u64 = 1 << 16;
/// More pauses than this are counted, not listed.
const LISTED: usize = 3;

/// Why a question was not answered, for the person.
#[derive(Debug)]
pub(super) struct Failure {
    pub(super) what: String,
    pub(super) hint: &'static str,
}

impl From<FrameProblem> for Failure {
    fn from(problem: FrameProblem) -> Self {
        Self { what: problem.to_string(), hint: "Other frames can be looked at all the same." }
    }
}

impl From<NotCorrectable> for Failure {
    fn from(error: NotCorrectable) -> Self {
        let hint = match &error {
            NotCorrectable::Meaning(_) => "Say what the recording's numbers mean.",
            NotCorrectable::Surface(_) | NotCorrectable::Frame(_) => "Look at steps 3 and 4.",
        };
        Self { what: error.to_string(), hint }
    }
}

fn nothing_to_correct_with() -> Failure {
    Failure { what: "The frame could not be corrected.".to_owned(), hint: "" }
}

fn difference_of(
    frame: &Frame<SurfaceKelvin>,
    less: &Frame<SurfaceKelvin>,
) -> Result<Frame<Difference>, Failure> {
    frame_difference(frame, less).map_err(|error| Failure { what: error.to_string(), hint: "" })
}

/// Names the first piece of a file.
fn head_of(stream: &mut dyn Stream) -> std::io::Result<ContentHash> {
    let mut piece = Vec::new();
    stream.seek(SeekFrom::Start(0))?;
    stream.take(HEAD).read_to_end(&mut piece)?;
    // Whoever reads on begins where it is.
    stream.seek(SeekFrom::Start(0))?;
    Ok(ContentHash::of(&piece))
}

/// Where the frames come from.
enum Source {
    /// One file; its frames are found bit by bit.
    File { file: Box<FrameFile<Box<dyn Stream>>>, complete: bool },
    /// Numbered files.
    Series(Box<dyn FrameSource>),
}

impl Source {
    fn frames(&self) -> &dyn FrameSource {
        match self {
            Self::File { file, .. } => file.as_ref(),
            Self::Series(series) => series.as_ref(),
        }
    }

    fn frames_mut(&mut self) -> &mut dyn FrameSource {
        match self {
            Self::File { file, .. } => file.as_mut(),
            Self::Series(series) => series.as_mut(),
        }
    }
}

/// An open recording.
pub(super) struct Recording {
    name: String,
    /// What the first piece of its first file holds.
    head: Option<ContentHash>,
    source: Source,
    /// A frame that can be read, from which on stuck pixels are known.
    first: Frame<RawNumber>,
    metadata: CaptureMetadata,
    session: Session,
    emissivity_picture: Option<Frame<EmissivityFraction>>,
    correction: Option<FrameCorrection>,
    cache: FrameCache,
    /// For each frame how the board lies in it, while it is held still.
    held: Vec<Option<ViewDrift>>,
    /// The places that were followed last.
    series: Option<Series>,
}

impl std::fmt::Debug for Recording {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Recording({}, {} frames)", self.name, self.count())
    }
}

impl Recording {
    pub(super) fn open(
        names: Vec<String>,
        mut streams: Vec<Box<dyn Stream>>,
        mut metadata: CaptureMetadata,
    ) -> Result<Self, Failure> {
        let name = match names.as_slice() {
            [] => "the recording".to_owned(),
            [one] => one.clone(),
            [first, .., last] => format!("{first} to {last}"),
        };
        let head = streams.first_mut().and_then(|stream| head_of(stream.as_mut()).ok());
        let unreadable =
            |what: String| Failure { what, hint: "Copy the recording again, or export it anew." };
        let told = |error: ReadError| unreadable(error.to_string());
        let mut source = if streams.len() == 1 {
            let mut file = FrameFile::begin(&name, streams.remove(0)).map_err(told)?;
            let complete = !file.find_more(FOUND_AT_ONCE).map_err(told)?;
            Source::File { file: Box::new(file), complete }
        } else {
            let read = move |file: usize| {
                let stream =
                    streams.get_mut(file).ok_or_else(|| std::io::Error::other("the file is gone"))?;
                let mut bytes = Vec::new();
                stream.seek(SeekFrom::Start(0))?;
                stream.read_to_end(&mut bytes)?;
                Ok(bytes)
            };
            Source::Series(Box::new(FrameSeries::new(names, read).map_err(told)?))
        };
        let mut problem = None;
        let frames = source.frames_mut();
        let first = (0..frames.count().min(TRIED)).find_map(|frame| match frames.read(frame) {
            Ok(pixels) => Some(pixels),
            Err(met) => {
                problem.get_or_insert(met);
                None
            }
        });
        let first = first.ok_or_else(|| {
            let why = problem.map_or_else(String::new, |problem| problem.to_string());
            unreadable(format!("{name}: none of its first frames can be read. {why}"))
        })?;
        complete_meaning(&mut metadata, source.frames().samples().unwrap_or(SampleKind::Integer));
        Ok(Self {
            name,
            head,
            source,
            first,
            metadata,
            session: Session::default(),
            emissivity_picture: None,
            correction: None,
            cache: FrameCache::new(CACHE),
            held: Vec::new(),
            series: None,
        })
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    pub(super) const fn head(&self) -> Option<&ContentHash> {
        self.head.as_ref()
    }

    pub(super) const fn metadata(&self) -> &CaptureMetadata {
        &self.metadata
    }

    pub(super) const fn session(&self) -> &Session {
        &self.session
    }

    pub(super) fn count(&self) -> usize {
        self.source.frames().count()
    }

    /// Whether all frames have been found.
    pub(super) const fn is_complete(&self) -> bool {
        match &self.source {
            Source::File { complete, .. } => *complete,
            Source::Series(_) => true,
        }
    }

    /// Looks for some more frames. A file that holds too many ends there, which is told.
    pub(super) fn find_more(&mut self) -> Option<String> {
        let Source::File { file, complete } = &mut self.source else { return None };
        match file.find_more(FOUND_AT_ONCE) {
            Ok(more) => {
                *complete = !more;
                None
            }
            Err(error) => {
                *complete = true;
                Some(error.to_string())
            }
        }
    }

    pub(super) fn shape(&self) -> (usize, usize) {
        self.first.shape()
    }

    pub(super) fn raw_range(&self) -> Option<(f32, f32)> {
        self.first.range()
    }

    pub(super) fn samples(&self) -> Option<SampleKind> {
        self.source.frames().samples()
    }

    pub(super) fn source(&mut self) -> &mut dyn FrameSource {
        self.source.frames_mut()
    }

    /// What a person should know of the recording as a whole.
    pub(super) fn warnings(&self) -> Vec<String> {
        let mut warnings: Vec<String> =
            self.source.frames().lost().map(ToString::to_string).into_iter().collect();
        let Some(timeline) = self.timeline() else { return warnings };
        if timeline.count() < self.count() {
            let untimed = self.count() - timeline.count();
            warnings.push(format!("{untimed} of its {} frames have no time and are left out", self.count()));
        }
        let gaps = timeline.gaps();
        for gap in gaps.iter().take(LISTED) {
            warnings.push(format!(
                "a pause from {:.2} to {:.2} s, where {} more frames would have fitted",
                gap.from_s, gap.to_s, gap.missing
            ));
        }
        if gaps.len() > LISTED {
            warnings.push(format!("{} more pauses", gaps.len() - LISTED));
        }
        warnings.into_iter().map(|warning| format!("{}: {warning}", self.name)).collect()
    }

    /// The times of the frames, where they are stated.
    pub(super) fn timeline(&self) -> Option<Timeline> {
        Timeline::new(&self.metadata, self.count()).ok()
    }

    /// Takes over how frames are read and corrected from now on.
    pub(super) fn settle(
        &mut self,
        metadata: CaptureMetadata,
        session: Session,
        emissivity_picture: Option<Frame<EmissivityFraction>>,
    ) {
        self.metadata = metadata;
        self.session = session;
        self.emissivity_picture = emissivity_picture;
        self.correction = None;
        self.cache.clear();
    }

    /// The places that were followed last.
    pub(super) const fn series(&self) -> Option<&Series> {
        self.series.as_ref()
    }

    /// Keeps the places that were followed last.
    pub(super) fn keep_series(&mut self, series: Series) {
        self.series = Some(series);
    }

    /// How frames are corrected, worked out once.
    fn correction(&mut self) -> Result<&FrameCorrection, Failure> {
        let made = match self.correction.take() {
            Some(made) => made,
            None => {
                let picture = self.emissivity_picture.as_ref();
                FrameCorrection::new(&self.session, &self.metadata, &self.first, picture)?
            }
        };
        Ok(self.correction.insert(made))
    }

    /// The surface temperature of a frame's raw numbers.
    pub(super) fn corrected(
        &mut self,
        frame: usize,
        raw: &Frame<RawNumber>,
    ) -> Result<Frame<SurfaceKelvin>, Failure> {
        self.correction()?;
        let Some(correction) = &self.correction else { return Err(nothing_to_correct_with()) };
        // A drift that its own error may have made is none: interpolating would only blur the frame.
        let moved = self.held.get(frame).and_then(Option::as_ref).filter(|d| d.moved_px > 2.0 * d.error_px);
        Ok(match moved {
            Some(drift) => correction.surface_held_still(raw, &drift.map)?,
            None => correction.surface(raw)?,
        })
    }

    /// How a frame appears, as it lies in the file.
    pub(super) fn apparent(&mut self, raw: &Frame<RawNumber>) -> Result<Frame<ApparentKelvin>, Failure> {
        Ok(self.correction()?.apparent(raw)?)
    }

    /// From now on frames are seen so, one for each.
    pub(super) fn hold(&mut self, held: Vec<Option<ViewDrift>>) {
        self.held = held;
        self.cache.clear();
    }

    /// Frames are seen as they are again.
    pub(super) fn let_go(&mut self) {
        self.hold(Vec::new());
    }

    /// How surely the places of a reader are known.
    pub(super) fn doubts(&mut self, reader: &PlaceReader) -> Result<Vec<PlaceUncertainty>, Failure> {
        self.correction()?;
        let Some(correction) = &self.correction else { return Ok(Vec::new()) };
        Ok(PlaceUncertainty::of_places(&self.session, correction, reader)?)
    }

    /// The surface temperature of a frame, from the cache where it is there.
    pub(super) fn surface(&mut self, frame: usize) -> Result<Arc<Frame<SurfaceKelvin>>, Failure> {
        if let Some(known) = self.cache.get(frame) {
            return Ok(known);
        }
        let raw = self.source.frames_mut().read(frame)?;
        let surface = Arc::new(self.corrected(frame, &raw)?);
        self.cache.keep(frame, Arc::clone(&surface));
        Ok(surface)
    }

    /// A frame less another.
    pub(super) fn difference(&mut self, frame: usize, less: usize) -> Result<Frame<Difference>, Failure> {
        let less = self.surface(less)?;
        let frame = self.surface(frame)?;
        difference_of(&frame, &less)
    }

    /// A frame less the mean of the `before` frames before it; those that cannot be read do not count.
    pub(super) fn sudden_change(
        &mut self,
        frame: usize,
        before: usize,
    ) -> Result<Frame<Difference>, Failure> {
        let mut earlier = SpanSummary::new();
        for frame in frame.saturating_sub(before)..frame {
            match self.surface(frame) {
                Ok(surface) => earlier.add(&surface).map_err(|_| nothing_to_correct_with())?,
                Err(_) => continue,
            }
        }
        let pictures = earlier.pictures().ok_or_else(|| Failure {
            what: format!("No frame before frame {} can be read.", frame + 1),
            hint: "Go to a later frame.",
        })?;
        difference_of(&*self.surface(frame)?, &pictures.mean)
    }
}
