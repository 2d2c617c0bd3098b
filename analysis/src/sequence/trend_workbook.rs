//! A [`TrendTable`] as a workbook (Office Open XML, ECMA-376), for spreadsheets.

use rust_xlsxwriter::{ColNum, DocProperties, ExcelDateTime, Format, FormatAlign, RowNum, Workbook};

use super::trend_table::{TableCell, TrendTable, TrendTableError};

/// Rows and columns that a sheet of the format has room for.
const MOST_ROWS: usize = 1 << 20;
const MOST_COLUMNS: usize = 1 << 14;
/// More cells would fill a browser's memory while the workbook is put together.
const MOST_CELLS: usize = 3_000_000;

impl TrendTable {
    /// The table as a workbook of one sheet: numbers as numbers, times as numbers of seconds, what is missing
    /// as an empty cell, the headings and the first two columns kept in view.
    ///
    /// `written_at` is the time to note in the file, s since the beginning of 1970, UTC.
    ///
    /// # Errors
    /// [`TrendTableError::TooLarge`] and [`TrendTableError::Workbook`].
    pub fn to_workbook(&self, written_at: i64) -> Result<Vec<u8>, TrendTableError> {
        let headings = self.headings();
        let (rows, columns) = (self.frames.len() + 1, headings.len());
        if rows > MOST_ROWS || columns > MOST_COLUMNS || rows.saturating_mul(columns) > MOST_CELLS {
            let (most_rows, most_columns, most_cells) = (MOST_ROWS, MOST_COLUMNS, MOST_CELLS);
            return Err(TrendTableError::TooLarge { rows, columns, most_rows, most_columns, most_cells });
        }
        let mut workbook = Workbook::new();
        let written = ExcelDateTime::from_timestamp(written_at)?;
        workbook.set_properties(&DocProperties::new().set_creation_datetime(&written));
        let decimals = ["0", "0.0", "0.00", "0.000"].map(|shown| Format::new().set_num_format(shown));
        let heading = Format::new().set_bold().set_text_wrap().set_align(FormatAlign::Top);
        let sheet = workbook.add_worksheet();
        sheet.set_name("trend")?;
        sheet.set_freeze_panes(1, 2)?;
        for (text, column) in headings.iter().zip(0 as ColNum..) {
            sheet.write_string_with_format(0, column, text, &heading)?;
            sheet.set_column_width(column, if text == "date and time" { 28.0 } else { 14.0 })?;
        }
        for (cells, row) in self.rows().zip(1 as RowNum..) {
            for (cell, column) in cells.into_iter().zip(0 as ColNum..) {
                match cell {
                    TableCell::Empty => {}
                    TableCell::Number { value, shown } => {
                        let format = &decimals[usize::from(shown).min(decimals.len() - 1)];
                        sheet.write_number_with_format(row, column, value, format)?;
                    }
                    TableCell::Text(text) => {
                        sheet.write_string(row, column, text)?;
                    }
                }
            }
        }
        Ok(workbook.save_to_buffer()?)
    }
}
