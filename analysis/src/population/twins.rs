//! Parts of one kind on one board held against each other: a check where no known-good board exists.
//!
//! Twins have the same package, the same value and the same class letters. What is compared is each part's step: its
//! body less the board close around it, which is taken as a plane through its collar, so that what neighbours and the
//! rest of the board send counts on neither side. A step follows the part's own power; the same power makes nearly the
//! same step wherever the part sits.
//!
//! Each part is held against the median of its twins without itself. The spread it is held against is what parts of
//! one kind usually differ by ([`UsualSpread`], stated by the person) moderated by what the twins themselves show
//! ([`super::shrinkage`] has the source), with what measuring adds; the rate of false alarms is kept over all twins of
//! the board (Benjamini–Hochberg).
//!
//! # Limits
//! - Twins need not do the same work. A group that spreads far wider than usual is reported as uneven and nobody in it
//!   named; a single part whose circuit asks more of it is named like a faulty one.
//! - What all twins share, a wrong supply say, shows nothing.
//! - Of two twins it cannot be told which is wrong; a group is trusted from three on, where one in three may be wrong.
//! - Parts without own heat have no step to compare but what their surface and height make; a short to a cool part is
//!   seen only when it warms that part's body more than the board around it.
//! - A part that reads colder than the board around it shows its surface or height rather than its power: metal ends
//!   and cans whose emissivity is not stated. Among such twins only a large difference counts.
//! - A part in the corner of the board, or crowded, has little collar: its step is then uncertain and says so.
//! - The copper around a part decides how deep its heat sinks. Equal switches of 0.2 W on the sample board's uneven
//!   copper (own simulation) stepped by 2.3 to 2.7 K on two outer layers, 3.8 to 4.0 K on inner planes alone and 6.8 K
//!   at a clearance without any, where one was named on every healthy board. State [`UsualSpread::of_step`] for the
//!   layout, or split the parts by it.

use std::collections::BTreeMap;

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::bodies::{Collared, bodies, collared};
use super::false_alarms::{FalseAlarms, benjamini_hochberg};
use super::nuisance::Estimate;
use super::student::two_sided_probability;
use crate::board::{Footprint, Placement};
use crate::frame::{Frame, SurfaceKelvin};
use crate::geometry::{BaselinePixels, Point};
use crate::units::{Kelvin, KelvinDifference};

/// How much parts of one kind usually differ on one healthy board: standard deviations.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct UsualSpread {
    /// As a share of the step: powers, copper around and mounting.
    pub of_step: f64,
    /// As a share of the board's rise above ambient at the part: surface and height.
    pub of_rise: f64,
}

impl Default for UsualSpread {
    /// Five percent and one (common practice, no source); copper that is not alike asks for far more, see the limits.
    fn default() -> Self {
        Self { of_step: 0.05, of_rise: 0.01 }
    }
}

/// One corrected capture and what is asked of it.
#[derive(Debug, Clone, Copy)]
pub struct OneBoard<'a> {
    /// Surface temperature with bare metal made invalid ([`super::without_metal`]).
    pub surface: &'a Frame<SurfaceKelvin>,
    /// Air temperature.
    pub ambient: Kelvin,
    /// White noise of a pixel.
    pub noise: KelvinDifference,
    /// What parts of one kind usually differ by.
    pub usual: UsualSpread,
    /// What is allowed to be named by chance.
    pub false_alarms: FalseAlarms,
}

/// One part among its twins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwinStanding {
    /// Reference designator.
    pub designator: String,
    /// Body less the board close around it, K, and how well it is measured.
    pub step: Estimate,
    /// Step less the median of its twins', K; the standard uncertainty holds measurement and usual spread.
    pub difference: Estimate,
    /// The probability that a healthy twin differs as far.
    pub probability: f64,
    /// Whether it counts at the rate of false alarms allowed.
    pub significant: bool,
}

/// How far a group may be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Trust {
    /// Most of its parts agree; who differs is named.
    Agreeing,
    /// Two parts: where they differ, both count as significant, and either may be the wrong one.
    Pair,
    /// Spread far wider than parts of one kind should: probably not the same work. Nobody is named.
    Uneven,
}

