//! The state as metrics, in the text that Prometheus and OpenMetrics scrapers read.

use std::fmt::Write as _;

use crate::StatusReport;

const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
const PROMETHEUS: &str = "text/plain; version=0.0.4; charset=utf-8";

/// The kind of text that a scraper asked for. Both kinds have the same body: it uses only what they share.
pub(crate) fn content_type(accept: Option<&str>) -> &'static str {
    if accept.is_some_and(|kinds| kinds.contains("application/openmetrics-text")) { OPEN_METRICS } else { PROMETHEUS }
}

/// The whole text.
pub(crate) fn exposition(report: &StatusReport) -> String {
    let mut text = Exposition::default();
    let counts = &report.counts;
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
    text.finish()
}

/// The text under construction.
#[derive(Default)]
struct Exposition {
    text: String,
    name: String,
}

impl Exposition {
    /// Begins a family; its samples follow at once.
    fn family(&mut self, name: &str, help: &str) {
        name.clone_into(&mut self.name);
        let _ = writeln!(self.text, "# HELP {name} {}", escaped(help)); // writing to a String cannot fail
        let _ = writeln!(self.text, "# TYPE {name} gauge");
    }

    fn sample(&mut self, labels: &[(&str, &str)], value: impl std::fmt::Display) {
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
        self.text.push_str("# EOF\n");
        self.text
    }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
