//! The page's side of the worker: one job at a time, in order, and no job whose answer nobody wants.
//!
//! A plain value that is told what happens and says what to send; whoever holds it carries the messages.

use std::collections::VecDeque;

use crate::compute::protocol::{Answer, Buffer, Job, JobId, Outcome, Request};

/// What an answer means to the page.
#[derive(Debug, PartialEq)]
pub enum Event {
    /// The job under way has come so far.
    Progress {
        /// What it is doing.
        stage: String,
        /// How much is done, 0 to 1.
        fraction: f64,
        /// Whether the job is a comparison.
        comparing: bool,
    },
    /// A job is over and its outcome is wanted.
    Done {
        /// Which job.
        id: JobId,
        /// How it ended.
        outcome: Outcome,
        /// The arrays beside it.
        buffers: Vec<Buffer>,
    },
    /// The worker met a fault: [`Client::restart`] is due.
    Fault {
        /// What it said.
        message: String,
    },
}

/// A job that waits, with its arrays.
#[derive(Debug)]
struct Waiting {
    request: Request,
    buffers: Vec<Buffer>,
}

/// The job under way.
#[derive(Debug)]
struct UnderWay {
    request: Request,
    wanted: bool,
}

/// The order of jobs between the page and one worker.
#[derive(Debug, Default)]
pub struct Client {
    ready: bool,
    last_id: JobId,
    waiting: VecDeque<Waiting>,
    under_way: Option<UnderWay>,
}

impl Client {
    /// Lines up a job. An earlier one that this one replaces is dropped, or its answer unwanted.
    pub fn ask(&mut self, job: Job, buffers: Vec<Buffer>) -> JobId {
        self.waiting.retain(|earlier| !replaces(&job, &earlier.request.job));
        if let Some(under_way) = &mut self.under_way
            && replaces(&job, &under_way.request.job)
        {
            under_way.wanted = false;
        }
        self.last_id += 1;
        self.waiting.push_back(Waiting { request: Request { id: self.last_id, job }, buffers });
        self.last_id
    }

    /// What to send now, if anything: nothing before the worker is ready or while it works.
    pub fn next_to_send(&mut self) -> Option<(Request, Vec<Buffer>)> {
        if !self.ready || self.under_way.is_some() {
            return None;
        }
        let Waiting { request, buffers } = self.waiting.pop_front()?;
        self.under_way = Some(UnderWay { request: request.clone(), wanted: true });
        Some((request, buffers))
    }

    /// Takes an answer in and says what it means; `None` when it means nothing to the page.
    pub fn receive(&mut self, answer: Answer, buffers: Vec<Buffer>) -> Option<Event> {
        match answer {
            Answer::Ready => {
                self.ready = true;
                None
            }
            Answer::Progress { id, stage, fraction } => {
                let under_way = self.under_way.as_ref().filter(|job| job.request.id == id && job.wanted)?;
                let comparing = matches!(under_way.request.job, Job::Compare { .. });
                Some(Event::Progress { stage, fraction, comparing })
            }
            Answer::Done { id, outcome } => {
                let finished = self.under_way.take_if(|job| job.request.id == id)?;
                finished.wanted.then_some(Event::Done { id, outcome: *outcome, buffers })
            }
            Answer::Panicked { message } => {
                self.ready = false;
                Some(Event::Fault { message })
            }
        }
    }

    /// Lines up a job before everything that waits, as a new worker needs what the old one knew.
    pub fn ask_first(&mut self, job: Job, buffers: Vec<Buffer>) -> JobId {
        self.last_id += 1;
        self.waiting.push_front(Waiting { request: Request { id: self.last_id, job }, buffers });
        self.last_id
    }

    /// The worker was ended and a new one started, which remembers nothing. Yields the job that was
    /// lost; what waits still waits.
    pub fn restart(&mut self) -> Option<JobId> {
        self.ready = false;
        self.under_way.take().map(|job| job.request.id)
    }

    /// Drops waiting comparisons and makes the answer of one under way unwanted.
    pub fn forget_comparisons(&mut self) {
        self.waiting.retain(|waiting| !matches!(waiting.request.job, Job::Compare { .. }));
        if let Some(under_way) = &mut self.under_way
            && matches!(under_way.request.job, Job::Compare { .. })
        {
            under_way.wanted = false;
        }
    }

    /// Whether the answer to this job is still to come.
    #[must_use]
    pub fn awaits(&self, id: JobId) -> bool {
        self.under_way.as_ref().is_some_and(|job| job.request.id == id && job.wanted)
            || self.waiting.iter().any(|waiting| waiting.request.id == id)
    }

