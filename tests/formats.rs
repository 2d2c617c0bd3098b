//! Readers against files that independent libraries wrote, and against damaged ones.
//!
//! The TIFF files of `data/formats` were written by tifffile (see `make.py` there), so the decoder is
//! held against another implementation; their values follow from the formulas repeated here.

use std::num::NonZeroU32;
use std::path::PathBuf;

use analysis::capture::{
    CaptureMetadata, Decoded, PageChoice, ReadError, ReadWarning, SampleKind, encode_tiff, encode_tiff_u16,
    mask_invalid, read_capture, read_pixels,
};
use analysis::frame::{Frame, RawNumber};
use proptest::prelude::*;

const ROWS: usize = 30;
const COLUMNS: usize = 41;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/formats")
}

fn bytes_of(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn decode(name: &str, page: PageChoice) -> Decoded {
    read_pixels(name, &bytes_of(name), page).unwrap_or_else(|error| panic!("{error}"))
}

fn page(number: u32) -> PageChoice {
    PageChoice::Page(NonZeroU32::new(number).unwrap())
}

fn assert_formula(name: &str, decoded: &Decoded, formula: impl Fn(f32, f32) -> f32) {
    assert_eq!(decoded.pixels.shape(), (ROWS, COLUMNS), "{name}");
    for ((row, column), &found) in decoded.pixels.view().indexed_iter() {
        let expected = formula(column as f32, row as f32);
        assert_eq!(found, expected, "{name}, column {column}, row {row}");
    }
}

fn real(x: f32, y: f32) -> f32 {
    20.0 + x / 8.0 + y / 4.0
}

fn counts(x: f32, y: f32) -> f32 {
    20000.0 + 100.0 * y + x
}

/// A file's name and the formula of its pixels.
type Known = (&'static str, fn(f32, f32) -> f32);

const INTEGER_FILES: [Known; 13] = [
    ("u8_plain.tiff", |x, y| (7.0 * x + 13.0 * y) % 256.0),
    ("u8_packbits.tiff", |x, y| (7.0 * x + 13.0 * y) % 256.0),
    ("u16_plain.tiff", counts),
    ("u16_big_endian.tiff", counts),
    ("u16_strips_of_seven_rows.tiff", counts),
    ("u16_lzw_predictor.tiff", counts),
    ("u16_deflate.tiff", counts),
    ("u16_tiles.tiff", counts),
    ("u16_tiles_deflate.tiff", counts),
    ("u16_bigtiff.tiff", counts),
    ("u16_bigtiff_big_endian.tiff", counts),
    ("i16_plain.tiff", |x, y| -300.0 + 10.0 * y + x),
    // The nearest 32-bit float to a whole number above 2^24, ties to even, as IEEE 754 rounds.
    ("u32_plain.tiff", |x, y| (16_777_216.0 + 3.0 * (f64::from(x) + f64::from(y))) as f32),
];

const REAL_FILES: [Known; 7] = [
    ("f32_plain.tiff", real),
    ("f32_big_endian.tiff", real),
    ("f32_lzw.tiff", real),
    ("f32_deflate_predictor.tiff", real),
    ("f32_tiles.tiff", real),
    ("f16_plain.tiff", real),
    ("f64_plain.tiff", real),
];

#[test]
fn every_kind_of_grey_tiff_yields_the_numbers_that_were_written() {
    for (files, samples) in [(&INTEGER_FILES[..], SampleKind::Integer), (&REAL_FILES[..], SampleKind::Real)] {
        for (name, formula) in files {
            let decoded = decode(name, PageChoice::First);
            assert_formula(name, &decoded, formula);
            assert_eq!((decoded.samples, decoded.pages), (samples, 1), "{name}");
            if *name != "u32_plain.tiff" {
                assert_eq!(decoded.warnings, [], "{name}");
            }
        }
    }
}

#[test]
fn whole_numbers_beyond_a_float_are_told_to_be_rounded() {
    let decoded = decode("u32_plain.tiff", PageChoice::First);
    assert_eq!(decoded.warnings, [ReadWarning::Rounded { largest: 16_777_216.0 + 3.0 * 69.0 }]);
}

#[test]
fn numbers_that_are_not_finite_are_invalid_pixels() {
    let decoded = decode("f32_holes.tiff", PageChoice::First);
    for (row, column) in [(2, 3), (4, 5), (6, 7)] {
        assert_eq!(decoded.pixels.at(row, column), None);
    }
    assert_eq!(decoded.pixels.count_valid(), ROWS * COLUMNS - 3);
}

#[test]
fn any_page_of_several_can_be_chosen() {
    for name in ["u16_four_pages.tiff", "u16_four_pages_bigtiff.tiff"] {
        let first = decode(name, PageChoice::First);
        assert_formula(name, &first, counts);
        assert_eq!(first.warnings, [ReadWarning::SeveralPages { pages: 4 }]);
        for number in 1..=4_u16 {
            let chosen = decode(name, page(number.into()));
            assert_formula(name, &chosen, |x, y| counts(x, y) + 1000.0 * f32::from(number - 1));
            assert_eq!((chosen.pages, chosen.warnings.len()), (4, 0));
        }
        let mean = decode(name, PageChoice::Mean);
        assert_formula(name, &mean, |x, y| counts(x, y) + 1500.0);
        assert_eq!(mean.warnings, []);
    }
}

#[test]
fn the_mean_of_a_burst_leaves_invalid_pixels_out() {
    let mean = decode("f32_burst.tiff", PageChoice::Mean);
    // Pages add 0, 1 and 2; (1, 1) is invalid on the first page, (2, 2) on all.
    assert_eq!(mean.pixels.at(0, 0), Some(real(0.0, 0.0) + 1.0));
    assert_eq!(mean.pixels.at(1, 1), Some(real(1.0, 1.0) + 1.5));
    assert_eq!(mean.pixels.at(2, 2), None);
}

#[test]
fn a_pixel_saturated_on_one_page_is_invalid_in_the_mean() {
    let name = "u16_four_pages.tiff";
    // The brightest pixel, (29, 40), is 22940 + 1000 p; only the last page reaches 25940.
    let metadata =
        CaptureMetadata { page: PageChoice::Mean, saturated_at: Some(25940.0), ..Default::default() };
    let decoded = read_capture(name, &bytes_of(name), &metadata).unwrap();
    assert_eq!(decoded.pixels.at(29, 40), None);
    assert_eq!(decoded.pixels.at(29, 39), Some(22939.0 + 1500.0));
}

#[test]
fn stuck_and_saturated_pixels_are_masked() {
    let pixels = decode("u16_plain.tiff", PageChoice::First).pixels;
    let metadata = CaptureMetadata {
        stuck_pixels: vec![[4, 2], [4000, 2]],
        saturated_at: Some(22940.0),
        ..Default::default()
    };
    let masked = mask_invalid(pixels, &metadata);
    assert_eq!((masked.at(2, 4), masked.at(29, 40)), (None, None));
    assert_eq!(masked.at(4, 2), Some(20402.0));
    assert_eq!(masked.count_valid(), ROWS * COLUMNS - 2);
}

#[test]
fn pictures_that_hold_no_temperatures_are_refused_with_a_remedy() {
    for (name, reason) in [
        ("refused_color.tiff", "colour picture, and colours hold no temperatures"),
        ("refused_palette.tiff", "colour picture, and colours hold no temperatures"),
        ("refused_white_is_zero.tiff", "white to black"),
        ("refused_two_numbers.tiff", "2 numbers per pixel"),
        ("refused_twelve_bits.tiff", "12 bits"),
        ("refused_lossy.tiff", "ModernJPEG"),
    ] {
        let error = read_pixels(name, &bytes_of(name), PageChoice::First).unwrap_err();
        assert!(matches!(error, ReadError::Unsupported { .. }), "{error:?}");
        let text = error.to_string();
        assert!(text.starts_with(name) && text.contains(reason) && text.contains("Export"), "{text}");
    }
}

#[test]
fn pages_of_different_size_have_no_mean_but_can_be_chosen() {
    let name = "u16_unequal_pages.tiff";
    let error = read_pixels(name, &bytes_of(name), PageChoice::Mean).unwrap_err().to_string();
    assert!(error.contains("20 × 20") && error.contains("41 × 30"), "{error}");
    assert_eq!(decode(name, page(2)).pixels.shape(), (20, 20));
}

#[test]
fn a_page_that_is_not_there_is_named_with_the_number_of_pages() {
    for name in ["u16_four_pages.tiff", "u16_plain.tiff"] {
        let error = read_pixels(name, &bytes_of(name), page(9)).unwrap_err();
        assert!(matches!(error, ReadError::NoSuchPage { asked: 9, .. }), "{error:?}");
    }
    let error = read_pixels("a.csv", b"1.5,2.5\n", page(2)).unwrap_err();
    assert!(matches!(error, ReadError::NoSuchPage { asked: 2, pages: 1, .. }), "{error:?}");
}

/// A TIFF header with one 12-byte entry per `(tag, type, value)`, little-endian.
fn tiff_header(entries: &[(u16, u16, u32)]) -> Vec<u8> {
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    bytes.extend(u16::try_from(entries.len()).unwrap().to_le_bytes());
    for (tag, kind, value) in entries {
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(1_u32.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0; 4]);
    bytes
}

#[test]
fn a_header_that_claims_billions_of_pixels_meets_the_limit() {
    let (short, long) = (3, 4);
    let tiff = tiff_header(&[
        (256, long, 4_000_000_000),
        (257, long, 4_000_000_000),
        (258, short, 16),
        (259, short, 1),
        (262, short, 1),
        (273, long, 8),
        (277, short, 1),
        (278, long, 4_000_000_000),
        (279, long, 100),
    ]);
    for (name, bytes) in
        [("hostile.tiff", &tiff[..]), ("hostile.pgm", b"P5\n4000000000 4000000000 65535\n\0\0")]
    {
        let error = read_pixels(name, bytes, PageChoice::First).unwrap_err();
        assert!(matches!(error, ReadError::LimitExceeded { .. }), "{error:?}");
        let text = error.to_string();
        assert!(text.contains(name) && text.contains("4000000000 × 4000000000"), "{text}");
    }
}

#[test]
fn a_sixteen_bit_pgm_has_its_most_significant_byte_first() {
    // The worked bytes of the project's reference sheet, section 15: samples 30000 and 258.
    let bytes = b"P5\n2 1\n65535\n\x75\x30\x01\x02";
    let decoded = read_pixels("a.pgm", bytes, PageChoice::First).unwrap();
    assert_eq!(decoded.pixels.as_slice(), [30000.0, 258.0]);
    assert_eq!((decoded.samples, decoded.warnings.len()), (SampleKind::Integer, 0));
}

#[test]
fn pgm_counts_are_not_stretched_to_the_range_of_their_type() {
    let decoded =
        read_pixels("a.pgm", b"P5 # made up\n3 1 # size\n4095\n\x0F\xFF\x00\x01\x10\x00", PageChoice::First);
    let decoded = decoded.unwrap();
    assert_eq!(decoded.pixels.at(0, 0), Some(4095.0));
    assert_eq!(decoded.pixels.at(0, 1), Some(1.0));
    assert_eq!(decoded.pixels.at(0, 2), None);
    assert_eq!(decoded.warnings, [ReadWarning::AboveMaximum { pixels: 1, maximum: 4095 }]);
}

#[test]
fn pictures_that_follow_one_another_in_a_pgm_are_pages() {
    let bytes = b"P5 2 1 255\n\x01\x02P5\n2 1\n255\n\x03\x06";
    let mean = read_pixels("a.pgm", bytes, PageChoice::Mean).unwrap();
    assert_eq!((mean.pages, mean.pixels.as_slice()), (2, &[2.0, 4.0][..]));
    let second = read_pixels("a.pgm", bytes, page(2)).unwrap();
    assert_eq!(second.pixels.as_slice(), [3.0, 6.0]);
}

#[test]
fn a_plain_pgm_is_read_past_comments() {
    let decoded =
        read_pixels("a.pgm", b"P2\n# a\n2 2\n1000 # b\n1 20\n300 1000\n", PageChoice::First).unwrap();
    assert_eq!(decoded.pixels.as_slice(), [1.0, 20.0, 300.0, 1000.0]);
}

#[test]
fn a_pgm_cut_short_names_what_is_missing() {
    let error = read_pixels("cut.pgm", b"P5 2 2 65535\n\0\x01\0", PageChoice::First).unwrap_err();
    let text = error.to_string();
    assert!(matches!(error, ReadError::Malformed { .. }), "{text}");
    assert!(text.contains("cut.pgm") && text.contains("8 bytes") && text.contains("only 3"), "{text}");
}

#[test]
fn matrices_of_text_are_read_with_each_delimiter_and_decimal_sign() {
    for text in [
        "21.5,22\n,-3e1\n",
        "21.5;22\n;-3e1\n",
        "21,5;22\nNaN;-30,0\n",
        "21,5\t22\n\t-30,0",
        "\u{FEFF}21.5, 22\r\nnan, -30.0\r\n",
        "Temperature in °C\nx1,x2\n21.5,22\n,-30\n",
        "Emissivity;0,95\nno;data;here\n21,5;22;\nNaN;-30,0;\n",
    ] {
        let decoded = read_pixels("a.csv", text.as_bytes(), PageChoice::First).unwrap();
        assert_eq!(decoded.pixels.shape(), (2, 2), "{text}");
        assert_eq!(decoded.pixels.at(0, 0), Some(21.5), "{text}");
        assert_eq!(decoded.pixels.at(0, 1), Some(22.0), "{text}");
        assert_eq!(decoded.pixels.at(1, 0), None, "{text}");
        assert_eq!(decoded.pixels.at(1, 1), Some(-30.0), "{text}");
        assert_eq!(decoded.samples, SampleKind::Real, "{text}");
        let skipped = decoded.warnings.contains(&ReadWarning::HeaderSkipped { lines: 2 });
        assert_eq!(skipped, text.contains("E") || text.contains("Temperature"), "{text}");
    }
}

#[test]
fn text_without_fractions_counts_as_whole_numbers() {
    let decoded = read_pixels("a.csv", b"21;22\n;24\n", PageChoice::First).unwrap();
    assert_eq!(decoded.samples, SampleKind::Integer);
}

#[test]
fn an_unreadable_matrix_names_the_line() {
    for (text, expected) in [
        ("1,2,3\n4,5\n6,7,8\n", "line 2 has 2 cells, but line 1 has 3"),
        ("1.5,2\n3,four\n5,6\n", "line 2, cell 2: \"four\" is not a number"),
        ("1.234,5;2\n3;4\n", "line 1, cell 1: \"1.234,5\" is not a number"),
        ("no numbers here\n", "holds no line of numbers"),
        (" \n\n", "empty"),
    ] {
        let error = read_pixels("m.csv", text.as_bytes(), PageChoice::First).unwrap_err();
        assert!(matches!(error, ReadError::Malformed { .. }), "{error:?}");
        let shown = error.to_string();
        assert!(shown.starts_with("m.csv: ") && shown.contains(expected), "{shown}");
    }
}

#[test]
fn files_of_other_kinds_are_called_by_their_kind() {
    let others: [(&[u8], &str); 6] = [
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"\xFF\xD8\xFF\xE0", "JPEG"),
        (b"P6 1 1 255\n\0\0\0", "colour picture"),
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"\xFF\xFE1\0,\0", "UTF-16"),
        (b"\x01\x02\x03\x04", "not known"),
    ];
    for (bytes, kind) in others {
        // The name lies: only content counts.
        let error = read_pixels("capture.tiff", bytes, PageChoice::First).unwrap_err();
        assert!(matches!(error, ReadError::Unsupported { .. }), "{error:?}");
        assert!(error.to_string().contains(kind), "{error}");
    }
}