/// Parts of one kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwinGroup {
    /// Class letters of the designators.
    pub class: String,
    /// Package as the placements name it.
    pub package: String,
    /// Value as the placements name it.
    pub value: String,
    /// Median of the steps, K.
    pub center: f64,
    /// Robust standard deviation of the steps, K.
    pub spread: f64,
    /// How far it may be trusted.
    pub trust: Trust,
    /// The parts, in the order of the placements.
    pub parts: Vec<TwinStanding>,
}

/// What comparing a board with itself showed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TwinCheck {
    /// The groups of two and more.
    pub groups: Vec<TwinGroup>,
    /// Parts in view that have no twin, or whose package or value is not stated.
    pub alone: Vec<String>,
    /// Parts that show too few valid pixels of body or board around.
    pub unread: Vec<String>,
}

impl TwinGroup {
    /// Whether its parts read colder than the board around them, which power cannot make.
    #[must_use]
    pub fn reads_cold(&self) -> bool {
        self.center < 0.0
    }
}

impl TwinCheck {
    /// The parts that differ from their twins, the surest first.
    #[must_use]
    pub fn named(&self) -> Vec<&TwinStanding> {
        let all = self.groups.iter().flat_map(|group| &group.parts);
        let mut named: Vec<_> = all.filter(|part| part.significant).collect();
        named.sort_by(|a, b| a.probability.total_cmp(&b.probability));
        named
    }
}

/// A mean over fewer pixels of a body is none.
const LEAST_BODY: usize = 8;
/// Nor is a plane through fewer pixels of a collar, or through fewer of its eighths.
const LEAST_COLLAR: usize = 24;
const LEAST_SECTORS: usize = 5;
const SECTORS: usize = 8;
/// The stated usual spread counts as if it had been learned with this many degrees of freedom.
const STATED_FREEDOM: f64 = 10.0;
/// A standard deviation by the median of absolute deviations is worth this share of the degrees of freedom: its
/// efficiency for normal values (P. J. Huber, E. M. Ronchetti, *Robust Statistics*, 2nd ed. 2009, named from memory).
const MEDIAN_EFFICIENCY: f64 = 0.37;
/// What lowers a part below the board around it, a mirroring surface or its height, differs by this share from twin to
/// twin, as what it mirrors depends on its place (our own rule).
const MIRRORED_SHARE: f64 = 0.5;
/// A group that spreads by this many times what it should is no group of twins.
const UNEVEN: f64 = 3.0;
const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// Compares the parts of one board with their twins.
///
/// `footprints` are the parts in view; `placements` tell package and value of each.
#[must_use]
pub fn compare_twins(board: &OneBoard<'_>, placements: &[Placement], footprints: &[Footprint]) -> TwinCheck {
    let shape = board.surface.shape();
    let collars = collared(footprints, &bodies(footprints, shape), shape);
    let mut check = TwinCheck::default();
    let mut kinds: BTreeMap<(String, String, String), Vec<(String, Step)>> = BTreeMap::new();
    for placement in placements {
        let mut seen = footprints.iter().zip(&collars);
        let Some((footprint, collar)) = seen.find(|(f, _)| f.designator == placement.designator) else {
            continue;
        };
        let Some(kind) = kind(placement) else {
            check.alone.push(placement.designator.clone());
            continue;
        };
        match Step::measured(board, footprint, collar) {
            Some(step) => kinds.entry(kind).or_default().push((placement.designator.clone(), step)),
            None => check.unread.push(placement.designator.clone()),
        }
    }
    for ((class, _, _), parts) in kinds {
        match parts.as_slice() {
            [(alone, _)] => check.alone.push(alone.clone()),
            parts => {
                let named = placements.iter().find(|placement| placement.designator == parts[0].0);
                let (package, value) =
                    named.map(|p| (p.package.clone(), p.value.clone())).unwrap_or_default();
                check.groups.push(TwinGroup { package, value, ..group(class, parts, board.usual) });
            }
        }
    }
    tell_significant(&mut check.groups, board.false_alarms);
    check
}

