//! What the good boards say: how this unit differs from them as a whole, and whether each of them would pass.

use std::collections::BTreeSet;

use analysis::comparison::{AgainstSpread, JudgedBy, whole_unit};
use analysis::population::{BoardCheck, EffectOfAdding, PopulationSummary};
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
    let effect = effect_of_other_boards(move || {
        against.with(|against| against.as_ref().map(|against| against.baseline.clone()))
    });
    let body = move || {
        let unit = unit.get();
        let effect = effect.get().map(|effect| {
            view! { <p class="remark" role="status" data-testid="effect-of-boards">{effect_words(&effect, unit)}</p> }
        });
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
                {effect}
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

/// What the last change of the set of good boards did, as long as it stays as it is.
fn effect_of_other_boards(
    summary: impl Fn() -> Option<PopulationSummary> + Send + Sync + 'static,
) -> Memo<Option<EffectOfAdding>> {
    #[derive(Clone, PartialEq)]
    struct Kept {
        latest: PopulationSummary,
        effect: Option<EffectOfAdding>,
    }
    let captures = |summary: &PopulationSummary| {
        summary.boards.iter().map(|board| board.capture.clone()).collect::<BTreeSet<_>>()
    };
    let kept = Memo::new(move |before: Option<&Option<Kept>>| {
        let before = before.cloned().flatten();
        let Some(latest) = summary() else { return before };
        let effect = match before {
            Some(kept) if captures(&kept.latest) == captures(&latest) => kept.effect,
            // Of another board's lot nothing can be compared.
            Some(kept) if captures(&kept.latest).is_disjoint(&captures(&latest)) => None,
            Some(kept) => Some(latest.effect_since(&kept.latest)),
            None => None,
        };
        Some(Kept { latest, effect })
    });
    Memo::new(move |_| kept.with(|kept| kept.as_ref().and_then(|kept| kept.effect.clone())))
}

fn effect_words(effect: &EffectOfAdding, unit: TemperatureUnit) -> String {
    let [before, after] = effect.boards;
    let interval = |kelvin: f64| wording::interval(unit, kelvin);
    let change = |[before, after]: [f64; 2]| format!("{} instead of {}", interval(after), interval(before));
    let middle = effect.middle_tellable().map(|middle| {
        let most = effect
            .most_changed()
            .map(|(designator, most)| format!("; most for {designator}: {}", change(*most)));
        format!(
            " A part in the middle of all must differ by {} to be called{}.",
            change(middle),
            most.unwrap_or_default()
        )
    });
    format!(
        "With {} instead of {before}: pixels of good boards differ by {}.{}",
        wording::count(after, "good board"),
        change(effect.median_spread),
        middle.unwrap_or_default()
    )
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
