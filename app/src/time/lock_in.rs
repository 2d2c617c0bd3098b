//! Lock-in: what swings with a supply that is switched, how surely, where its source sits, and at which frequency
//! to record next time.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use analysis::recorded_frame::untold_movement;
use analysis::sequence::lock_in::MOST_HARMONICS;
use analysis::sequence::{
    EstimatedReference, FEWEST_PERIODS, NoRhythm, PointSource, Reference, diffusion_length_mm,
    estimate_reference, frames_for_floor, frequency_for_length, reference_from_events,
};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::curves::{Chosen, curves};
use super::desk::{Desk, LockInFound};
use super::fit_parcel::LockInAsk;
use super::moment::moment_words;
use super::protocol::PictureKind;
use crate::stage::look::Look;
use crate::store::Store;
use crate::widgets::{Choice, NumberField, Picker};
use crate::wording;

/// Below this an estimated swing may be chance.
const SURE: f64 = 5.0;
/// With fewer periods warming up leaks into the swing; common practice, no source.
const MANY_PERIODS: f64 = 10.0;
/// The probability that the drawn ellipse holds the source.
const ELLIPSE: f64 = 0.95;

/// Where the reference comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    Events,
    Entered,
    Estimated,
}

const ORIGINS: [(Origin, &str); 3] =
    [(Origin::Events, "from events"), (Origin::Entered, "entered"), (Origin::Estimated, "found in a curve")];
const DRIFTS: [(u8, &str); 3] = [(0, "none"), (1, "straight"), (2, "curved")];

/// A lock-in as it is being stated.
#[derive(Debug, Clone, Copy)]
struct Stated {
    origin: RwSignal<Origin>,
    event: RwSignal<usize>,
    period_s: RwSignal<Option<f64>>,
    zero_s: RwSignal<f64>,
    curve: RwSignal<usize>,
    harmonics: RwSignal<usize>,
    drift: RwSignal<u8>,
}

/// The names of events that came more than once.
fn repeated_events(desk: Desk) -> Vec<String> {
    desk.timeline.with(|timeline| {
        let mut counts = BTreeMap::<String, usize>::new();
        for event in timeline.as_ref().map(|timeline| timeline.events()).unwrap_or_default() {
            *counts.entry(event.name.clone()).or_default() += 1;
        }
        counts.into_iter().filter(|(_, count)| *count > 1).map(|(name, _)| name).collect()
    })
}