/// Class letters, package and value, spelled alike; `None` where one is not stated.
fn kind(placement: &Placement) -> Option<(String, String, String)> {
    let letters = placement.designator.trim();
    let end = letters.find(|c: char| !c.is_alphabetic()).unwrap_or(letters.len());
    let class = letters.get(..end)?.to_uppercase();
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    // The case of a value counts: a milliohm is no megohm. The two micro signs are one.
    let value = words(&placement.value).replace('\u{3bc}', "\u{b5}");
    let package = words(&placement.package).to_uppercase();
    (!class.is_empty() && !package.is_empty() && !value.is_empty()).then_some((class, package, value))
}

/// A part's step as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    kelvin: f64,
    /// Standard uncertainty of measuring it.
    uncertainty: f64,
    /// The board's rise above ambient below the part, K.
    rise: f64,
}

impl Step {
    fn measured(board: &OneBoard<'_>, footprint: &Footprint, part: &Collared) -> Option<Self> {
        let values = board.surface.as_slice();
        let valid = |pixel: &usize| {
            let value = f64::from(values[*pixel]);
            (!value.is_nan()).then_some((*pixel, value))
        };
        let body: Vec<(usize, f64)> = part.inside.iter().filter_map(valid).collect();
        let collar: Vec<(usize, f64)> = part.collar.iter().filter_map(valid).collect();
        if body.len() < LEAST_BODY || collar.len() < LEAST_COLLAR {
            return None;
        }
        let columns = board.surface.shape().1;
        let count = body.len() as f64;
        let mean = body.iter().map(|(_, value)| value).sum::<f64>() / count;
        // The plane is read where the valid body has its middle.
        let middle = body.iter().fold((0.0, 0.0), |(x, y), (pixel, _)| {
            (x + (pixel % columns) as f64 / count, y + (pixel / columns) as f64 / count)
        });
        let below = plane_at(&collar, columns, middle, footprint.center)?;
        let noise = board.noise.value();
        let variance =
            noise * noise * (1.0 / count + 1.0 / collar.len() as f64) + below.standard_uncertainty.powi(2);
        Some(Self {
            kelvin: mean - below.value,
            uncertainty: variance.sqrt(),
            rise: below.value - board.ambient.value(),
        })
    }
}

/// The collar's plane at `(x, y)`, with the uncertainty that its unevenness leaves: pixels of one eighth of the collar
/// err alike, so the eighths are the independent witnesses (the sandwich estimate of a variance).
fn plane_at(
    collar: &[(usize, f64)],
    columns: usize,
    (x, y): (f64, f64),
    center: Point<BaselinePixels>,
) -> Option<Estimate> {
    let row = |pixel: usize| Vector3::new(1.0, (pixel % columns) as f64 - x, (pixel / columns) as f64 - y);
    let mean = collar.iter().map(|(_, value)| value).sum::<f64>() / collar.len() as f64;
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for (pixel, value) in collar {
        let row = row(*pixel);
        normal += row * row.transpose();
        right += row * (value - mean);
    }
    let inverse = normal.try_inverse()?;
    let plane = inverse * right;
    let mut scores = [None; SECTORS];
    for (pixel, value) in collar {
        let row = row(*pixel);
        let (across, down) = ((pixel % columns) as f64 - center.x, (pixel / columns) as f64 - center.y);
        let turn = (down.atan2(across) / std::f64::consts::TAU).rem_euclid(1.0);
        let sector = ((turn * SECTORS as f64) as usize).min(SECTORS - 1);
        *scores[sector].get_or_insert(Vector3::zeros()) += row * (value - mean - plane.dot(&row));
    }
    let witnesses: Vec<Vector3<f64>> = scores.into_iter().flatten().collect();
    if witnesses.len() < LEAST_SECTORS {
        return None;
    }
    let count = witnesses.len() as f64;
    let meat = witnesses.iter().fold(Matrix3::zeros(), |sum, score| sum + score * score.transpose());
    let covariance = inverse * meat * inverse * (count / (count - 3.0));
    Some(Estimate { value: mean + plane[0], standard_uncertainty: covariance[(0, 0)].max(0.0).sqrt() })
}

