//! How the picture is looked at: what is shown, how large, in which colours, with which tool in hand.
//!
//! None of it belongs to the inspection, so none of it is in the session or in its undo history.

use std::time::Duration;

use analysis::geometry::{BaselinePixels, Point};
use analysis::palette::Palette;
use analysis::surface::{Finish, Surface};
use leptos::prelude::*;

use super::draft::{Draft, Shape};
use super::view::{Extent, Spot, View};

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Subject {
    /// The known-good boards.
    Baseline,
    /// The unit under test.
    Unit,
    /// Unit minus baseline.
    Difference,
    /// How well the difference is known.
    Uncertainty,
    /// How much good boards differ among themselves.
    Spread,
    /// What a recording shows at a moment, or over a span of time.
    Recording,
}

impl Subject {
    /// Those of the comparison, in the order of the work.
    pub const COMPARED: [Self; 4] = [Self::Baseline, Self::Unit, Self::Difference, Self::Uncertainty];

    /// Whether it is worked out from baseline and unit, so that neither can be drawn on in it.
    #[must_use]
    pub const fn is_derived(self) -> bool {
        matches!(self, Self::Difference | Self::Uncertainty | Self::Spread)
    }

    /// The colour scale it is painted with; a recording's pictures have several.
    #[must_use]
    pub const fn scale(self) -> ScaleKind {
        match self {
            Self::Baseline | Self::Unit | Self::Recording => ScaleKind::Temperature,
            Self::Difference => ScaleKind::Difference,
            Self::Uncertainty => ScaleKind::Uncertainty,
            Self::Spread => ScaleKind::Spread,
        }
    }

    /// What is written on the picture where its name alone does not say what it shows.
    #[must_use]
    pub const fn caption(self) -> Option<&'static str> {
        match self {
            Self::Uncertainty => Some("How well the difference is known: ±, half of its 95 % interval"),
            Self::Spread => Some("How good boards differ: standard deviation of each pixel"),
            Self::Baseline | Self::Unit | Self::Difference | Self::Recording => None,
        }
    }

    /// What a person reads.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Baseline => "Baseline",
            Self::Unit => "Unit",
            Self::Difference => "Difference",
            Self::Uncertainty => "Uncertainty",
            Self::Spread => "Spread",
            Self::Recording => "Recording",
        }
    }
}

/// What a colour scale measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ScaleKind {
    /// Temperatures, between two limits.
    Temperature,
    /// Differences, the same on both sides of zero.
    Difference,
    /// Half-widths of 95 % intervals, from zero.
    Uncertainty,
    /// Standard deviations among the good boards, from zero.
    Spread,
    /// What was worked out of a recording.
    Recorded(Measure),
}

/// What a picture that was worked out of a recording measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measure {
    /// Differences of temperature, the same on both sides of zero.
    Change,
    /// Sizes of swings, from zero.
    Swing,
    /// Angles, half a turn on both sides of zero.
    Lag,
    /// Times.
    Seconds,
}

impl ScaleKind {
    /// What a person reads above the scale.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Temperature => "Surface",
            Self::Difference => "Difference",
            Self::Uncertainty => "Difference, ± (95 %)",
            Self::Spread => "Spread (std. dev.)",
            Self::Recorded(Measure::Change) => "Change",
            Self::Recorded(Measure::Swing) => "Size",
            Self::Recorded(Measure::Lag) => "Phase",
            Self::Recorded(Measure::Seconds) => "Time",
        }
    }
}

/// How baseline and unit are put before the eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Arrangement {
    /// One picture.
    Single,
    /// Both beside each other, moving together.
    Beside,
    /// One after the other in the same place.
    Blink,
    /// One over the other, uncovered by a handle.
    Swipe,
}

impl Arrangement {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Single, Self::Beside, Self::Blink, Self::Swipe];

    /// What a person reads.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Single => "Single",
            Self::Beside => "Beside",
            Self::Blink => "Blink",
            Self::Swipe => "Swipe",
        }
    }
}

/// Time each picture stays in a blink: well below three changes a second (WCAG 2.2, 2.3.1).
pub const BLINK: Duration = Duration::from_millis(700);

/// What a click on the picture does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Tool {
    /// Moves the picture.
    #[default]
    Look,
    /// Lays a rectangular region.
    Rectangle,
    /// Lays an elliptical region.
    Ellipse,
    /// Lays a region with corners.
    Polygon,
    /// Lays a region with a brush.
    Brush,
    /// Marks a known place of the board.
    Corner,
    /// Marks a place seen in both pictures.
    Landmark,
    /// Reads a place.
    PointGauge,
    /// Reads an area.
    AreaGauge,
    /// Reads along a line.
    LineGauge,
}