#[test]
fn frames_written_as_tiff_read_back_to_the_last_bit() {
    let numbers = vec![300.15, f32::NAN, -1.0e-30, 3.0e38, 0.1, 7.0];
    let frame = Frame::<RawNumber>::from_rows(2, 3, numbers).unwrap();
    let decoded = read_pixels("a.tiff", &encode_tiff(&frame).unwrap(), PageChoice::First).unwrap();
    assert_eq!(decoded.pixels, frame);
    assert_eq!(decoded.samples, SampleKind::Real);

    let numbers = [0_u16, 1, 40000, 65535, 30000, 258];
    let decoded =
        read_pixels("a.tiff", &encode_tiff_u16(&numbers, 3, 2).unwrap(), PageChoice::First).unwrap();
    assert_eq!(decoded.pixels.shape(), (3, 2));
    assert_eq!(decoded.pixels.as_slice(), numbers.map(f32::from));
    assert!(encode_tiff_u16(&numbers, 2, 2).is_err());
    assert!(encode_tiff_u16(&[], 0, 2).is_err());
}

/// Reads damaged bytes in every way; whatever comes, it must not panic.
fn survives(bytes: &[u8]) -> usize {
    let choices = [PageChoice::First, page(2), PageChoice::Mean];
    choices.into_iter().filter(|choice| read_pixels("damaged", bytes, *choice).is_err()).count()
}

