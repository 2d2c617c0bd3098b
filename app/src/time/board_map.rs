//! Where the board lies in a recording. Its own places are kept: those of the session follow the baseline, which
//! may change while the recording stays as it is.

use analysis::capture::{CaptureMetadata, CornerMark};
use analysis::geometry::BaselinePixels;
use analysis::session::{Command, Role, Session};
use leptos::prelude::*;

use super::desk::{Desk, Opened};
use crate::notice::Notice;

type Corners = Vec<CornerMark<BaselinePixels>>;

/// Whether board places of the session are places in the recording's picture: there is no baseline, or it was
/// pulled out of the recording and states the same places.
fn same_picture(session: &Session, recording: &CaptureMetadata) -> bool {
    session
        .with_role(Role::Baseline)
        .next()
        .is_none_or(|baseline| baseline.metadata.corners == recording.corners)
}

impl Desk {
    /// Regions, read-outs and parts lie on the baseline's pixels; a recording of other pixels says so.
    pub(super) fn tell_other_pixels(self, opened: &Opened) {
        let baseline = self.store.session().with_untracked(|session| {
            session.with_role(Role::Baseline).next().map(|record| record.hash.clone())
        });
        let shape = baseline.and_then(|hash| untrack(|| self.store.shape(&hash)));
        if let Some((rows, columns)) = shape.filter(|shape| *shape != opened.shape) {
            self.store.tell(Notice::warning(
                format!(
                    "{} has other pixels than the known-good capture ({columns} × {rows}).",
                    opened.recording.name
                ),
                "Regions and read-outs lie elsewhere in it: set that capture aside, or record as it was captured.",
            ));
        }
    }

    /// Known places of the board in the recording are its own, and those of a session that has none and no
    /// baseline yet, so that its parts lie on the picture.
    pub(super) fn take_corners(self, metadata: &CaptureMetadata) {
        let stated: Corners = metadata.corners.iter().copied().map(CornerMark::on_baseline).collect();
        let wanted = self
            .store
            .session()
            .with_untracked(|session| session.layout.corners.is_empty() && session.is_without_good_boards());
        self.recorded.corners.set(stated.clone());
        if wanted && !stated.is_empty() {
            self.store.dispatch(Command::MarkCorners { corners: stated });
        }
    }

    /// What a person marks on the recording's picture becomes the recording's own.
    pub(super) fn keep_corners(self) {
        let marked = Memo::new(move |_| self.store.session().with(|session| session.layout.corners.clone()));
        Effect::new(move |before: Option<Corners>| {
            let now = marked.get();
            let changed = before.is_some_and(|before| before != now);
            let here = self.opened.with_untracked(Option::is_some)
                && self.store.session().with_untracked(|session| {
                    self.metadata.with_untracked(|metadata| same_picture(session, metadata))
                });
            if changed && here && !now.is_empty() {
                self.recorded.corners.set(now.clone());
            }
            now
        });
    }
}
