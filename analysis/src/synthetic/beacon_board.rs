//! The invented product of the sample captures: the controller of a tidal buoy's beacon.
//!
//! No such product exists; the layout, parts and powers were made up so that the picture has what
//! real boards have: warm converters, a shielded radio, bare cans, chip parts, a label, two
//! islands of copper, and a stretch of board with nothing on it.

use super::scene::{BoardDesign, BodyShape, Package, Part, Patch, Pour, SurfaceMaterial, Terminals};

use BodyShape::{Disc, Rectangle};
use SurfaceMaterial as Material;

const fn package(
    name: &'static str,
    size: [f64; 2],
    shape: BodyShape,
    top: SurfaceMaterial,
    terminals: Terminals,
    case_to_board: f64,
) -> Package {
    Package { name, size, shape, top, terminals, case_to_board, rise_kept: 1.0 }
}

const END_CAPS: Terminals = Terminals::EndCaps(0.2);
const CHIP_0603: Package = package("0603", [1.6, 0.8], Rectangle, Material::Ceramic, END_CAPS, 90.0);
const CHIP_1206: Package =
    package("1206", [3.2, 1.6], Rectangle, Material::Ceramic, Terminals::EndCaps(0.16), 60.0);
const CHIP_1210: Package =
    package("1210", [3.2, 2.5], Rectangle, Material::Ceramic, Terminals::EndCaps(0.16), 45.0);
const CHIP_2512: Package =
    package("2512", [6.4, 3.2], Rectangle, Material::Ceramic, Terminals::EndCaps(0.1), 30.0);
const MOLDED_7343: Package =
    package("7343", [7.3, 4.3], Rectangle, Material::Epoxy, Terminals::EndPads(0.6), 45.0);
const CAN_8: Package =
    package("CAN-8", [8.0, 8.0], Disc, Material::Aluminium, Terminals::Hidden, 15.0).tall(0.88);
const CAN_6: Package =
    package("CAN-6.3", [6.3, 6.3], Disc, Material::Aluminium, Terminals::Hidden, 18.0).tall(0.88);
const SMA: Package = package("SMA", [4.3, 2.6], Rectangle, Material::Epoxy, Terminals::EndPads(0.6), 35.0);
const SMB: Package = package("SMB", [4.6, 3.6], Rectangle, Material::Epoxy, Terminals::EndPads(0.7), 28.0);
const SOT_23: Package = package(
    "SOT-23",
    [2.9, 1.3],
    Rectangle,
    Material::Epoxy,
    Terminals::TwoRows { pitch: 1.9, reach: 0.6 },
    80.0,
);
const SOT_223: Package = package(
    "SOT-223",
    [6.5, 3.5],
    Rectangle,
    Material::Epoxy,
    Terminals::LeadsAndTab { pitch: 2.3, reach: 1.6 },
    18.0,
);
const DPAK: Package = package(
    "DPAK",
    [6.5, 6.1],
    Rectangle,
    Material::Epoxy,
    Terminals::LeadsAndTab { pitch: 2.28, reach: 2.2 },
    9.0,
);
const SO_8: Package = package(
    "SO-8",
    [4.9, 3.9],
    Rectangle,
    Material::Epoxy,
    Terminals::TwoRows { pitch: 1.27, reach: 1.0 },
    30.0,
);
const QFN_5: Package = package(
    "QFN-32",
    [5.0, 5.0],
    Rectangle,
    Material::Epoxy,
    Terminals::FourRows { pitch: 0.5, reach: 0.3 },
    14.0,
);
const QFN_7: Package = package(
    "QFN-48",
    [7.0, 7.0],
    Rectangle,
    Material::Epoxy,
    Terminals::FourRows { pitch: 0.5, reach: 0.3 },
    12.0,
);
const QFP_64: Package = package(
    "LQFP-64",
    [10.0, 10.0],
    Rectangle,
    Material::Epoxy,
    Terminals::FourRows { pitch: 0.5, reach: 1.0 },
    22.0,
);
const COIL_10: Package =
    package("COIL-10", [10.0, 10.0], Rectangle, Material::Ferrite, Terminals::EndPads(0.5), 22.0);
