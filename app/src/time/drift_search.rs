//! A run that finds how the board has moved in every frame of a recording.

use analysis::frame::{ApparentKelvin, Frame};
use analysis::geometry::Homography;
use analysis::registration::{ReferenceView, ViewDrift};

use super::protocol::{HeldParcel, Outcome};
use super::recording::{Failure, Recording};

/// The search in progress.
#[derive(Debug)]
pub(super) struct DriftSearch {
    reference: usize,
    view: ReferenceView,
    /// Where the board lay in the frame before.
    last: Option<ViewDrift>,
    found: Vec<Option<ViewDrift>>,
    unsure: usize,
}

impl DriftSearch {
    /// Against this frame.
    pub(super) fn new(recording: &mut Recording, reference: usize) -> Result<Self, Failure> {
        let raw = recording.source().read(reference)?;
        let view = ReferenceView::new(&recording.apparent(&raw)?).ok_or_else(|| Failure {
            what: "This frame shows too little detail to hold the board by.".to_owned(),
            hint: "Go to a frame in which the board is warm, and hold it there.",
        })?;
        let found = vec![None; recording.count()];
        Ok(Self { reference, view, last: None, found, unsure: 0 })
    }

    /// Looks for the board in a frame; where it is not found it is taken to lie as in the frame before.
    pub(super) fn add(&mut self, frame: usize, apparent: &Frame<ApparentKelvin>) {
        let near = self.last.as_ref().map_or_else(Homography::identity, |drift| drift.map.clone());
        match self.view.drift_of(apparent, &near) {
            Some(drift) => self.last = Some(drift),
            None => self.unsure += 1,
        }
        if let Some(place) = self.found.get_mut(frame) {
            place.clone_from(&self.last);
        }
    }

    /// The recording is seen through what was found from now on.
    pub(super) fn finish(self, recording: &mut Recording, problems: Vec<String>) -> Outcome {
        let drifts = self.found.iter().flatten();
        let most_px = drifts.map(|drift| drift.moved_px).fold(0.0, f64::max);
        let held = HeldParcel { reference: self.reference, most_px, unsure: self.unsure };
        recording.hold(self.found);
        Outcome::Held { held: Some(held), problems }
    }
}
