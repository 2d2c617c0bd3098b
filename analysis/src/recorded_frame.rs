//! What a frame of a recording shows: surface temperature as the session corrects it, the places that the
//! session follows in it, and the frame as a capture of its own.
//!
//! The recording must be taken from where the baseline was taken: its pixels are the baseline's, as regions,
//! read-outs and parts lie there. What is pulled out of it as a capture is aligned like any other.

mod place_uncertainty;

use std::ops::Range;

pub use self::place_uncertainty::PlaceUncertainty;
use crate::board::footprints;
use crate::capture::{
    CaptureMetadata, NotMeaningful, PageChoice, SampleKind, WriteError, apparent_with_table, encode_tiff,
    encode_tiff_u16, mask_invalid, set_aside_isolated,
};
use crate::comparison::{CannotCompare, board_to_picture};
use crate::frame::{
    ApparentKelvin, Difference, EmissivityFraction, Frame, FrameError, RawNumber, SurfaceKelvin,
};
use crate::geometry::{BaselinePixels, Homography, UnitPixels};
use crate::radiometry::{BandTable, Surroundings, correct};
use crate::registration::warp;
use crate::sequence::{Place, SpanSummary, Timeline};
use crate::session::{GaugePlace, Session};
use crate::surface::emissivity_map;

