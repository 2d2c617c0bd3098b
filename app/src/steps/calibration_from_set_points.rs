//! A calibration of detector counts, fitted to a table of black-body set-points.

use analysis::radiometry::{CalibrationFit, FitForm, SetPoint, fit_calibration, read_set_points};
use analysis::units::TemperatureUnit;
use leptos::html::Canvas;
use leptos::prelude::*;
use plotters::prelude::*;
use web_sys::HtmlCanvasElement;

use super::quantity_answer::{Kind, QuantityAnswer};
use crate::store::Store;
use crate::widgets::chart::{ChartFrame, NotDrawn, STRONG};
use crate::widgets::{Choice, DropZone};
use crate::wording;

/// What can be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Planckian,
    Quadratic,
    Cubic,
}

impl Form {
    const fn fit(self) -> FitForm {
        match self {
            Self::Planckian => FitForm::SakumaHattori { dark_level: None },
            Self::Quadratic => FitForm::Polynomial { degree: 2 },
            Self::Cubic => FitForm::Polynomial { degree: 3 },
        }
    }
}

const FORMS: [(Form, &str); 3] = [
    (Form::Planckian, "Sakuma–Hattori"),
    (Form::Quadratic, "Polynomial, 2nd degree"),
    (Form::Cubic, "Polynomial, 3rd degree"),
];

/// A table's set-points with their fit.
type Fitted = (Vec<SetPoint>, CalibrationFit);

/// The fit, for an answer that says counts.
#[component]
pub fn CalibrationFromSetPoints(
    /// The answer.
    answer: RwSignal<QuantityAnswer>,
) -> impl IntoView {
    let store = Store::expect();
    let table = RwSignal::new(None::<(String, String)>);
    let form = RwSignal::new(Form::Planckian);
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let fitted = Memo::new(move |_| {
        table.with(|table| table.as_ref().map(|(name, text)| fit(name, text, form.get())))
    });
    let take = move |files: Vec<web_sys::File>| {
        store.read_text(files, move |name, text| table.set(Some((name, text))));
    };
    let adopt = move |_| {
        if let Some(Ok((_, fit))) = fitted.get_untracked() {
            answer.update(|answer| answer.calibration = Some(fit.calibration));
        }
    };
    let figures = move || {
        let (points, fit) = fitted.get()?.ok()?;
        Some(view! { <FitFigures points=points fit=fit unit=unit.get() /> })
    };
    let trouble = move || fitted.get().and_then(Result::err);
    let adopted = move || answer.with(|answer| answer.calibration.is_some());
    view! {
        <div hidden=move || answer.with(|answer| answer.kind) != Some(Kind::Counts)>
            <details class="procedure" data-testid="set-points">
                <summary>"From set-points of a black body"</summary>
                <p class="remark">
                    "A table with two columns, named in its first line: temperature (°C) and counts. Five set-points or more, around the temperatures of your boards."
                </p>
                <DropZone title="Drop the table, or choose it" remark="CSV" testid="set-points-file" take=take />
                <Choice
                    legend="Form"
                    options=FORMS.to_vec()
                    chosen=Signal::derive(move || Some(form.get()))
                    choose=move |chosen| form.set(chosen)
                />
                {figures}
                <p class="remark" role="status">{trouble}</p>
                <div class="row">
                    <button
                        data-testid="adopt-calibration"
                        disabled=move || !fitted.with(|fitted| matches!(fitted, Some(Ok(_))))
                        on:click=adopt
                    >
                        "Use this calibration"
                    </button>
                    <button
                        class="quiet"
                        hidden=move || !adopted()
                        on:click=move |_| answer.update(|answer| answer.calibration = None)
                    >
                        "Enter scale and offset instead"
                    </button>
                </div>
                <p class="penned" hidden=move || !adopted()>"The fitted calibration is the answer."</p>
            </details>
        </div>
    }
}

fn fit(file_name: &str, text: &str, form: Form) -> Result<Fitted, String> {
    let points = read_set_points(file_name, text, None).map_err(|error| error.to_string())?;
    let fit = fit_calibration(&points, form.fit()).map_err(|error| format!("{file_name}: {error}"))?;
    Ok((points, fit))
}

/// What the fit left: figures and residuals.
#[component]
fn FitFigures(
    /// The set-points.
    points: Vec<SetPoint>,
    /// The fit.
    fit: CalibrationFit,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let canvas = NodeRef::<Canvas>::new();
    let worst = fit.residuals.iter().map(|residual| residual.value().abs()).fold(0.0, f64::max);
    let unsure = points
        .iter()
        .filter_map(|point| fit.temperature(point.counts))
        .map(|fitted| fitted.uncertainty.value())
        .fold(0.0, f64::max);
    let caption = format!(
        "Residuals of {}: at most {}; the fit's own standard uncertainty at the set-points is at most {}",
        wording::count(points.len(), "set-point"),
        wording::interval(unit, worst),
        wording::interval(unit, unsure),
    );
    let residuals: Vec<(f64, f64)> = points
        .iter()
        .zip(&fit.residuals)
        .map(|(point, residual)| {
            (unit.show(point.temperature.value()), unit.show_difference(residual.value()))
        })
        .collect();
    Effect::new(move || {
        if let Some(canvas) = canvas.get() {
            // A chart that cannot be drawn leaves its caption, which says the same in numbers.
            let _ = draw(canvas, &residuals, unit);
        }
    });
    view! {
        <figure class="profile">
            <canvas node_ref=canvas width="400" height="150" role="img" aria-label=caption.clone()></canvas>
            <figcaption>{caption}</figcaption>
        </figure>
    }
}

fn draw(canvas: HtmlCanvasElement, residuals: &[(f64, f64)], unit: TemperatureUnit) -> Result<(), NotDrawn> {
    let least = residuals.iter().map(|point| point.0).fold(f64::INFINITY, f64::min);
    let most = residuals.iter().map(|point| point.0).fold(f64::NEG_INFINITY, f64::max);
    let span = residuals.iter().map(|point| point.1.abs()).fold(0.01, f64::max) * 1.2;
    let frame = ChartFrame {
        across: least..most.max(least + 1e-6),
        up: -span..span,
        across_words: "",
        up_words: Some(unit.difference_symbol()),
        digits: [0, 2],
    };
    frame.draw(canvas, |chart| {
        chart.draw_series(residuals.iter().map(|point| Circle::new(*point, 3, STRONG.filled())))?;
        Ok(())
    })
}
