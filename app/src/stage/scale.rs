//! The colour scale beside the picture: which value has which colour, and the handles that change it.

use analysis::palette::Palette;
use analysis::surface::quantile_of_emitting;
use analysis::uncertainty::expanded;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;
use web_sys::{HtmlElement, KeyboardEvent, PointerEvent};

use super::beyond::DYE;
use super::look::{Look, Measure, ScaleKind, Subject};
use super::recorded::{Recorded, value_text as value_text_of};
use super::shown::Shown;
use crate::store::Store;
use crate::widgets::NumberField;
use crate::wording;

/// The narrowest scale, K: narrower ones would show nothing but the camera's noise.
const NARROWEST: f64 = 0.2;
/// The narrowest scale of a swing or change, K: a lock-in sees far below the noise of a frame.
const LEAST_SWING: f64 = 0.001;

/// The narrowest scale of a spread among good boards, K: it is pooled over many pixels and boards.
const LEAST_SPREAD: f64 = 0.05;

/// The share of the board whose uncertainties are told apart by colour: the few edges of parts, where a misalignment of
/// a tenth of a pixel costs kelvins, do not set the scale.
const NOT_EDGES: f64 = 0.9;

/// The limits of the colour scales, in use and as the pictures would have them.
#[derive(Debug, Clone, Copy)]
pub struct Scales {
    look: Look,
    recorded: Recorded,
    /// Lowest and highest temperature of the pictures, K.
    pub found: Memo<(f64, f64)>,
    /// The size of difference that the picture needs, K.
    pub found_span: Memo<f64>,
    /// The uncertainty that few places exceed on surfaces that mostly emit, half of its 95 % interval, K.
    pub found_uncertainty: Memo<f64>,
    /// The spread among good boards that few places exceed on surfaces that mostly emit, K.
    pub found_spread: Memo<f64>,
}

