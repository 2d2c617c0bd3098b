//! What lies behind the signals: the worker, the files of the captures, and who waits for which job.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;
use std::sync::Arc;

use analysis::capture::CaptureMetadata;
use analysis::content_hash::ContentHash;
use analysis::radiometry::Band;
use analysis::session::{Command, Role, Session};
use gloo_timers::callback::Timeout;

use super::keeping::Keeper;
use super::preview::Prepared;
use crate::arrival::Arrived;
use crate::compute::client::Client;
use crate::compute::protocol::{Buffer, Job, JobId};
use crate::intake::DroppedText;
use crate::platform::worker::WorkerLink;

/// A capture's file as it was loaded.
#[derive(Debug, Clone)]
pub(super) struct Original {
    /// Its name.
    pub(super) file_name: String,
    /// Its bytes.
    pub(super) bytes: Rc<[u8]>,
}

/// Who waits for a job, and with what.
#[derive(Debug)]
pub(super) enum Purpose {
    /// A file that was dropped, in this batch.
    Arrival { batch: u32, original: Original, has_sidecar: bool },
    /// A capture of the session whose pixels the worker lacks.
    Reload { hash: ContentHash },
    /// A picture to show.
    Apparent { hash: ContentHash },
    /// The picture that states emissivities.
    EmissivityPicture,
    /// The comparison of this session.
    Compare { session: Arc<Session> },
    /// The emissivities of the soaked board, in this session.
    MapEmissivity { session: Arc<Session> },
    /// What the bench can call, in this session.
    StudyRepeats { session: Arc<Session> },
    /// What a unit that waits shows, judged as this session says.
    Survey { session: Arc<Session> },
    /// What parts of one kind on the unit show, as this session says.
    CheckTwins { session: Arc<Session> },
    /// A document to download.
    Write,
    /// A result file to restore.
    Restore,
}

/// Files that were dropped together and are to be undone together.
#[derive(Debug, Default)]
pub(super) struct Batch {
    /// Whether they begin a new session.
    pub(super) afresh: bool,
    /// What its captures are for, where that is known beforehand.
    pub(super) role: Option<Role>,
    /// Jobs that are not over.
    pub(super) outstanding: BTreeSet<JobId>,
    /// Captures that were read, by job, so that they keep their order.
    pub(super) arrived: BTreeMap<JobId, Arrived>,
    /// What else is to be done.
    pub(super) commands: Vec<Command>,
}

/// Everything that no component sees.
#[derive(Debug, Default)]
pub(super) struct Engine {
    pub(super) client: Client,
    pub(super) link: Option<WorkerLink>,
    /// Faults of the worker since it last did a job.
    pub(super) faults: u32,
    pub(super) purposes: BTreeMap<JobId, Purpose>,
    pub(super) originals: BTreeMap<ContentHash, Original>,
    pub(super) batches: BTreeMap<u32, Batch>,
    /// What each capture's picture was last asked with.
    pub(super) asked: BTreeMap<ContentHash, (CaptureMetadata, Band)>,
    /// Captures that the worker was asked to read again.
    pub(super) reloading: BTreeSet<ContentHash>,
    /// The pause before the next comparison.
    pub(super) pause: Option<Timeout>,
    /// The session that a stopped comparison belonged to: it is not begun again by itself.
    pub(super) stopped: Option<Arc<Session>>,
    pub(super) keeper: Keeper,
    pub(super) prepared: Prepared,
    /// Placements whose unit is being asked for.
    pub(super) unitless: Option<DroppedText>,
}

impl Engine {
    /// Lines up a job and remembers who waits for it.
    pub(super) fn ask(&mut self, purpose: Purpose, job: Job, buffers: Vec<Buffer>) -> JobId {
        let id = self.client.ask(job, buffers);
        self.purposes.insert(id, purpose);
        // What the new job replaced is awaited no longer.
        self.purposes.retain(|id, _| self.client.awaits(*id));
        id
    }

    /// The job that reads a capture of the session again.
    pub(super) fn reload_job(&self, hash: &ContentHash, session: &Session) -> Option<(Job, Vec<Buffer>)> {
        let original = self.originals.get(hash)?;
        let metadata = session.capture(hash).map(|record| Box::new(record.metadata.clone()));
        let job = Job::Decode { file_name: original.file_name.clone(), sidecar: None, metadata };
        Some((job, vec![Buffer::Bytes(original.bytes.to_vec())]))
    }
}
