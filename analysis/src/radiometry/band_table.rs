//! The tables between temperature and in-band radiance that whole pictures go through.
//!
//! Both directions are straight lines over cells that the number's own bits name: exponent and
//! leading mantissa bits are the index, so cells widen with the number and no logarithm is taken.

use crate::radiometry::Band;
use crate::radiometry::planck::{BandRadiance, band_radiance_at, band_temperature};
use crate::units::Kelvin;

/// Temperature to in-band radiance and back, in `f32`, for one band, from 200 K to 800 K.
///
/// # Accuracy
/// Better than 1 mK both ways for bands that reach beyond 1.5 µm, against
/// [`band_radiance`](super::planck::band_radiance).
#[derive(Debug, Clone)]
pub struct BandTable {
    band: Band,
    radiance: Cells<12>,
    temperature: Cells<14>,
}

impl BandTable {
    /// The lowest temperature of the table, K.
    pub const LOWEST: f32 = 200.0;
    /// The highest temperature of the table, K.
    pub const HIGHEST: f32 = 800.0;

    /// Builds both tables: some milliseconds at most, some tens of kilobytes.
    #[must_use]
    pub fn new(band: Band) -> Self {
        let radiance =
            Cells::new(Self::LOWEST, Self::HIGHEST, |kelvin| band_radiance_at(band, kelvin).radiance);
        let lowest = band_radiance_at(band, f64::from(Self::LOWEST)).radiance as f32;
        let highest = band_radiance_at(band, f64::from(Self::HIGHEST)).radiance as f32;
        let mut last: Option<(f64, BandRadiance)> = None;
        let temperature = Cells::new(lowest, highest, |radiance| {
            // From edge to edge the tangent leads within a millikelvin, and one Newton step ends it.
            let near = match last {
                None => band_temperature(band, radiance).map_or(f64::NAN, Kelvin::value),
                Some((kelvin, there)) => kelvin + (radiance - there.radiance) / there.slope,
            };
            let here = band_radiance_at(band, near);
            let kelvin = near + (radiance - here.radiance) / here.slope;
            last = Some((kelvin, BandRadiance { radiance, slope: here.slope }));
            kelvin
        });
        Self { band, radiance, temperature }
    }

    /// The band the table is for.
    #[must_use]
    pub const fn band(&self) -> Band {
        self.band
    }

    /// In-band radiance of a black body, W·m⁻²·sr⁻¹; NaN outside 200 K to 800 K.
    #[inline]
    #[must_use]
    pub fn radiance(&self, kelvin: f32) -> f32 {
        self.radiance.at(kelvin)
    }

    /// [`radiance`](Self::radiance) with its slope, W·m⁻²·sr⁻¹·K⁻¹: that of the table's line, within 0.5 % of
    /// the derivative.
    #[inline]
    #[must_use]
    pub fn radiance_and_slope(&self, kelvin: f32) -> (f32, f32) {
        self.radiance.with_slope(kelvin)
    }

    /// [`temperature`](Self::temperature) with its slope, K·W⁻¹·m²·sr, as exact.
    #[inline]
    #[must_use]
    pub fn temperature_and_slope(&self, radiance: f32) -> (f32, f32) {
        self.temperature.with_slope(radiance)
    }

    /// Temperature of the black body with this in-band radiance, K; NaN outside 200 K to 800 K.
    #[inline]
    #[must_use]
    pub fn temperature(&self, radiance: f32) -> f32 {
        self.temperature.at(radiance)
    }
}

/// A function of a positive number as straight lines, one for each value of the number's bits above
/// the lowest `SHIFT`.
#[derive(Debug, Clone)]
struct Cells<const SHIFT: u32> {
    /// The bits of the lowest number of the domain.
    lowest: u32,
    /// The bits of the highest, less those of the lowest.
    span: u32,
    /// The lines, from the cell that holds the lowest number to the one that holds the highest.
    lines: Vec<Line>,
}

/// The function at the start of a cell and its slope from there on.
#[derive(Debug, Clone, Copy)]
struct Line {
    value: f32,
    slope: f32,
}

