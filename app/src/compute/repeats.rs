//! What the bench can call, worked out in the worker from repeat captures.

use analysis::capability::RepeatabilitySettings;
use analysis::content_hash::ContentHash;
use analysis::repeat_study::repeat_study;
use analysis::session::{Role, Session};

use super::handle::{Failure, Report, Workbench};
use super::protocol::{Buffer, Outcome};

impl Workbench {
    /// The study of these captures.
    pub(super) fn study_repeats(
        &mut self,
        session: &Session,
        captures: &[ContentHash],
        confidence: f64,
        report: &mut Report<'_>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let baselines = session.with_role(Role::Baseline).count().max(1);
        let settings = RepeatabilitySettings { confidence, baselines, pixel_noise: None };
        let study = repeat_study(session, &self.shelf(), captures, settings, &mut |fraction, file_name| {
            report(&format!("Aligning {file_name}"), fraction);
        })
        .map_err(|error| Failure::new(error, "The session is as it was."))?;
        Ok((Outcome::Studied { study: Box::new(study) }, Vec::new()))
    }
}