/// One group's standings; package and value are left to the caller, significance to all groups together.
fn group(class: String, parts: &[(String, Step)], usual: UsualSpread) -> TwinGroup {
    let steps: Vec<f64> = parts.iter().map(|(_, step)| step.kelvin).collect();
    let center = middle_of_two(&steps);
    let spread = robust_scale(&steps, center);
    let of_rise = |steps: &mut dyn Iterator<Item = &Step>| {
        let (sum, count) = steps.fold((0.0, 0.0), |(sum, n), step| (sum + step.rise.powi(2), n + 1.0));
        usual.of_rise.powi(2) * sum / count
    };
    let stated = |center: f64, steps: &mut dyn Iterator<Item = &Step>| {
        let share = if center < 0.0 { usual.of_step.max(MIRRORED_SHARE) } else { usual.of_step };
        (share * center).powi(2) + of_rise(steps)
    };
    let measured: Vec<f64> = parts.iter().map(|(_, step)| step.uncertainty.powi(2)).collect();
    let should = stated(center, &mut parts.iter().map(|(_, step)| step)) + middle_of_two(&measured);
    let trust = match parts.len() {
        ..=2 => Trust::Pair,
        _ if spread > UNEVEN * should.sqrt() => Trust::Uneven,
        _ => Trust::Agreeing,
    };
    let standing = |(index, (designator, step)): (usize, &(String, Step))| {
        let others: Vec<&Step> = parts
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != index)
            .map(|(_, (_, step))| step)
            .collect();
        let count = others.len() as f64;
        let kelvins: Vec<f64> = others.iter().map(|step| step.kelvin).collect();
        let center = middle_of_two(&kelvins);
        let error = middle_of_two(&others.iter().map(|step| step.uncertainty.powi(2)).collect::<Vec<_>>());
        let stated = stated(center, &mut others.iter().copied());
        // What the twins show beyond what measuring them makes.
        let seen = (robust_scale(&kelvins, center).powi(2) - error).max(0.0);
        let seen_freedom = MEDIAN_EFFICIENCY * (count - 1.0);
        let freedom = STATED_FREEDOM + seen_freedom;
        let of_parts = (STATED_FREEDOM * stated + seen_freedom * seen) / freedom;
        // A median of three and more wavers by π/2 more than a mean.
        let waver = if count < 3.0 { 1.0 } else { std::f64::consts::FRAC_PI_2 };
        let own = step.uncertainty.powi(2) + of_parts;
        let variance = own + waver * (of_parts + error) / count;
        let difference = Estimate { value: step.kelvin - center, standard_uncertainty: variance.sqrt() };
        TwinStanding {
            designator: designator.clone(),
            step: Estimate { value: step.kelvin, standard_uncertainty: step.uncertainty },
            difference,
            probability: two_sided_probability(difference.value / difference.standard_uncertainty, freedom),
            significant: false,
        }
    };
    let parts = parts.iter().enumerate().map(standing).collect();
    TwinGroup { class, package: String::new(), value: String::new(), center, spread, trust, parts }
}

/// Names who differs, at the rate allowed over all groups that may name anybody.
fn tell_significant(groups: &mut [TwinGroup], false_alarms: FalseAlarms) {
    let may = |group: &&mut TwinGroup| group.trust != Trust::Uneven;
    let mut parts: Vec<&mut TwinStanding> =
        groups.iter_mut().filter(may).flat_map(|group| &mut group.parts).collect();
    let probabilities: Vec<f64> = parts.iter().map(|part| part.probability).collect();
    let surprising = benjamini_hochberg(&probabilities, false_alarms.probability());
    for (part, surprising) in parts.iter_mut().zip(surprising) {
        part.significant = surprising && part.difference.value.abs() >= false_alarms.least_difference;
    }
}

/// The median, of an even count the mean of the middle two; 0 of none.
///
/// The upper of the two, which [`crate::quantile::median`] takes, would widen a small group's spread, for which the
/// factors of [`robust_scale`] are not made, and lean its center to the warm side.
fn middle_of_two(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = |index: usize| sorted.get(index).copied().unwrap_or(0.0);
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 { middle(half) } else { 0.5 * (middle(half.saturating_sub(1)) + middle(half)) }
}