fn good_files() -> impl Iterator<Item = (String, Vec<u8>)> {
    let text: [(&str, &[u8]); 4] = [
        ("a.pgm", b"P5 2 1 255\n\x01\x02P5\n2 1\n65535\n\x03\x06\x01\x01"),
        ("b.pgm", b"P2\n# a\n2 2\n1000 # b\n1 20\n300 1000\n"),
        ("a.csv", b"T;x\n21,5;22\nNaN;-30,0\n"),
        ("b.csv", b"21.5,\"22\"\n1e400,-3e1\n"),
    ];
    let stored = std::fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path());
    let stored = stored.filter(|path| path.extension().is_some_and(|extension| extension == "tiff"));
    let stored = stored.map(|path| (path.display().to_string(), std::fs::read(path).unwrap()));
    stored.chain(text.map(|(name, bytes)| (name.to_owned(), bytes.to_vec())))
}

#[test]
fn a_file_cut_anywhere_never_panics() {
    for (_, bytes) in good_files() {
        for length in (0..bytes.len()).step_by(bytes.len() / 80 + 1) {
            survives(&bytes[..length]);
        }
    }
    // Half of a plain strip is not there: every way to read it must fail.
    let bytes = bytes_of("u16_plain.tiff");
    assert_eq!(survives(&bytes[..bytes.len() / 2]), 3);
}

