//! Where the radiance that arrives at the camera comes from: what emissivity does, in fractions.

use crate::radiometry::Band;
use crate::radiometry::correction::{Correction, NoPhysicalAnswer, surface_temperature};
use crate::radiometry::planck::band_radiance;
use crate::units::Kelvin;

/// One place as the camera sees it: its temperature, and the fractions of the radiance that arrives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// The surface's own temperature.
    pub surface: Kelvin,
    /// Sent out by the surface itself: τ ε L(surface).
    pub own: f64,
    /// Mirrored by it: τ (1 − ε) L(reflected).
    pub reflected: f64,
    /// Sent out by the path: (1 − τ) L(path).
    pub path: f64,
}

/// The shares of the radiance that makes a surface appear at `apparent`; they add up to 1.
///
/// # Errors
/// [`NoPhysicalAnswer`], as [`surface_temperature`].
pub fn shares(apparent: Kelvin, correction: &Correction, band: Band) -> Result<Shares, NoPhysicalAnswer> {
    let surface = surface_temperature(apparent, correction, band)?;
    let radiance = |kelvin: Kelvin| band_radiance(band, kelvin).radiance;
    let surroundings = &correction.surroundings;
    let (emissivity, transmittance) = (correction.emissivity.value(), surroundings.transmittance.value());
    let own = transmittance * emissivity * radiance(surface);
    let reflected = transmittance * (1.0 - emissivity) * radiance(surroundings.reflected);
    let path = (1.0 - transmittance) * radiance(surroundings.path);
    let all = own + reflected + path;
    Ok(Shares { surface, own: own / all, reflected: reflected / all, path: path / all })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radiometry::Surroundings;
    use crate::units::{Emissivity, Transmittance};

    fn seen(emissivity: f64, surroundings: Surroundings, apparent: f64) -> Shares {
        let correction = Correction { emissivity: Emissivity::new(emissivity).unwrap(), surroundings };
        shares(Kelvin::new(apparent).unwrap(), &correction, Band::default()).unwrap()
    }

    #[test]
    fn a_black_surface_sends_everything_itself() {
        let shares = seen(1.0, Surroundings::default(), 330.0);
        assert!((shares.own - 1.0).abs() < 1e-12);
        assert!((shares.surface.value() - 330.0).abs() < 1e-6);
    }

    #[test]
    fn in_a_room_of_its_own_temperature_a_surface_sends_just_its_emissivity() {
        // Kirchhoff: with everything at one temperature the radiance is black whatever the emissivity.
        let room = Surroundings::default();
        let shares = seen(0.3, room, room.reflected.value());
        assert!((shares.own - 0.3).abs() < 1e-9 && (shares.reflected - 0.7).abs() < 1e-9);
    }

    #[test]
    fn the_shares_add_up() {
        let transmittance = Transmittance::new(0.9).unwrap();
        let shares = seen(0.6, Surroundings { transmittance, ..Surroundings::default() }, 345.0);
        assert!((shares.own + shares.reflected + shares.path - 1.0).abs() < 1e-12);
        assert!(shares.path > 0.0 && shares.surface.value() > 345.0);
    }
}
