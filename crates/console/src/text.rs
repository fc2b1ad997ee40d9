//! The report as text for a terminal: what wants a person first.

use std::fmt;

use ledger::{RunOutcome, Sighting, SightingState};

use crate::words::{count, one_line, size, without_hint};
use crate::{Concern, Phase, StatusReport};

/// How many lines of each list are shown.
const SHOWN: usize = 8;
/// Of what wants a person more is shown than of anything else.
const CONCERNS_SHOWN: usize = 20;

impl fmt::Display for StatusReport {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "{}: {}", self.site_name, self.daemon_words())?;
        self.show_concerns(out)?;
        self.show_faults(out)?;
        if self.ledger_fault.is_none() {
            self.show_figures(out)?;
        }
        self.show_space(out)?;
        self.show_waiting(out)?;
        self.show_quarantine(out)?;
        self.show_recent(out)?;
        self.upkeep.show(out, &|micros| self.clock().when(micros))?;
        self.show_runs(out)?;
        if !self.datasets.is_empty() {
            writeln!(out, "\nlake")?;
            for size in &self.datasets {
                let (rows, files, kib) = (size.rows, size.files, (size.bytes + 1023) / 1024);
                writeln!(out, "  {:<16} {rows:>9} rows in {files:>3} files, {kib:>7} KiB", size.dataset)?;
            }
        }
        if !self.summaries.is_empty() {
            writeln!(out, "\nsummaries")?;
            for made in &self.summaries {
                writeln!(out, "  week of {}  {:<12} {}", made.week, made.coach, made.path)?;
            }
        }
        Ok(())
    }
}

impl StatusReport {
    /// Whether the daemon runs, and what it is doing.
    pub(crate) fn daemon_words(&self) -> String {
        let Some(process) = self.daemon else { return "the daemon does not run".to_owned() };
        let Some(vitals) = &self.vitals else { return format!("the daemon runs (process {process})") };
        let verb = match vitals.phase {
            Phase::Starting => "starts",
            Phase::Running => "runs",
            Phase::Stopping | Phase::Stopped => "stops",
        };
        format!("the daemon {verb} (process {process}, for {})", self.clock().ago(vitals.started_at))
    }

    /// When the last scan ended and when rows last came in.
    pub(crate) fn intake_words(&self) -> Option<String> {
        let vitals = self.vitals.as_ref().filter(|_| self.daemon.is_some())?;
        let clock = self.clock();
        let scan = match (vitals.scan_started, vitals.scan_finished) {
            (Some(started), finished) if finished.is_none_or(|finished| finished < started) => {
                format!("a scan is under way, for {}", clock.ago(started))
            }
            (_, Some(finished)) => format!("last scan {} ago", clock.ago(finished)),
            (_, None) => "no scan yet".to_owned(),
        };
        Some(match vitals.last_publication {
            Some(at) => format!("{scan}, rows last came in {} ago", clock.ago(at)),
            None => format!("{scan}, no rows came in since the start"),
        })
    }

    /// How long a path has been as it is.
    pub(crate) fn wait_words(&self, sighting: &Sighting) -> String {
        let clock = self.clock();
        let since = clock.ago(sighting.first_seen);
        match sighting.state {
            SightingState::Retrying => format!("for {since}"),
            SightingState::Settling | SightingState::Waiting => {
                format!("for {since}, unchanged for {}", clock.ago(sighting.stable_since))
            }
        }
    }

    /// Since when, in brackets.
    pub(crate) fn since_words(&self, concern: &Concern) -> String {
        concern.since.map_or_else(String::new, |since| format!(" (for {})", self.clock().ago(since)))
    }

    fn show_concerns(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let total = self.concerns.total();
        if total == 0 {
            return Ok(());
        }
        let verb = if total == 1 { "wants" } else { "want" };
        writeln!(out, "\n{} {verb} a person", count(total, "thing", "things"))?;
        let mut hint = None;
        for concern in self.concerns.list.iter().take(CONCERNS_SHOWN) {
            // One hint serves a run of lines that all have it.
            if hint.is_some() && hint != concern.hint.as_ref() {
                show_hint(out, hint)?;
            }
            hint = concern.hint.as_ref();
            let since = self.since_words(concern);
            writeln!(out, "  {:<23} {}{since}", concern.kind.title(), concern.message)?;
        }
        show_hint(out, hint)?;
        let more = total.saturating_sub(CONCERNS_SHOWN.min(self.concerns.list.len()));
        if more > 0 {
            writeln!(out, "  and {more} more")?;
        }
        writeln!(out)
    }

