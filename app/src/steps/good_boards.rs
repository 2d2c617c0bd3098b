//! What the good boards say: how this unit differs from them as a whole, and whether each of them would pass.

use analysis::comparison::{AgainstSpread, JudgedBy, whole_unit};
use analysis::population::BoardCheck;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::store::Store;
use crate::wording;

/// The good boards, once there are enough of them to differ.
#[component]
pub fn GoodBoards() -> impl IntoView {
    let store = Store::expect();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let against = Memo::new(move |_| {
        let state = store.comparison().get();
        match state.latest().map(|comparison| comparison.judged_by.clone()) {
            Some(JudgedBy::GoodBoardsSpread(against)) => Some(against),
            _ => None,
        }
    });
    let body = move || {
        let unit = unit.get();
        against.get().map(|against| {
            let rows = against.baseline.boards.iter().map(|board| board_row(board, unit)).collect::<Vec<_>>();
            let odd = against.baseline.boards.iter().filter(|board| board.outlier).count();
            let warning = (odd > 0).then(|| {
                view! {
                    <p class="caution" role="note">
                        {format!(
                            "{} among the good ones stands out as one good board in a hundred would. Look at it before it serves as known good, or set it aside in step 2.",
                            wording::count(odd, "board"),
                        )}
                    </p>
                }
            });
            view! {
                <h3>"This unit as a whole"</h3>
                <p data-testid="whole-unit">{whole_unit(&against, unit)}</p>
                {warning}
                <details>
                    <summary>{format!("The {} good boards, each held against the others", against.baseline.boards.len())}</summary>
                    <table class="plain" data-testid="good-boards">
                        <thead>
                            <tr>
                                <th scope="col">"Board"</th>
                                <th scope="col">"Would it pass?"</th>
                                <th scope="col">"Stands out most"</th>
                                <th scope="col" class="number">"Power"</th>
                            </tr>
                        </thead>
                        <tbody>{rows}</tbody>
                    </table>
                    <p class="remark">{spread_words(&against, unit)}</p>
                </details>
            }
        })
    };
    view! { <div class="block" hidden=move || against.with(Option::is_none)>{body}</div> }
}

fn board_row(board: &BoardCheck, unit: TemperatureUnit) -> impl IntoView + use<> {
    let passes = match board.probability {
        None => "cannot be told".to_owned(),
        Some(_) if board.outlier => "no: look at it".to_owned(),
        Some(probability) => {
            format!("yes ({} of good boards stand out as far)", wording::percent(probability))
        }
    };
    let power = wording::signed_percent(board.nuisance.power_factor.value - 1.0);
    let offset = wording::difference(unit, board.nuisance.offset.value);
    view! {
        <tr>
            <th scope="row">{board.serial.clone()}</th>
            <td>{passes}</td>
            <td>{board.strongest_part.clone().unwrap_or_default()}</td>
            <td class="number" title=format!("and {offset} all over")>{power}</td>
        </tr>
    }
}

fn spread_words(against: &AgainstSpread, unit: TemperatureUnit) -> String {
    format!(
        "In the middle of all pixels good boards differ by {} (standard deviation, with the camera's noise). Method: {}.",
        wording::interval(unit, against.baseline.median_spread),
        against.baseline.method
    )
}