#[test]
fn a_file_with_flipped_bytes_never_panics() {
    for (_, bytes) in good_files() {
        let ends = (0..bytes.len().min(420)).chain(bytes.len().saturating_sub(60)..bytes.len());
        for place in ends {
            for flip in [0x01, 0x80, 0xFF] {
                let mut damaged = bytes.clone();
                damaged[place] ^= flip;
                survives(&damaged);
            }
        }
    }
}

proptest! {
    #[test]
    fn a_matrix_written_as_text_reads_back(
        (columns, numbers) in (1_usize..6).prop_flat_map(|columns| {
            let cell = prop_oneof![4 => (-1e6_f32..1e6).prop_map(Some), 1 => Just(None)];
            (Just(columns), proptest::collection::vec(cell, columns..columns * 6))
        }),
        style in 0_usize..4,
    ) {
        let rows = numbers.len() / columns;
        let numbers = &numbers[..rows * columns];
        let (delimiter, comma) = [(",", false), (";", false), (";", true), ("\t", true)][style];
        let cell = |number: &Option<f32>| match number {
            Some(number) if comma => number.to_string().replace('.', ","),
            Some(number) => number.to_string(),
            None => "NaN".to_owned(),
        };
        let line = |row: &[Option<f32>]| row.iter().map(cell).collect::<Vec<_>>().join(delimiter) + "\n";
        // A single column shows no delimiter, so a decimal comma cannot be told from one.
        prop_assume!(columns > 1 || !comma);
        let text: String = numbers.chunks(columns).map(line).collect();
        let decoded = read_pixels("a.csv", text.as_bytes(), PageChoice::First).unwrap();
        prop_assert_eq!(decoded.pixels.shape(), (rows, columns));
        for (found, expected) in decoded.pixels.as_slice().iter().zip(numbers) {
            prop_assert!(expected.map_or(found.is_nan(), |expected| expected == *found));
        }
    }

    #[test]
    fn no_bytes_at_all_make_a_reader_panic(
        magic in prop_oneof![
            Just(&b""[..]), Just(&b"II*\0"[..]), Just(&b"MM\0+"[..]), Just(&b"P5\n"[..]), Just(&b"P2 "[..])
        ],
        rest in proptest::collection::vec(any::<u8>(), 0..200),
    ) {
        survives(&[magic, &rest].concat());
    }
}