/// Standard deviation by the median of the absolute deviations, made right for few values.
///
/// C. Croux, P. J. Rousseeuw, *Time-efficient algorithms for two highly robust estimators of scale*, COMPSTAT 1992
/// (factors from memory; `few_values_do_not_look_too_much_alike` holds them against drawn ones).
fn robust_scale(values: &[f64], center: f64) -> f64 {
    let deviations: Vec<f64> = values.iter().map(|value| (value - center).abs()).collect();
    let few = match values.len() {
        ..=1 => return 0.0,
        2 => 1.196,
        3 => 1.495,
        4 => 1.363,
        5 => 1.206,
        6 => 1.200,
        7 => 1.140,
        8 => 1.129,
        9 => 1.107,
        count => count as f64 / (count as f64 - 0.8),
    };
    few * MAD_TO_SIGMA * middle_of_two(&deviations)
}

#[cfg(test)]
mod tests {
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::StandardNormal;

    use super::*;
    use crate::board::{Side, footprints};
    use crate::geometry::Homography;

    /// Parts 5 mm square in rows of four, 5 pixels a millimetre.
    fn placements(kinds: &[(&str, &str, &str)]) -> Vec<Placement> {
        let place =
            |index: usize| Point::new(6.0 + 12.0 * (index % 4) as f64, 6.0 + 12.0 * (index / 4) as f64);
        kinds
            .iter()
            .enumerate()
            .map(|(index, (designator, package, value))| Placement {
                designator: (*designator).to_owned(),
                center: place(index),
                rotation: 0.0,
                side: Side::Top,
                package: (*package).to_owned(),
                size: [5.0, 5.0],
                value: (*value).to_owned(),
            })
            .collect()
    }

    /// A board that rises from left to right, each part stepping out of it by so much; noise of 50 mK.
    fn check(kinds: &[(&str, &str, &str)], steps: &[f64], usual: UsualSpread) -> TwinCheck {
        let placements = placements(kinds);
        let map = Homography::try_from([5.0, 0.0, 0.0, 0.0, 5.0, 0.0, 0.0, 0.0, 1.0]).unwrap();
        let footprints = footprints(&placements, Side::Top, &map);
        let mut random = ChaCha8Rng::seed_from_u64(5);
        let shape = (60 * kinds.len().div_ceil(4), 240);
        let values = (0..shape.0 * shape.1)
            .map(|pixel| {
                let place = Point::new((pixel % shape.1) as f64, (pixel / shape.1) as f64);
                let on = footprints.iter().position(|footprint| footprint.contains(place));
                let noise: f64 = random.sample(StandardNormal);
                (310.0 + 0.05 * place.x + on.map_or(0.0, |part| steps[part]) + 0.05 * noise) as f32
            })
            .collect();
        let surface = Frame::from_rows(shape.0, shape.1, values).unwrap();
        let board = OneBoard {
            surface: &surface,
            ambient: Kelvin::new(300.0).unwrap(),
            noise: KelvinDifference::known(0.05),
            usual,
            false_alarms: FalseAlarms::default(),
        };
        compare_twins(&board, &placements, &footprints)
    }

    const FOUR: [(&str, &str, &str); 4] = [
        ("Q1", "dpak", "switch"),
        ("Q2", "DPAK", "switch"),
        ("Q10", "DPAK ", " switch"),
        ("Q3", "DPAK", "switch"),
    ];

    #[test]
    fn the_step_is_that_over_the_slope_and_the_one_that_differs_is_named() {
        let found = check(&FOUR, &[8.0, 8.3, 5.0, 7.8], UsualSpread::default());
        let [group] = found.groups.as_slice() else { panic!("{found:?}") };
        assert_eq!(
            (group.class.as_str(), group.package.as_str(), group.trust),
            ("Q", "dpak", Trust::Agreeing)
        );
        for (part, step) in group.parts.iter().zip([8.0, 8.3, 5.0, 7.8]) {
            // A plane board is taken out whole: what is left is noise.
            assert!((part.step.value - step).abs() < 0.03, "{part:?}");
            assert!(part.step.standard_uncertainty < 0.03, "{part:?}");
        }
        let named = found.named();
        let [differs] = named.as_slice() else { panic!("{named:?}") };
        assert_eq!(differs.designator, "Q10");
        assert!((differs.difference.value + 3.0).abs() < 0.03, "{differs:?}");
    }