const COIL_8: Package =
    package("COIL-8", [8.0, 8.0], Rectangle, Material::Ferrite, Terminals::EndPads(0.5), 26.0);
const TRANSFORMER: Package = package(
    "TR-9",
    [9.0, 8.0],
    Rectangle,
    Material::Ferrite,
    Terminals::TwoRows { pitch: 2.0, reach: 1.2 },
    25.0,
)
.tall(0.9);
const SHIELD: Package =
    package("SHIELD-17", [17.0, 15.0], Rectangle, Material::SheetMetal, Terminals::Hidden, 6.0).tall(0.95);
const LID_5: Package = package("LID-5", [5.0, 5.0], Rectangle, Material::SheetMetal, Terminals::Hidden, 20.0);
const CRYSTAL: Package =
    package("XTAL-5032", [5.0, 3.2], Rectangle, Material::SheetMetal, Terminals::Hidden, 40.0);
const COAX: Package = package("COAX-6", [6.0, 6.0], Disc, Material::Gold, Terminals::Hidden, 10.0).tall(0.85);
const TERMINAL: Package =
    package("TERM-2", [9.0, 13.0], Rectangle, Material::Plastic, Terminals::Hidden, 10.0).tall(0.68);
const SOCKET: Package =
    package("SOCKET-4", [8.0, 10.0], Rectangle, Material::Plastic, Terminals::Hidden, 10.0).tall(0.72);
const HEADER: Package =
    package("HEADER-10", [12.7, 5.0], Rectangle, Material::Plastic, Terminals::Hidden, 10.0).tall(0.78);
const LAMP_0805: Package = package("LED-0805", [2.0, 1.25], Rectangle, Material::Plastic, END_CAPS, 70.0);

const fn part(
    designator: &'static str,
    package: Package,
    value: &'static str,
    center: [f64; 2],
    rotation: f64,
    power: f64,
) -> Part {
    Part { designator, package, value, center, rotation, power }
}

