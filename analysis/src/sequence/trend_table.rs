//! Every frame and every place in one table, with units in the headings, for CSV and for a workbook.
//!
//! A row is a frame, whether it could be read or not: what is missing is an empty cell, never a number.
//! Both forms hold the same numbers, rounded alike: times to a microsecond, all else to four decimals, which
//! is finer than a single-precision kelvin near room temperature.

use super::place_sample::PlaceSample;
use super::trend::{Place, rate_of_change};
use crate::units::TemperatureUnit;

/// One of the numbers that a table may show of each place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrendColumn {
    /// The mean of the place's valid pixels; of a point simply its value.
    Mean,
    /// The least value. Not of a point.
    Minimum,
    /// The greatest value. Not of a point.
    Maximum,
    /// How many pixels are valid. Not of a point.
    Pixels,
    /// The standard uncertainty that was given with the sample.
    Uncertainty,
    /// The rate of change of the mean, per minute.
    Rate,
}

/// What the samples of a table are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TableQuantity {
    /// Temperatures, kelvin: shown with the unit's own zero.
    #[default]
    Temperature,
    /// Differences or swings, kelvin: shown by the unit's size alone.
    Difference,
}

/// A row's frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TableFrame {
    /// Which, from 0; the table counts from 1.
    pub frame: usize,
    /// Its time on the sequence's clock, s; `None` where nobody stated one.
    pub time_s: Option<f64>,
    /// Date and time as the camera wrote them; empty where unknown.
    pub stamp: String,
}

/// A place and what it had, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct TableRegion {
    /// What the person calls it.
    pub name: String,
    /// Whether it is a point, which shows its value alone.
    pub is_point: bool,
    /// In kelvin, one for each row; `None`, or none at all, where the frame is missing or no pixel valid.
    pub samples: Vec<Option<PlaceSample>>,
    /// Standard uncertainty of the mean, K, one for each row; empty where nobody worked them out.
    pub uncertainties_k: Vec<Option<f64>>,
}

impl TableRegion {
    /// A place without samples yet.
    #[must_use]
    pub fn new(name: impl Into<String>, place: &Place) -> Self {
        let is_point = matches!(place, Place::Point(_));
        Self { name: name.into(), is_point, samples: Vec::new(), uncertainties_k: Vec::new() }
    }
}

/// The table: frames down, places across.
#[derive(Debug, Clone, PartialEq)]
pub struct TrendTable {
    /// What the samples are.
    pub quantity: TableQuantity,
    /// The unit to show them in.
    pub unit: TemperatureUnit,
    /// The numbers to show of each place, in this order.
    pub columns: Vec<TrendColumn>,
    /// The span over which a rate is taken, s.
    pub rate_window_s: f64,
    /// The rows.
    pub frames: Vec<TableFrame>,
    /// The places.
    pub regions: Vec<TableRegion>,
}

/// What a cell holds.
#[derive(Debug, Clone, PartialEq)]
pub enum TableCell {
    /// Nothing: unknown or missing.
    Empty,
    /// A number, rounded, and how many decimals a person wants to see of it.
    Number {
        /// The number.
        value: f64,
        /// Decimals worth showing.
        shown: u8,
    },
    /// Text.
    Text(String),
}

impl TableCell {
    fn number(value: f64, shown: u8) -> Self {
        if value.is_finite() {
            Self::Number { value: (value * 1e4).round() / 1e4, shown }
        } else {
            Self::Empty
        }
    }

    fn time(value: f64) -> Self {
        if value.is_finite() {
            Self::Number { value: (value * 1e6).round() / 1e6, shown: 3 }
        } else {
            Self::Empty
        }
    }
}

