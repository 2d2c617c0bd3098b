//! Physical quantities as types, so that a kelvin is never taken for a kelvin difference, nor an
//! emissivity for a transmittance.
//!
//! Inside the crate temperatures are kelvin; a person's own unit appears only at the edge, by
//! [`TemperatureUnit`]. Every constructor checks its range, so code that holds a quantity has
//! nothing left to check. Quantities are written to JSON as bare numbers.

use serde::{Deserialize, Serialize};

/// A number that its quantity cannot take.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{quantity} of {value} is out of range: it must be {allowed}")]
pub struct OutOfRange {
    /// What the number was meant to be.
    pub quantity: &'static str,
    /// The number given.
    pub value: f64,
    /// The range in words.
    pub allowed: &'static str,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $quantity:literal, $allowed:literal, $check:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            /// Checks the range and wraps the number.
            ///
            /// # Errors
            /// [`OutOfRange`], which names the quantity and the range.
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                let check: fn(f64) -> bool = $check;
                if check(value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange { quantity: $quantity, value, allowed: $allowed })
                }
            }

            /// A constant of this crate's own source, known to be in range.
            #[allow(dead_code, reason = "not every quantity has constants in the source")]
            pub(crate) const fn known(value: f64) -> Self {
                Self(value)
            }

            /// The bare number.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = OutOfRange;
            fn try_from(value: f64) -> Result<Self, OutOfRange> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }
    };
}

quantity!(
    /// A thermodynamic temperature in kelvin, above absolute zero and below 10 000 K.
    Kelvin, "a temperature", "above 0 K and below 10000 K", |v| v > 0.0 && v < 10_000.0
);
quantity!(
    /// A difference of two temperatures, in kelvin; may be negative.
    KelvinDifference, "a temperature difference", "a finite number of kelvin", f64::is_finite
);
quantity!(
    /// The fraction of a black body's radiance that a surface emits: above 0, at most 1.
    Emissivity, "an emissivity", "above 0 and at most 1", |v| v > 0.0 && v <= 1.0
);
quantity!(
    /// The fraction of the radiance that the path lets through: above 0, at most 1.
    Transmittance, "a transmittance", "above 0 and at most 1", |v| v > 0.0 && v <= 1.0
);
quantity!(
    /// A wavelength in micrometres, from 0.1 to 1000.
    Micrometers, "a wavelength", "from 0.1 to 1000 µm", |v| (0.1..=1000.0).contains(&v)
);
quantity!(
    /// A length on the board in millimetres; may be negative, as coordinates are.
    Millimeters, "a length", "a finite number of millimetres", f64::is_finite
);
quantity!(
    /// Electrical or dissipated power in watts, zero or more.
    Watts, "a power", "zero or more watts", |v| v >= 0.0 && v.is_finite()
);

/// Zero degrees Celsius in kelvin, exact by definition (SI Brochure, 9th edition, section 2.3.1).
const ICE_POINT: f64 = 273.15;

impl Kelvin {
    /// Room temperature, 23 °C: the value assumed where nobody stated one.
    pub const ROOM: Self = Self(ICE_POINT + 23.0);

    /// A temperature given in degrees Celsius.
    ///
    /// # Errors
    /// [`OutOfRange`] at or below absolute zero.
    pub fn from_celsius(celsius: f64) -> Result<Self, OutOfRange> {
        Self::new(celsius + ICE_POINT)
    }

    /// The temperature in degrees Celsius.
    #[must_use]
    pub fn to_celsius(self) -> f64 {
        self.0 - ICE_POINT
    }
}

impl std::ops::Sub for Kelvin {
    type Output = KelvinDifference;
    fn sub(self, other: Self) -> KelvinDifference {
        KelvinDifference(self.0 - other.0)
    }
}

impl KelvinDifference {
    /// No difference.
    pub const ZERO: Self = Self(0.0);
}

impl Emissivity {
    /// A black body.
    pub const BLACK: Self = Self(1.0);
}

impl Transmittance {
    /// A path that absorbs nothing.
    pub const CLEAR: Self = Self(1.0);
}

/// The unit a person reads temperatures in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    #[default]
    #[serde(rename = "degC")]
    Celsius,
    /// Degrees Fahrenheit.
    #[serde(rename = "degF")]
    Fahrenheit,
    /// Kelvin.
    #[serde(rename = "K")]
    Kelvin,
}

impl TemperatureUnit {
    /// The sign printed after a number: `°C`, `°F` or `K`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Celsius => "°C",
            Self::Fahrenheit => "°F",
            Self::Kelvin => "K",
        }
    }

    /// Kelvin to this unit, for a temperature.
    #[must_use]
    pub fn show(self, kelvin: f64) -> f64 {
        match self {
            Self::Celsius => kelvin - ICE_POINT,
            Self::Fahrenheit => (kelvin - ICE_POINT) * 1.8 + 32.0,
            Self::Kelvin => kelvin,
        }
    }

    /// This unit to kelvin, for a temperature: the inverse of [`show`](Self::show).
    #[must_use]
    pub fn read(self, shown: f64) -> f64 {
        match self {
            Self::Celsius => shown + ICE_POINT,
            Self::Fahrenheit => (shown - 32.0) / 1.8 + ICE_POINT,
            Self::Kelvin => shown,
        }
    }

    /// Kelvin to this unit, for a difference: no offset.
    #[must_use]
    pub fn show_difference(self, kelvin: f64) -> f64 {
        match self {
            Self::Celsius | Self::Kelvin => kelvin,
            Self::Fahrenheit => kelvin * 1.8,
        }
    }

    /// The size of a difference without its sign, as in `12.4 K`.
    #[must_use]
    pub fn write_size(self, difference: KelvinDifference, decimals: usize) -> String {
        let size = self.show_difference(difference.value().abs());
        format!("{size:.decimals$} {}", self.difference_symbol())
    }

    /// The unit of a difference: `K` for Celsius and kelvin, `°F` for Fahrenheit.
    #[must_use]
    pub const fn difference_symbol(self) -> &'static str {
        match self {
            Self::Celsius | Self::Kelvin => "K",
            Self::Fahrenheit => "°F",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boiling_water_reads_the_same_in_every_unit() {
        // 100 °C = 212 °F = 373.15 K by definition of the scales.
        let boiling = 373.15;
        assert!((TemperatureUnit::Celsius.show(boiling) - 100.0).abs() < 1e-9);
        assert!((TemperatureUnit::Fahrenheit.show(boiling) - 212.0).abs() < 1e-9);
        for unit in [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit, TemperatureUnit::Kelvin] {
            assert!((unit.read(unit.show(boiling)) - boiling).abs() < 1e-9);
        }
    }

    #[test]
    fn a_quantity_out_of_range_is_named() {
        let error = Emissivity::new(1.2).unwrap_err();
        assert_eq!(
            error.to_string(),
            "an emissivity of 1.2 is out of range: it must be above 0 and at most 1"
        );
        assert!(Kelvin::new(f64::NAN).is_err());
        assert!(Kelvin::from_celsius(-273.15).is_err());
    }

    #[test]
    fn a_quantity_is_checked_when_read_from_json() {
        assert!(serde_json::from_str::<Emissivity>("0.95").is_ok());
        assert!(serde_json::from_str::<Emissivity>("0").is_err());
    }
}
