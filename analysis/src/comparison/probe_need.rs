//! Which contact measurements are still worth taking, after what was read.

use crate::inspection::{
    Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict, contact_noun, deviation,
};
use crate::session::Session;

/// A measurement that what was read at the same place has made needless.
#[derive(Debug, Clone, PartialEq)]
pub struct Needless {
    /// The measurement.
    pub probe: Probe,
    /// Why, as a sentence.
    pub why: String,
}

/// The measurements still to be taken or taken already, in their order, and those that are needless now.
///
/// One reading that is beyond what it should be, or was judged a fail, shows the place to be faulty: what was not
/// measured there yet would only say the same, and may ask for power on a short (common practice, no source). A contact
/// temperature beyond shows only that the picture is wrong there, and decides nothing until it is judged.
#[must_use]
pub fn by_need(session: &Session, probes: Vec<Probe>) -> (Vec<Probe>, Vec<Needless>) {
    let decides = |key: &ProbeKey, reading: &ProbeReading| match reading.verdict {
        Some(verdict) => verdict == ProbeVerdict::Fail,
        None if key.quantity == ProbeQuantity::ContactTemperature => false,
        None => deviation(key.quantity, reading, session.temperature_unit).is_some_and(|off| off.is_beyond()),
    };
    let is_taken = |reading: &ProbeReading| !reading.read.trim().is_empty() || reading.verdict.is_some();
    let (mut needed, mut needless) = (Vec::new(), Vec::new());
    for probe in probes {
        let decided = session.readings.iter().find(|(key, reading)| {
            key.target == probe.key.target && *key != probe.key && decides(key, reading)
        });
        let taken = session.reading(&probe.key).is_some_and(is_taken);
        match decided.filter(|_| !taken) {
            None => needed.push(probe),
            Some((key, _)) => {
                let what = contact_noun(key.quantity);
                let power = if probe.unpowered {
                    ""
                } else {
                    " Find what causes it before the board is powered again, and then limit the current."
                };
                let why = format!("The {what} at {} shows enough.{power}", key.target);
                needless.push(Needless { probe, why });
            }
        }
    }
    (needed, needless)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inspection::ProbeReason;
    use crate::session::Command;
    use crate::units::KelvinDifference;

    fn probe(target: &str, quantity: ProbeQuantity) -> Probe {
        let reason = ProbeReason::Differs {
            place: target.to_owned(),
            by: KelvinDifference::known(5.0),
            tells: String::new(),
        };
        let key = ProbeKey { target: target.to_owned(), quantity };
        let unpowered = quantity == ProbeQuantity::ResistanceUnpowered;
        Probe { key, reason, unpowered, contacts: Vec::new() }
    }

    #[test]
    fn a_reading_beyond_makes_the_rest_at_its_place_needless_until_it_is_judged_a_pass() {
        use ProbeQuantity::{Current, ResistanceUnpowered, Voltage};
        let probes =
            [("U3", ResistanceUnpowered), ("U3", Voltage), ("U3", Current), ("D2", ResistanceUnpowered)]
                .map(|(target, quantity)| probe(target, quantity))
                .to_vec();
        let mut session = Session::default();
        let enter = |session: &mut Session, read: &str, verdict| {
            let expected = "150".to_owned();
            let reading =
                ProbeReading { expected, read: read.to_owned(), verdict, ..ProbeReading::default() };
            session.apply(Command::RecordReading { key: probes[0].key.clone(), reading }).unwrap();
        };
        let needed = |session: &Session| by_need(session, probes.clone()).0.len();
        assert_eq!(needed(&session), 4);
        enter(&mut session, "149", None);
        assert_eq!(needed(&session), 4, "as it should be");
        enter(&mut session, "9.5", None);
        let (left, needless) = by_need(&session, probes.clone());
        assert_eq!(left, [probes[0].clone(), probes[3].clone()]);
        assert!(
            needless[0].why.contains("resistance at U3") && needless[0].why.contains("limit the current")
        );
        enter(&mut session, "9.5", Some(ProbeVerdict::Pass));
        assert_eq!(needed(&session), 4, "the person knows better");
        enter(&mut session, "", Some(ProbeVerdict::Fail));
        assert_eq!(needed(&session), 2);

        // Only what was read is taken, not what is merely expected.
        let expected = ProbeReading { expected: "3.3".to_owned(), ..ProbeReading::default() };
        session.apply(Command::RecordReading { key: probes[1].key.clone(), reading: expected }).unwrap();
        assert_eq!(needed(&session), 2);
        let read = ProbeReading { read: "3.3".to_owned(), ..ProbeReading::default() };
        session.apply(Command::RecordReading { key: probes[1].key.clone(), reading: read }).unwrap();
        assert_eq!(needed(&session), 3);
    }

    #[test]
    fn a_thermometer_that_contradicts_the_picture_decides_nothing() {
        let probes =
            [ProbeQuantity::ContactTemperature, ProbeQuantity::Voltage].map(|quantity| probe("U3", quantity));
        let mut session = Session::default();
        let reading =
            ProbeReading { expected: "95".to_owned(), read: "70".to_owned(), ..ProbeReading::default() };
        session.apply(Command::RecordReading { key: probes[0].key.clone(), reading }).unwrap();
        assert_eq!(by_need(&session, probes.to_vec()).0.len(), 2);
    }
}
