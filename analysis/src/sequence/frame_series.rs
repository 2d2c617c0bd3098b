//! Numbered files of one frame each as one sequence, with what the numbering leaves out.

use super::frames::{FrameProblem, FrameSource, admit_count, of_one_size};
use crate::capture::pages::SampleKind;
use crate::capture::{PageChoice, ReadError, read_pixels};
use crate::frame::{Frame, RawNumber};

/// Numbered files of one frame each. A number that no file has is a dropped frame.
pub struct FrameSeries<F> {
    /// For each frame its number and the index of its file, where there is one.
    frames: Vec<(u64, Option<usize>)>,
    names: Vec<String>,
    read_bytes: F,
    shape: Option<(usize, usize)>,
    samples: Option<SampleKind>,
}

impl<F: FnMut(usize) -> std::io::Result<Vec<u8>>> FrameSeries<F> {
    /// Orders the files as a person would: numbers in names by their size, text by the alphabet. The last
    /// number that rises from each file to the next counts the frames, in steps of the greatest common
    /// divisor of its differences: where it leaves one out, a frame was dropped. Without such a number
    /// nothing is known of dropped frames.
    ///
    /// `read_bytes` yields the content of the file with this index in `names`.
    ///
    /// # Errors
    /// [`ReadError`] when there is no file, or the numbers would leave more gaps than a sequence may have frames.
    pub fn new(names: Vec<String>, read_bytes: F) -> Result<Self, ReadError> {
        let Some(first_name) = names.first() else {
            return Err(ReadError::malformed("the sequence", "it has no files", "Choose its files again"));
        };
        admit_count(first_name, names.len().saturating_sub(1))?;
        let mut order: Vec<(Vec<NamePart<'_>>, usize)> =
            names.iter().enumerate().map(|(index, name)| (name_parts(name), index)).collect();
        order.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| names[a.1].cmp(&names[b.1])));
        let frames = match counter(&order) {
            Some(numbers) => {
                let step = numbers.windows(2).map(|pair| pair[1] - pair[0]).fold(0, greatest_common_divisor);
                let step = step.max(1);
                let (first, last) = (numbers[0], numbers[numbers.len() - 1]);
                let count = usize::try_from((last - first) / step).unwrap_or(usize::MAX);
                admit_count(first_name, count)?;
                let mut files = numbers.iter().zip(&order).peekable();
                (0..=count as u64)
                    .map(|place| {
                        let number = first + place * step;
                        let file = files.next_if(|(found, _)| **found == number);
                        (number, file.map(|(_, (_, index))| *index))
                    })
                    .collect()
            }
            None => order.iter().zip(0..).map(|((_, index), place)| (place, Some(*index))).collect(),
        };
        Ok(Self { frames, names, read_bytes, shape: None, samples: None })
    }
}

impl<F> FrameSeries<F> {
    /// The name of a frame's file; `None` for a dropped frame and beyond the end.
    #[must_use]
    pub fn file_name(&self, frame: usize) -> Option<&str> {
        let (_, file) = self.frames.get(frame)?;
        self.names.get((*file)?).map(String::as_str)
    }

    /// The frames that the numbering leaves out, each a [`FrameProblem::Dropped`].
    #[must_use]
    pub fn dropped(&self) -> Vec<FrameProblem> {
        let missing = self.frames.iter().enumerate().filter(|(_, (_, file))| file.is_none());
        missing.map(|(frame, (number, _))| FrameProblem::Dropped { frame, number: *number }).collect()
    }
}

/// Part of a file's name. Numbers come before text.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum NamePart<'a> {
    Number(u64),
    Text(&'a str),
}

/// A name, its extension left out, as numbers and what lies between them.
fn name_parts(name: &str) -> Vec<NamePart<'_>> {
    let mut rest = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let mut parts = Vec::new();
    while let Some(first) = rest.chars().next() {
        let digits = first.is_ascii_digit();
        let end = rest.find(|letter: char| letter.is_ascii_digit() != digits).unwrap_or(rest.len());
        let (part, others) = rest.split_at(end);
        // More digits than a number holds are text.
        parts.push(part.parse().map_or(NamePart::Text(part), NamePart::Number));
        rest = others;
    }
    parts
}

