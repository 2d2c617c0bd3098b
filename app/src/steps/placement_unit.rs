//! In which unit are these placements? Asked of a file that does not say.

use analysis::board::LengthUnit;
use leptos::prelude::*;

use crate::store::{PlacementQuestion, Store};
use crate::wording;

const UNITS: [(LengthUnit, &str); 3] = [
    (LengthUnit::Millimeter, "Millimetres"),
    (LengthUnit::Mil, "Thousandths of an inch"),
    (LengthUnit::Inch, "Inches"),
];

/// The question about one file.
#[component]
pub fn PlacementUnitForm(
    /// Which file asks.
    question: PlacementQuestion,
) -> impl IntoView {
    let store = Store::expect();
    let [across, down] = question.span;
    let answers = UNITS.map(|(unit, name)| {
        let size = |span: f64| wording::number(span * unit.millimeters(), 0);
        let words = format!("{name}: {} × {} mm", size(across), size(down));
        view! { <button on:click=move |_| store.answer_placement_unit(Some(unit))>{words}</button> }
    });
    view! {
        <div class="block question" data-testid="placement-question">
            <h3>{format!("In which unit are the places in {}?", question.file_name)}</h3>
            <p class="remark">"The file does not say. Its parts then spread over:"</p>
            <div class="row">
                {answers}
                <button class="quiet" on:click=move |_| store.answer_placement_unit(None)>
                    "Leave the file out"
                </button>
            </div>
        </div>
    }
}
