//! The comparison's steps with what each made last: a step is done again only when something it depends on
//! has changed. Units that follow one another share the known-good boards.

use analysis::capture::CaptureMetadata;
use analysis::comparison::{
    self, Aligned, CannotCheckTwins, CannotCompare, Comparison, GoodBoards, LearnedBaseline, LoneUnit, Shelf,
    TwinReport, UnitSurvey,
};
use analysis::content_hash::ContentHash;
use analysis::radiometry::Band;
use analysis::session::{CaptureRecord, Role, Session};

use super::handle::Report;
use super::relevance::{for_learning, for_pixels};

/// How much of a comparison's time the known-good boards take when they are aligned anew, roughly.
const GOOD_BOARDS: f64 = 0.6;
/// How far it is once the unit is aligned.
const ALIGNED: f64 = 0.8;
const HOLDING_TWINS: &str = "Holding parts of a kind against each other";

/// What the last comparison's steps made, each with what it was made from.
#[derive(Debug, Default)]
pub(super) struct KeptSteps {
    good: Option<(GoodFrom, GoodBoards)>,
    learned: Option<(Box<Session>, LearnedBaseline)>,
    unit: Option<(UnitFrom, Aligned)>,
}

/// What the alignment of a capture depends on.
#[derive(Debug, Clone, PartialEq)]
struct CaptureFrom {
    hash: ContentHash,
    metadata: CaptureMetadata,
}

#[derive(Debug, Clone, PartialEq)]
struct GoodFrom {
    captures: Vec<CaptureFrom>,
    band: Band,
    /// The emissivity picture travels with the boards.
    emissivity_picture: Option<ContentHash>,
}

#[derive(Debug, Clone, PartialEq)]
struct UnitFrom {
    good: GoodFrom,
    unit: Option<CaptureFrom>,
    landmarks: String,
}

impl From<&CaptureRecord> for CaptureFrom {
    fn from(record: &CaptureRecord) -> Self {
        Self { hash: record.hash.clone(), metadata: for_pixels(&record.metadata) }
    }
}

impl GoodFrom {
    fn of(session: &Session) -> Self {
        Self {
            captures: session.with_role(Role::Baseline).map(CaptureFrom::from).collect(),
            band: session.band,
            emissivity_picture: session.surface.map.clone(),
        }
    }
}

impl KeptSteps {
    /// The comparison of a session, doing only the steps that something has changed for.
    pub(super) fn compare(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<Comparison, CannotCompare> {
        let (from, unit) = self.aligned_unit(session, shelf, report)?;
        let (_, good, learned) = self.good_boards(session, shelf, report)?;
        let compared = comparison::judge(session, good, learned, &unit, &mut |step| report(step, ALIGNED));
        self.unit = Some((from, unit));
        compared
    }

    /// What parts of one kind on the unit show.
    pub(super) fn twins(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<TwinReport, CannotCheckTwins> {
        if session.is_without_good_boards() {
            return Ok(self.lone_unit(session, shelf, report)?.twins);
        }
        let (from, unit) = self.aligned_unit(session, shelf, report)?;
        report(HOLDING_TWINS, ALIGNED);
        let found = comparison::check_twins(session, shelf, &unit);
        self.unit = Some((from, unit));
        found
    }

    /// What the unit shows by itself, on its own pixels.
    pub(super) fn lone_unit(
        &self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<LoneUnit, CannotCheckTwins> {
        let unit = comparison::unit_alone(session, shelf)?;
        report(HOLDING_TWINS, ALIGNED);
        LoneUnit::of(session, shelf, &unit)
    }

    /// The unit on the known-good boards' pixels, taken out of what is kept: whoever takes it puts it back.
    fn aligned_unit(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<(UnitFrom, Aligned), CannotCompare> {
        let kept = self.unit.take();
        let (good_from, good, _) = self.good_boards(session, shelf, report)?;
        let unit_from = UnitFrom {
            good: good_from.clone(),
            unit: session.unit().map(CaptureFrom::from),
            landmarks: format!("{:?} {:?}", session.landmark_use, session.landmarks),
        };
        match kept.filter(|(from, _)| *from == unit_from) {
            Some(kept) => Ok(kept),
            None => {
                report("Aligning the unit", GOOD_BOARDS);
                let unit = comparison::align_unit(session, shelf, good)?;
                Ok((unit_from, unit))
            }
        }
    }

    /// What a unit that waits shows.
    pub(super) fn survey(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        capture: &ContentHash,
        report: &mut Report<'_>,
    ) -> Result<UnitSurvey, CannotCompare> {
        let (_, good, learned) = self.good_boards(session, shelf, report)?;
        comparison::survey(session, shelf, good, learned, capture)
    }

    /// What the known-good boards say.
    pub(super) fn learned(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<&LearnedBaseline, CannotCompare> {
        self.good_boards(session, shelf, report).map(|(_, _, learned)| learned)
    }

    /// The known-good boards and what was learned from them. Nothing is kept of a step that failed.
    fn good_boards(
        &mut self,
        session: &Session,
        shelf: &Shelf,
        report: &mut Report<'_>,
    ) -> Result<(&GoodFrom, &GoodBoards, &LearnedBaseline), CannotCompare> {
        let good_from = GoodFrom::of(session);
        let (good, learned) = match self.good.take().filter(|(from, _)| *from == good_from) {
            Some((_, good)) => (good, self.learned.take()),
            None => {
                let mut heard = |fraction: f64, file_name: &str| {
                    report(&format!("Aligning {file_name}"), fraction * GOOD_BOARDS);
                };
                (comparison::align_good(session, shelf, &mut heard)?, None)
            }
        };
        let learned_from = for_learning(session);
        let learned = match learned.filter(|(from, _)| **from == learned_from) {
            Some((_, learned)) => learned,
            None => comparison::learn(session, &good, &mut |step| report(step, GOOD_BOARDS))?,
        };
        let (from, good) = self.good.insert((good_from, good));
        let (_, learned) = self.learned.insert((Box::new(learned_from), learned));
        Ok((from, good, learned))
    }
}
