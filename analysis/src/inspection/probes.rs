//! The probe list: contact measurements that would confirm or refute each finding.
//!
//! Which measurement tells what is common practice of the bench, without a source. Probing a board is
//! for persons qualified for it; local rules come first.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::contacts::{Contact, Nets};
use super::findings::{Finding, Sign};
use super::part_kind::{PartKind as Kind, kind};
use super::parts::PartReading;
use crate::board::Placement;
use crate::units::{KelvinDifference, TemperatureUnit};

/// What is measured by contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeQuantity {
    /// Voltage, V.
    Voltage,
    /// Current, A.
    Current,
    /// Frequency, Hz.
    Frequency,
    /// Resistance, Ω, with the board unpowered and discharged.
    ResistanceUnpowered,
    /// Contact temperature, °C.
    ContactTemperature,
}

/// Which measurement: one per place and quantity.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProbeKey {
    /// The part or net to put the probe on.
    pub target: String,
    /// What to measure there.
    pub quantity: ProbeQuantity,
}

/// What the reading says of the place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeVerdict {
    /// As expected.
    Pass,
    /// Not as expected.
    Fail,
    /// Measure again.
    Recheck,
}

/// What a person entered for one measurement.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ProbeReading {
    /// What it should be, in words or as a number with its unit.
    pub expected: String,
    /// What was read.
    pub read: String,
    /// Free text.
    pub note: String,
    /// The person's judgement.
    pub verdict: Option<ProbeVerdict>,
}

/// Why a measurement is asked for: the finding or limit behind it, and what the reading tells.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeReason {
    /// The unit differs from the baseline here.
    Differs {
        /// Where, as the start of a sentence.
        place: String,
        /// Unit minus baseline, K.
        by: KelvinDifference,
        /// What the reading tells.
        tells: String,
    },
    /// A part differs from others of its kind on the same board.
    AmongLike {
        /// Which, as the start of a sentence.
        part: String,
        /// Part minus the others, K.
        by: KelvinDifference,
        /// The others.
        like: Vec<String>,
        /// What the reading tells.
        tells: String,
    },
    /// A part is hotter than its datasheet allows.
    OverLimit {
        /// Which.
        part: String,
        /// How far over its limit, K.
        by: KelvinDifference,
        /// What the reading tells.
        tells: String,
    },
}

/// So many others of its kind are named: more would be measured by nobody.
const LIKE_NAMED: usize = 3;

impl ProbeReason {
    /// The reason as a sentence, its numbers in `unit`.
    #[must_use]
    pub fn words(&self, unit: TemperatureUnit) -> String {
        let warmth = |by: &KelvinDifference| {
            let way = if by.value() < 0.0 { "colder" } else { "hotter" };
            format!("{} {way}", unit.write_size(*by, 1))
        };
        let (what, tells) = match self {
            Self::Differs { place, by, tells } => {
                (format!("{place} is {} than the baseline", warmth(by)), tells)
            }
            Self::AmongLike { part, by, like, tells } => {
                let named = like.iter().take(LIKE_NAMED).map(String::as_str).collect::<Vec<_>>().join(", ");
                return format!(
                    "{part} is {} than its like: {tells} (common practice). Measure {named} for comparison.",
                    warmth(by)
                );
            }
            Self::OverLimit { part, by, tells } => {
                (format!("{part} is {} over its limit", unit.write_size(*by, 1)), tells)
            }
        };
        format!("{what}: {tells} (common practice).")
    }
}

/// One line of the probe list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Probe {
    /// Which measurement.
    pub key: ProbeKey,
    /// Why it is asked for.
    pub reason: ProbeReason,
    /// Whether the board must be unpowered and discharged first.
    pub unpowered: bool,
    /// The nets to measure and where a probe reaches them; empty without a netlist.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contacts: Vec<Contact>,
}

/// To be shown wherever a measurement on the unpowered board is asked for.
pub const UNPOWERED_CAUTION: &str = "Disconnect every supply, wait until the capacitors are discharged \
     and check that no voltage is left before you measure a resistance.";
/// To be shown wherever a measurement on the powered board is asked for.
pub const POWERED_CAUTION: &str = "The board is live and parts may be hot: use insulated probes, mind \
     mains and stored charge, and follow local codes. Hazardous voltages are for qualified persons.";