fn parts() -> Vec<Part> {
    vec![
        // Supply, upper left
        part("J1", TERMINAL, "12 V supply", [6.0, 55.0], 0.0, 0.0),
        part("F1", CHIP_2512, "1 A fuse", [17.0, 63.5], 0.0, 0.03),
        part("D1", SMB, "18 V clamp", [17.0, 57.0], 0.0, 0.0),
        part("Q1", SO_8, "reverse supply guard", [17.0, 49.0], 90.0, 0.06),
        part("C1", CAN_8, "220 µF 25 V", [27.0, 64.0], 0.0, 0.0),
        part("C2", CAN_8, "220 µF 25 V", [27.0, 53.5], 0.0, 0.01),
        part("C3", CHIP_1210, "10 µF 25 V", [33.6, 61.5], 90.0, 0.0),
        part("C4", CHIP_1210, "10 µF 25 V", [33.6, 56.0], 90.0, 0.0),
        part("U1", QFN_5, "5 V converter", [38.5, 59.0], 0.0, 0.40),
        part("C7", CHIP_0603, "100 nF", [38.5, 64.5], 0.0, 0.0),
        part("C8", CHIP_0603, "22 nF", [41.5, 64.5], 0.0, 0.0),
        part("D2", SMB, "3 A rectifier", [38.5, 51.0], 0.0, 0.19),
        part("L1", COIL_10, "15 µH", [50.0, 59.0], 0.0, 0.16),
        part("R2", CHIP_0603, "52.3 kΩ", [44.5, 51.0], 90.0, 0.0),
        part("R3", CHIP_0603, "10 kΩ", [46.5, 51.0], 90.0, 0.0),
        part("C5", CHIP_1210, "22 µF 10 V", [58.5, 62.5], 90.0, 0.0),
        part("C6", CHIP_1210, "22 µF 10 V", [58.5, 57.0], 90.0, 0.0),
        // Radio, upper right
        part("U5", SHIELD, "position receiver", [79.0, 59.5], 0.0, 0.26),
        part("J2", COAX, "antenna", [94.0, 59.5], 0.0, 0.0),
        part("C9", CHIP_0603, "100 nF", [68.0, 64.0], 90.0, 0.0),
        part("C24", CHIP_0603, "1 µF", [68.0, 60.5], 90.0, 0.0),
        part("R12", CHIP_0603, "0 Ω", [89.2, 59.5], 0.0, 0.0),
        // Processor, middle
        part("U3", QFP_64, "controller", [54.0, 38.5], 0.0, 0.20),
        part("Y1", CRYSTAL, "16 MHz", [54.0, 28.5], 0.0, 0.0),
        part("C11", CHIP_0603, "100 nF", [46.3, 43.5], 90.0, 0.0),
        part("C12", CHIP_0603, "100 nF", [61.7, 43.5], 90.0, 0.0),
        part("C13", CHIP_0603, "100 nF", [46.3, 33.5], 90.0, 0.0),
        part("C15", CHIP_0603, "100 nF", [61.7, 33.5], 90.0, 0.0),
        part("C16", CHIP_0603, "12 pF", [50.0, 28.5], 90.0, 0.0),
        part("C17", CHIP_0603, "12 pF", [58.0, 28.5], 90.0, 0.0),
        part("U4", SO_8, "flash memory", [69.5, 39.0], 0.0, 0.03),
        part("R4", CHIP_0603, "10 kΩ", [69.5, 44.0], 0.0, 0.0),
        part("J5", HEADER, "programming", [67.5, 48.3], 0.0, 0.0),
        part("U9", LID_5, "pressure sensor", [82.5, 43.5], 0.0, 0.005),
        part("C18", CHIP_0603, "100 nF", [77.5, 43.5], 90.0, 0.0),
        part("D4", LAMP_0805, "status lamp", [91.5, 47.0], 0.0, 0.015),
        part("R5", CHIP_0603, "1 kΩ", [91.5, 44.5], 0.0, 0.008),
        // Sensor front, lower left
        part("U2", SOT_223, "3.3 V regulator", [14.0, 38.0], 0.0, 0.27),
        part("C19", CHIP_1206, "10 µF", [21.5, 38.5], 90.0, 0.0),
        part("C20", CHIP_1206, "4.7 µF", [6.5, 38.5], 90.0, 0.0),
        part("U7", QFN_7, "echo processor", [25.5, 26.5], 0.0, 0.30),
        part("C21", CHIP_0603, "100 nF", [19.8, 29.5], 90.0, 0.0),
        part("R6", CHIP_0603, "33 Ω", [25.5, 20.8], 0.0, 0.0),
        part("R7", CHIP_0603, "33 Ω", [29.0, 20.8], 0.0, 0.0),
        part("T1", TRANSFORMER, "transducer drive", [11.5, 25.0], 0.0, 0.06),
        part("U8", SO_8, "bus driver", [17.5, 11.5], 90.0, 0.05),
        part("R8", CHIP_0603, "120 Ω", [22.3, 11.5], 90.0, 0.0),
        part("J4", SOCKET, "transducer", [6.0, 13.0], 0.0, 0.0),
        part("C23", CHIP_0603, "1 µF", [36.0, 34.5], 0.0, 0.0),
        // Lamp drive, lower right
        part("U6", SO_8, "lamp current control", [60.5, 18.5], 0.0, 0.28),
        part("R9", CHIP_0603, "4.7 kΩ", [55.0, 17.0], 90.0, 0.0),
        part("R10", CHIP_0603, "22 kΩ", [55.0, 20.5], 90.0, 0.0),
        part("C22", CAN_6, "100 µF 16 V", [62.5, 8.0], 0.0, 0.0),
        part("C14", MOLDED_7343, "47 µF 16 V", [51.5, 8.5], 0.0, 0.0),
        part("L2", COIL_8, "33 µH", [73.0, 17.0], 0.0, 0.12),
        part("D3", SMA, "2 A rectifier", [73.0, 25.5], 0.0, 0.14),
        part("Q2", DPAK, "lamp switch", [83.5, 20.0], 0.0, 0.32),
        part("Q3", SOT_23, "gate driver", [76.5, 8.5], 0.0, 0.012),
        part("R11", CHIP_0603, "10 Ω", [80.5, 8.5], 0.0, 0.0),
        part("R1", CHIP_2512, "0.1 Ω", [83.5, 31.5], 0.0, 0.22),
        part("J3", TERMINAL, "lamp", [94.0, 22.0], 0.0, 0.0),
    ]
}

