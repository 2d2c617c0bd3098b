//! Which of a file's pages become the capture: the first, a given one, or the mean of them all.

use crate::frame::{Frame, RawNumber};

use super::metadata::PageChoice;
use super::read_error::{ReadError, ReadWarning};
use super::read_limits::ReadLimits;

/// How a file writes its numbers, which decides whether a temperature needs a stated scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleKind {
    /// Whole numbers: what one step means must be stated.
    Integer,
    /// Numbers with fractions: they can be the quantity itself.
    Real,
}

/// A file's pixels as raw numbers.
#[derive(Debug, Clone)]
pub struct Decoded {
    /// The numbers, `(rows, columns)`, as the file holds them.
    pub pixels: Frame<RawNumber>,
    /// How the file writes them.
    pub samples: SampleKind,
    /// How many pages the file has.
    pub pages: usize,
    /// What a person should know.
    pub warnings: Vec<ReadWarning>,
}

/// Takes the wanted pages of one file as a reader comes to them, and averages where asked.
pub(super) struct PageCollector<'a> {
    file_name: &'a str,
    choice: PageChoice,
    saturated_at: f32,
    limits: ReadLimits,
    shape: Option<(usize, usize)>,
    single: Vec<f32>,
    sums: Vec<f64>,
    counts: Vec<u32>,
    admitted: u64,
}

impl<'a> PageCollector<'a> {
    #[expect(clippy::cast_possible_truncation, reason = "pixels are f32, so is what they are held against")]
    pub(super) fn new(
        file_name: &'a str,
        choice: PageChoice,
        saturated_at: Option<f64>,
        limits: ReadLimits,
    ) -> Self {
        Self {
            file_name,
            choice,
            saturated_at: saturated_at.map_or(f32::INFINITY, |level| level as f32),
            limits,
            shape: None,
            single: Vec::new(),
            sums: Vec::new(),
            counts: Vec::new(),
            admitted: 0,
        }
    }

    /// Whether this page, counted from 1, is needed.
    pub(super) fn wants(&self, page: usize) -> bool {
        match self.choice {
            PageChoice::First => page == 1,
            PageChoice::Page(number) => usize::try_from(number.get()) == Ok(page),
            PageChoice::Mean => true,
        }
    }

    /// Checks the size of a wanted page before anybody sets memory aside for it.
    pub(super) fn admit(&mut self, page: usize, rows: u64, columns: u64) -> Result<(), ReadError> {
        let pixels = rows.saturating_mul(columns);
        if pixels == 0 {
            return Err(ReadError::malformed(
                self.file_name,
                format!("page {page} has no pixels ({columns} × {rows})"),
                "Export the capture again",
            ));
        }
        if pixels > self.limits.pixels {
            return Err(ReadError::limit_exceeded(
                self.file_name,
                format!(
                    "page {page} claims {columns} × {rows} pixels, more than the {} allowed",
                    self.limits.pixels
                ),
                "Crop the capture, or export it again if it should be smaller",
            ));
        }
        self.admitted = self.admitted.saturating_add(pixels);
        if self.admitted > self.limits.burst_pixels {
            return Err(ReadError::limit_exceeded(
                self.file_name,
                format!("the burst is longer than the {} pixels allowed", self.limits.burst_pixels),
                "Export fewer pages, or state one page",
            ));
        }
        Ok(())
    }

    /// Checks the number of pages come to so far.
    pub(super) fn admit_page_count(&self, pages: usize) -> Result<(), ReadError> {
        if pages > self.limits.pages {
            return Err(ReadError::limit_exceeded(
                self.file_name,
                format!("the file has more than the {} pages allowed", self.limits.pages),
                "Export fewer pages",
            ));
        }
        Ok(())
    }

    /// Takes one wanted page, row by row.
    pub(super) fn take(
        &mut self,
        page: usize,
        rows: usize,
        columns: usize,
        numbers: Vec<f32>,
    ) -> Result<(), ReadError> {
        if numbers.len() != rows.saturating_mul(columns) {
            return Err(ReadError::malformed(
                self.file_name,
                format!("page {page} holds {} numbers instead of {columns} × {rows}", numbers.len()),
                "Export the capture again",
            ));
        }
        let expected = *self.shape.get_or_insert((rows, columns));
        if expected != (rows, columns) {
            return Err(ReadError::unsupported(
                self.file_name,
                format!(
                    "page {page} has {columns} × {rows} pixels, but the first has {} × {}: no mean can be taken",
                    expected.1, expected.0
                ),
                "State the one page that is meant, instead of \"mean\"",
            ));
        }
        if self.choice == PageChoice::Mean {
            self.add(&numbers);
        } else {
            self.single = numbers;
            for number in self.single.iter_mut().filter(|number| **number >= self.saturated_at) {
                *number = f32::NAN;
            }
        }
        Ok(())
    }

    fn add(&mut self, numbers: &[f32]) {
        self.sums.resize(numbers.len(), 0.0);
        self.counts.resize(numbers.len(), 0);
        for ((sum, count), &number) in self.sums.iter_mut().zip(&mut self.counts).zip(numbers) {
            if number >= self.saturated_at {
                // Once saturated, always invalid: a mean over the other pages would read too low.
                *sum = f64::NAN;
            } else if number.is_finite() {
                *sum += f64::from(number);
                *count += 1;
            }
        }
    }

    /// The capture, once every page has been come to.
    #[expect(clippy::cast_possible_truncation, reason = "a mean of f32 numbers is an f32 number")]
    pub(super) fn finish(
        mut self,
        pages: usize,
        samples: SampleKind,
        mut warnings: Vec<ReadWarning>,
    ) -> Result<Decoded, ReadError> {
        let Some((rows, columns)) = self.shape else {
            let asked = match self.choice {
                PageChoice::Page(number) => usize::try_from(number.get()).unwrap_or(usize::MAX),
                PageChoice::First | PageChoice::Mean => 1,
            };
            return Err(ReadError::NoSuchPage { file_name: self.file_name.to_owned(), asked, pages });
        };
        if self.choice == PageChoice::Mean {
            let mean = self.sums.iter().zip(&self.counts);
            self.single = mean.map(|(sum, &count)| (sum / f64::from(count)) as f32).collect();
        } else if self.choice == PageChoice::First && pages > 1 {
            warnings.insert(0, ReadWarning::SeveralPages { pages });
        }
        let pixels = Frame::from_rows(rows, columns, self.single).map_err(|error| {
            ReadError::malformed(self.file_name, error.to_string(), "Export the capture again")
        })?;
        Ok(Decoded { pixels, samples, pages, warnings })
    }
}
