//! The size of a part's body, as far as the name of its package tells.

/// A code of four digits for a chip's length and width in tenths of a millimetre.
const METRIC_CHIP_CODES: &[&str] = &["1005", "1608", "2012", "3216", "3225", "4532", "5025", "6332"];
/// A code of four digits for a chip's length and width in hundredths of an inch. "0603" is also a
/// metric code; without the word "metric" the inch code is meant (common practice, no source).
const INCH_CHIP_CODES: &[&str] =
    &["0201", "0402", "0603", "0612", "0805", "1206", "1210", "1806", "1812", "2010", "2220", "2512", "2816"];

/// Body lengths in mm of packages whose name holds no length; typical figures (common practice, no
/// source), good enough to find the part under a place. Names in lower case letters and digits.
const NAMED: &[(&str, [f64; 2])] = &[
    ("01005", [0.4, 0.2]),
    ("sot223", [3.5, 6.5]),
    ("sot323", [1.3, 2.1]),
    ("sot363", [1.3, 2.1]),
    ("sot523", [0.8, 1.6]),
    ("sot23", [1.6, 2.9]),
    ("sot89", [2.5, 4.5]),
    ("sc70", [1.3, 2.1]),
    ("sod123", [2.7, 1.6]),
    ("sod323", [1.7, 1.3]),
    ("sod523", [1.2, 0.8]),
    ("dpak", [6.1, 6.6]),
    ("to252", [6.1, 6.6]),
    ("to263", [9.2, 10.0]),
    ("to220", [10.0, 4.5]),
    ("to92", [4.8, 3.8]),
    ("sma", [4.3, 2.6]),
    ("smb", [4.5, 3.6]),
    ("smc", [7.0, 6.0]),
];

/// Families whose body follows from the number of terminals: name, body width, pitch along the body,
/// what the body adds to (n / 2 − 1) pitches. Typical figures (common practice, no source).
const DUAL_ROW: &[(&str, f64, f64, f64)] = &[
    ("tssop", 4.4, 0.65, 0.75),
    ("msop", 3.0, 0.65, 1.05),
    ("ssop", 5.3, 0.65, 1.6),
    ("soic", 3.9, 1.27, 1.1),
    ("sop", 3.9, 1.27, 1.1),
    ("so", 3.9, 1.27, 1.1),
    ("pdip", 6.4, 2.54, 1.6),
    ("dip", 6.4, 2.54, 1.6),
];

/// Square families: name, terminals and side in mm (common practice, no source).
const FOUR_SIDED: &[(&str, &[(u32, f64)])] = &[
    (
        "qfn",
        &[(12, 3.0), (16, 3.0), (20, 4.0), (24, 4.0), (28, 5.0), (32, 5.0), (40, 6.0), (48, 7.0), (64, 9.0)],
    ),
    ("dfn", &[(6, 2.0), (8, 3.0), (10, 3.0), (12, 3.0)]),
    (
        "qfp",
        &[(32, 7.0), (44, 10.0), (48, 7.0), (64, 10.0), (80, 12.0), (100, 14.0), (144, 20.0), (176, 24.0)],
    ),
];

/// Body lengths along x and y before rotation, mm; `None` where the name tells nothing.
///
/// In this order: lengths that the name states ("SOIC-8 3.9x4.9mm"), chip codes (arithmetic on their
/// digits), then typical bodies of known families.
#[must_use]
pub fn body_size(package: &str) -> Option<[f64; 2]> {
    let lower = package.to_lowercase().replace('×', "x");
    stated_lengths(&lower).or_else(|| chip_code(&lower)).or_else(|| family(&lower))
}

/// "5x5", "3.9x4.9mm": a count of rows and pins ("header 2x05") is no length, so without "mm" only a
/// leadless, leaded or ball-grid family makes it one.
fn stated_lengths(lower: &str) -> Option<[f64; 2]> {
    let sized_family =
        ["qfn", "dfn", "son", "qfp", "bga", "lga", "csp", "sop"].iter().any(|f| lower.contains(f));
    lower.match_indices('x').find_map(|(at, _)| {
        let (before, after) = (lower.get(..at)?, lower.get(at + 1..)?);
        let is_number = |c: char| c.is_ascii_digit() || c == '.';
        let before = before.strip_suffix("mm").unwrap_or(before).trim_end();
        let start = before.rfind(|c| !is_number(c)).map_or(0, |at| at + 1);
        // Cut behind a character that may be longer than a byte.
        let width = before.get(start..).or_else(|| before.split(|c| !is_number(c)).next_back())?;
        let after = after.trim_start();
        let end = after.find(|c| !is_number(c)).unwrap_or(after.len());
        let (height, rest) = after.split_at_checked(end)?;
        let size = [width.parse().ok()?, height.trim_end_matches('.').parse().ok()?];
        let stated = rest.trim_start().starts_with("mm") || sized_family;
        (stated && size.iter().all(|length| (0.1..=200.0).contains(length))).then_some(size)
    })
}

