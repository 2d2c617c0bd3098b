//! The material table: emissivities found on boards, each with where its value comes from.
//!
//! A table value is where to start; measuring the board's own surface comes before it. Most published
//! values are total (over all wavelengths); for what is not metal, total and long-wave values lie close
//! near room temperature, while a bare metal's emissivity follows its finish far more than its name.

use crate::surface::region::Finish;
use crate::units::Emissivity;

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Stable key, kept in sessions.
    pub key: &'static str,
    /// What a person reads.
    pub name: &'static str,
    /// Emissivity to start from.
    pub emissivity: Emissivity,
    /// Standard uncertainty of it: half the quoted range over √3, as for a quantity that lies anywhere in
    /// the range with equal chance (JCGM 100:2008, 4.3.7). Where the source quotes one value alone, the
    /// range is our own estimate: ±0.05 for coatings, ±1/3 of the value for metals.
    pub uncertainty: f64,
    /// Where the value comes from, with its kind (total normal, in band, …) and how it was confirmed.
    pub source: &'static str,
}

impl Material {
    /// A row whose emissivity lies between `lowest` and `highest`.
    const fn new(
        key: &'static str,
        name: &'static str,
        emissivity: f64,
        [lowest, highest]: [f64; 2],
        source: &'static str,
    ) -> Self {
        let uncertainty = (highest - lowest) / 2.0 / SQUARE_ROOT_OF_THREE;
        Self { key, name, emissivity: Emissivity::known(emissivity), uncertainty, source }
    }

    /// The finish that this material stands for.
    #[must_use]
    pub fn finish(&self) -> Finish {
        Finish {
            emissivity: self.emissivity,
            uncertainty: self.uncertainty,
            material: Some(self.key.to_owned()),
            measured: None,
        }
    }
}

const SQUARE_ROOT_OF_THREE: f64 = 1.732_050_807_568_877_2;

const PRACTICE: &str = "common practice, no source";

/// What most of most boards is covered with.
pub const SOLDER_MASK: Material = Material::new("solder-mask", "Solder mask", 0.92, [0.88, 0.95], PRACTICE);

/// The row with this key.
#[must_use]
pub fn material(key: &str) -> Option<&'static Material> {
    MATERIALS.iter().find(|material| material.key == key)
}

/// The table: board and packages first, then coatings and labels, then metals.
pub const MATERIALS: &[Material] = &[
    SOLDER_MASK,
    Material::new("bare-laminate", "Bare epoxy-glass laminate", 0.9, [0.85, 0.95], PRACTICE),
    Material::new("molding-compound", "Molded package, black", 0.925, [0.9, 0.95], PRACTICE),
    Material::new("ceramic-body", "Ceramic capacitor or resistor body", 0.9, [0.85, 0.95], PRACTICE),
    Material::new(
        "alumina",
        "Alumina ceramic",
        0.875,
        [0.8, 0.95],
        "common practice for 8 to 14 µm, no source; much lower near 3 to 5 µm",
    ),
    Material::new("silicone", "Silicone, potting or rubber", 0.925, [0.9, 0.95], PRACTICE),
    Material::new(
        "glass",
        "Glass, smooth",
        0.925,
        [0.9, 0.95],
        "total hemispherical, from memory: Incropera and others, Fundamentals of Heat and Mass Transfer, Table A.11",
    ),
    Material::new(
        "electrical-tape",
        "Vinyl electrical tape, black",
        0.96,
        [0.95, 0.97],
        "common practice for 8 to 14 µm, no source",
    ),
    Material::new(
        "polyimide-tape",
        "Polyimide tape",
        0.875,
        [0.8, 0.95],
        "common practice for 8 to 14 µm, no source; thin tape lets part of what lies under it show",
    ),
    Material::new(
        "paper-label",
        "Paper label, white",
        0.945,
        [0.92, 0.97],
        "total hemispherical, from memory: Incropera and others, Fundamentals of Heat and Mass Transfer, Table A.11",
    ),
    Material::new(
        "matt-black-paint",
        "Matt black paint",
        0.96,
        [0.94, 0.98],
        "8 to 14 µm, from memory; the upper end as in Incropera and others, Fundamentals of Heat and Mass \
         Transfer, Table A.11",
    ),
    Material::new(
        "white-paint",
        "White paint",
        0.93,
        [0.89, 0.97],
        "total at 40 °C, heat-transfer lecture notes by Thome (2008), read as quoted in public documentation",
    ),
    Material::new(
        "lacquer",
        "Lacquer",
        0.875,
        [0.8, 0.95],
        "total at 40 °C, heat-transfer lecture notes by Thome (2008), read as quoted in public documentation",
    ),
    Material::new(
        "anodized-aluminum",
        "Aluminum, anodized",
        0.84,
        [0.79, 0.89],
        "total normal at 20 °C, one value, table of total normal emissivities at neutrium.net; the range is ours",
    ),
    Material::new(
        "aluminum-sheet",
        "Aluminum, plain sheet",
        0.09,
        [0.06, 0.12],
        "total normal near 100 °C, one value, table of total normal emissivities at neutrium.net, and alike in \
         lecture notes by Thome (2008); the range is ours",
    ),
    Material::new(
        "oxidized-aluminum",
        "Aluminum, heavily oxidized",
        0.265,
        [0.2, 0.33],
        "total, 90 to 540 °C, lecture notes by Thome (2008), read as quoted; 0.20 to 0.31 at neutrium.net",
    ),
    Material::new(
        "polished-copper",
        "Copper, bright",
        0.02,
        [0.0133, 0.0267],
        "total at 90 °C, one value, lecture notes by Thome (2008), read as quoted; the range is ours",
    ),
    Material::new(
        "dull-copper",
        "Copper, dull",
        0.135,
        [0.12, 0.15],
        "total at 40 °C, slightly polished to dull, lecture notes by Thome (2008), read as quoted",
    ),
    Material::new(
        "oxidized-copper",
        "Copper, oxidized dark",
        0.7,
        [0.6, 0.8],
        "total, from memory: Lienhard and Lienhard, A Heat Transfer Textbook, Table 10.1",
    ),
    Material::new(
        "gold-plating",
        "Gold plating, bright",
        0.0275,
        [0.02, 0.035],
        "total, from memory: Incropera and others, Table A.11, and Lienhard and Lienhard, Table 10.1",
    ),
    Material::new(
        "tinned-metal",
        "Tinned metal, bright",
        0.055,
        [0.04, 0.07],
        "total normal, from memory of heat-transfer handbooks",
    ),
    Material::new("bright-solder", "Solder joint, bright", 0.075, [0.05, 0.1], PRACTICE),
    Material::new("dull-solder", "Solder joint, dull or oxidized", 0.3, [0.2, 0.4], PRACTICE),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_found_by_its_key_and_names_its_source() {
        for row in MATERIALS {
            assert_eq!(material(row.key), Some(row), "{} is there twice", row.key);
            assert!(!row.source.is_empty(), "{}", row.key);
            assert!(Emissivity::new(row.emissivity.value()).is_ok(), "{}", row.key);
            assert!(row.uncertainty > 0.0 && row.uncertainty < row.emissivity.value(), "{}", row.key);
        }
        assert_eq!(material("unobtainium"), None);
    }

    #[test]
    fn the_uncertainty_is_half_the_range_over_the_square_root_of_three() {
        // JCGM 100:2008, 4.3.7: a rectangular distribution of half-width a has u = a/√3.
        assert!((SOLDER_MASK.uncertainty - 0.035 / 3.0_f64.sqrt()).abs() < 1e-12);
    }
}