    /// Faults in full, with the line concerned: this is read by the people of the site.
    fn show_faults(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told_by_daemon = self.vitals.iter().flat_map(|vitals| &vitals.configuration_faults);
        let told_by_daemon = told_by_daemon.filter(|fault| !self.configuration_faults.contains(fault));
        for fault in self.configuration_faults.iter().chain(&self.pack_faults).chain(told_by_daemon) {
            writeln!(out, "{}\n", fault.trim_end())?;
        }
        Ok(())
    }

    fn show_figures(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let counts = &self.counts;
        if let Some(words) = self.intake_words() {
            writeln!(out, "intake   {words}")?;
        }
        writeln!(
            out,
            "files    {} archived, {} known under another name, {} in quarantine, {} under way",
            counts.archived,
            counts.duplicates,
            counts.quarantined,
            counts.claimed + counts.staged + counts.published
        )?;
        writeln!(out, "rows     {} read from these files, {} rejected", counts.rows_accepted, counts.rows_rejected)?;
        if counts.rows_rejected > 0 {
            writeln!(out, "         the dataset rejects tells which and why: SELECT * FROM rejects")?;
        }
        writeln!(
            out,
            "folders  {} files settling, {} waiting too long, {} unreachable",
            counts.settling, counts.waiting, counts.retrying
        )?;
        if !self.alerts.is_empty() {
            let told = self.alerts.iter().filter(|alert| alert.told_at.is_some()).count();
            writeln!(out, "alerts   {} open, {told} of them told", self.alerts.len())?;
        }
        Ok(())
    }

    fn show_space(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for volume in &self.volumes {
            let low = if volume.is_low { ", less than intake needs" } else { "" };
            let (free, holds) = (size(volume.free_bytes), volume.holds.join(", "));
            writeln!(out, "space    {free} free for {holds} ({}){low}", volume.kind)?;
        }
        Ok(())
    }

    fn show_waiting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.sightings.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nin the import folders")?;
        for sighting in self.sightings.iter().take(SHOWN) {
            let (note, _) = without_hint(&sighting.note);
            let (path, wait) = (one_line(&sighting.path), self.wait_words(sighting));
            writeln!(out, "  {:<8} {path} {wait}: {note}", sighting.state.word())?;
        }
        let all = self.counts.settling + self.counts.waiting + self.counts.retrying;
        let more = usize::try_from(all).unwrap_or(0).saturating_sub(SHOWN);
        if more > 0 {
            writeln!(out, "  and {more} more")?;
        }
        Ok(())
    }

    fn show_quarantine(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.quarantined.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nquarantine")?;
        for refused in self.quarantined.iter().take(SHOWN) {
            let file = &refused.file;
            let when = self.clock().when(file.quarantined_at.unwrap_or(file.claimed_at));
            writeln!(out, "  {when}  {}: {}", one_line(&file.first_name), refused.reason())?;
            let further = refused.further_names();
            if !further.is_empty() {
                writeln!(out, "      the same bytes came as {}", one_line(&further.join(", ")))?;
            }
            for edit in &refused.edits {
                writeln!(out, "      would mend it: {edit}")?;
            }
            if let Some(path) = &file.quarantine_path {
                writeln!(out, "      {path}")?;
            }
        }
        let all = usize::try_from(self.counts.quarantined).unwrap_or(0);
        if all > SHOWN {
            writeln!(out, "  and {} more", all - SHOWN)?;
        }
        Ok(())
    }

    fn show_recent(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.recent.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nlast files")?;
        for file in &self.recent {
            let what = if file.marks_accepted > 0 { "marks" } else { "shots" };
            writeln!(
                out,
                "  {}  {:<12} {:>5} {what} {:>4} rejected  {}",
                self.clock().when(file.claimed_at),
                file.state.word(),
                file.rows_accepted,
                file.rows_rejected,
                one_line(&file.first_name)
            )?;
        }
        Ok(())
    }

    fn show_runs(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.runs.is_empty() {
            return Ok(());
        }
        writeln!(out, "\njobs")?;
        for (job, run) in &self.runs {
            let outcome = run.outcome.map_or("runs now", RunOutcome::word);
            writeln!(out, "  {job:<16} {outcome:<12} {}", self.clock().when(run.start.started))?;
            if run.outcome == Some(RunOutcome::Failed)
                && let Some(message) = &run.message
            {
                writeln!(out, "      {message}")?;
            }
        }
        Ok(())
    }
}

fn show_hint(out: &mut fmt::Formatter<'_>, hint: Option<&String>) -> fmt::Result {
    hint.map_or(Ok(()), |hint| writeln!(out, "  hint: {hint}"))
}
