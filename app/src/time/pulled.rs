//! A frame or a mean on its way from a recording into the session, as a file with its sidecar.

use std::ops::Range;

use analysis::capture::{CaptureMetadata, write_sidecar};
use analysis::session::Role;
use leptos::prelude::*;

use super::desk::Desk;
use crate::compute::protocol::{Buffer, Sidecar};
use crate::intake::{Dropped, DroppedCapture};
use crate::notice::Notice;
use crate::platform::clock;

impl Desk {
    /// Gives a capture that was pulled out to the session.
    pub(super) fn take_pulled(
        self,
        span: &Range<usize>,
        file_name: String,
        mut metadata: CaptureMetadata,
        mut buffers: Vec<Buffer>,
        role: Role,
    ) {
        let since = self.timeline.with_untracked(|timeline| timeline.as_ref()?.time(span.start));
        let start = self.timeline.with_untracked(|timeline| timeline.as_ref()?.time(0));
        if let Some(time) = since.zip(start).and_then(|(at, start)| clock::later(&metadata.time, at - start))
        {
            metadata.time = time;
        }
        let Some(Buffer::Bytes(bytes)) = buffers.pop() else { return };
        match write_sidecar(&metadata) {
            Ok(text) => {
                let sidecar = Some(Sidecar { file_name: format!("{file_name}.json"), text });
                let file = Dropped { file_name, bytes };
                self.store.take_capture_as(DroppedCapture { file, sidecar }, role);
            }
            Err(error) => self.store.tell(
                Notice::trouble(
                    format!("{file_name} was not taken into the session."),
                    "Look at what is said of the recording.",
                )
                .because(error.to_string()),
            ),
        }
    }
}