/// The fold.
#[component]
pub fn LockInPanel() -> impl IntoView {
    let (store, desk, chosen) = (Store::expect(), expect_context::<Desk>(), expect_context::<Chosen>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let events = Memo::new(move |_| repeated_events(desk));
    let has_events = events.with_untracked(|events| !events.is_empty());
    let stated = Stated {
        origin: RwSignal::new(if has_events { Origin::Events } else { Origin::Entered }),
        event: RwSignal::new(0),
        period_s: RwSignal::new(None),
        zero_s: RwSignal::new(0.0),
        curve: RwSignal::new(0),
        harmonics: RwSignal::new(1),
        drift: RwSignal::new(1),
    };
    let estimated = Memo::new(move |_| {
        if stated.origin.get() != Origin::Estimated {
            return None;
        }
        let span = desk.span.get();
        desk.trends.with(|trends| {
            let trends = trends.as_ref()?;
            let (place, reading) = curves(trends).get(stated.curve.get())?.series(chosen.reading.get());
            let (times, values) = trends.series.of(place, reading, &span)?;
            Some(estimate_reference(&times, &values))
        })
    });
    let reference = Memo::new(move |_| {
        let stated = match stated.origin.get() {
            Origin::Events => events
                .with(|events| events.get(stated.event.get()).cloned())
                .and_then(|name| {
                    let times = desk.timeline.with(|timeline| Some(timeline.as_ref()?.times_of(&name)))?;
                    reference_from_events(&times)
                })
                .ok_or_else(|| "No event came twice, so that no period is known from events.".to_owned()),
            Origin::Entered => stated
                .period_s
                .get()
                .map(|period| Reference { frequency_hz: 1.0 / period, zero_s: stated.zero_s.get() })
                .ok_or_else(|| "Enter the period with which the power is switched.".to_owned()),
            Origin::Estimated => match estimated.get() {
                None => Err("Follow the places over time first.".to_owned()),
                Some(Err(why)) => Err(no_rhythm_words(why)),
                Some(Ok(found)) => Ok(found.reference),
            },
        };
        stated.and_then(|reference| usable(desk, reference))
    });
    let multiples: Vec<String> = (1..=MOST_HARMONICS).map(|n| n.to_string()).collect();
    let lock = move |_| {
        if let Ok(Reference { frequency_hz, zero_s }) = reference.get_untracked() {
            let (harmonics, drift) = (stated.harmonics.get_untracked(), stated.drift.get_untracked());
            desk.lock_in_to(LockInAsk { frequency_hz, zero_s, harmonics, drift });
        }
    };
    // What was found stays as it was asked; whether that is what is stated now stands beside it.
    let is_earlier = move |found: &LockInFound| {
        let asked = Reference { frequency_hz: found.ask.frequency_hz, zero_s: found.ask.zero_s };
        let settings = (stated.harmonics.get(), stated.drift.get());
        reference.with(|now| now.as_ref() != Ok(&asked))
            || settings != (found.ask.harmonics, found.ask.drift)
            || desk.span.with(|span| *span != found.span)
    };
    let earlier = move || {
        let found = desk.lock_in.get().filter(|found| is_earlier(found))?;
        Some(format!(
            "These figures are of an earlier lock-in: period {}, frames {} to {}. Lock in again for what is stated now.",
            wording::seconds(1.0 / found.ask.frequency_hz),
            found.span.start + 1,
            found.span.end
        ))
    };
    view! {
        <details class="panel" data-testid="lock-in">
            <summary>"Lock-in"</summary>
            <div class="panel-body">
                <p class="remark">
                    "For a supply or load that is switched in a steady rhythm: what swings with it is found far below the noise of a frame. Over the marked span."
                </p>
                <ReferenceFields stated=stated events=events estimated=estimated />
                <p class="penned" data-testid="lock-in-reference">{move || reference.get().map_or_else(|why| why, |found| rhythm(desk, found))}</p>
                <div class="row">
                    <Picker
                        label="Harmonics fitted"
                        options=multiples
                        chosen=Signal::derive(move || Some(stated.harmonics.get() - 1))
                        choose=move |place: usize| stated.harmonics.set(place + 1)
                    />
                    <Choice
                        legend="Drift taken off"
                        options=DRIFTS.to_vec()
                        chosen=Signal::derive(move || Some(stated.drift.get()))
                        choose=move |drift| stated.drift.set(drift)
                    />
                    <button
                        class="primary"
                        data-testid="lock-in-start"
                        disabled=move || reference.with(Result::is_err) || desk.work.with(Option::is_some)
                        on:click=lock
                    >
                        "Lock in"
                    </button>
                </div>
                <p class="penned" role="status" data-testid="lock-in-earlier" hidden=move || earlier().is_none()>{earlier}</p>
                {move || desk.lock_in.get().map(|found| view! { <Found found=found unit=unit.get() /> })}
                <Advice />
            </div>
        </details>
    }
}

/// From one frame of a span to the next, s; `None` without times.
fn interval_s(desk: Desk, span: &Range<usize>) -> Option<f64> {
    let (from, to) = desk.time_of(span.start).zip(desk.time_of(span.end.saturating_sub(1)))?;
    let interval = (to - from) / span.len().saturating_sub(1) as f64;
    (interval.is_finite() && interval > 0.0).then_some(interval)
}

/// How many periods a span holds; every frame stands for the time to the next. Reactive.
fn periods_in(desk: Desk, span: &Range<usize>, frequency_hz: f64) -> Option<f64> {
    Some(span.len() as f64 * interval_s(desk, span)? * frequency_hz)
}

/// The reference where it can be locked in to over the marked span, else why not. Reactive.
fn usable(desk: Desk, reference: Reference) -> Result<Reference, String> {
    if !(reference.frequency_hz > 0.0 && reference.frequency_hz.is_finite()) {
        return Err("The period must be above zero.".to_owned());
    }
    let span = desk.span.get();
    match periods_in(desk, &span, reference.frequency_hz) {
        None => Err("The marked span has no times of frames, or only one frame.".to_owned()),
        Some(periods) if periods < FEWEST_PERIODS => Err(format!(
            "One period lasts {}, so that the marked span holds {} periods: at least {} are needed to tell it from drift.",
            wording::seconds(1.0 / reference.frequency_hz),
            wording::number(periods, 1),
            wording::number(FEWEST_PERIODS, 0)
        )),
        Some(_) => Ok(reference),
    }
}

/// Why a curve yields no rhythm, and what to do.
fn no_rhythm_words(why: NoRhythm) -> String {
    let advice = match why {
        NoRhythm::TooFew | NoRhythm::TooSlow => "Mark a longer span or record longer.",
        NoRhythm::NotRising => "Look at the times of the frames.",
        NoRhythm::DriftAlone => {
            "Mark a span after warm-up, choose the curve of a part that is switched, or enter the period."
        }
    };
    format!("This curve gives no period over the marked span: {why}. {advice}")
}

/// What a reference means for the marked span. Reactive.
fn rhythm(desk: Desk, reference: Reference) -> String {
    let period = 1.0 / reference.frequency_hz;
    let span = desk.span.get();
    let periods = periods_in(desk, &span, reference.frequency_hz).unwrap_or(0.0);
    let frames = interval_s(desk, &span).map_or(0.0, |interval| period / interval);
    format!(
        "One period lasts {}; it begins at {}. The span holds {} periods, {} frames each.",
        wording::seconds(period),
        moment_words(reference.zero_s),
        wording::number(periods, 1),
        wording::number(frames, 1)
    )
}

/// What a lock-in cannot know, beside what it found.
fn reservation(ask: &LockInAsk, periods: f64) -> String {
    let told = "A lock-in names a source only if the power really swings with this period: with any other it finds something all the same.";
    let drift = match ask.drift {
        0 => "No drift is taken off, so that warming up counts as amplitude.",
        1 => "Only a straight drift is taken off: a warm-up, which is curved, leaks into the amplitude.",
        _ => "What of warming up is no parabola leaks into the amplitude.",
    };
    let few = if periods < MANY_PERIODS {
        format!(
            " The span holds only {} periods, too few to tell it from warming up: mark a span after warm-up or record longer.",
            wording::number(periods, 1)
        )
    } else {
        String::new()
    };
    format!("{told} {drift}{few}")
}

#[component]
fn ReferenceFields(
    /// What is being stated.
    stated: Stated,
    /// Events that came more than once.
    events: Memo<Vec<String>>,
    /// What was found in a curve.
    estimated: Memo<Option<Result<EstimatedReference, NoRhythm>>>,
) -> impl IntoView {
    let desk = expect_context::<Desk>();
    let names = Signal::derive(move || {
        let all = desk.trends.with(|trends| trends.as_ref().map(|trends| curves(trends)).unwrap_or_default());
        all.into_iter().map(|curve| curve.name).collect::<Vec<_>>()
    });
    let is = move |origin| move || stated.origin.get() != origin;
    let set_period = move |typed: Option<f64>| match typed.filter(|period| *period > 0.0) {
        Some(period) => {
            stated.period_s.set(Some(period));
            None
        }
        None => Some("must be above zero".to_owned()),
    };
    let set_zero = move |typed: Option<f64>| {
        stated.zero_s.set(typed.unwrap_or(0.0));
        None
    };
    let judged = move || {
        let found = estimated.get()?.ok()?;
        Some(if found.standing_out < SURE {
            format!(
                "It hardly stands out ({} times its uncertainty): there may be none at all.",
                wording::number(found.standing_out, 1)
            )
        } else {
            format!("It stands out {} times its uncertainty.", wording::number(found.standing_out, 0))
        })
    };
    view! {
        <div class="row">
            <Choice
                legend="The period is"
                testid="lock-in-origin"
                options=ORIGINS.to_vec()
                chosen=Signal::derive(move || Some(stated.origin.get()))
                choose=move |origin| stated.origin.set(origin)
            />
            <div hidden=is(Origin::Events)>
                <Picker
                    label="Switched on at"
                    options=events
                    hint="no event came twice"
                    chosen=Signal::derive(move || Some(stated.event.get()))
                    choose=move |place| stated.event.set(place)
                />
            </div>
            <div class="row" hidden=is(Origin::Entered)>
                <NumberField
                    label="Period"
                    unit="s".to_owned()
                    value=Signal::derive(move || stated.period_s.get())
                    commit=set_period
                    testid="lock-in-period"
                />
                <NumberField
                    label="Switched on at"
                    unit="s".to_owned()
                    value=Signal::derive(move || Some(stated.zero_s.get()))
                    commit=set_zero
                />
            </div>
            <div hidden=is(Origin::Estimated)>
                <Picker
                    label="In this curve"
                    options=names
                    hint="follow the places first"
                    chosen=Signal::derive(move || Some(stated.curve.get()))
                    choose=move |place| stated.curve.set(place)
                    testid="lock-in-curve"
                />
                <p class="remark">{judged}</p>
            </div>
        </div>
    }
}

/// What a lock-in found.
#[component]
fn Found(
    /// What it found.
    found: Arc<LockInFound>,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let store = Store::expect();
    let desk = expect_context::<Desk>();
    let look = expect_context::<Look>();
    let swing = |kelvin| wording::swing(unit, kelvin);
    let ellipse = found.source.as_ref().map(|source| source.ellipse(ELLIPSE));
    let drawn = found.source.as_ref().zip(ellipse);
    desk.show_ellipse(drawn.map(|(source, ellipse)| {
        [source.at.x, source.at.y, ellipse.semi_major, ellipse.semi_minor, ellipse.angle]
    }));
    let figures = [
        ("Frames", found.frames.to_string()),
        ("Left over in a pixel and frame", swing(found.typical_noise)),
        ("Noise floor of the amplitude", swing(found.noise_floor)),
        ("Detectable in a single pixel (99 %)", swing(found.detectable)),
        (
            "Frames for a floor half as high",
            wording::number(frames_for_floor(found.typical_noise, found.noise_floor / 2.0), 0),
        ),
    ];
    let figures = figures.map(|(name, value)| view! { <div><dt>{name}</dt> <dd>{value}</dd></div> });
    let source = match (found.source.clone(), ellipse) {
        (Some(source), Some(ellipse)) => {
            let at = source.at;
            let words = source_words(&source, ellipse.semi_major, ellipse.semi_minor, unit);
            view! {
                <div class="row">
                    <p class="penned" data-testid="lock-in-source">{words}</p>
                    <button on:click=move |_| look.go_to(at)>"Show it"</button>
                </div>
            }
            .into_any()
        }
        _ => view! {
            <p class="penned" data-testid="lock-in-source">
                "Nothing keeps time beyond what noise alone would show somewhere in the picture."
            </p>
        }
        .into_any(),
    };
    let untold = desk.metadata.with_untracked(|metadata| {
        store.session().with_untracked(|session| untold_movement(session, metadata, found.typical_noise))
    });
    let restless = untold.map(|times| {
        let words = format!(
            "The fit leaves over {} times the camera's noise: something moves the picture that has not this period, such as warming up. Do not trust what is found before that is gone.",
            wording::number(times, 0)
        );
        view! { <p class="caution" role="note" data-testid="lock-in-restless">{words}</p> }
    });
    let periods = untrack(|| periods_in(desk, &found.span, found.ask.frequency_hz)).unwrap_or(0.0);
    let reserved = reservation(&found.ask, periods);
    view! {
        {restless}
        <dl class="facts">{figures}</dl>
        {source}
        <p class="remark" data-testid="lock-in-reservation">{reserved}</p>
        <div class="row">
            <button on:click=move |_| desk.look_at(PictureKind::Amplitude)>"Picture of the amplitude"</button>
            <button on:click=move |_| desk.look_at(PictureKind::Lag)>"Picture of the phase"</button>
            <span class="remark">"The phase is shown where the amplitude is detectable."</span>
        </div>
    }
}

fn source_words(source: &PointSource, major: f64, minor: f64, unit: TemperatureUnit) -> String {
    format!(
        "The strongest source sits at {}, {} px, within an ellipse of {} × {} px half axes (95 %); its amplitude is {} (u = {}), {}° late (u = {}°). It is told from all the pixels that it warms, which show less than a single one could.",
        wording::number(source.at.x, 1),
        wording::number(source.at.y, 1),
        wording::number(major, 2),
        wording::number(minor, 2),
        wording::swing(unit, source.amplitude),
        wording::swing(unit, source.amplitude_uncertainty),
        wording::number(source.lag.to_degrees(), 0),
        wording::number(source.lag_uncertainty.to_degrees(), 1),
    )
}

/// Which frequency to choose for the next recording.
#[component]
fn Advice() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let length_mm = RwSignal::new(None::<f64>);
    let diffusivity_mm2 = RwSignal::new(None::<f64>);
    let positive = |signal: RwSignal<Option<f64>>| {
        move |typed: Option<f64>| match typed {
            Some(value) if value <= 0.0 => Some("must be above zero".to_owned()),
            typed => {
                signal.set(typed);
                None
            }
        }
    };
    // The core counts in m²/s.
    let in_square_metres = |mm2: f64| mm2 * 1e-6;
    let advised = move || {
        let (length, diffusivity) = length_mm.get().zip(diffusivity_mm2.get())?;
        let frequency = frequency_for_length(in_square_metres(diffusivity), length);
        Some(format!(
            "Switch once in {} ({} Hz).",
            wording::seconds(1.0 / frequency),
            wording::plain(frequency)
        ))
    };
    let seen = move || {
        let found = desk.lock_in.get()?;
        let diffusivity = diffusivity_mm2.get()?;
        let length = diffusion_length_mm(in_square_metres(diffusivity), found.ask.frequency_hz);
        Some(format!("With the period of this lock-in it reaches about {} mm.", wording::number(length, 1)))
    };
    view! {
        <details>
            <summary class="remark">"Which period to choose for the next recording"</summary>
            <div class="panel-body">
                <p class="remark">
                    "As fast as lets neighbours be told apart, as slow as lets a source that deep be seen: the swing reaches about one diffusion length. Enter the board's diffusivity along its plane; copper planes raise it many times over bare laminate, so measure it where it matters."
                </p>
                <div class="fields">
                    <NumberField
                        label="Distance or depth to tell"
                        unit="mm".to_owned()
                        value=Signal::derive(move || length_mm.get())
                        commit=positive(length_mm)
                        testid="advice-length"
                    />
                    <NumberField
                        label="Thermal diffusivity"
                        unit="mm²/s".to_owned()
                        value=Signal::derive(move || diffusivity_mm2.get())
                        commit=positive(diffusivity_mm2)
                        testid="advice-diffusivity"
                    />
                </div>
                <p class="penned" data-testid="advice">{advised}</p>
                <p class="remark">{seen}</p>
            </div>
        </details>
    }
}
