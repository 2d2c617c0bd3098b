//! Step 4: how unit and board data lie on the baseline, and how far to trust it.

use analysis::board::Side;
use analysis::comparison::LeftOut;
use analysis::registration::Alignment;
use analysis::session::Command;
use leptos::prelude::*;

use super::board_places::BoardPlaces;
use super::landmarks::Landmarks;
use crate::stage::look::Look;
use crate::store::Store;
use crate::widgets::Choice;
use crate::wording;

const SIDES: [(Side, &str); 2] = [(Side::Top, "Component side"), (Side::Bottom, "Solder side")];

/// The fourth step.
#[component]
pub fn AlignmentStep() -> impl IntoView {
    let look = expect_context::<Look>();
    // The marks belong to this step; elsewhere they would only clutter the picture.
    look.places.set(true);
    on_cleanup(move || look.places.set(false));
    view! {
        <AlignmentFigures />
        <BoardData />
        <BoardPlaces />
        <Landmarks />
    }
}

/// What the alignment reached.
#[component]
fn AlignmentFigures() -> impl IntoView {
    let state = Store::expect().comparison();
    let alignment =
        Memo::new(move |_| state.with(|state| state.latest().map(|comparison| comparison.alignment.clone())));
    let figures = move || alignment.get().map(|alignment| view! { <Figures alignment=alignment /> });
    let left_out = move || {
        state.with(|state| {
            let left_out =
                state.latest().map(|comparison| comparison.left_out.as_slice()).unwrap_or_default();
            let words = |out: &LeftOut| format!("{} was left out: {}", out.file_name, out.reason);
            left_out.iter().map(|out| view! { <li>{words(out)}</li> }).collect::<Vec<_>>()
        })
    };
    view! {
        <div class="block">
            <h3>"The unit on the baseline"</h3>
            {figures} <ul class="remark">{left_out}</ul>
            <p class="remark" hidden=move || alignment.with(Option::is_some)>
                "Aligned by itself once both captures are there. An alignment that cannot be trusted is refused; landmarks then help."
            </p>
        </div>
    }
}

#[component]
fn Figures(
    /// What was reached.
    alignment: Alignment,
) -> impl IntoView {
    let figures = [
        (
            "Estimated error",
            format!("{} px", wording::number(alignment.residual_px, 2)),
            "alignment-residual",
        ),
        ("Overlap", wording::percent(alignment.overlap), "alignment-overlap"),
        ("Agreement of detail", wording::number(alignment.confidence, 2), "alignment-confidence"),
    ];
    let figures = figures.map(|(name, value, testid)| {
        view! {
            <div>
                <dt>{name}</dt>
                <dd data-testid=testid>{value}</dd>
            </div>
        }
    });
    view! { <dl class="figures">{figures}</dl> }
}

/// Placement and limit files, and which side is seen.
#[component]
fn BoardData() -> impl IntoView {
    let store = Store::expect();
    let layout = Memo::new(move |_| store.session().with(|session| session.layout.clone()));
    let file = |name: &str, items: usize, noun: &str, none: &str| {
        if items == 0 { none.to_owned() } else { format!("{name} · {}", wording::count(items, noun)) }
    };
    let placements = move || {
        layout.with(|l| {
            let none = "none: drop a placement table or Gerber component layers in step 2";
            let seen = l.placements.iter().filter(|part| part.side == l.side).count();
            let all = file(&l.placement_file, l.placements.len(), "part", none);
            if seen == l.placements.len() { all } else { format!("{all}, {seen} on the side seen") }
        })
    };
    let limits = move || {
        layout.with(|l| file(&l.limits_file, l.limits.len(), "limit", "none: drop a limits table in step 2"))
    };
    let netlist = move || {
        let none = "none: drop an IPC-D-356 netlist in step 2 to have nets in the probe list";
        layout.with(|l| file(&l.netlist_file, l.netlist.points().len(), "test point", none))
    };
    let outline = move || {
        layout.with(|l| match l.outline.size() {
            _ if l.outline.is_empty() => {
                "none: drop the board's profile (Gerber with attributes) in step 2 to see its edge".to_owned()
            }
            [x, y] => {
                let size = format!("{} × {} mm", wording::number(x, 1), wording::number(y, 1));
                let odd = if l.outline.fits(&l.placements) {
                    ""
                } else {
                    "; most parts lie beside it: export both from the same origin"
                };
                format!("{} · {size}{odd}", l.outline_file)
            }
        })
    };
    view! {
        <div class="block">
            <h3>"Board data"</h3>
            <dl class="figures wide">
                <div>
                    <dt>"Placements"</dt>
                    <dd data-testid="placements">{placements}</dd>
                </div>
                <div>
                    <dt>"Outline"</dt>
                    <dd data-testid="outline">{outline}</dd>
                </div>
                <div>
                    <dt>"Datasheet limits"</dt>
                    <dd>{limits}</dd>
                </div>
                <div>
                    <dt>"Netlist"</dt>
                    <dd data-testid="netlist">{netlist}</dd>
                </div>
            </dl>
            <Choice
                legend="Side that faces the camera"
                quiet=true
                options=SIDES.to_vec()
                chosen=Signal::derive(move || Some(layout.with(|layout| layout.side)))
                choose=move |side| store.dispatch(Command::ShowSide { side })
            />
        </div>
    }
}