impl<const SHIFT: u32> Cells<SHIFT> {
    /// Lines through `function` at the cells' edges, which are visited in rising order.
    fn new(lowest: f32, highest: f32, mut function: impl FnMut(f64) -> f64) -> Self {
        // Numbers below the normal range have no leading mantissa bits to go by.
        let lowest = lowest.max(f32::MIN_POSITIVE).to_bits();
        let highest = highest.to_bits();
        if highest <= lowest {
            // Nothing that f32 can hold: every number is out of range.
            return Self { lowest: u32::MAX, span: 0, lines: Vec::new() };
        }
        let edge = |cell: u32| f64::from(f32::from_bits(cell << SHIFT));
        let first = lowest >> SHIFT;
        let last = highest >> SHIFT;
        let mut here = function(edge(first));
        let lines = (first..=last)
            .map(|cell| {
                let next = function(edge(cell + 1));
                let line = Line {
                    value: here as f32,
                    slope: ((next - here) / (edge(cell + 1) - edge(cell))) as f32,
                };
                here = next;
                line
            })
            .collect();
        Self { lowest, span: highest - lowest, lines }
    }

    #[inline]
    fn at(&self, number: f32) -> f32 {
        self.with_slope(number).0
    }

    #[inline]
    fn with_slope(&self, number: f32) -> (f32, f32) {
        // Positive floats are ordered as their bits are; negative ones, NaN and infinity lie above all.
        let bits = number.to_bits();
        if bits.wrapping_sub(self.lowest) > self.span {
            return (f32::NAN, f32::NAN);
        }
        let cell = (bits >> SHIFT).wrapping_sub(self.lowest >> SHIFT);
        match self.lines.get(cell as usize) {
            Some(line) => {
                let start = f32::from_bits(bits >> SHIFT << SHIFT);
                (line.value + line.slope * (number - start), line.slope)
            }
            None => (f32::NAN, f32::NAN),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::radiometry::planck::band_radiance;

    #[test]
    fn the_tables_slopes_are_those_of_planck() {
        let band = Band::default();
        let table = BandTable::new(band);
        for kelvin in [210.0_f32, 293.15, 296.4, 350.0, 640.0] {
            let exact = band_radiance(band, Kelvin::new(f64::from(kelvin)).unwrap());
            let (radiance, slope) = table.radiance_and_slope(kelvin);
            assert!((f64::from(slope) / exact.slope - 1.0).abs() < 5e-3, "{kelvin} K");
            let (_, back) = table.temperature_and_slope(radiance);
            assert!((f64::from(back) * exact.slope - 1.0).abs() < 5e-3, "{kelvin} K");
        }
    }

    /// The largest error of the table against the exact series, K: (radiance, temperature).
    fn largest_errors(band: Band) -> (f64, f64) {
        let table = BandTable::new(band);
        let mut worst = (0.0_f64, 0.0_f64);
        for step in 0..=60_000_u32 {
            // 0.01 K apart and off the cells' edges.
            let kelvin = (200.0 + f64::from(step) * 0.009_999_7) as f32;
            let exact = band_radiance(band, Kelvin::new(f64::from(kelvin)).unwrap());
            let radiance = f64::from(table.radiance(kelvin));
            worst.0 = worst.0.max(((radiance - exact.radiance) / exact.slope).abs());
            let rounded = exact.radiance as f32;
            let shift = (f64::from(rounded) - exact.radiance) / exact.slope;
            let temperature = f64::from(table.temperature(rounded));
            worst.1 = worst.1.max((temperature - f64::from(kelvin) - shift).abs());
        }
        worst
    }

    #[test]
    fn the_table_is_within_a_millikelvin_of_the_exact_series_both_ways() {
        for limits in
            [[7.5, 14.0], [8.0, 14.0], [7.5, 13.0], [3.0, 5.0], [0.9, 1.7], [8.0, 8.1], [20.0, 100.0]]
        {
            let (radiance, temperature) = largest_errors(Band::try_from(limits).unwrap());
            assert!(radiance < 1e-3, "{limits:?}: radiance off by {radiance} K");
            assert!(temperature < 1e-3, "{limits:?}: temperature off by {temperature} K");
        }
    }

    #[test]
    fn numbers_outside_the_table_have_no_answer() {
        let table = BandTable::new(Band::default());
        for kelvin in [199.99, 800.01, 0.0, -300.0, f32::NAN, f32::INFINITY] {
            assert!(table.radiance(kelvin).is_nan(), "{kelvin} K");
        }
        for radiance in [0.0, -1.0, 1e-30, 1e9, f32::NAN, f32::INFINITY] {
            assert!(table.temperature(radiance).is_nan(), "{radiance}");
        }
        assert!(table.radiance(200.0) > 0.0 && table.radiance(800.0) > table.radiance(200.0));
    }

    #[test]
    fn radiance_too_faint_for_f32_has_no_temperature() {
        // 0.12 µm at 800 K: exp(-c2/λT) is about 1e-65.
        let table = BandTable::new(Band::new(0.1, 0.12).unwrap());
        assert!(table.temperature(0.0).is_nan());
        assert!(table.temperature(f32::MIN_POSITIVE).is_nan());
    }
}
