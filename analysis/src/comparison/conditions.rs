//! What a capture was taken under: as it states itself, else as the session does.

use crate::content_hash::ContentHash;
use crate::frame::{ApparentKelvin, Difference, Frame};
use crate::noise::{Pixels, estimate_noise};
use crate::radiometry::{Band, Surroundings};
use crate::session::{Role, Session};
use crate::units::{Kelvin, KelvinDifference, Watts};

/// What surrounded a capture: the session's surroundings, with the reflected temperature that was
/// measured for this capture where there is one.
#[must_use]
pub fn surroundings(session: &Session, hash: &ContentHash) -> Surroundings {
    let own = session.capture(hash).and_then(|record| record.metadata.reflected);
    Surroundings { reflected: own.unwrap_or(session.surroundings.reflected), ..session.surroundings }
}

/// The air temperature a capture was taken in.
#[must_use]
pub fn ambient_of(session: &Session, hash: &ContentHash) -> Kelvin {
    conditions(session, hash).0
}

/// A capture's own ambient and power, or the session's where it states none.
pub(super) fn conditions(session: &Session, hash: &ContentHash) -> (Kelvin, Option<Watts>) {
    let own = session.capture(hash).map(|record| &record.metadata);
    let ambient = own.and_then(|metadata| metadata.ambient).unwrap_or(session.ambient);
    let power = own.and_then(|metadata| metadata.conditions.power()).or_else(|| session.conditions.power());
    (ambient, power)
}

/// The band of the camera at the bench: of the first known-good capture, else the session's.
#[must_use]
pub fn band_at_the_bench(session: &Session) -> Band {
    let reference = session.with_role(Role::Baseline).next();
    reference.and_then(|record| record.metadata.band).unwrap_or(session.band)
}

/// The noise of one pixel of a capture as stated, or as usual where it states none.
#[must_use]
pub fn netd(session: &Session, hash: &ContentHash) -> KelvinDifference {
    let own = session.capture(hash).and_then(|record| record.metadata.netd);
    own.unwrap_or(session.input_uncertainty.netd)
}

/// The noise of unit minus the mean of n baselines: √(`NETD_unit`² + `NETD_baseline`² / n).
pub(super) fn of_difference([unit, baseline]: [KelvinDifference; 2], baselines: usize) -> KelvinDifference {
    let noise = unit.value().hypot(baseline.value() / (baselines.max(1) as f64).sqrt());
    KelvinDifference::new(noise).unwrap_or(KelvinDifference::ZERO)
}

/// The noise of unit minus baseline as the camera sees them, measured on the two pictures.
pub(super) fn seen_noise(
    unit: &Frame<ApparentKelvin>,
    baseline: &Frame<ApparentKelvin>,
) -> Option<KelvinDifference> {
    let mut apart = unit.view().to_owned();
    apart.zip_mut_with(&baseline.view(), |value, &baseline| *value -= baseline);
    estimate_noise(&Frame::<Difference>::new(apart).ok()?, Pixels::Interpolated)
}

/// What a camera is said to do is believed until its pictures, unit minus one baseline, say worse.
pub(super) fn at_least_as_seen(
    stated: [KelvinDifference; 2],
    seen: Option<KelvinDifference>,
) -> [KelvinDifference; 2] {
    let expected = of_difference(stated, 1).value();
    let seen = seen.map_or(0.0, KelvinDifference::value);
    if expected <= 0.0 {
        let share = KelvinDifference::new(seen * std::f64::consts::FRAC_1_SQRT_2);
        return [share.unwrap_or(KelvinDifference::ZERO); 2];
    }
    let factor = (seen / expected).max(1.0);
    stated.map(|netd| KelvinDifference::new(netd.value() * factor).unwrap_or(netd))
}