impl Scales {
    /// Scales that follow these pictures: baseline, unit and a recording's frames share one, so that equal colours
    /// are equal temperatures.
    pub fn new(
        store: Store,
        look: Look,
        recorded: Recorded,
        pictures: [Memo<Result<Shown, String>>; 2],
    ) -> Self {
        let range = |picture: Memo<Result<Shown, String>>| {
            picture.with(|picture| picture.as_ref().ok().and_then(Shown::range))
        };
        let found = Memo::new(move |_| {
            let ranges = pictures.into_iter().filter_map(range).chain(recorded.seen.get());
            let (lo, hi) = ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))).unwrap_or((293.15, 323.15));
            let (lo, hi) = (f64::from(lo), f64::from(hi));
            (lo, hi.max(lo + NARROWEST))
        });
        let found_span = Memo::new(move |_| {
            let criteria = store.session().with(|session| session.criteria);
            let span = store
                .comparison()
                .with(|state| state.latest().map(|latest| latest.difference_span(&criteria)));
            f64::from(span.unwrap_or(1.0)).max(NARROWEST)
        });
        let found_uncertainty = Memo::new(move |_| {
            let uncertainty = store.comparison().with(|state| {
                let comparison = state.latest()?;
                let (map, emissivity) = (&comparison.difference_uncertainty, &comparison.emissivity);
                quantile_of_emitting(map, emissivity, NOT_EDGES).ok().flatten()
            });
            f64::from(expanded(uncertainty.unwrap_or(1.0))).max(NARROWEST)
        });
        let found_spread = Memo::new(move |_| {
            let spread = store.comparison().with(|state| {
                let comparison = state.latest()?;
                quantile_of_emitting(comparison.spread.as_ref()?, &comparison.emissivity, NOT_EDGES)
                    .ok()
                    .flatten()
            });
            f64::from(spread.unwrap_or(1.0)).max(LEAST_SPREAD)
        });
        Self { look, recorded, found, found_span, found_uncertainty, found_spread }
    }

    /// Limits and palette of a scale. Reactive.
    #[must_use]
    pub fn of(self, kind: ScaleKind) -> ((f64, f64), Palette) {
        let palette = match kind {
            ScaleKind::Difference | ScaleKind::Recorded(Measure::Change | Measure::Lag) => {
                self.look.diverging
            }
            _ => self.look.rising,
        };
        (self.limits(kind), palette.get())
    }

    /// Lower and upper limit. Reactive.
    #[must_use]
    pub fn limits(self, kind: ScaleKind) -> (f64, f64) {
        match kind {
            ScaleKind::Temperature => self.look.limits.get().unwrap_or_else(|| self.found.get()),
            ScaleKind::Difference => {
                let span = self.look.span.get().unwrap_or_else(|| self.found_span.get());
                (-span, span)
            }
            ScaleKind::Uncertainty => {
                let most = self.look.most_uncertain.get();
                (0.0, most.unwrap_or_else(|| self.found_uncertainty.get()))
            }
            ScaleKind::Spread => {
                (0.0, self.look.widest_spread.get().unwrap_or_else(|| self.found_spread.get()))
            }
            ScaleKind::Recorded(measure) => match self.look.recorded_limits.get() {
                Some((of, lo, hi)) if of == measure => (lo, hi),
                _ => self.recorded_range(measure),
            },
        }
    }

    /// The limits that follow a recording's picture. Reactive.
    fn recorded_range(self, measure: Measure) -> (f64, f64) {
        let (lo, hi) = self.recorded.range(measure);
        let least = if matches!(measure, Measure::Change | Measure::Swing) { LEAST_SWING } else { 1.0 };
        if measure == Measure::Change && hi < least { (-least, least) } else { (lo, hi.max(lo + least)) }
    }

    /// The values from the foot to the head of the bar: what was found, and the limits with it. Reactive.
    fn bar(self, kind: ScaleKind) -> (f64, f64) {
        let (lo, hi) = self.limits(kind);
        match kind {
            ScaleKind::Temperature => {
                let (found_lo, found_hi) = self.found.get();
                (found_lo.min(lo), found_hi.max(hi))
            }
            ScaleKind::Difference => {
                let span = self.found_span.get().max(hi);
                (-span, span)
            }
            ScaleKind::Uncertainty => (0.0, self.found_uncertainty.get().max(hi)),
            ScaleKind::Spread => (0.0, self.found_spread.get().max(hi)),
            ScaleKind::Recorded(measure) => {
                let (found_lo, found_hi) = self.recorded_range(measure);
                (found_lo.min(lo), found_hi.max(hi))
            }
        }
    }

    fn set_limit(self, kind: ScaleKind, upper: bool, value: f64) {
        match kind {
            ScaleKind::Temperature => {
                let (lo, hi) = untrack(|| self.limits(kind));
                self.look.limits.set(Some(if upper {
                    (lo, value.max(lo + NARROWEST))
                } else {
                    (value.min(hi - NARROWEST), hi)
                }));
            }
            ScaleKind::Difference => self.look.span.set(Some(value.abs().max(NARROWEST))),
            ScaleKind::Uncertainty if upper => self.look.most_uncertain.set(Some(value.max(NARROWEST))),
            ScaleKind::Spread if upper => self.look.widest_spread.set(Some(value.max(LEAST_SPREAD))),
            // Their lower end is zero.
            ScaleKind::Uncertainty | ScaleKind::Spread => {}
            ScaleKind::Recorded(measure) => {
                let (lo, hi) = untrack(|| self.limits(kind));
                let least = 0.001 * (hi - lo);
                let (lo, hi) = match (measure, upper) {
                    (Measure::Change, _) => (-value.abs().max(LEAST_SWING), value.abs().max(LEAST_SWING)),
                    (_, true) => (lo, value.max(lo + least)),
                    (_, false) => (value.min(hi - least), hi),
                };
                self.look.recorded_limits.set(Some((measure, lo, hi)));
            }
        }
    }

    /// Whether the limits follow the picture. Reactive.
    fn follows(self, kind: ScaleKind) -> bool {
        match kind {
            ScaleKind::Temperature => self.look.limits.get().is_none(),
            ScaleKind::Difference => self.look.span.get().is_none(),
            ScaleKind::Uncertainty => self.look.most_uncertain.get().is_none(),
            ScaleKind::Spread => self.look.widest_spread.get().is_none(),
            ScaleKind::Recorded(measure) => {
                self.look.recorded_limits.get().is_none_or(|(of, ..)| of != measure)
            }
        }
    }

    fn follow_picture(self, kind: ScaleKind) {
        match kind {
            ScaleKind::Temperature => self.look.limits.set(None),
            ScaleKind::Difference => self.look.span.set(None),
            ScaleKind::Uncertainty => self.look.most_uncertain.set(None),
            ScaleKind::Spread => self.look.widest_spread.set(None),
            ScaleKind::Recorded(_) => self.look.recorded_limits.set(None),
        }
    }
}