impl Tool {
    /// The shape it draws; `None` for the one that only looks.
    #[must_use]
    pub const fn shape(self) -> Option<Shape> {
        match self {
            Self::Look => None,
            Self::Rectangle | Self::Ellipse | Self::AreaGauge | Self::LineGauge => Some(Shape::TwoEnds),
            Self::Polygon => Some(Shape::Polygon),
            Self::Brush => Some(Shape::Stroke),
            Self::Corner | Self::Landmark | Self::PointGauge => Some(Shape::Place),
        }
    }

    /// What a person reads on the button.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Look => "Move the picture",
            Self::Rectangle => "Rectangle",
            Self::Ellipse => "Ellipse",
            Self::Polygon => "Polygon",
            Self::Brush => "Brush",
            Self::Corner => "Mark a board place",
            Self::Landmark => "Mark a landmark pair",
            Self::PointGauge => "Point",
            Self::AreaGauge => "Area",
            Self::LineGauge => "Line",
        }
    }

    /// How to use it.
    #[must_use]
    pub const fn advice(self) -> &'static str {
        match self {
            Self::Look => "",
            Self::Rectangle | Self::Ellipse | Self::AreaGauge => {
                "Pull from corner to corner, or click two opposite corners."
            }
            Self::LineGauge => "Pull from end to end, or click both ends.",
            Self::Polygon => "Click the corners; click the first one again, or press C, to close.",
            Self::Brush => "Pull the brush over the surface.",
            Self::Corner => "Click a corner or fiducial whose place on the board you know.",
            Self::Landmark => "Click one place in the baseline, then the same place in the unit.",
            Self::PointGauge => "Click the place to read.",
        }
    }
}

/// Which pixels a pane's places are counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plane {
    /// The baseline's, in which everything is compared; the unit's where there is no baseline.
    Baseline,
    /// The unit's own, as it was captured.
    UnitOwn,
}

/// A place under the cross-hair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cursor {
    /// Where.
    pub at: Spot,
    /// In which pixels.
    pub plane: Plane,
}

/// The signals behind the picture, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// What the single picture shows.
    pub subject: RwSignal<Subject>,
    /// One picture or two.
    pub arrangement: RwSignal<Arrangement>,
    looked_at_alone: StoredValue<Option<Subject>>,
    /// Where the picture lies.
    pub view: RwSignal<View>,
    /// Size of one pane.
    pub pane: RwSignal<Extent>,
    /// Size of the picture shown.
    pub picture: RwSignal<Extent>,
    /// Colours of temperatures.
    pub rising: RwSignal<Palette>,
    /// Colours of differences.
    pub diverging: RwSignal<Palette>,
    /// Lower and upper end of the temperature scale, K; `None` follows the picture.
    pub limits: RwSignal<Option<(f64, f64)>>,
    /// Half the width of the difference scale, K; `None` follows the picture.
    pub span: RwSignal<Option<f64>>,
    /// Upper end of the scale of uncertainties, K; `None` follows the picture.
    pub most_uncertain: RwSignal<Option<f64>>,
    /// Upper end of the scale of spreads, K; `None` follows the picture.
    pub widest_spread: RwSignal<Option<f64>>,
    /// Lower and upper end of the scale of what was worked out of a recording; `None` follows the picture.
    pub recorded_limits: RwSignal<Option<(Measure, f64, f64)>>,
    /// Whether enlarged pixels are blended.
    pub smooth: RwSignal<bool>,
    /// Whether what is not measurable is hatched.
    pub hatched: RwSignal<bool>,
    /// Whether part bodies are drawn.
    pub parts: RwSignal<bool>,
    /// Whether findings are drawn.
    pub findings: RwSignal<bool>,
    /// Whether regions are drawn.
    pub regions: RwSignal<bool>,
    /// Whether board places and landmarks are drawn.
    pub places: RwSignal<bool>,
    /// The place under the pointer, read in passing.
    pub hover: RwSignal<Option<Cursor>>,
    /// The place of the cross-hair: set by a click, the arrow keys or a finding, and kept.
    pub cursor: RwSignal<Option<Cursor>>,
    /// What a click does.
    pub tool: RwSignal<Tool>,
    /// The shape being drawn.
    pub draft: RwSignal<Draft>,
    /// Radius of the brush, pixels.
    pub brush: RwSignal<f64>,
    /// The finish that a newly drawn region gets.
    pub finish: RwSignal<Finish>,
    /// The finding in the foreground, by where it peaks: its rank may change.
    pub chosen: RwSignal<Option<Point<BaselinePixels>>>,
    /// A place marked in the picture that waits for its board millimetres.
    pub pending_corner: RwSignal<Option<Point<BaselinePixels>>>,
    /// The baseline half of a landmark pair that waits for the unit half.
    pub pending_landmark: RwSignal<Option<Point<BaselinePixels>>>,
    /// Where the swipe handle is, as a fraction of the pane.
    pub swipe: RwSignal<f64>,
    /// Which half of a blink is shown.
    pub blink_unit: RwSignal<bool>,
}

