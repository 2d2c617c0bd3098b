//! What counts as different.

use serde::{Deserialize, Serialize};

use crate::units::KelvinDifference;

/// What is subtracted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Surface temperatures as they are.
    Absolute,
    /// Rises above each capture's own ambient.
    #[default]
    RiseAboveAmbient,
    /// Rises above ambient, the unit's scaled to the baseline's electrical power.
    RiseAtEqualPower,
}

/// By which rule a difference counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// When another good board would hardly show it; needs several good boards, with fewer the limit decides.
    #[default]
    GoodBoardsSpread,
    /// When it exceeds a stated limit and what noise explains.
    Limit,
}

/// The person's settings for the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Criteria {
    /// What is subtracted.
    pub basis: Basis,
    /// A difference smaller than this is never a finding under [`Rule::Limit`], K.
    pub limit: KelvinDifference,
    /// A difference smaller than this many times the standard deviation that chance and unit-to-unit spread make
    /// of equal boards is never a finding under [`Rule::Limit`].
    pub noise_multiple: f64,
    /// A finding has at least this many pixels, under [`Rule::Limit`].
    pub least_area_px: u32,
    /// By which rule a difference counts.
    #[serde(default)]
    pub rule: Rule,
    /// Good boards of a hundred that may be called different by chance, under [`Rule::GoodBoardsSpread`].
    #[serde(default = "usual_false_alarms")]
    pub false_alarms_per_hundred: f64,
    /// A difference smaller than this is of no interest however sure it is, under [`Rule::GoodBoardsSpread`], K.
    #[serde(default = "usual_least_difference")]
    pub least_difference: KelvinDifference,
    /// How parts of one kind on one board are held against each other.
    #[serde(default)]
    pub twins: TwinCriteria,
}

/// How parts of one kind on one board are held against each other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TwinCriteria {
    /// Whether they are where there are known-good boards too; without any they always are.
    pub beside_good_boards: bool,
    /// What parts of one kind usually differ by, as a share of what each warms itself by: a standard deviation.
    pub usual_share: f64,
}

impl Default for TwinCriteria {
    /// Five percent (common practice, no source).
    fn default() -> Self {
        Self { beside_good_boards: false, usual_share: 0.05 }
    }
}

const fn usual_false_alarms() -> f64 {
    5.0
}

const fn usual_least_difference() -> KelvinDifference {
    KelvinDifference::known(0.5)
}

impl Default for Criteria {
    fn default() -> Self {
        Self {
            basis: Basis::default(),
            limit: KelvinDifference::known(2.0),
            noise_multiple: 4.0,
            least_area_px: 9,
            rule: Rule::default(),
            false_alarms_per_hundred: usual_false_alarms(),
            least_difference: usual_least_difference(),
            twins: TwinCriteria::default(),
        }
    }
}