/// Why a table cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum TrendTableError {
    /// More than a workbook or a browser's memory holds.
    #[error(
        "the table has {rows} rows and {columns} columns; a workbook holds {most_rows} rows, {most_columns} columns and here at most {most_cells} cells: choose fewer places, columns or frames, or take CSV"
    )]
    TooLarge {
        /// Rows, the heading included.
        rows: usize,
        /// Columns.
        columns: usize,
        /// The most rows of a workbook's sheet.
        most_rows: usize,
        /// The most columns of a workbook's sheet.
        most_columns: usize,
        /// The most cells that this program puts in.
        most_cells: usize,
    },
    /// The text could not be put together.
    #[error("the table cannot be written as CSV: {0}")]
    Csv(#[from] csv::Error),
    /// The workbook could not be put together.
    #[error("the table cannot be written as a workbook: {0}")]
    Workbook(#[from] rust_xlsxwriter::XlsxError),
}

impl TrendTable {
    /// A table without frames yet, that shows means in this unit.
    #[must_use]
    pub fn new(unit: TemperatureUnit, regions: Vec<TableRegion>) -> Self {
        Self {
            quantity: TableQuantity::default(),
            unit,
            columns: vec![TrendColumn::Mean],
            rate_window_s: 10.0,
            frames: Vec::new(),
            regions,
        }
    }

    /// Adds a row: a frame and what its places had, in the order of the regions, in kelvin. An empty list
    /// stands for a frame that could not be read.
    pub fn push(&mut self, frame: TableFrame, samples: &[Option<PlaceSample>]) {
        let before = self.frames.len();
        for (index, region) in self.regions.iter_mut().enumerate() {
            region.samples.resize(before, None);
            region.samples.push(samples.get(index).copied().flatten());
        }
        self.frames.push(frame);
    }

    /// The headings: frame, time, date and time where any is known, then each place's columns.
    #[must_use]
    pub fn headings(&self) -> Vec<String> {
        let mut headings = vec!["frame".to_owned(), "time (s)".to_owned()];
        if self.has_stamps() {
            headings.push("date and time".to_owned());
        }
        let difference = self.unit.difference_symbol();
        let value = match self.quantity {
            TableQuantity::Temperature => self.unit.symbol(),
            TableQuantity::Difference => difference,
        };
        for region in &self.regions {
            let name = &region.name;
            headings.extend(self.columns_of(region).map(|column| match column {
                TrendColumn::Mean if region.is_point => format!("{name} ({value})"),
                TrendColumn::Mean => format!("{name} mean ({value})"),
                TrendColumn::Minimum => format!("{name} minimum ({value})"),
                TrendColumn::Maximum => format!("{name} maximum ({value})"),
                TrendColumn::Pixels => format!("{name} valid pixels"),
                TrendColumn::Uncertainty => format!("{name} standard uncertainty ({difference})"),
                TrendColumn::Rate => format!("{name} rate of change ({difference}/min)"),
            }));
        }
        headings
    }

    /// The rows below the headings, one for each frame, each as long as the headings.
    pub fn rows(&self) -> impl Iterator<Item = Vec<TableCell>> {
        let stamps = self.has_stamps();
        let rates: Vec<Vec<f64>> = self.regions.iter().map(|region| self.rates(region)).collect();
        self.frames.iter().enumerate().map(move |(row, frame)| {
            let mut cells = vec![
                TableCell::Number { value: (frame.frame + 1) as f64, shown: 0 },
                frame.time_s.map_or(TableCell::Empty, TableCell::time),
            ];
            if stamps {
                let known = !frame.stamp.is_empty();
                cells.push(if known { TableCell::Text(frame.stamp.clone()) } else { TableCell::Empty });
            }
            for (region, rates) in self.regions.iter().zip(&rates) {
                let rate = rates.get(row).copied().unwrap_or(f64::NAN);
                cells.extend(self.columns_of(region).map(|column| self.cell(region, row, column, rate)));
            }
            cells
        })
    }

    /// The table as CSV (RFC 4180) in UTF-8, its numbers with a decimal point.
    ///
    /// # Errors
    /// [`TrendTableError::Csv`].
    pub fn to_csv(&self) -> Result<String, TrendTableError> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(self.headings().iter().map(|heading| inert(heading)))?;
        for row in self.rows() {
            writer.write_record(row.iter().map(|cell| match cell {
                TableCell::Empty => String::new(),
                TableCell::Number { value, .. } => value.to_string(),
                TableCell::Text(text) => inert(text),
            }))?;
        }
        let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
        // Only text went in.
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    fn has_stamps(&self) -> bool {
        self.frames.iter().any(|frame| !frame.stamp.is_empty())
    }

    fn columns_of<'a>(&'a self, region: &'a TableRegion) -> impl Iterator<Item = TrendColumn> + 'a {
        let of_areas = [TrendColumn::Minimum, TrendColumn::Maximum, TrendColumn::Pixels];
        self.columns.iter().copied().filter(move |column| !(region.is_point && of_areas.contains(column)))
    }

    fn cell(&self, region: &TableRegion, row: usize, column: TrendColumn, rate: f64) -> TableCell {
        let Some(sample) = region.samples.get(row).copied().flatten() else { return TableCell::Empty };
        let value = |kelvin: f32| {
            let kelvin = f64::from(kelvin);
            TableCell::number(
                match self.quantity {
                    TableQuantity::Temperature => self.unit.show(kelvin),
                    TableQuantity::Difference => self.unit.show_difference(kelvin),
                },
                2,
            )
        };
        match column {
            TrendColumn::Mean => value(sample.mean),
            TrendColumn::Minimum => value(sample.least),
            TrendColumn::Maximum => value(sample.greatest),
            TrendColumn::Pixels => TableCell::Number { value: sample.pixels as f64, shown: 0 },
            TrendColumn::Uncertainty => {
                let known = region.uncertainties_k.get(row).copied().flatten();
                known.map_or(TableCell::Empty, |kelvin| {
                    TableCell::number(self.unit.show_difference(kelvin), 3)
                })
            }
            TrendColumn::Rate => TableCell::number(self.unit.show_difference(rate) * 60.0, 3),
        }
    }

    /// The rates of a region's mean, K/s, one for each row; none unless they are shown.
    fn rates(&self, region: &TableRegion) -> Vec<f64> {
        if !self.columns.contains(&TrendColumn::Rate) {
            return Vec::new();
        }
        let timed = || self.frames.iter().enumerate().filter_map(|(row, frame)| Some((row, frame.time_s?)));
        let times: Vec<f64> = timed().map(|(_, time)| time).collect();
        let mean =
            |row: usize| region.samples.get(row).copied().flatten().map(|sample| f64::from(sample.mean));
        let means: Vec<f64> = timed().map(|(row, _)| mean(row).unwrap_or(f64::NAN)).collect();
        let mut rates = vec![f64::NAN; self.frames.len()];
        let found = rate_of_change(&times, &means, self.rate_window_s);
        timed().zip(found).for_each(|((row, _), rate)| rates[row] = rate);
        rates
    }
}

/// Text that no spreadsheet takes for a formula: one that starts like it gets an apostrophe before it.
fn inert(text: &str) -> String {
    let runs = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if runs { format!("'{text}") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_starts_like_a_formula_is_kept_from_running() {
        assert_eq!(inert("=1+1"), "'=1+1");
        assert_eq!(inert("U1 mean (°C)"), "U1 mean (°C)");
    }

    #[test]
    fn a_region_that_came_with_fewer_samples_ends_in_empty_cells() {
        let mut table = TrendTable::new(TemperatureUnit::Kelvin, Vec::new());
        table.push(TableFrame::default(), &[]);
        table.regions.push(TableRegion::new("late", &Place::Whole));
        assert_eq!(table.rows().next().unwrap()[2], TableCell::Empty);
        let sample = PlaceSample {
            least: 1.0,
            least_at: (0, 0),
            mean: 2.0,
            greatest: 3.0,
            greatest_at: (0, 0),
            pixels: 2,
        };
        table.push(TableFrame { frame: 1, ..TableFrame::default() }, &[Some(sample)]);
        assert_eq!(table.rows().nth(1).unwrap()[2], TableCell::Number { value: 2.0, shown: 2 });
    }
}