    #[test]
    fn what_usually_differs_is_not_named_and_a_stated_wider_spread_names_less() {
        let steps = [8.0, 8.4, 7.6, 7.9];
        assert_eq!(check(&FOUR, &steps, UsualSpread::default()).named(), Vec::<&TwinStanding>::new());
        let steps = [8.0, 8.3, 5.0, 7.8];
        let wide = UsualSpread { of_step: 0.3, of_rise: 0.02 };
        assert_eq!(check(&FOUR, &steps, wide).named(), Vec::<&TwinStanding>::new());
    }

    #[test]
    fn only_the_same_class_package_and_value_are_twins() {
        let kinds = [
            ("R1", "0603", "1 mΩ"),
            ("R2", "0603", "1 MΩ"),
            ("C1", "0603", "1 mΩ"),
            ("R3", "0805", "1 mΩ"),
            ("R4", "0603", ""),
            ("C2", "1206", "1 \u{3bc}F"),
            ("C3", "1206", "1 \u{b5}F"),
        ];
        let found = check(&kinds, &[0.0; 7], UsualSpread::default());
        let [pair] = found.groups.as_slice() else { panic!("{found:?}") };
        assert_eq!(pair.trust, Trust::Pair);
        let mut alone = found.alone.clone();
        alone.sort();
        assert_eq!(alone, ["C1", "R1", "R2", "R3", "R4"]);
    }

    #[test]
    fn of_two_twins_both_are_suspect_and_of_many_unlike_nobody() {
        let pair = check(&FOUR[..2], &[8.0, 5.0], UsualSpread::default());
        assert_eq!(pair.named().len(), 2, "{pair:?}");
        let unlike = check(&FOUR, &[8.0, 5.0, 2.0, 11.0], UsualSpread::default());
        assert_eq!(unlike.groups[0].trust, Trust::Uneven);
        assert_eq!(unlike.named(), Vec::<&TwinStanding>::new());
    }

    #[test]
    fn a_part_without_board_around_it_is_said_to_be_unread() {
        // Nine pixels to each neighbour are a collar for neither: the second fills the picture.
        let mut parts = placements(&FOUR[..1]);
        let mut wall = parts[0].clone();
        (wall.designator, wall.size) = ("X1".to_owned(), [90.0, 90.0]);
        parts.push(wall);
        let map = Homography::try_from([5.0, 0.0, 0.0, 0.0, 5.0, 0.0, 0.0, 0.0, 1.0]).unwrap();
        let surface = Frame::from_rows(60, 60, vec![310.0; 3600]).unwrap();
        let board = OneBoard {
            surface: &surface,
            ambient: Kelvin::new(300.0).unwrap(),
            noise: KelvinDifference::ZERO,
            usual: UsualSpread::default(),
            false_alarms: FalseAlarms::default(),
        };
        let found = compare_twins(&board, &parts, &footprints(&parts, Side::Top, &map));
        assert_eq!(found.unread, ["Q1", "X1"]);
    }

    #[test]
    fn few_values_do_not_look_too_much_alike() {
        let mut random = ChaCha8Rng::seed_from_u64(6);
        for count in 2..12 {
            const DRAWS: usize = 4000;
            let mean = (0..DRAWS)
                .map(|_| {
                    let values: Vec<f64> = (0..count).map(|_| random.sample(StandardNormal)).collect();
                    robust_scale(&values, middle_of_two(&values))
                })
                .sum::<f64>()
                / DRAWS as f64;
            // Of four thousand draws the mean wavers by no more than one in a hundred.
            assert!((mean - 1.0).abs() < 0.05, "{count}: {mean}");
        }
    }
}