/// The last number of the names that rises from each to the next, if there is one.
fn counter(order: &[(Vec<NamePart<'_>>, usize)]) -> Option<Vec<u64>> {
    let places = order.iter().map(|(parts, _)| parts.len()).min()?;
    (0..places).rev().find_map(|from_the_end| {
        // Counted from the end, so that a prefix of several words does not matter.
        let back = places - 1 - from_the_end;
        let number = |(parts, _): &(Vec<NamePart<'_>>, usize)| match parts[parts.len() - 1 - back] {
            NamePart::Number(number) => Some(number),
            NamePart::Text(_) => None,
        };
        let numbers: Option<Vec<u64>> = order.iter().map(number).collect();
        numbers.filter(|numbers| numbers.windows(2).all(|pair| pair[0] < pair[1]))
    })
}

impl<F> std::fmt::Debug for FrameSeries<F> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "FrameSeries({} frames, {} files)", self.frames.len(), self.names.len())
    }
}

impl<F: FnMut(usize) -> std::io::Result<Vec<u8>>> FrameSource for FrameSeries<F> {
    fn count(&self) -> usize {
        self.frames.len()
    }

    fn read(&mut self, frame: usize) -> Result<Frame<RawNumber>, FrameProblem> {
        let frames = self.frames.len();
        let Some(&(number, file)) = self.frames.get(frame) else {
            return Err(FrameProblem::BeyondTheEnd { frame, frames });
        };
        let Some((file, name)) = file.and_then(|file| Some((file, self.names.get(file)?))) else {
            return Err(FrameProblem::Dropped { frame, number });
        };
        let bytes = (self.read_bytes)(file)
            .map_err(|error| ReadError::malformed(name, error.to_string(), "Choose the file again"));
        let decoded = bytes.and_then(|bytes| read_pixels(name, &bytes, PageChoice::First));
        let decoded = decoded.map_err(|cause| FrameProblem::Unreadable { frame, cause })?;
        self.samples = Some(decoded.samples);
        of_one_size(&mut self.shape, frame, decoded.pixels)
    }

    fn samples(&self) -> Option<SampleKind> {
        self.samples
    }
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbered_files_are_put_in_order_and_a_gap_is_a_dropped_frame() {
        let names = ["run2_0110.pgm", "run2_0090.pgm", "run2_0100.pgm", "run2_0140.pgm", "run2_0130.pgm"];
        let contents = [2_u8, 0, 1, 5, 4];
        let page = |number: u8| [b"P5 1 1 255 ".as_slice(), &[number]].concat();
        let mut series =
            FrameSeries::new(names.map(str::to_owned).to_vec(), |file| Ok(page(contents[file]))).unwrap();
        assert_eq!(series.count(), 6);
        for frame in [0, 1, 2, 4, 5] {
            assert_eq!(series.read(frame).unwrap().at(0, 0), Some(frame as f32));
        }
        assert_eq!(series.read(3), Err(FrameProblem::Dropped { frame: 3, number: 120 }));
    }

    #[test]
    fn a_file_that_cannot_be_fetched_or_has_another_size_is_reported() {
        let names = ["a1.pgm", "a2.pgm", "a3.pgm"].map(str::to_owned).to_vec();
        let mut series = FrameSeries::new(names, |file| match file {
            0 => Ok(b"P5 1 1 255 x".to_vec()),
            1 => Ok(b"P5 2 1 255 xy".to_vec()),
            _ => Err(std::io::Error::other("gone")),
        })
        .unwrap();
        assert!(series.read(0).is_ok());
        assert!(matches!(series.read(1), Err(FrameProblem::OtherSize { found: (1, 2), .. })));
        assert!(series.read(2).unwrap_err().to_string().contains("gone"));
    }

    #[test]
    fn a_number_that_all_files_share_does_not_count_and_no_leading_zeros_are_needed() {
        let names = ["unit 2 frame 10 16bit.pgm", "unit 2 frame 9 16bit.pgm", "unit 2 frame 12 16bit.pgm"];
        let series = FrameSeries::new(names.map(str::to_owned).to_vec(), |_| Ok(Vec::new())).unwrap();
        let order: Vec<_> = (0..series.count()).map(|frame| series.file_name(frame)).collect();
        assert_eq!(order, [Some(names[1]), Some(names[0]), None, Some(names[2])]);
        assert_eq!(series.dropped(), [FrameProblem::Dropped { frame: 2, number: 11 }]);
    }

    #[test]
    fn names_without_a_common_counter_are_in_natural_order_and_nothing_is_called_dropped() {
        let names = ["b.pgm", "a10.pgm", "a9.pgm", "a9 late.pgm"].map(str::to_owned).to_vec();
        let series = FrameSeries::new(names, |_| Ok(Vec::new())).unwrap();
        let order: Vec<_> = (0..4).filter_map(|frame| series.file_name(frame)).collect();
        assert_eq!(order, ["a9.pgm", "a9 late.pgm", "a10.pgm", "b.pgm"]);
        assert_eq!(series.dropped(), []);
    }
}
