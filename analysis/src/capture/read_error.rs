//! Why a capture could not be read, and what a person should know of one that could.

/// A file that did not become a capture, sorted by whose fault it is.
///
/// Every text names the file, what is wrong and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// The file is damaged or contradicts its own format.
    #[error("{file_name}: {what}. {remedy}")]
    Malformed {
        /// The file.
        file_name: String,
        /// What is wrong.
        what: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The file may be in order, but it is of a kind that is not read.
    #[error("{file_name}: {what}. {remedy}")]
    Unsupported {
        /// The file.
        file_name: String,
        /// What it holds.
        what: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The file asks for more than is allowed by [`ReadLimits`](super::read_limits::ReadLimits).
    #[error("{file_name}: {what}. {remedy}")]
    LimitExceeded {
        /// The file.
        file_name: String,
        /// What it asks for, and what is allowed.
        what: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The metadata asks for a page that the file does not have.
    #[error(
        "{file_name}: page {asked} was asked for, but the file ends with page {pages}. State \"page\" as a number from 1 to {pages}, or \"mean\""
    )]
    NoSuchPage {
        /// The file.
        file_name: String,
        /// The page asked for, from 1.
        asked: usize,
        /// The pages there are.
        pages: usize,
    },
}

impl ReadError {
    pub(crate) fn malformed(file_name: &str, what: impl Into<String>, remedy: &'static str) -> Self {
        Self::Malformed { file_name: file_name.to_owned(), what: what.into(), remedy }
    }

    pub(crate) fn unsupported(file_name: &str, what: impl Into<String>, remedy: &'static str) -> Self {
        Self::Unsupported { file_name: file_name.to_owned(), what: what.into(), remedy }
    }

    pub(crate) fn limit_exceeded(file_name: &str, what: impl Into<String>, remedy: &'static str) -> Self {
        Self::LimitExceeded { file_name: file_name.to_owned(), what: what.into(), remedy }
    }
}

/// Something a person should know of a capture that was read all the same.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadWarning {
    /// Nobody said which of several pages is meant.
    #[error(
        "the file holds {pages} pages and only the first is used: state \"page\" as a number, or \"mean\" if \
         the pages are one burst of the same scene"
    )]
    SeveralPages {
        /// How many there are.
        pages: usize,
    },
    /// Pages that were not asked for could not be read.
    #[error("{pages} further pages of the file cannot be read: if they matter, export the file again")]
    UnreadablePages {
        /// How many.
        pages: usize,
    },
    /// Lines of text above the numbers.
    #[error("{lines} lines above the numbers hold text and were skipped")]
    HeaderSkipped {
        /// How many.
        lines: usize,
    },
    /// Every line ends with a delimiter and nothing behind it.
    #[error("every line ends with a delimiter: the empty column behind it was left out")]
    EmptyLastColumn,
    /// Whole numbers too large for a 32-bit float.
    #[error("numbers above 16777216 (the largest is {largest}) were rounded to 24 binary digits")]
    Rounded {
        /// The largest magnitude found.
        largest: f64,
    },
    /// Numbers above the maximum that the file itself states.
    #[error("{pixels} pixels lie above the maximum of {maximum} that the file states and are invalid")]
    AboveMaximum {
        /// How many.
        pixels: usize,
        /// The stated maximum.
        maximum: u32,
    },
    /// Bytes behind the last picture.
    #[error("{bytes} bytes behind the last picture were ignored")]
    TrailingBytes {
        /// How many.
        bytes: usize,
    },
}
