//! Numbered captures and runs of pictures that Pillow wrote (`tests/data/sequences/make_pictures.py`), whole
//! and damaged.

use std::fs::File;
use std::io::BufReader;
use std::path::PathBuf;

use analysis::sequence::{FrameFile, FrameProblem, FrameSeries, FrameSource};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/sequences")
}

/// Pixel (row, column) of picture p is 300 p + 16 row + column, of 12 rows and 16 columns.
fn is_picture(source: &mut impl FrameSource, frame: usize, picture: usize) {
    let pixels = source.read(frame).unwrap_or_else(|problem| panic!("{problem}"));
    assert_eq!(pixels.shape(), (12, 16));
    for (index, value) in pixels.as_slice().iter().enumerate() {
        assert_eq!(*value, (300 * picture + index) as f32, "frame {frame}");
    }
}

fn run(name: &str) -> FrameFile<BufReader<File>> {
    let file = BufReader::new(File::open(folder().join(name)).expect("a file"));
    FrameFile::open(name, file).expect("a run of pictures")
}

#[test]
fn pictures_one_after_the_other_are_read_in_any_order() {
    let mut source = run("run.pgm");
    assert_eq!((source.count(), source.lost()), (7, None));
    for frame in [6, 0, 3, 3, 5] {
        is_picture(&mut source, frame, frame);
    }
}

#[test]
fn a_run_with_a_damaged_header_a_cut_picture_and_a_cut_end_loses_these_three_alone() {
    let mut source = run("damaged_run.pgm");
    assert_eq!((source.count(), source.lost()), (7, None));
    for frame in [0, 2, 3, 5] {
        is_picture(&mut source, frame, frame);
    }
    for frame in [1, 4, 6] {
        let problem = source.read(frame).expect_err("damaged");
        assert!(matches!(problem, FrameProblem::Unreadable { .. }), "{problem}");
        assert!(
            problem.to_string().starts_with(&format!("frame {}: damaged_run.pgm", frame + 1)),
            "{problem}"
        );
    }
}

#[test]
fn numbered_files_are_in_the_order_of_their_numbers_and_gaps_and_cut_files_are_named() {
    let inside = folder().join("numbered");
    let mut names: Vec<String> = std::fs::read_dir(&inside)
        .expect("the folder")
        .map(|entry| entry.expect("a file").file_name().into_string().expect("UTF-8"))
        .collect();
    // In the order of the alphabet, which puts 10 before 8.
    names.sort();
    let paths: Vec<PathBuf> = names.iter().map(|name| inside.join(name)).collect();
    let mut source = FrameSeries::new(names, |file| std::fs::read(&paths[file])).expect("files");
    // Numbers 8, 9, 10, 12 and 13, of which 12 is cut short.
    assert_eq!(source.count(), 6);
    assert_eq!(source.dropped(), [FrameProblem::Dropped { frame: 3, number: 11 }]);
    assert_eq!(source.file_name(2), Some("board 16bit frame 10 of 20.pgm"));
    for (frame, picture) in [(5, 13), (0, 8), (2, 10), (1, 9)] {
        is_picture(&mut source, frame, picture);
    }
    assert_eq!(source.read(3), Err(FrameProblem::Dropped { frame: 3, number: 11 }));
    assert!(matches!(source.read(4), Err(FrameProblem::Unreadable { frame: 4, .. })));
}
