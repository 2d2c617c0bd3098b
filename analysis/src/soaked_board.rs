//! The emissivity procedure for the whole board, assembled from what the session knows of its captures.

use crate::comparison::{netd, surroundings};
use crate::content_hash::ContentHash;
use crate::procedure::{ReflectedKnowledge, Soak, SoakedMap};
use crate::session::Session;
use crate::units::{Kelvin, KelvinDifference};

/// What keeps captures from being soaks of one map.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotSoaks {
    /// None was given.
    #[error("state the temperature of at least one capture that was set aside")]
    None,
    /// Their cameras see different bands.
    #[error("the captures were taken in different spectral bands: an emissivity holds for one band")]
    MixedBands,
}

/// The procedure for captures of the soaked board, each with the board's temperature in it.
///
/// Captures at one temperature are frames of one soak: the thermometer's error is common to them. The
/// camera's error is its calibration and drift, as the session knows them; noise is that stated with the
/// first capture. The reflected temperature is that of the first capture, measured with it or for the bench.
///
/// # Errors
/// [`NotSoaks`].
pub fn soaked_map(
    session: &Session,
    captures: &[(ContentHash, Kelvin)],
    board_uncertainty: KelvinDifference,
    solve_reflected: bool,
) -> Result<SoakedMap, NotSoaks> {
    let known = captures.iter().filter(|(hash, _)| session.capture(hash).is_some());
    let band_of = |hash: &ContentHash| {
        session.capture(hash).and_then(|record| record.metadata.band).unwrap_or(session.band)
    };
    let mut soaks: Vec<Soak> = Vec::new();
    for (hash, board) in known {
        if let Some(soak) = soaks.iter_mut().find(|soak| soak.board == *board) {
            soak.captures.push(hash.clone());
            continue;
        }
        let camera = session.input_uncertainty.calibration.at(board.value());
        let reading = camera.hypot(session.input_uncertainty.drift.value());
        soaks.push(Soak {
            captures: vec![hash.clone()],
            board: *board,
            board_uncertainty,
            reading_uncertainty: KelvinDifference::new(reading).unwrap_or(KelvinDifference::ZERO),
        });
    }
    let first = soaks.first().and_then(|soak| soak.captures.first()).ok_or(NotSoaks::None)?;
    let (band, around) = (band_of(first), surroundings(session, first));
    if soaks.iter().flat_map(|soak| &soak.captures).any(|hash| band_of(hash) != band) {
        return Err(NotSoaks::MixedBands);
    }
    let reflected = if solve_reflected {
        ReflectedKnowledge::Solved
    } else {
        let uncertainty = session.input_uncertainty.reflected;
        ReflectedKnowledge::Stated { temperature: around.reflected, uncertainty }
    };
    Ok(SoakedMap {
        band,
        transmittance: around.transmittance,
        path: around.path,
        reflected,
        noise: netd(session, first),
        uncertainty_limit: SoakedMap::USUAL_LIMIT,
        soaks,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::CaptureMetadata;
    use crate::radiometry::Band;
    use crate::session::{CaptureRecord, Role};

    fn session(bands: &[Option<Band>]) -> (Session, Vec<ContentHash>) {
        let mut session = Session::default();
        for (place, band) in bands.iter().enumerate() {
            let metadata = CaptureMetadata { band: *band, ..CaptureMetadata::default() };
            let hash = ContentHash::of(&[place as u8]);
            session.captures.push(CaptureRecord {
                hash,
                file_name: String::new(),
                role: Role::Aside,
                metadata,
            });
        }
        let hashes = session.captures.iter().map(|record| record.hash.clone()).collect();
        (session, hashes)
    }

    #[test]
    fn captures_at_one_temperature_are_one_soak_and_share_the_camera_s_error() {
        let (session, hashes) = session(&[None, None, None]);
        let at = |celsius: f64| Kelvin::from_celsius(celsius).unwrap();
        let stated =
            [(hashes[0].clone(), at(60.0)), (hashes[1].clone(), at(35.0)), (hashes[2].clone(), at(60.0))];
        let map = soaked_map(&session, &stated, KelvinDifference::ZERO, false).unwrap();
        assert_eq!(map.soaks.iter().map(|soak| soak.captures.len()).collect::<Vec<_>>(), [2, 1]);
        assert!(map.soaks.iter().all(|soak| soak.reading_uncertainty.value() >= 1.15));
    }

    #[test]
    fn captures_of_different_bands_make_no_map() {
        let (session, hashes) = session(&[None, Some(Band::new(3.0, 5.0).unwrap())]);
        let at = Kelvin::new(333.15).unwrap();
        let stated: Vec<_> = hashes.into_iter().map(|hash| (hash, at)).collect();
        assert_eq!(soaked_map(&session, &stated, KelvinDifference::ZERO, false), Err(NotSoaks::MixedBands));
        assert_eq!(soaked_map(&session, &[], KelvinDifference::ZERO, false), Err(NotSoaks::None));
    }
}