/// What to measure by contact, in order: first the findings as ranked, then the parts over a limit, the worst
/// first.
///
/// At each place the measurement on the unpowered board comes first, because it cannot do harm. Each
/// place and quantity is asked for once. What a part is follows from the letters of its designator
/// (class letters in the manner of IEC 81346-2 and IEEE 315, remembered, not looked up).
///
/// With a netlist each measurement of the circuit names the nets of its part, or those around its place,
/// and where to touch them; see [`Nets`].
#[must_use]
pub fn suggest_probes(
    findings: &[Finding],
    parts: &[PartReading],
    placements: &[Placement],
    nets: Option<&Nets<'_>>,
) -> Vec<Probe> {
    let mut list = ProbeList::default();
    let of_part = |designator: &str| nets.map(|nets| nets.of_part(designator)).unwrap_or_default();
    for finding in findings {
        let target = finding.probe_target();
        let (kind, place) = match &finding.designator {
            Some(designator) if !finding.is_beside() => (kind(designator), described(designator, placements)),
            Some(designator) => {
                let away = finding.designator_distance_mm.unwrap_or_default();
                (Kind::NoPart, format!("The board {away:.1} mm beside {}", described(designator, placements)))
            }
            None => (Kind::NoPart, format!("The {target}, on no part,")),
        };
        let contacts = match &finding.designator {
            Some(designator) if !finding.is_beside() => of_part(designator),
            _ => nets.map(|nets| nets.around(finding.peak_at)).unwrap_or_default(),
        };
        list.ask(&target, &contacts, steps(kind, finding.sign), &|tells| ProbeReason::Differs {
            place: place.clone(),
            by: finding.peak,
            tells,
        });
    }
    let mut over: Vec<(KelvinDifference, &PartReading)> = parts
        .iter()
        .filter_map(|part| Some((KelvinDifference::known(-part.margin?.value()), part)))
        .filter(|(excess, _)| excess.value() > 0.0)
        .collect();
    over.sort_by(|(a, _), (b, _)| b.value().total_cmp(&a.value()));
    for (by, part) in over {
        list.ask(&part.designator, &of_part(&part.designator), OVER_LIMIT, &|tells| ProbeReason::OverLimit {
            part: described(&part.designator, placements),
            by,
            tells,
        });
    }
    list.probes
}

/// A part that differs from others of its kind.
#[derive(Debug, Clone, PartialEq)]
pub struct OutOfLine {
    /// Reference designator.
    pub designator: String,
    /// Part minus the others, K.
    pub by: KelvinDifference,
    /// The others, by reference designator.
    pub like: Vec<String>,
}

/// What to measure by contact on parts that differ from others of their kind, in the order given; else as
/// [`suggest_probes`].
#[must_use]
pub fn suggest_twin_probes(
    parts: &[OutOfLine],
    placements: &[Placement],
    nets: Option<&Nets<'_>>,
) -> Vec<Probe> {
    let mut list = ProbeList::default();
    for OutOfLine { designator, by, like } in parts {
        let contacts = nets.map(|nets| nets.of_part(designator)).unwrap_or_default();
        let sign = if by.value() < 0.0 { Sign::Colder } else { Sign::Hotter };
        list.ask(designator, &contacts, steps(kind(designator), sign), &|tells| ProbeReason::AmongLike {
            part: described(designator, placements),
            by: *by,
            like: like.clone(),
            tells,
        });
    }
    list.probes
}

/// A list in which each place and quantity is asked for once.
#[derive(Default)]
struct ProbeList {
    probes: Vec<Probe>,
    asked: BTreeSet<ProbeKey>,
}

impl ProbeList {
    fn ask(
        &mut self,
        target: &str,
        contacts: &[Contact],
        steps: &[Step],
        reason: &dyn Fn(String) -> ProbeReason,
    ) {
        for &(quantity, tells) in steps {
            let key = ProbeKey { target: target.to_owned(), quantity };
            if self.asked.insert(key.clone()) {
                let unpowered = quantity == ProbeQuantity::ResistanceUnpowered;
                let contacts = if touches_nets(quantity) { contacts.to_vec() } else { Vec::new() };
                self.probes.push(Probe { key, reason: reason(tells.to_owned()), unpowered, contacts });
            }
        }
    }
}

/// A current is measured in its path and a temperature on the body: neither between two nets.
const fn touches_nets(quantity: ProbeQuantity) -> bool {
    matches!(quantity, ProbeQuantity::Voltage | ProbeQuantity::Frequency | ProbeQuantity::ResistanceUnpowered)
}

