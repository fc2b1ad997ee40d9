//! Whether the daemon still gets on: scans, publications and schedules, each for itself.
//!
//! A process that answers is not yet one that works. Each part must have come a step further within the time that its longest
//! step can take; only then the service manager hears of it. All of this runs on the steady clock.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use intake::Vitals;
use jobs::RunnerPulse;

use super::schedule::SCHEDULE_LOOK;

/// The longest that one step may take: a file read, a partition written, a summary.
pub const LONGEST_STEP: Duration = Duration::from_mins(5);

/// When a part last came a step further.
#[derive(Debug)]
pub struct Beat(Mutex<Instant>);

impl Beat {
    pub fn new() -> Beat {
        Beat(Mutex::new(Instant::now()))
    }

    /// It did just now.
    pub fn now(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
    }

    /// When it did.
    pub fn last(&self) -> Instant {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What is known of the parts at one moment.
#[derive(Debug)]
pub struct Parts<'a> {
    pub intake: &'a Vitals,
    pub rescan_every: Duration,
    pub runner: RunnerPulse,
    /// When the schedule task last went round.
    pub schedule_went_round: Instant,
}

/// Watches the parts from one look to the next.
#[derive(Debug)]
pub struct Pulse {
    longest_step: Duration,
    /// File operations of intake and the lake, and when they were first seen at this number.
    file_acts: (u64, Instant),
}

impl Pulse {
    pub fn new(longest_step: Duration, now: Instant) -> Pulse {
        Pulse { longest_step, file_acts: (0, now) }
    }

    /// What has stood still for too long, one sentence a part; empty while all is well.
    pub fn standing_still(&mut self, parts: &Parts<'_>, now: Instant) -> Vec<String> {
        let mut still = Vec::new();
        let since = |instant: Instant| now.saturating_duration_since(instant);
        if parts.intake.file_acts != self.file_acts.0 {
            self.file_acts = (parts.intake.file_acts, now);
        }
        if parts.intake.working {
            // A large partition is one step for long, in which files are touched all the time.
            let last = parts.intake.progressed_at.max(self.file_acts.1);
            if since(last) > self.longest_step {
                still.push(format!("intake has not come a step further for {}", words(since(last))));
            }
        } else {
            let last = parts.intake.scan_finished_at.unwrap_or(parts.intake.progressed_at);
            let last = last.max(parts.intake.progressed_at);
            if since(last) > self.longest_step + parts.rescan_every {
                still.push(format!("no scan has begun for {}", words(since(last))));
            }
        }
        if parts.runner.working {
            let last = parts.runner.progressed_at.max(parts.schedule_went_round);
            if since(last) > self.longest_step + parts.runner.longest_query {
                still.push(format!("the jobs have not come a step further for {}", words(since(last))));
            }
        } else {
            let last = parts.runner.progressed_at.max(parts.schedule_went_round);
            if since(last) > self.longest_step + SCHEDULE_LOOK {
                still.push(format!("no schedule has been looked at for {}", words(since(last))));
            }
        }
        still
    }
}

fn words(time: Duration) -> String {
    match time.as_secs() {
        seconds @ 0..120 => format!("{seconds} s"),
        seconds => format!("{} min", seconds / 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP: Duration = Duration::from_mins(1);
    const RESCAN: Duration = Duration::from_secs(20);

    struct Daemon {
        intake: Vitals,
        runner: RunnerPulse,
        schedule: Instant,
        pulse: Pulse,
        start: Instant,
    }

    impl Daemon {
        fn new() -> Daemon {
            let start = Instant::now();
            let intake = Vitals {
                scan_started: None,
                scan_finished: None,
                scan_finished_at: Some(start),
                working: false,
                last_progress: 0,
                progressed_at: start,
                file_acts: 1,
                last_publication: None,
                paused: None,
                failing: None,
                settling: 0,
                waiting: 0,
                retrying: 0,
                oldest_wait: None,
            };
            let runner = RunnerPulse { working: false, progressed_at: start, longest_query: Duration::from_mins(2) };
            Daemon { intake, runner, schedule: start, pulse: Pulse::new(STEP, start), start }
        }

        fn at(&mut self, seconds: u64) -> Vec<String> {
            let now = self.start + Duration::from_secs(seconds);
            let parts = Parts {
                intake: &self.intake,
                rescan_every: RESCAN,
                runner: self.runner.clone(),
                schedule_went_round: self.schedule,
            };
            self.pulse.standing_still(&parts, now)
        }

        fn instant(&self, seconds: u64) -> Instant {
            self.start + Duration::from_secs(seconds)
        }
    }

    #[test]
    fn a_pause_between_scans_is_no_standstill_but_missing_scans_are() {
        let mut daemon = Daemon::new();
        assert_eq!(daemon.at(70), Vec::<String>::new());
        daemon.schedule = daemon.instant(80);
        assert_eq!(daemon.at(81), ["no scan has begun for 81 s"]);
        daemon.intake.scan_finished_at = Some(daemon.instant(85));
        assert_eq!(daemon.at(86), Vec::<String>::new());
    }

    #[test]
    fn a_long_import_is_fine_as_long_as_it_gets_on() {
        let mut daemon = Daemon::new();
        daemon.intake.working = true;
        for second in (30..3_600).step_by(30) {
            daemon.schedule = daemon.instant(second);
            daemon.intake.progressed_at = daemon.instant(second);
            assert_eq!(daemon.at(second + 10), Vec::<String>::new());
        }
        // One large partition: no progress is told, but files are written.
        for second in (3_600..7_200).step_by(30) {
            daemon.schedule = daemon.instant(second);
            daemon.intake.file_acts += 7;
            assert_eq!(daemon.at(second), Vec::<String>::new());
        }
        daemon.schedule = daemon.instant(7_250);
        assert_eq!(daemon.at(7_240), ["intake has not come a step further for 70 s"]);
    }

    #[test]
    fn a_job_may_take_its_time_limit_and_no_more() {
        let mut daemon = Daemon::new();
        daemon.runner.working = true;
        daemon.intake.scan_finished_at = Some(daemon.instant(179));
        assert_eq!(daemon.at(179), Vec::<String>::new());
        assert_eq!(daemon.at(181), ["the jobs have not come a step further for 3 min"]);
        daemon.runner.progressed_at = daemon.instant(180);
        assert_eq!(daemon.at(181), Vec::<String>::new());
    }

    #[test]
    fn a_schedule_that_nobody_looks_at_is_told() {
        let mut daemon = Daemon::new();
        daemon.intake.scan_finished_at = Some(daemon.instant(76));
        assert_eq!(daemon.at(76), ["no schedule has been looked at for 76 s"]);
    }
}