/// Whether a scale's values are sizes of differences, without the offset of a temperature.
fn is_interval(kind: ScaleKind) -> bool {
    kind != ScaleKind::Temperature
}

fn shown_value(unit: TemperatureUnit, kind: ScaleKind, kelvin: f64) -> f64 {
    match kind {
        ScaleKind::Recorded(Measure::Lag) => return kelvin.to_degrees().round(),
        ScaleKind::Recorded(Measure::Seconds) => return (kelvin * 10.0).round() / 10.0,
        ScaleKind::Recorded(Measure::Change | Measure::Swing) => {
            let shown = unit.show_difference(kelvin);
            // The smaller a swing, the more of its digits count.
            let steps = if shown.abs() < 0.1 {
                1e4
            } else if shown.abs() < 1.0 {
                1e3
            } else {
                1e2
            };
            return (shown * steps).round() / steps;
        }
        _ => {}
    }
    let value = if is_interval(kind) { unit.show_difference(kelvin) } else { unit.show(kelvin) };
    // As many digits as the wording gives: 0.1, and 0.01 for differences below 10.
    let steps = if is_interval(kind) && value.abs() < 10.0 { 100.0 } else { 10.0 };
    (value * steps).round() / steps
}

fn read_value(unit: TemperatureUnit, kind: ScaleKind, shown: f64) -> f64 {
    match kind {
        ScaleKind::Recorded(Measure::Lag) => return shown.to_radians(),
        ScaleKind::Recorded(Measure::Seconds) => return shown,
        _ => {}
    }
    // A difference has no offset, so it is read as one unit's share of a kelvin.
    if is_interval(kind) { shown / unit.show_difference(1.0) } else { unit.read(shown) }
}

fn value_text(unit: TemperatureUnit, kind: ScaleKind, kelvin: f64) -> String {
    match kind {
        ScaleKind::Temperature => wording::temperature(unit, kelvin),
        ScaleKind::Difference => wording::difference(unit, kelvin),
        ScaleKind::Uncertainty | ScaleKind::Spread => wording::interval(unit, kelvin),
        ScaleKind::Recorded(measure) => value_text_of(unit, measure, kelvin),
    }
}

/// The scale with its handles and fields.
#[component]
pub fn ColorScale() -> impl IntoView {
    let look = expect_context::<Look>();
    let scales = expect_context::<Scales>();
    let store = Store::expect();
    let unit = Signal::derive(move || store.session().with(|session| session.temperature_unit));
    let recorded = expect_context::<Recorded>();
    let kind = Signal::derive(move || match look.subject.get() {
        Subject::Recording => recorded.scale(),
        subject => subject.scale(),
    });
    let bar = NodeRef::<leptos::html::Div>::new();
    let following = move || scales.follows(kind.get());
    let field = move |upper: bool| {
        let value = Signal::derive(move || {
            let (lo, hi) = scales.limits(kind.get());
            Some(shown_value(unit.get(), kind.get(), if upper { hi } else { lo }))
        });
        let commit = move |typed: Option<f64>| {
            let value = read_value(unit.get_untracked(), kind.get_untracked(), typed?);
            scales.set_limit(kind.get_untracked(), upper, value);
            None
        };
        let symbol = Signal::derive(move || {
            let symbol = match kind.get() {
                ScaleKind::Recorded(Measure::Lag) => "°",
                ScaleKind::Recorded(Measure::Seconds) => "s",
                kind if is_interval(kind) => unit.get().difference_symbol(),
                _ => unit.get().symbol(),
            };
            symbol.to_owned()
        });
        view! { <NumberField label=if upper { "Upper" } else { "Lower" } unit=symbol value=value commit=commit /> }
    };
    view! {
        <div class="scale" aria-label="Colour scale" role="group">
            <p class="scale-title" data-testid="scale-title">{move || kind.get().name()}</p>
            <DyeKey kind=kind unit=unit />
            {field(true)} <div class="bar" node_ref=bar>
                <ScaleColors kind=kind />
                <Handle upper=true kind=kind unit=unit bar=bar />
                <Handle upper=false kind=kind unit=unit bar=bar />
            </div> {field(false)}
            <button
                aria-pressed=move || following().to_string()
                title="The colours fit what the picture holds"
                on:click=move |_| scales.follow_picture(kind.get_untracked())
            >
                "Fit"
            </button>
        </div>
    }
}