impl Look {
    /// The look of a fresh page.
    #[must_use]
    pub fn new() -> Self {
        Self {
            subject: RwSignal::new(Subject::Baseline),
            arrangement: RwSignal::new(Arrangement::Single),
            looked_at_alone: StoredValue::new(None),
            view: RwSignal::new(View::default()),
            pane: RwSignal::new(Extent::default()),
            picture: RwSignal::new(Extent::default()),
            rising: RwSignal::new(Palette::RISING[0]),
            diverging: RwSignal::new(Palette::DIVERGING[0]),
            limits: RwSignal::new(None),
            span: RwSignal::new(None),
            most_uncertain: RwSignal::new(None),
            widest_spread: RwSignal::new(None),
            recorded_limits: RwSignal::new(None),
            smooth: RwSignal::new(false),
            hatched: RwSignal::new(true),
            parts: RwSignal::new(true),
            findings: RwSignal::new(true),
            regions: RwSignal::new(true),
            places: RwSignal::new(false),
            hover: RwSignal::new(None),
            cursor: RwSignal::new(None),
            tool: RwSignal::new(Tool::Look),
            draft: RwSignal::new(Draft::default()),
            brush: RwSignal::new(4.0),
            finish: RwSignal::new(Surface::default().whole),
            chosen: RwSignal::new(None),
            pending_corner: RwSignal::new(None),
            pending_landmark: RwSignal::new(None),
            swipe: RwSignal::new(0.5),
            blink_unit: RwSignal::new(false),
        }
    }

    /// Shows one picture or two. A difference that was looked at alone comes back with it, while there is one.
    pub fn arrange(self, arrangement: Arrangement) {
        let alone = Arrangement::Single;
        match (self.arrangement.get_untracked() == alone, arrangement == alone) {
            (true, false) => {
                let subject = self.subject.get_untracked();
                self.looked_at_alone.set_value(Some(subject));
                // Two pictures are baseline and unit.
                if subject.is_derived() || subject == Subject::Recording {
                    self.subject.set(Subject::Baseline);
                }
            }
            (false, true) => {
                if let Some(subject) = self.looked_at_alone.try_update_value(Option::take).flatten() {
                    self.subject.set(subject);
                }
            }
            _ => {}
        }
        self.arrangement.set(arrangement);
    }

    /// What was looked at is not there any more: it does not come back.
    pub fn forget_looked_at_alone(self) {
        self.looked_at_alone.set_value(None);
    }

    /// Takes a tool in hand, or lays it down when it is the one in hand.
    pub fn take(self, tool: Tool) {
        let tool = if self.tool.get_untracked() == tool { Tool::Look } else { tool };
        self.draft.set(Draft::default());
        self.pending_landmark.set(None);
        if tool == Tool::Landmark {
            self.arrange(Arrangement::Beside);
        }
        self.tool.set(tool);
    }

    /// Shows the whole picture.
    pub fn fit(self) {
        self.view.set(View::fit(self.picture.get_untracked(), self.pane.get_untracked()));
    }

    /// Enlarges about the middle of the pane.
    pub fn zoom(self, factor: f64) {
        let pane = self.pane.get_untracked();
        let middle = Spot::new(pane.width / 2.0, pane.height / 2.0);
        self.zoom_at(factor, middle);
    }

    /// Enlarges about a place of the screen.
    pub fn zoom_at(self, factor: f64, screen: Spot) {
        let (picture, pane) = (self.picture.get_untracked(), self.pane.get_untracked());
        self.view.update(|view| *view = view.zoomed(factor, screen, picture, pane));
    }

    /// The place that the read-outs read: under the pointer, else under the cross-hair. Reactive.
    #[must_use]
    pub fn read_at(self) -> Option<Cursor> {
        self.hover.get().or_else(|| self.cursor.get())
    }

    /// Brings a place of the baseline to the middle and puts the cross-hair on it.
    pub fn go_to(self, place: Point<BaselinePixels>) {
        let (picture, pane) = (self.picture.get_untracked(), self.pane.get_untracked());
        let at = Spot::new(place.x, place.y);
        let close = View::fit(picture, pane).scale * 2.0;
        self.view.update(|view| *view = view.centred_on(at, close, picture, pane));
        self.cursor.set(Some(Cursor { at, plane: Plane::Baseline }));
    }
}

impl Default for Look {
    fn default() -> Self {
        Self::new()
    }
}