    /// Whether a comparison is under way or waiting.
    #[must_use]
    pub fn is_comparing(&self) -> bool {
        let under_way = self.under_way.iter().filter(|job| job.wanted).map(|job| &job.request.job);
        let waiting = self.waiting.iter().map(|waiting| &waiting.request.job);
        under_way.chain(waiting).any(|job| matches!(job, Job::Compare { .. }))
    }

    /// Whether nothing is under way or waiting.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.under_way.is_none() && self.waiting.is_empty()
    }
}

/// Whether nobody wants the answer to `earlier` once `later` is asked.
fn replaces(later: &Job, earlier: &Job) -> bool {
    match (later, earlier) {
        (Job::Compare { .. }, Job::Compare { .. })
        | (Job::CheckTwins { .. }, Job::CheckTwins { .. })
        | (Job::EmissivityPicture { .. }, Job::EmissivityPicture { .. }) => true,
        (Job::Apparent { hash: later, .. }, Job::Apparent { hash: earlier, .. }) => later == earlier,
        (Job::Survey { capture: later, .. }, Job::Survey { capture: earlier, .. }) => later == earlier,
        (Job::Write { document: later, .. }, Job::Write { document: earlier, .. }) => later == earlier,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::session::Session;

    fn compare() -> Job {
        Job::Compare { session: Box::default() }
    }

    fn decode(name: &str) -> Job {
        Job::Decode { file_name: name.to_owned(), sidecar: None, metadata: None }
    }

    fn done(id: JobId) -> Answer {
        Answer::Done { id, outcome: Box::new(Outcome::CannotCompare { why: String::new() }) }
    }

    #[test]
    fn nothing_is_sent_before_the_worker_is_ready() {
        let mut client = Client::default();
        client.ask(decode("a"), vec![]);
        assert!(client.next_to_send().is_none());
        assert_eq!(client.receive(Answer::Ready, vec![]), None);
        assert!(client.next_to_send().is_some());
        assert!(client.next_to_send().is_none(), "one job at a time");
    }

    #[test]
    fn of_waiting_comparisons_only_the_last_is_sent() {
        let mut client = Client::default();
        client.ask(compare(), vec![]);
        client.ask(decode("a"), vec![]);
        let last = client.ask(Job::Compare { session: Box::new(Session::default()) }, vec![]);
        client.receive(Answer::Ready, vec![]);
        let (first, _) = client.next_to_send().unwrap();
        assert!(matches!(first.job, Job::Decode { .. }));
        client.receive(done(first.id), vec![]);
        assert_eq!(client.next_to_send().unwrap().0.id, last);
        client.receive(done(last), vec![]);
        assert!(client.is_idle());
    }

    #[test]
    fn the_answer_to_an_outdated_comparison_is_dropped() {
        let mut client = Client::default();
        client.receive(Answer::Ready, vec![]);
        let old = client.ask(compare(), vec![]);
        client.next_to_send().unwrap();
        let new = client.ask(compare(), vec![]);
        let progress = Answer::Progress { id: old, stage: String::new(), fraction: 0.5 };
        assert_eq!(client.receive(progress, vec![]), None);
        assert!(!client.awaits(old) && client.awaits(new) && client.is_comparing());
        assert_eq!(client.receive(done(old), vec![]), None);
        assert_eq!(client.next_to_send().unwrap().0.id, new);
        assert!(matches!(client.receive(done(new), vec![]), Some(Event::Done { id, .. }) if id == new));
    }

    #[test]
    fn a_restart_says_what_was_lost_and_goes_on_with_what_waits() {
        let mut client = Client::default();
        client.receive(Answer::Ready, vec![]);
        let first = client.ask(decode("a"), vec![]);
        client.ask(decode("b"), vec![]);
        client.next_to_send().unwrap();
        let fault = client.receive(Answer::Panicked { message: "x".into() }, vec![]);
        assert!(matches!(fault, Some(Event::Fault { .. })));
        assert_eq!(client.restart(), Some(first));
        client.ask_first(decode("c"), vec![]);
        assert!(client.next_to_send().is_none(), "the new worker is not ready yet");
        client.receive(Answer::Ready, vec![]);
        for expected in ["c", "b"] {
            let (request, _) = client.next_to_send().unwrap();
            assert_eq!(request.job, decode(expected));
            client.receive(done(request.id), vec![]);
        }
    }

    #[test]
    fn a_late_answer_of_an_ended_worker_means_nothing() {
        let mut client = Client::default();
        client.receive(Answer::Ready, vec![]);
        let id = client.ask(decode("a"), vec![]);
        client.next_to_send().unwrap();
        client.restart();
        assert_eq!(client.receive(done(id), vec![]), None);
    }
}
