//! What is known of one capture besides its pixels.

use std::num::NonZeroU32;

use serde::{Deserialize, Serialize};

use super::frame_times::{BenchEvent, FrameTimes};
use crate::geometry::{BaselinePixels, BoardMillimeters, Point};
use crate::radiometry::{Band, Calibration, Correction};
use crate::units::{Kelvin, KelvinDifference, Millimeters, TemperatureUnit, Watts};

/// What a capture's raw numbers stand for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "quantity", rename_all = "kebab-case")]
pub enum Quantity {
    /// A temperature: `scale` · number + `offset`, in `unit`. Apparent, unless the camera has
    /// already corrected it, in which case `camera_correction` says with what, so that it can be undone.
    Temperature {
        /// The unit that scale and offset yield.
        unit: TemperatureUnit,
        /// Units per raw number.
        scale: f64,
        /// Unit value at raw zero.
        offset: f64,
        /// The correction already in the numbers.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        camera_correction: Option<Correction>,
    },
    /// In-band radiance: `scale` · number + `offset`, in W·m⁻²·sr⁻¹.
    Radiance {
        /// W·m⁻²·sr⁻¹ per raw number.
        scale: f64,
        /// W·m⁻²·sr⁻¹ at raw zero.
        offset: f64,
    },
    /// Detector counts with a calibration.
    Counts {
        /// From counts to radiance or temperature.
        calibration: Calibration,
    },
}

/// What raw numbers can stand for, by name alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum QuantityName {
    /// Temperatures.
    Temperature,
    /// In-band radiance.
    Radiance,
    /// Detector counts.
    Counts,
}

/// What was said of a capture's numbers, when that is not enough for a [`Quantity`].
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct StatedQuantity {
    /// What the numbers stand for.
    pub quantity: Option<QuantityName>,
    /// The unit of temperatures.
    pub unit: Option<TemperatureUnit>,
    /// Units per raw number.
    pub scale: Option<f64>,
    /// Unit value at raw zero.
    pub offset: Option<f64>,
    /// From counts to radiance or temperature.
    pub calibration: Option<Calibration>,
    /// The correction already in the numbers.
    pub camera_correction: Option<Correction>,
}

/// Which page of a file with several is the capture. Written to JSON as `"first"`, `"mean"` or a
/// number from 1.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "WrittenPage", into = "WrittenPage")]
pub enum PageChoice {
    /// The first, because nobody said otherwise.
    #[default]
    First,
    /// This one, counted from 1.
    Page(NonZeroU32),
    /// The mean of all pages: a burst of the same scene.
    Mean,
}

#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum WrittenPage {
    Number(NonZeroU32),
    Word(PageWord),
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum PageWord {
    First,
    Mean,
}

impl From<WrittenPage> for PageChoice {
    fn from(written: WrittenPage) -> Self {
        match written {
            WrittenPage::Number(number) => Self::Page(number),
            WrittenPage::Word(PageWord::First) => Self::First,
            WrittenPage::Word(PageWord::Mean) => Self::Mean,
        }
    }
}

impl From<PageChoice> for WrittenPage {
    fn from(choice: PageChoice) -> Self {
        match choice {
            PageChoice::First => Self::Word(PageWord::First),
            PageChoice::Page(number) => Self::Number(number),
            PageChoice::Mean => Self::Word(PageWord::Mean),
        }
    }
}

/// How the board was run when it was captured. Everything is optional.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TestConditions {
    /// Supply voltage, V.
    pub voltage: Option<f64>,
    /// Supply current, A.
    pub current: Option<f64>,
    /// Operating or supply frequency, Hz.
    pub frequency: Option<f64>,
    /// Time under power before the capture, minutes.
    pub warm_up_minutes: Option<f64>,
    /// Anything else: load, firmware, fixture.
    pub notes: String,
}

impl TestConditions {
    /// What `stated` states takes the place of what stands here; the rest stays.
    pub fn take_over(&mut self, stated: Self) {
        let Self { voltage, current, frequency, warm_up_minutes, notes } = stated;
        self.voltage = voltage.or(self.voltage);
        self.current = current.or(self.current);
        self.frequency = frequency.or(self.frequency);
        self.warm_up_minutes = warm_up_minutes.or(self.warm_up_minutes);
        if !notes.is_empty() {
            self.notes = notes;
        }
    }

