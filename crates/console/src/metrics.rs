//! The state as metrics, in the text that Prometheus and OpenMetrics scrapers read.
//!
//! Both formats (`https://prometheus.io/docs/instrumenting/exposition_formats/` and OpenMetrics 1.0) read the same text here: every
//! family is a gauge, none is a counter, whose names the two write differently.

use std::fmt::{Display, Write as _};

use ledger::RunOutcome;

use crate::{ConcernKind, StatusReport};

const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
const PROMETHEUS: &str = "text/plain; version=0.0.4; charset=utf-8";

/// The kind of text that a scraper asked for.
pub(crate) fn content_type(accept: Option<&str>) -> &'static str {
    if accept.is_some_and(|kinds| kinds.contains("application/openmetrics-text")) { OPEN_METRICS } else { PROMETHEUS }
}

/// The whole text.
pub(crate) fn exposition(report: &StatusReport) -> String {
    let mut text = Exposition::default();
    about_daemon(&mut text, report);
    about_files(&mut text, report);
    about_rest(&mut text, report);
    about_process(&mut text, report);
    text.finish()
}

fn about_daemon(text: &mut Exposition, report: &StatusReport) {
    let version = report.vitals.as_ref().map_or("", |vitals| vitals.version.as_str());
    let site = report.site_id.as_deref().unwrap_or("");
    text.one(
        "strikemill_build",
        "The program's version and site; always 1.",
        &[("version", version), ("site", site)],
        1,
    );
    text.one("strikemill_ready", "Whether new files are taken as they should be.", &[], u8::from(report.is_ready()));
    let concerns = &report.concerns;
    text.family("strikemill_concerns", "What wants a person, by kind.");
    for (kind, word) in ConcernKind::WORDS {
        text.sample(&[("kind", word)], concerns.of_kind(kind));
    }
    let one = |kind| u8::from(concerns.of_kind(kind) > 0);
    let (paused, failing) = (one(ConcernKind::IntakePaused), one(ConcernKind::LedgerFailing));
    text.one("strikemill_intake_paused", "Intake takes no files for now, for example for want of space.", &[], paused);
    text.one("strikemill_ledger_failing", "The ledger cannot be read or written.", &[], failing);
    let faulty = one(ConcernKind::ConfigurationFaulty);
    text.one("strikemill_configuration_faulty", "What was written last is not in force.", &[], faulty);
    let vitals = report.vitals.as_ref();
    for (name, help, instant) in [
        ("scan", "Seconds since the last scan ended.", vitals.and_then(|vitals| vitals.scan_finished)),
        ("progress", "Seconds since intake last came a step further.", vitals.and_then(|vitals| vitals.last_progress)),
        (
            "publication",
            "Seconds since rows last came into the lake.",
            vitals.and_then(|vitals| vitals.last_publication),
        ),
        (
            "schedule",
            "Seconds since the schedules were looked at.",
            vitals.and_then(|vitals| vitals.schedule_looked_at),
        ),
    ] {
        // What has not happened yet has no age.
        if let Some(instant) = instant {
            let age = seconds(report.at.saturating_sub(instant).max(0));
            text.one(&format!("strikemill_seconds_since_{name}"), help, &[], age);
        }
    }
}

fn about_files(text: &mut Exposition, report: &StatusReport) {
    let counts = &report.counts;
    if report.ledger_fault.is_some() {
        // Zeros would say that nothing waits; a scraper sees the gap, and strikemill_ledger_failing.
        return;
    }
    text.family("strikemill_files", "Files by how far they have come.");
    for (state, number) in [
        ("claimed", counts.claimed),
        ("staged", counts.staged),
        ("published", counts.published),
        ("archived", counts.archived),
        ("quarantined", counts.quarantined),
    ] {
        text.sample(&[("state", state)], number);
    }
    let help = "Arrivals that repeated known bytes under another name.";
    text.one("strikemill_repeated_arrivals", help, &[], counts.duplicates);
    text.family("strikemill_rows", "Rows of imported files by their fate.");
    text.sample(&[("fate", "accepted")], counts.rows_accepted);
    text.sample(&[("fate", "rejected")], counts.rows_rejected);
    text.family("strikemill_import_folder_paths", "What stands in the import folders, by why it is not taken yet.");
    for (state, number) in [("settling", counts.settling), ("waiting", counts.waiting), ("retrying", counts.retrying)] {
        text.sample(&[("state", state)], number);
    }
    let oldest = seconds(report.oldest_wait().unwrap_or(0));
    let help = "How long the path that waits longest has been waiting too long or unreachable; 0 where none does.";
    text.one("strikemill_oldest_wait_seconds", help, &[], oldest);
    let untold = report.alerts.iter().filter(|alert| alert.told_at.is_none()).count();
    text.family("strikemill_alerts", "Alerts that are open, by whether somebody was told.");
    text.sample(&[("told", "yes")], report.alerts.len() - untold);
    text.sample(&[("told", "no")], untold);
}