fn chip_code(lower: &str) -> Option<[f64; 2]> {
    let metric = lower.contains("metric");
    let codes = || lower.split(|c: char| !c.is_ascii_digit()).filter(|run| run.len() == 4);
    let pair = |code: &str, scale: f64| {
        let (length, width) = code.split_at_checked(2)?;
        Some([length.parse::<f64>().ok()? * scale, width.parse::<f64>().ok()? * scale])
    };
    if metric {
        // "R_0603_1608Metric": the metric code is the last one.
        return pair(codes().next_back()?, 0.1);
    }
    codes().find_map(|code| match code {
        code if INCH_CHIP_CODES.contains(&code) => pair(code, 0.254),
        code if METRIC_CHIP_CODES.contains(&code) => pair(code, 0.1),
        _ => None,
    })
}

fn family(lower: &str) -> Option<[f64; 2]> {
    let plain: String = lower.chars().filter(char::is_ascii_alphanumeric).collect();
    // A name without digits is also a part of words ("small"): it must stand alone.
    let alone = |name: &str| lower.split(|c: char| !c.is_ascii_alphanumeric()).any(|word| word == name);
    let named =
        |name: &str| plain.contains(name) && (name.contains(|c: char| c.is_ascii_digit()) || alone(name));
    if let Some((_, size)) = NAMED.iter().find(|(name, _)| named(name)) {
        return Some(*size);
    }
    let terminals = |name: &str| {
        let (_, after) = plain.split_once(name)?;
        let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        after.get(..end)?.parse::<u32>().ok().filter(|count| (4..=400).contains(count))
    };
    let square = FOUR_SIDED.iter().find_map(|(name, sides)| {
        let count = terminals(name)?;
        sides.iter().find(|(least, _)| *least >= count).map(|(_, side)| [*side, *side])
    });
    square.or_else(|| {
        DUAL_ROW.iter().find_map(|(name, width, pitch, extra)| {
            let count = terminals(name)?;
            Some([*width, f64::from(count / 2 - 1) * pitch + extra])
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_of_a_package_tells_its_body() {
        // Chip codes by arithmetic: hundredths of an inch, or tenths of a millimetre where metric.
        // The others are what the name itself states.
        let cases: &[(&str, Option<[f64; 2]>)] = &[
            ("0603", Some([1.524, 0.762])),
            ("C0402", Some([1.016, 0.508])),
            ("RES-2512", Some([6.35, 3.048])),
            ("R_0603_1608Metric", Some([1.6, 0.8])),
            ("LED 1608", Some([1.6, 0.8])),
            ("SOIC-8_3.9x4.9mm_P1.27mm", Some([3.9, 4.9])),
            ("QFN-32 5x5", Some([5.0, 5.0])),
            ("QFN-32-1EP_5x5mm_P0.5mm_EP3.1x3.1mm", Some([5.0, 5.0])),
            ("inductor 7.3 x 6.8 mm", Some([7.3, 6.8])),
            ("µ×4mm", None),
            ("header 2x05 P2.54mm", None),
            ("", None),
            ("x", None),
        ];
        for (package, size) in cases {
            match (body_size(package), size) {
                (Some(found), Some(size)) => {
                    assert!(
                        found.iter().zip(size).all(|(a, b)| (a - b).abs() < 1e-9),
                        "{package}: {found:?}"
                    );
                }
                (found, size) => assert_eq!(found, *size, "{package}"),
            }
        }
    }

    #[test]
    fn known_families_have_a_body_of_the_right_order() {
        for (package, longest) in [("SOIC-16", 9.9), ("SOT-23", 2.9), ("SOT-223-3", 6.5), ("LQFP64", 10.0)] {
            let size = body_size(package).unwrap();
            assert!((size[0].max(size[1]) - longest).abs() < 0.2, "{package}: {size:?}");
        }
    }
}