/// What is measured and what the reading tells.
type Step = (ProbeQuantity, &'static str);

/// The designator with the value that the placement file gives it.
fn described(designator: &str, placements: &[Placement]) -> String {
    let placement = placements.iter().find(|placement| placement.designator == designator);
    match placement.map(|placement| placement.value.as_str()).filter(|value| !value.is_empty()) {
        Some(value) => format!("{designator} ({value})"),
        None => designator.to_owned(),
    }
}

const fn steps(kind: Kind, sign: Sign) -> &'static [Step] {
    use ProbeQuantity::{Current, Frequency, ResistanceUnpowered, Voltage};
    match (sign, kind) {
        (Sign::Hotter, Kind::Resistor) => &[
            (ResistanceUnpowered, "its resistance shows whether it drifted, or a part beside it is shorted"),
            (Voltage, "the voltage across it gives its current and power, and so who overloads it"),
        ],
        (Sign::Hotter, Kind::Capacitor) => &[
            (ResistanceUnpowered, "a low resistance across it means a short or strong leakage in it"),
            (Voltage, "the voltage across it must be within its rating and of the right polarity"),
        ],
        (Sign::Hotter, Kind::Winding) => &[
            (
                ResistanceUnpowered,
                "a resistance below that of a good board means shorted turns or a load short",
            ),
            (Current, "a current above that of a good board means an overload behind it"),
            (Frequency, "a switching frequency off its nominal value raises its losses"),
        ],
        (Sign::Hotter, Kind::Diode) => &[
            (
                ResistanceUnpowered,
                "a low resistance both ways round means that it is shorted, one that the meter's diode test tells sooner",
            ),
            (Voltage, "the voltage across it shows whether it conducts when it should block"),
        ],
        (Sign::Hotter, Kind::Transistor) => &[
            (ResistanceUnpowered, "a low resistance between its main terminals means that it is shorted"),
            (Voltage, "the voltage across it while it conducts shows whether it is driven fully"),
            (Frequency, "the frequency at its control terminal shows whether the drive is right"),
        ],
        (Sign::Hotter, Kind::Circuit) => &[
            (
                ResistanceUnpowered,
                "a resistance from its supply to ground below a good board's means a short",
            ),
            (Voltage, "a supply voltage off its nominal value overloads it"),
            (
                Current,
                "a supply current above a good board's means an internal fault or an overloaded output",
            ),
        ],
        (Sign::Hotter, Kind::Contact) => &[
            (
                ResistanceUnpowered,
                "a high resistance across the contact means a poor joint or a worn contact",
            ),
            (Voltage, "the voltage drop across the contact under load shows the same at full current"),
            (Current, "a current above that of a good board means an overload behind it"),
        ],
        (Sign::Hotter, Kind::Other) => &[
            (ResistanceUnpowered, "its resistance to ground against a good board's shows a short"),
            (Voltage, "the voltage across it shows whether it is overloaded"),
            (Current, "a current above that of a good board means an overload"),
        ],
        (Sign::Hotter, Kind::NoPart) => &[
            (
                ResistanceUnpowered,
                "a low resistance between the planes or tracks here means a short in the board",
            ),
            (Current, "a supply current above a good board's would confirm it"),
        ],
        (Sign::Colder, Kind::Circuit | Kind::Transistor | Kind::Other) => &[
            (ResistanceUnpowered, "an open path from its supply explains a part that does not work"),
            (Voltage, "a missing supply voltage at it explains why it does not warm up"),
            (Frequency, "a missing enable, drive or clock signal explains why it does not work"),
        ],
        (Sign::Colder, Kind::Resistor | Kind::Capacitor | Kind::Winding | Kind::Diode | Kind::Contact) => &[
            (ResistanceUnpowered, "a resistance above that of a good board means an open part or joint"),
            (Voltage, "a missing voltage at it points to the stage that feeds it"),
        ],
        (Sign::Colder, Kind::NoPart) => &[
            (Voltage, "a missing supply voltage on the tracks here explains why nothing warms them"),
            (Current, "a supply current below a good board's means that a load does not run"),
        ],
    }
}

const OVER_LIMIT: &[Step] = &[
    (ProbeQuantity::ContactTemperature, "a contact reading shows whether the emissivity was right"),
    (ProbeQuantity::Voltage, "the voltage across it gives its power together with the current"),
    (ProbeQuantity::Current, "the current through it gives its power together with the voltage"),
];