/// Why a frame has no surface temperature.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotCorrectable {
    /// Its numbers mean nothing yet.
    #[error(transparent)]
    Meaning(#[from] NotMeaningful),
    /// The session's surface cannot be laid on it.
    #[error(transparent)]
    Surface(#[from] CannotCompare),
    /// A frame of another size.
    #[error(transparent)]
    Frame(#[from] FrameError),
}

/// Corrects the frames of one recording; what they share is worked out once.
#[derive(Debug)]
pub struct FrameCorrection {
    metadata: CaptureMetadata,
    table: BandTable,
    emissivity: Frame<EmissivityFraction>,
    surroundings: Surroundings,
    /// Pixels that stand alone in the first frame: the detector's fault, so in all frames. By index.
    isolated: Vec<usize>,
}

impl FrameCorrection {
    /// From the session's surface and surroundings, and what the recording says of itself. `first` is any
    /// frame of it, in which stuck pixels that nobody listed are looked for; `emissivity_picture` is used
    /// where the session uses one, of the same size.
    ///
    /// # Errors
    /// [`NotCorrectable`].
    pub fn new(
        session: &Session,
        metadata: &CaptureMetadata,
        first: &Frame<RawNumber>,
        emissivity_picture: Option<&Frame<EmissivityFraction>>,
    ) -> Result<Self, NotCorrectable> {
        let table = BandTable::new(metadata.band.unwrap_or(session.band));
        let map = board_to_picture(&session.layout)?;
        let emissivity = emissivity_map(&session.surface, first.shape(), map.as_ref(), emissivity_picture)?;
        let reflected = metadata.reflected.unwrap_or(session.surroundings.reflected);
        let surroundings = Surroundings { reflected, ..session.surroundings };
        let seen = apparent_with_table(first, metadata, &table)?;
        let valid_before: Vec<bool> = seen.as_slice().iter().map(|value| !value.is_nan()).collect();
        let (kept, _) = set_aside_isolated(seen);
        let gone = kept.as_slice().iter().zip(&valid_before).enumerate();
        let isolated =
            gone.filter(|(_, (value, before))| value.is_nan() && **before).map(|(index, _)| index).collect();
        Ok(Self { metadata: metadata.clone(), table, emissivity, surroundings, isolated })
    }

    /// The surface temperature of a frame.
    ///
    /// # Errors
    /// [`NotCorrectable`].
    pub fn surface(&self, frame: &Frame<RawNumber>) -> Result<Frame<SurfaceKelvin>, NotCorrectable> {
        self.surface_of(&self.apparent(frame)?)
    }

    /// The surface temperature of a frame in which the board has moved, as seen from where it was: `to_reference`
    /// leads from this frame's pixels to the reference's, in which the surface is described.
    ///
    /// # Errors
    /// [`NotCorrectable`].
    pub fn surface_held_still(
        &self,
        frame: &Frame<RawNumber>,
        to_reference: &Homography<UnitPixels, BaselinePixels>,
    ) -> Result<Frame<SurfaceKelvin>, NotCorrectable> {
        let apparent = self.apparent(frame)?;
        self.surface_of(&warp(&apparent, to_reference, apparent.shape()))
    }

    /// How a frame appears, without pixels that stand alone.
    ///
    /// # Errors
    /// [`NotCorrectable`].
    pub fn apparent(&self, frame: &Frame<RawNumber>) -> Result<Frame<ApparentKelvin>, NotCorrectable> {
        let apparent = apparent_with_table(frame, &self.metadata, &self.table)?;
        if self.isolated.is_empty() {
            return Ok(apparent);
        }
        let (rows, columns) = apparent.shape();
        let mut values = apparent.into_array().into_raw_vec_and_offset().0;
        for &index in &self.isolated {
            if let Some(value) = values.get_mut(index) {
                *value = f32::NAN;
            }
        }
        Ok(Frame::from_rows(rows, columns, values)?)
    }

    fn surface_of(&self, apparent: &Frame<ApparentKelvin>) -> Result<Frame<SurfaceKelvin>, NotCorrectable> {
        Ok(correct(apparent, &self.emissivity, &self.surroundings, &self.table)?.temperature)
    }
}

/// A frame less another, K, pixel by pixel.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] for frames of different size.
pub fn frame_difference(
    frame: &Frame<SurfaceKelvin>,
    less: &Frame<SurfaceKelvin>,
) -> Result<Frame<Difference>, FrameError> {
    frame.require_same_shape(less)?;
    let (rows, columns) = frame.shape();
    let values = frame.as_slice().iter().zip(less.as_slice()).map(|(value, less)| value - less);
    Frame::from_rows(rows, columns, values.collect())
}

/// A fit that leaves over more than so many times the camera's noise has not told what moves the picture (our own rule).
const UNTOLD: f64 = 3.0;

/// How many times the camera's noise a fit over time leaves over in a pixel and frame, where that is too much to be noise.
///
/// `left_over` is the standard deviation on the surface, K. The noise there is the NETD over the emissivity of the whole
/// board, to which the slope of the correction comes near.
#[must_use]
pub fn untold_movement(session: &Session, metadata: &CaptureMetadata, left_over: f64) -> Option<f64> {
    let netd = metadata.netd.unwrap_or(session.input_uncertainty.netd).value();
    let times = left_over * session.surface.whole.emissivity.value() / netd;
    (times.is_finite() && times > UNTOLD).then_some(times)
}

/// A place that is followed over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Followed {
    /// What the person or the design calls it.
    pub name: String,
    /// Whether it is a part of the board.
    pub is_part: bool,
    /// Where it is.
    pub place: Place,
}

/// What the session follows: the whole picture, its read-outs, and the parts on the visible side.
#[must_use]
pub fn followed_places(session: &Session) -> Vec<Followed> {
    let whole = Followed { name: "Picture".to_owned(), is_part: false, place: Place::Whole };
    let gauges = session.gauges.iter().map(|gauge| Followed {
        name: gauge.name.clone(),
        is_part: false,
        place: match gauge.place {
            GaugePlace::Point { at } => Place::Point(at),
            GaugePlace::Area { from, to } => Place::Area(from, to),
            GaugePlace::Line { from, to } => Place::Line(from, to),
        },
    });
    let layout = &session.layout;
    // Corners that give no map lay no parts; who corrects the frames is told why.
    let map = board_to_picture(layout).ok().flatten();
    let bodies = map.map(|map| footprints(&layout.placements, layout.side, &map)).unwrap_or_default();
    let parts = bodies.into_iter().map(|body| Followed {
        name: body.designator.clone(),
        is_part: true,
        place: Place::Part(body),
    });
    std::iter::once(whole).chain(gauges).chain(parts).collect()
}

/// What is known of the capture that is pulled out of a span of frames: as the recording, with the supply as
/// it was then, without times and events of its own. Its `time` is for whoever has a calendar.
#[must_use]
pub fn pulled_metadata(
    metadata: &CaptureMetadata,
    timeline: Option<&Timeline>,
    span: &Range<usize>,
    file_name: &str,
) -> CaptureMetadata {
    let mut pulled = metadata.clone();
    pulled.page = PageChoice::First;
    pulled.frame_times = None;
    pulled.events = Vec::new();
    let frames = match span.len() {
        0 | 1 => format!("frame {}", span.start + 1),
        _ => format!("mean of frames {} to {}", span.start + 1, span.end),
    };
    let times = timeline.and_then(|timeline| {
        let from = timeline.time(span.start)?;
        let supply = timeline.supply_at(from);
        pulled.conditions.voltage = supply.voltage.or(pulled.conditions.voltage);
        pulled.conditions.current = supply.current.or(pulled.conditions.current);
        pulled.conditions.frequency = supply.frequency.or(pulled.conditions.frequency);
        Some(match timeline.time(span.end.saturating_sub(1)).filter(|to| *to > from) {
            Some(to) => format!(", {from:.1} to {to:.1} s"),
            None => format!(", at {from:.1} s"),
        })
    });
    let origin = format!("From {file_name}: {frames}{}.", times.unwrap_or_default());
    pulled.notes = [pulled.notes.trim(), &origin].join(" ").trim().to_owned();
    pulled
}

/// The raw mean of a span of frames, to become a capture. A pixel that is invalid or saturated in any frame is
/// invalid, so that the mean never hides it.
#[derive(Debug, Default)]
pub struct RawMean {
    summary: SpanSummary,
    invalid: Vec<bool>,
    whole_numbers: bool,
    frames: usize,
}

impl RawMean {
    /// Takes one more frame in.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`] for a frame of another size than the first.
    pub fn add(
        &mut self,
        frame: &Frame<RawNumber>,
        metadata: &CaptureMetadata,
        samples: Option<SampleKind>,
    ) -> Result<(), FrameError> {
        let frame = mask_invalid(frame.clone(), metadata);
        self.summary.add(&frame)?;
        self.invalid.resize(frame.as_slice().len(), false);
        self.invalid.iter_mut().zip(frame.as_slice()).for_each(|(gone, value)| *gone |= value.is_nan());
        self.frames += 1;
        self.whole_numbers = samples == Some(SampleKind::Integer);
        Ok(())
    }

    /// The capture as the bytes of a TIFF: whole numbers of 16 bits where one frame had such, else 32-bit float.
    /// `None` before the first frame.
    ///
    /// # Errors
    /// [`WriteError`].
    pub fn into_tiff(self) -> Option<Result<Vec<u8>, WriteError>> {
        let mean = self.summary.pictures::<RawNumber>()?.mean;
        let (rows, columns) = mean.shape();
        let in_range = |value: &f32| (0.0..=65535.0).contains(value) && value.fract() == 0.0;
        if self.frames == 1 && self.whole_numbers && mean.as_slice().iter().all(in_range) {
            let numbers: Vec<u16> = mean.as_slice().iter().map(|&value| value as u16).collect();
            return Some(encode_tiff_u16(&numbers, rows, columns));
        }
        let values = mean.as_slice().iter().zip(&self.invalid);
        let values = values.map(|(&value, &gone)| if gone { f32::NAN } else { value }).collect();
        let frame = Frame::<RawNumber>::from_rows(rows, columns, values).ok()?;
        Some(encode_tiff(&frame))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{BenchEvent, FrameTimes, Quantity, read_pixels};
    use crate::units::{Emissivity, KelvinDifference, TemperatureUnit};

    fn metadata() -> CaptureMetadata {
        let quantity = Quantity::Temperature {
            unit: TemperatureUnit::Celsius,
            scale: 0.01,
            offset: 0.0,
            camera_correction: None,
        };
        CaptureMetadata { quantity: Some(quantity), ..CaptureMetadata::default() }
    }

    fn frame(numbers: [f32; 4]) -> Frame<RawNumber> {
        Frame::from_rows(2, 2, numbers.to_vec()).unwrap()
    }

    #[test]
    fn what_a_fit_leaves_over_is_held_against_the_cameras_noise_on_the_surface() {
        let mut session = Session::default();
        session.surface.whole.emissivity = Emissivity::new(0.5).unwrap();
        let metadata = CaptureMetadata {
            netd: Some(KelvinDifference::new(0.05).unwrap()),
            ..CaptureMetadata::default()
        };
        // 50 mK seen are 100 mK on a surface that emits half.
        assert_eq!(untold_movement(&session, &metadata, 0.29), None);
        let times = untold_movement(&session, &metadata, 0.4).unwrap();
        assert!((times - 4.0).abs() < 1e-12, "{times}");
        // Where the recording states no NETD, the session's counts.
        session.input_uncertainty.netd = KelvinDifference::new(0.2).unwrap();
        assert_eq!(untold_movement(&session, &CaptureMetadata::default(), 0.4), None);
    }

    #[test]
    fn a_frame_is_corrected_as_a_capture_is() {
        let session = Session::default();
        let raw = frame([2500.0, 3000.0, 4000.0, 5000.0]);
        let correction = FrameCorrection::new(&session, &metadata(), &raw, None).unwrap();
        let surface = correction.surface(&raw).unwrap();
        let table = BandTable::new(session.band);
        let seen = apparent_with_table(&raw, &metadata(), &table).unwrap();
        let emissivity = emissivity_map(&session.surface, (2, 2), None, None).unwrap();
        let expected = correct(&seen, &emissivity, &session.surroundings, &table).unwrap().temperature;
        assert_eq!(surface, expected);
    }

    #[test]
    fn numbers_without_meaning_are_refused() {
        let raw = frame([1.0; 4]);
        let refused =
            FrameCorrection::new(&Session::default(), &CaptureMetadata::default(), &raw, None).unwrap_err();
        assert_eq!(refused, NotCorrectable::Meaning(NotMeaningful::QuantityUnknown));
    }

    #[test]
    fn the_mean_of_a_span_hides_no_saturated_pixel() {
        let metadata = CaptureMetadata { saturated_at: Some(100.0), ..CaptureMetadata::default() };
        let mut mean = RawMean::default();
        for numbers in [[10.0, 20.0, 99.0, 40.0], [20.0, 30.0, 100.0, 41.0]] {
            mean.add(&frame(numbers), &metadata, Some(SampleKind::Integer)).unwrap();
        }
        let file = mean.into_tiff().unwrap().unwrap();
        let read = read_pixels("mean.tiff", &file, PageChoice::First).unwrap().pixels;
        assert_eq!(
            [read.at(0, 0), read.at(0, 1), read.at(1, 0), read.at(1, 1)],
            [Some(15.0), Some(25.0), None, Some(40.5)]
        );
    }

    #[test]
    fn one_frame_of_whole_numbers_comes_out_as_it_went_in() {
        let mut mean = RawMean::default();
        mean.add(&frame([1.0, 2.0, 65535.0, 4.0]), &CaptureMetadata::default(), Some(SampleKind::Integer))
            .unwrap();
        let file = mean.into_tiff().unwrap().unwrap();
        let read = read_pixels("one.tiff", &file, PageChoice::First).unwrap();
        assert_eq!(read.samples, SampleKind::Integer);
        assert_eq!(read.pixels.as_slice(), [1.0, 2.0, 65535.0, 4.0]);
    }

    #[test]
    fn a_pulled_capture_knows_the_supply_of_its_moment() {
        let metadata = CaptureMetadata {
            frame_times: Some(FrameTimes::Interval(2.0)),
            events: vec![BenchEvent {
                at_s: 5.0,
                name: "load step".into(),
                current: Some(0.9),
                ..Default::default()
            }],
            ..metadata()
        };
        let timeline = Timeline::new(&metadata, 10).unwrap();
        let early = pulled_metadata(&metadata, Some(&timeline), &(1..2), "run.tiff");
        let late = pulled_metadata(&metadata, Some(&timeline), &(3..6), "run.tiff");
        assert_eq!((early.conditions.current, late.conditions.current), (None, Some(0.9)));
        assert!(early.notes.contains("frame 2, at 2.0 s"), "{}", early.notes);
        assert!(late.notes.contains("frames 4 to 6, 6.0 to 10.0 s"), "{}", late.notes);
        assert_eq!((late.frame_times, late.events.len()), (None, 0));
    }
}
