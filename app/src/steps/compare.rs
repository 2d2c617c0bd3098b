//! Step 5: what counts as different, and what differs.

use leptos::prelude::*;

use super::criteria_form::CriteriaForm;
use super::findings::Findings;
use super::good_boards::GoodBoards;
use super::hard_to_judge::HardToJudge;
use super::part_limits::PartLimits;
use super::twins::Twins;
use super::unit_list::UnitList;

/// The fifth step.
#[component]
pub fn CompareStep() -> impl IntoView {
    view! {
        <UnitList />
        <CriteriaForm />
        <Findings />
        <Twins />
        <GoodBoards />
        <HardToJudge />
        <PartLimits />
    }
}
