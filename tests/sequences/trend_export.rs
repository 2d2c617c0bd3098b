//! The table of trends as CSV and as a workbook: read back by the csv crate, and by taking the workbook's
//! parts out of its archive (ECMA-376: a cell without a type holds a number, `t="s"` a shared string).

use std::io::{Cursor, Read};
use std::path::PathBuf;

use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::Point;
use analysis::sequence::{
    Place, PlaceReader, TableFrame, TableQuantity, TableRegion, TrendColumn, TrendTable, TrendTableError,
};
use analysis::units::TemperatureUnit;

/// 23 November 2026, 12:00 UTC.
const WRITTEN_AT: i64 = 1_795_435_200;
const FRAMES: usize = 12;
const MISSING: usize = 4;

/// A point and an area of a picture that warms by 0.5 K a second, one frame of which is missing.
fn table() -> TrendTable {
    let places =
        [Place::Point(Point::new(1.0, 1.0)), Place::Area(Point::new(3.0, 0.0), Point::new(5.0, 3.0))];
    let names = ["=U1", "U2, \"hot\" side"];
    let regions = names.iter().zip(&places).map(|(name, place)| TableRegion::new(*name, place)).collect();
    let mut table = TrendTable::new(TemperatureUnit::Celsius, regions);
    table.columns = vec![
        TrendColumn::Mean,
        TrendColumn::Minimum,
        TrendColumn::Maximum,
        TrendColumn::Pixels,
        TrendColumn::Uncertainty,
        TrendColumn::Rate,
    ];
    let reader = PlaceReader::new(&places, (4, 6));
    for frame in 0..FRAMES {
        let time_s = 0.1 * frame as f64;
        let row = TableFrame { frame, time_s: Some(time_s), stamp: format!("2026-11-23T12:00:{frame:02}Z") };
        if frame == MISSING {
            table.push(row, &[]);
            continue;
        }
        let pixels = (0..24).map(|pixel| (293.15 + 0.5 * time_s + f64::from(pixel % 6)) as f32);
        let pixels = Frame::<SurfaceKelvin>::from_rows(4, 6, pixels.collect()).expect("a frame");
        table.push(row, &reader.read(&pixels).expect("one size"));
    }
    for region in &mut table.regions {
        region.uncertainties_k = vec![Some(0.25); FRAMES];
    }
    table
}

/// What a person would write down for a frame of [`table`], worked out from how its pixels were made: °C.
/// The point covers columns 0 to 2, the area 3 to 5.
fn expected(frame: usize) -> Vec<Option<f64>> {
    let time = 0.1 * frame as f64;
    let warm = 20.0 + 0.5 * time;
    let mut row = vec![Some(frame as f64 + 1.0), Some(time), None];
    if frame == MISSING {
        row.extend([None; 9]);
    } else {
        row.extend([warm + 1.0, 0.25, 30.0].map(Some));
        row.extend([warm + 4.0, warm + 3.0, warm + 5.0, 12.0, 0.25, 30.0].map(Some));
    }
    row
}

const HEADINGS: [&str; 12] = [
    "frame",
    "time (s)",
    "date and time",
    "=U1 (°C)",
    "=U1 standard uncertainty (K)",
    "=U1 rate of change (K/min)",
    "U2, \"hot\" side mean (°C)",
    "U2, \"hot\" side minimum (°C)",
    "U2, \"hot\" side maximum (°C)",
    "U2, \"hot\" side valid pixels",
    "U2, \"hot\" side standard uncertainty (K)",
    "U2, \"hot\" side rate of change (K/min)",
];

/// Half of the last decimal, and what single precision leaves of 300 K; of a rate over a second 60 times as much.
fn close(found: f64, expected: f64) -> bool {
    let allowed = if expected == 30.0 { 5e-3 } else { 1e-4 };
    (found - expected).abs() < allowed
}

#[test]
fn the_csv_reads_back_as_what_was_measured_and_a_missing_frame_is_empty() {
    let text = table().to_csv().expect("a table");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings: Vec<String> = reader.headers().expect("headings").iter().map(str::to_owned).collect();
    for (found, wanted) in headings.iter().zip(HEADINGS) {
        // A spreadsheet must not take a heading for a formula.
        assert_eq!(found.trim_start_matches('\''), wanted);
        assert!(!found.starts_with('='));
    }
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!((headings.len(), rows.len()), (HEADINGS.len(), FRAMES));
    for (frame, row) in rows.iter().enumerate() {
        assert_eq!(row.get(2), Some(format!("2026-11-23T12:00:{frame:02}Z").as_str()));
        for (column, wanted) in expected(frame).into_iter().enumerate().filter(|(column, _)| *column != 2) {
            let cell = row.get(column).expect("a cell");
            match wanted {
                None => assert_eq!(cell, "", "frame {frame}, column {column}"),
                Some(wanted) => {
                    let found: f64 = cell.parse().expect("a number");
                    assert!(close(found, wanted), "frame {frame}, column {column}: {found} and {wanted}");
                }
            }
        }
    }
    // 3 times 0.1 is written as a person would.
    assert_eq!(rows[3].get(1), Some("0.3"));
}

