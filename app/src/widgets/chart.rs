//! The frame that all charts share: dark ground, axes with their words, and the lines within.

use std::ops::Range;

use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters_canvas::CanvasBackend;
use web_sys::HtmlCanvasElement;

use crate::wording;

/// The ground.
pub const GROUND: RGBColor = RGBColor(22, 26, 30);
/// Axes and their words.
pub const PRINT: RGBColor = RGBColor(170, 178, 186);
/// What is most looked at.
pub const INK: RGBColor = RGBColor(228, 230, 232);
/// What stands out.
pub const STRONG: RGBColor = RGBColor(156, 180, 255);
const RULE: RGBColor = RGBColor(52, 58, 66);

/// Free border around a chart, canvas pixels.
const MARGIN: u32 = 8;
/// Room for the numbers on the upright axis, canvas pixels.
const UP_ROOM: u32 = 58;

/// A chart that is being drawn.
pub type Chart<'a> = ChartContext<'a, CanvasBackend, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
/// Why a chart was not drawn: what stands beside it says the same in numbers.
pub type NotDrawn = Box<dyn std::error::Error>;

/// What the axes show.
#[derive(Debug, Clone, PartialEq)]
pub struct ChartFrame<'a> {
    /// From left to right.
    pub across: Range<f64>,
    /// From foot to head.
    pub up: Range<f64>,
    /// What runs across, with its unit; may be empty.
    pub across_words: &'a str,
    /// What runs up, with its unit; without it there is no upright axis.
    pub up_words: Option<&'a str>,
    /// Decimals across and up.
    pub digits: [usize; 2],
}

impl ChartFrame<'_> {
    /// Draws the frame, and what `fill` adds.
    ///
    /// # Errors
    /// [`NotDrawn`].
    pub fn draw(
        &self,
        canvas: HtmlCanvasElement,
        fill: impl FnOnce(&mut Chart<'_>) -> Result<(), NotDrawn>,
    ) -> Result<(), NotDrawn> {
        let area = CanvasBackend::with_canvas_object(canvas).ok_or("no canvas")?.into_drawing_area();
        area.fill(&GROUND)?;
        let up_room = if self.up_words.is_some() { UP_ROOM } else { 0 };
        let across_room = if self.across_words.is_empty() { 24 } else { 44 };
        let mut chart = ChartBuilder::on(&area)
            .margin(MARGIN)
            .x_label_area_size(across_room)
            .y_label_area_size(up_room)
            .build_cartesian_2d(self.across.clone(), self.up.clone())?;
        let label = ("sans-serif", 13).into_font().color(&PRINT);
        let [across_digits, up_digits] = self.digits;
        let across_label = move |value: &f64| wording::number(*value, across_digits);
        let up_label = move |value: &f64| wording::number(*value, up_digits);
        let mut mesh = chart.configure_mesh();
        mesh.disable_x_mesh()
            .light_line_style(GROUND)
            .bold_line_style(RULE)
            .axis_style(PRINT)
            .label_style(label)
            .x_label_formatter(&across_label)
            .y_label_formatter(&up_label);
        if !self.across_words.is_empty() {
            mesh.x_desc(self.across_words);
        }
        match self.up_words {
            Some(words) => mesh.y_desc(words),
            None => mesh.disable_y_axis().disable_y_mesh(),
        };
        mesh.draw()?;
        fill(&mut chart)?;
        area.present()?;
        Ok(())
    }

    /// Where a place across lies on the canvas, as a fraction of its width; may lie outside the frame.
    #[must_use]
    pub fn share_of(&self, across: f64, width: f64) -> f64 {
        let (left, right) = self.sides(width);
        let share = (across - self.across.start) / (self.across.end - self.across.start);
        (left + share * (right - left)) / width
    }

    /// Which place across lies at a fraction of the canvas's width.
    #[must_use]
    pub fn across_at(&self, share: f64, width: f64) -> f64 {
        let (left, right) = self.sides(width);
        let share = ((share * width - left) / (right - left)).clamp(0.0, 1.0);
        self.across.start + share * (self.across.end - self.across.start)
    }

    fn sides(&self, width: f64) -> (f64, f64) {
        let left = if self.up_words.is_some() { MARGIN + UP_ROOM } else { MARGIN };
        (f64::from(left), (width - f64::from(MARGIN)).max(f64::from(left) + 1.0))
    }
}

/// Decimals that tell neighbouring labels of an axis of this length apart.
#[must_use]
pub fn digits_for(length: f64) -> usize {
    match length.abs() {
        tiny if tiny < 0.05 => 4,
        small if small < 0.5 => 3,
        middling if middling < 5.0 => 2,
        large if large < 50.0 => 1,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_on_the_chart_is_found_again() {
        let frame = ChartFrame {
            across: 2.0..12.0,
            up: 0.0..1.0,
            across_words: "s",
            up_words: Some("K"),
            digits: [0, 0],
        };
        let share = frame.share_of(7.0, 800.0);
        assert!((frame.across_at(share, 800.0) - 7.0).abs() < 1e-9);
        assert!((frame.across_at(0.0, 800.0) - 2.0).abs() < 1e-12);
        assert!((frame.across_at(1.0, 800.0) - 12.0).abs() < 1e-12);
    }
}