/// What the dye in a recording's picture means, while there is any.
#[component]
fn DyeKey(
    /// What the scale measures.
    kind: Signal<ScaleKind>,
    /// The unit to show values in.
    unit: Signal<TemperatureUnit>,
) -> impl IntoView {
    let (look, recorded) = (expect_context::<Look>(), expect_context::<Recorded>());
    let key = move || {
        let dyed = look.subject.get() == Subject::Recording && kind.get() == ScaleKind::Temperature;
        recorded.beyond.get().filter(|_| dyed).map(|beyond| {
            let [r, g, b] = DYE;
            let way = if beyond.above { "above" } else { "below" };
            let words = format!("{way} {}", wording::temperature(unit.get(), beyond.kelvin));
            view! {
                <p class="dye-key" data-testid="dye-key">
                    <i style:background=format!("repeating-linear-gradient(135deg, rgb({r} {g} {b}) 0 3px, transparent 3px 6px)")></i>
                    {words}
                </p>
            }
        })
    };
    view! { {key} }
}

/// The run of colours as a gradient between the handles, end colours beyond them.
#[component]
fn ScaleColors(
    /// What it measures.
    kind: Signal<ScaleKind>,
) -> impl IntoView {
    let scales = expect_context::<Scales>();
    let gradient = move || {
        let ((lo, hi), palette) = scales.of(kind.get());
        let (foot, head) = scales.bar(kind.get());
        let percent = |value: f64| 100.0 * (value - foot) / (head - foot).max(f64::EPSILON);
        let (lo, hi) = (percent(lo), percent(hi));
        let colors = palette.colors();
        let stops: Vec<String> = colors
            .iter()
            .step_by(15)
            .enumerate()
            .map(|(place, [r, g, b])| {
                let at = lo + (hi - lo) * (place * 15) as f64 / (colors.len() - 1) as f64;
                format!("rgb({r} {g} {b}) {at:.1}%")
            })
            .collect();
        format!("linear-gradient(to top, {})", stops.join(", "))
    };
    view! { <div class="colors" style:background=gradient></div> }
}

/// One limit, pulled by pointer or moved by keys.
#[component]
fn Handle(
    /// Whether it is the upper limit.
    upper: bool,
    /// What it measures.
    kind: Signal<ScaleKind>,
    /// The unit to show values in.
    unit: Signal<TemperatureUnit>,
    /// The bar that it slides along.
    bar: NodeRef<leptos::html::Div>,
) -> impl IntoView {
    let scales = expect_context::<Scales>();
    let value = move || {
        let (lo, hi) = scales.limits(kind.get());
        if upper { hi } else { lo }
    };
    let height = move || {
        let (foot, head) = scales.bar(kind.get());
        format!("{:.2}%", 100.0 * (value() - foot) / (head - foot).max(f64::EPSILON))
    };
    let grip = move |event: PointerEvent| {
        let handle: HtmlElement = event_target(&event);
        // Without capture the handle still follows while the pointer stays over it.
        let _ = handle.set_pointer_capture(event.pointer_id());
    };
    let pull = move |event: PointerEvent| {
        let Some(bar) = bar.get_untracked().filter(|_| event.buttons() & 1 == 1) else { return };
        let area = bar.get_bounding_client_rect();
        let (foot, head) = untrack(|| scales.bar(kind.get()));
        let fraction = 1.0 - (f64::from(event.client_y()) - area.top()) / area.height().max(1.0);
        scales.set_limit(kind.get_untracked(), upper, foot + fraction.clamp(0.0, 1.0) * (head - foot));
    };
    let step = move |event: KeyboardEvent| {
        let (foot, head) = untrack(|| scales.bar(kind.get()));
        let by = (head - foot) / 50.0;
        let by = match event.key().as_str() {
            "ArrowUp" | "ArrowRight" => by,
            "ArrowDown" | "ArrowLeft" => -by,
            _ => return,
        };
        event.prevent_default();
        scales.set_limit(kind.get_untracked(), upper, untrack(value) + by);
    };
    view! {
        <div
            class="handle"
            role="slider"
            tabindex="0"
            aria-orientation="vertical"
            aria-label=if upper { "Upper end of the colour scale" } else { "Lower end of the colour scale" }
            aria-valuemin=move || scales.bar(kind.get()).0.to_string()
            aria-valuemax=move || scales.bar(kind.get()).1.to_string()
            aria-valuenow=move || value().to_string()
            aria-valuetext=move || value_text(unit.get(), kind.get(), value())
            style:bottom=height
            on:pointerdown=grip
            on:pointermove=pull
            on:keydown=step
        ></div>
    }
}