fn about_rest(text: &mut Exposition, report: &StatusReport) {
    if !report.volumes.is_empty() {
        text.family("strikemill_volume_free_bytes", "Free space of the volume that holds these folders of the home.");
        for volume in &report.volumes {
            text.sample(&[("holds", &volume.holds.join(" ")), ("kind", &volume.kind)], volume.free_bytes);
        }
    }
    if !report.runs.is_empty() {
        text.family("strikemill_job_last_outcome", "How the last run of each job ended: 1 for that outcome.");
        for (job, run) in &report.runs {
            for (outcome, word) in RunOutcome::WORDS {
                text.sample(&[("job", job), ("outcome", word)], u8::from(run.outcome == Some(outcome)));
            }
        }
        text.family("strikemill_job_last_start_seconds", "Seconds since the last run of each job began.");
        for (job, run) in &report.runs {
            text.sample(&[("job", job)], seconds(report.at.saturating_sub(run.start.started).max(0)));
        }
    }
    if let Some(generation) = report.generation {
        text.one("strikemill_lake_generation", "Rises with every publication.", &[], generation);
    }
    if !report.datasets.is_empty() {
        text.family("strikemill_dataset_rows", "Published rows.");
        for size in &report.datasets {
            text.sample(&[("dataset", &size.dataset)], size.rows);
        }
        text.family("strikemill_dataset_bytes", "Bytes of the published files.");
        for size in &report.datasets {
            text.sample(&[("dataset", &size.dataset)], size.bytes);
        }
    }
}

/// The names that scrapers expect of every process.
fn about_process(text: &mut Exposition, report: &StatusReport) {
    if let Some(bytes) = resident_bytes() {
        text.one("process_resident_memory_bytes", "Resident memory of the daemon.", &[], bytes);
    }
    if let Some(vitals) = &report.vitals {
        let started = seconds(vitals.started_at);
        text.one("process_start_time_seconds", "When the daemon started, seconds since 1970.", &[], started);
    }
}

/// Resident memory of this process, where the system tells it.
fn resident_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let kib = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    kib.trim().trim_end_matches("kB").trim().parse::<u64>().ok().map(|kib| kib * 1024)
}

fn seconds(micros: i64) -> f64 {
    // Milliseconds are enough, and short.
    (micros / 1000) as f64 / 1000.0
}

/// The text under construction.
#[derive(Default)]
struct Exposition {
    text: String,
    name: String,
}

impl Exposition {
    /// A family with one sample.
    fn one(&mut self, name: &str, help: &str, labels: &[(&str, &str)], value: impl Display) {
        self.family(name, help);
        self.sample(labels, value);
    }

    /// Begins a family; its samples follow at once, as both formats ask.
    fn family(&mut self, name: &str, help: &str) {
        name.clone_into(&mut self.name);
        let _ = writeln!(self.text, "# HELP {name} {help}"); // writing to a String cannot fail
        let _ = writeln!(self.text, "# TYPE {name} gauge");
    }

    fn sample(&mut self, labels: &[(&str, &str)], value: impl Display) {
        self.text.push_str(&self.name);
        for (position, (label, word)) in labels.iter().enumerate() {
            let before = if position == 0 { '{' } else { ',' };
            let _ = write!(self.text, "{before}{label}=\"{}\"", escaped(word));
        }
        if !labels.is_empty() {
            self.text.push('}');
        }
        let _ = writeln!(self.text, " {value}");
    }

    fn finish(mut self) -> String {
        // The end that OpenMetrics asks for is a remark to Prometheus.
        self.text.push_str("# EOF\n");
        self.text
    }
}

/// A label's value. Job names are ours, but kinds of volumes come from the system.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
