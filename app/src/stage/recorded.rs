//! Pictures that are shown beside baseline and unit: what a recording yields. The stage only paints and reads them.

use std::sync::Arc;

use analysis::capture::CornerMark;
use analysis::frame::{Difference, Frame, SurfaceKelvin};
use analysis::geometry::BaselinePixels;
use analysis::palette::{Palette, paint};
use analysis::sequence::{LagRadians, Seconds};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::beyond::Beyond;
use super::look::{Measure, ScaleKind};
use super::view::Extent;
use crate::wording;

/// A picture's numbers, by what they are.
#[derive(Debug)]
pub enum RecordedPicture {
    /// Temperatures.
    Temperature(Frame<SurfaceKelvin>),
    /// How much each pixel has changed.
    Change(Frame<Difference>),
    /// How much each pixel swings or wavers, from zero.
    Swing(Frame<Difference>),
    /// How late each pixel swings.
    Lag(Frame<LagRadians>),
    /// How long each pixel takes.
    Seconds(Frame<Seconds>),
}

impl RecordedPicture {
    /// Width and height in pixels.
    #[must_use]
    pub fn extent(&self) -> Extent {
        Extent::of_shape(match self {
            Self::Temperature(frame) => frame.shape(),
            Self::Change(frame) | Self::Swing(frame) => frame.shape(),
            Self::Lag(frame) => frame.shape(),
            Self::Seconds(frame) => frame.shape(),
        })
    }

    /// The value of a pixel.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> Option<f32> {
        match self {
            Self::Temperature(frame) => frame.at(row, column),
            Self::Change(frame) | Self::Swing(frame) => frame.at(row, column),
            Self::Lag(frame) => frame.at(row, column),
            Self::Seconds(frame) => frame.at(row, column),
        }
    }

    /// Its least and greatest value.
    #[must_use]
    pub fn range(&self) -> Option<(f32, f32)> {
        match self {
            Self::Temperature(frame) => frame.range(),
            Self::Change(frame) | Self::Swing(frame) => frame.range(),
            Self::Lag(frame) => frame.range(),
            Self::Seconds(frame) => frame.range(),
        }
    }

    /// Its colours, row by row.
    #[must_use]
    pub fn colors(&self, lo: f32, hi: f32, palette: Palette) -> Vec<u8> {
        match self {
            Self::Temperature(frame) => paint(frame, lo, hi, palette),
            Self::Change(frame) | Self::Swing(frame) => paint(frame, lo, hi, palette),
            Self::Lag(frame) => paint(frame, lo, hi, palette),
            Self::Seconds(frame) => paint(frame, lo, hi, palette),
        }
    }

    /// Its temperatures, where it has such.
    #[must_use]
    pub const fn temperatures(&self) -> Option<&Frame<SurfaceKelvin>> {
        match self {
            Self::Temperature(frame) => Some(frame),
            Self::Change(_) | Self::Swing(_) | Self::Lag(_) | Self::Seconds(_) => None,
        }
    }

    /// The scale it is painted with.
    #[must_use]
    pub const fn scale(&self) -> ScaleKind {
        match self {
            Self::Temperature(_) => ScaleKind::Temperature,
            Self::Change(_) => ScaleKind::Recorded(Measure::Change),
            Self::Swing(_) => ScaleKind::Recorded(Measure::Swing),
            Self::Lag(_) => ScaleKind::Recorded(Measure::Lag),
            Self::Seconds(_) => ScaleKind::Recorded(Measure::Seconds),
        }
    }
}

/// A value of a picture that was worked out of a recording.
#[must_use]
pub fn value_text(unit: TemperatureUnit, measure: Measure, value: f64) -> String {
    match measure {
        Measure::Change => wording::difference(unit, value),
        Measure::Swing => wording::swing(unit, value),
        Measure::Lag => format!("{}°", wording::number(value.to_degrees(), 0)),
        Measure::Seconds => wording::seconds(value),
    }
}

/// What the stage shows of a recording, provided as a context; whoever has the recording fills it.
#[derive(Debug, Clone, Copy)]
pub struct Recorded {
    /// Whether there is a recording at all.
    pub there: RwSignal<bool>,
    /// The picture, or what it waits for.
    pub picture: RwSignal<Result<Arc<RecordedPicture>, String>>,
    /// What the picture is and when it was, in a few words.
    pub caption: RwSignal<String>,
    /// Lowest and highest temperature of the recording as far as it was seen, so that the colours do not jump
    /// from frame to frame.
    pub seen: RwSignal<Option<(f32, f32)>>,
    /// A temperature that is watched: what is beyond it stands out.
    pub beyond: RwSignal<Option<Beyond>>,
    /// An ellipse to draw, in the picture's pixels: centre, half axes, angle in radians.
    pub ellipse: RwSignal<Option<[f64; 5]>>,
    /// Where the board lies in it, as far as that is known apart from the session.
    pub corners: RwSignal<Vec<CornerMark<BaselinePixels>>>,
}

impl Recorded {
    /// No recording.
    #[must_use]
    pub fn new() -> Self {
        Self {
            there: RwSignal::new(false),
            picture: RwSignal::new(Err("No recording is open".to_owned())),
            caption: RwSignal::new(String::new()),
            seen: RwSignal::new(None),
            beyond: RwSignal::new(None),
            ellipse: RwSignal::new(None),
            corners: RwSignal::new(Vec::new()),
        }
    }

    /// The scale of the picture. Reactive.
    #[must_use]
    pub fn scale(self) -> ScaleKind {
        self.picture
            .with(|picture| picture.as_ref().map_or(ScaleKind::Temperature, |picture| picture.scale()))
    }

    /// Least and greatest value of the picture, as wide as its scale wants them. Reactive.
    #[must_use]
    pub fn range(self, measure: Measure) -> (f64, f64) {
        let range = self.picture.with(|picture| {
            let picture =
                picture.as_ref().ok().filter(|picture| picture.scale() == ScaleKind::Recorded(measure))?;
            picture.range()
        });
        let (lo, hi) = range.map_or((0.0, 1.0), |(lo, hi)| (f64::from(lo), f64::from(hi)));
        match measure {
            Measure::Change => {
                let most = lo.abs().max(hi.abs());
                (-most, most)
            }
            Measure::Swing => (0.0, hi),
            Measure::Lag => (-std::f64::consts::PI, std::f64::consts::PI),
            Measure::Seconds => (lo, hi),
        }
    }
}

impl Default for Recorded {
    fn default() -> Self {
        Self::new()
    }
}
