//! What to measure by contact where parts of one kind are all that a unit can be held against.

use super::among_twins::TwinReport;
use super::board_to_picture;
use super::twin_words::standing_out;
use crate::inspection::{Nets, OutOfLine, Probe, suggest_twin_probes};
use crate::session::Session;
use crate::units::KelvinDifference;

/// The contact measurements that tell whether a part that stands out among its like is faulty or only works
/// differently: the same as for a finding, with its like to compare.
#[must_use]
pub fn probes_among_twins(session: &Session, report: &TwinReport) -> Vec<Probe> {
    let out = standing_out(report).into_iter().map(|(group, part)| {
        let others = group.parts.iter().filter(|other| other.designator != part.designator);
        // Those that stand out themselves are nothing to compare with, but where there is no other.
        let sound: Vec<_> = others.clone().filter(|other| !other.significant).collect();
        let like = if sound.is_empty() { others.collect() } else { sound };
        OutOfLine {
            designator: part.designator.clone(),
            by: KelvinDifference::known(part.difference.value),
            like: like.into_iter().map(|other| other.designator.clone()).collect(),
        }
    });
    let out: Vec<_> = out.collect();
    let layout = &session.layout;
    let map = board_to_picture(layout).ok().flatten();
    let nets = Nets::new(&layout.netlist, layout.side, &layout.placements, map.as_ref());
    suggest_twin_probes(&out, &layout.placements, nets.as_ref())
}