    /// What stands here because `former` stated it is forgotten; what was typed since stays.
    pub fn forget(&mut self, former: &Self) {
        let unless_former = |own: Option<f64>, former: Option<f64>| own.filter(|_| own != former);
        self.voltage = unless_former(self.voltage, former.voltage);
        self.current = unless_former(self.current, former.current);
        self.frequency = unless_former(self.frequency, former.frequency);
        self.warm_up_minutes = unless_former(self.warm_up_minutes, former.warm_up_minutes);
        if self.notes == former.notes {
            self.notes.clear();
        }
    }

    /// Electrical power from voltage and current, where both are stated.
    #[must_use]
    pub fn power(&self) -> Option<Watts> {
        Watts::new(self.voltage? * self.current?).ok()
    }
}

/// Which board was in front of the camera.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BoardIdentity {
    /// The product: which design.
    pub product: String,
    /// The specimen: which unit.
    pub serial: String,
}

/// A place known both in a picture and on the board, such as a corner or a fiducial.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", deny_unknown_fields)]
pub struct CornerMark<S> {
    /// Where it is in the picture, pixels.
    pub pixel: Point<S>,
    /// Where it is on the board, millimetres.
    pub board: Point<BoardMillimeters>,
}

impl CornerMark<CapturePixels> {
    /// The same mark, once its capture is the baseline that everything is compared on.
    #[must_use]
    pub const fn on_baseline(self) -> CornerMark<BaselinePixels> {
        CornerMark { pixel: Point::new(self.pixel.x, self.pixel.y), board: self.board }
    }
}

/// The pixels of the capture at hand, before its role is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CapturePixels {}

/// Everything known of a capture besides its pixels.
///
/// This is the session's form; what people write beside their files is the sidecar, in
/// [`sidecar`](super::sidecar), with the bench's units in its names.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CaptureMetadata {
    /// What the numbers mean; `None` until somebody says so.
    pub quantity: Option<Quantity>,
    /// What was said of the numbers while it does not suffice; of no effect once `quantity` is there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated: Option<StatedQuantity>,
    /// Which page of the file is the capture.
    pub page: PageChoice,
    /// When the frames were taken, of a file that is a sequence.
    pub frame_times: Option<FrameTimes>,
    /// What was done on the bench during the sequence.
    pub events: Vec<BenchEvent>,
    /// Spectral band; the session's default where absent.
    pub band: Option<Band>,
    /// Noise equivalent temperature difference, K.
    pub netd: Option<KelvinDifference>,
    /// Air temperature around the board, K.
    pub ambient: Option<Kelvin>,
    /// Reflected apparent temperature measured with this capture, K; the session's where absent.
    pub reflected: Option<Kelvin>,
    /// Camera to board, metres.
    pub distance: Option<f64>,
    /// When it was taken, as the camera or person wrote it (RFC 3339 preferred).
    pub time: String,
    /// Millimetres on the board per pixel.
    pub pixel_pitch: Option<Millimeters>,
    /// Electrical and mechanical conditions.
    pub conditions: TestConditions,
    /// Which board.
    pub board: BoardIdentity,
    /// Known places of the board in this picture.
    pub corners: Vec<CornerMark<CapturePixels>>,
    /// Pixels known to be stuck, `[x, y]`.
    pub stuck_pixels: Vec<[u32; 2]>,
    /// Raw numbers at or above this are saturated and invalid.
    pub saturated_at: Option<f64>,
    /// Free text.
    pub notes: String,
    /// True when the capture comes from a simulation and shows no real board.
    pub invented: bool,
}

/// A time as people read it: `2031-05-04T10:11:00Z` as `2031-05-04 10:11:00 UTC`; any other text as it is.
#[must_use]
pub fn readable_time(text: &str) -> String {
    match text.split_once('T') {
        Some((date, time)) if date.len() == 10 && time.starts_with(|c: char| c.is_ascii_digit()) => {
            format!("{date} {}", time.replace('Z', " UTC"))
        }
        _ => text.to_owned(),
    }
}