fn patches() -> Vec<Patch> {
    let disc = |x: f64, y: f64, diameter: f64, material| Patch {
        center: [x, y],
        size: [diameter; 2],
        shape: Disc,
        material,
    };
    let mut patches = Vec::new();
    for (x, y) in [(4.2, 4.2), (95.8, 4.2), (4.2, 70.8), (95.8, 70.8)] {
        patches.push(disc(x, y, 6.0, Material::Tin));
        patches.push(disc(x, y, 3.2, Material::Mat));
    }
    // Screws of the two terminals.
    for (x, y) in [(6.0, 51.6), (6.0, 58.4), (94.0, 18.6), (94.0, 25.4)] {
        patches.push(disc(x, y, 4.0, Material::Tin));
    }
    // Pins of the programming header and of the transducer socket.
    for column in 0..5 {
        for row in 0..2 {
            let (x, y) = (62.42 + 2.54 * f64::from(column), 47.03 + 2.54 * f64::from(row));
            patches.push(Patch {
                center: [x, y],
                size: [0.7; 2],
                shape: Rectangle,
                material: Material::Gold,
            });
        }
    }
    for row in 0..4 {
        patches.push(disc(7.5, 9.5 + 2.3 * f64::from(row), 1.0, Material::Tin));
    }
    // The coaxial socket's insulator and pin.
    patches.push(disc(94.0, 59.5, 3.6, Material::Plastic));
    patches.push(disc(94.0, 59.5, 1.0, Material::Gold));
    // Fiducials, and a row of test pads.
    for (x, y) in [(12.0, 71.0), (88.0, 4.0), (12.0, 4.0)] {
        patches.push(disc(x, y, 1.2, Material::Gold));
    }
    for (x, y) in [(45.5, 70.5), (49.0, 70.5), (52.5, 70.5), (56.0, 70.5), (29.0, 44.5), (31.5, 44.5)] {
        patches.push(disc(x, y, 1.5, Material::Gold));
    }
    patches.push(Patch {
        center: [37.0, 12.0],
        size: [14.0, 8.0],
        shape: Rectangle,
        material: Material::Label,
    });
    patches
}

/// One 35 µm layer of copper: 385 W/(m·K) × 35 µm, W/K.
const COPPER_LAYER: f64 = 385.0 * 35e-6;
/// 1.6 mm of glass-epoxy laminate at 0.3 W/(m·K), W/K.
const LAMINATE: f64 = 0.3 * 1.6e-3;
/// Two inner planes of 18 µm, half of their area left by splits and clearances, W/K.
const INNER_PLANES: f64 = 0.5 * 2.0 * 385.0 * 18e-6;

/// The invented controller board, 100 × 75 mm, with 61 parts that dissipate 3.1 W together.
#[must_use]
pub fn beacon_board() -> BoardDesign {
    let pour = |from, to, sheet_conductance| Pour { from, to, sheet_conductance };
    let planes = LAMINATE + INNER_PLANES;
    // Outside layers are poured between traces: two thirds of a layer, or both sides of the board.
    let one_side = planes + 0.66 * COPPER_LAYER;
    let both_sides = planes + 1.32 * COPPER_LAYER;
    BoardDesign {
        product: "Tidal-buoy beacon controller (invented)",
        size: [100.0, 75.0],
        parts: parts(),
        patches: patches(),
        sheet_conductance: planes,
        pours: vec![
            // Supply input, converter output, lamp drive: copper outside too.
            pour([12.0, 46.0], [35.0, 69.0], one_side),
            pour([35.0, 47.0], [62.0, 68.0], both_sides),
            pour([66.0, 11.0], [90.0, 35.0], both_sides),
            pour([7.0, 34.0], [23.0, 44.0], one_side),
            // The antenna's clearance has no copper at all, nor has the gap around the transducer's island.
            pour([88.0, 51.0], [100.0, 68.0], LAMINATE),
            pour([22.0, 0.0], [23.5, 18.0], LAMINATE),
            pour([0.0, 31.0], [20.0, 32.5], LAMINATE),
        ],
        film: 21.0,
    }
}