/// The text of one part of a workbook.
fn part(workbook: &[u8], name: &str) -> String {
    let mut archive = zip::ZipArchive::new(Cursor::new(workbook)).expect("an archive");
    let mut text = String::new();
    archive.by_name(name).expect(name).read_to_string(&mut text).expect("UTF-8");
    text
}

/// The cell at this reference: its type, if it states one, and its value. `None` without such a cell.
fn cell(sheet: &str, reference: &str) -> Option<(Option<String>, String)> {
    let start = sheet.find(&format!("<c r=\"{reference}\""))?;
    let (tag, rest) = sheet[start..].split_once('>')?;
    let kind =
        tag.split_once(" t=\"").and_then(|(_, kind)| kind.split_once('"')).map(|(kind, _)| kind.to_owned());
    let value = rest.split_once("<v>")?.1.split_once("</v>")?.0;
    Some((kind, value.to_owned()))
}

#[test]
fn the_workbook_holds_numbers_as_numbers_and_nothing_where_a_frame_is_missing() {
    let workbook = table().to_workbook(WRITTEN_AT).expect("a workbook");
    let sheet = part(&workbook, "xl/worksheets/sheet1.xml");
    let strings = part(&workbook, "xl/sharedStrings.xml");
    let strings: Vec<&str> = strings.split("<t>").skip(1).filter_map(|t| t.split("</t>").next()).collect();
    for (index, heading) in HEADINGS.iter().enumerate() {
        let reference = format!("{}1", char::from(b'A' + index as u8));
        let (kind, value) = cell(&sheet, &reference).expect("a heading");
        assert_eq!(kind.as_deref(), Some("s"));
        let text = strings[value.parse::<usize>().expect("an index")].replace("&quot;", "\"");
        // In a workbook text is text, and so needs no apostrophe.
        assert_eq!(&text, heading);
    }
    for frame in 0..FRAMES {
        for (column, wanted) in expected(frame).into_iter().enumerate() {
            let reference = format!("{}{}", char::from(b'A' + column as u8), frame + 2);
            let found = cell(&sheet, &reference);
            match (column, wanted) {
                (2, _) => assert_eq!(found.expect("a date").0.as_deref(), Some("s")),
                (_, None) => assert_eq!(found, None, "{reference}"),
                (_, Some(wanted)) => {
                    let (kind, value) = found.expect("a number");
                    assert_eq!(kind, None, "{reference} is no number");
                    let value: f64 = value.parse().expect("a number");
                    assert!(close(value, wanted), "{reference}: {value} and {wanted}");
                }
            }
        }
    }
    assert!(sheet.contains("ySplit=\"1\"") && sheet.contains("state=\"frozen\""), "the headings scroll away");
    assert!(part(&workbook, "docProps/core.xml").contains("2026-11-23T12:00:00Z"));
    // The same table is the same file, for tests/data/sequences/check_workbook.py to read.
    assert_eq!(workbook, table().to_workbook(WRITTEN_AT).expect("a workbook"));
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(folder.join("trend.xlsx"), workbook).expect("written");
    std::fs::write(folder.join("trend.csv"), table().to_csv().expect("a table")).expect("written");
}

#[test]
fn the_person_chooses_columns_and_unit() {
    let mut table = table();
    table.columns = vec![TrendColumn::Maximum, TrendColumn::Mean];
    table.unit = TemperatureUnit::Fahrenheit;
    table.frames.iter_mut().for_each(|frame| frame.stamp.clear());
    let headings =
        ["frame", "time (s)", "=U1 (°F)", "U2, \"hot\" side maximum (°F)", "U2, \"hot\" side mean (°F)"];
    assert_eq!(table.headings(), headings);
    let text = table.to_csv().expect("a table");
    // 21 °C, 25 °C and 24 °C.
    assert!(text.lines().nth(1).expect("a row").starts_with("1,0,69.8,77,75.2"), "{text}");
    // A difference of 4 K is 7.2 °F.
    table.quantity = TableQuantity::Difference;
    table.regions[1].samples[0].as_mut().expect("a sample").mean = 4.0;
    assert!(table.to_csv().expect("a table").lines().nth(1).expect("a row").ends_with(",7.2"));
}

#[test]
fn a_table_beyond_what_a_workbook_holds_is_refused_with_what_to_do() {
    let mut table = table();
    table.frames = vec![TableFrame::default(); 1 << 20];
    let refused = table.to_workbook(WRITTEN_AT).expect_err("too many rows");
    assert!(matches!(refused, TrendTableError::TooLarge { rows: 1_048_577, columns: 11, .. }), "{refused}");
    assert!(refused.to_string().contains("take CSV"));
}
