//! The status page: one HTML text, without scripts, readable on a phone and to a screen reader.
//!
//! It shows what `status` shows but for the names of players: whoever reaches the address reads it.

use ledger::{RunOutcome, Sighting, SightingState};

use crate::StatusReport;
use crate::html::Html;
use crate::words::{count, one_line, size, without_hint};

/// How many lines of each list are shown; the JSON has more.
const SHOWN: usize = 25;

/// Files that still settle are the rule: a few are enough.
const SETTLING_SHOWN: usize = 5;

/// Place of the style on the server.
pub(crate) const STYLE_PATH: &str = "/style.css";
/// The style.
pub(crate) const STYLE: &str = include_str!("style.css");

/// The whole page.
pub(crate) fn page(report: &StatusReport) -> String {
    let mut html = Html::default();
    html.markup("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n")
        .markup("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n")
        .markup("<meta name=\"robots\" content=\"noindex\">\n")
        .element("title", &format!("{}: {}", report.site_name, in_short(report)))
        .markup("\n<link rel=\"stylesheet\" href=\"/style.css\">\n</head>\n<body>\n");
    head(&mut html, report);
    html.markup("<main>\n");
    concerns(&mut html, report);
    intake(&mut html, report);
    folders(&mut html, report);
    quarantine(&mut html, report);
    recent(&mut html, report);
    jobs(&mut html, report);
    lake(&mut html, report);
    html.markup("</main>\n<footer>\n<p>")
        .text(&report.program)
        .markup(" &middot; the same <a href=\"/status.json\">for programs</a>, <a href=\"/metrics\">as metrics</a>, <a href=\"/ready\">ready or not</a></p>\n</footer>\n</body>\n</html>\n");
    html.finish()
}

/// The answer to the first question, for the title of a tab.
fn in_short(report: &StatusReport) -> String {
    match report.concerns.total() {
        0 => "nothing wants a person".to_owned(),
        1 => "1 thing wants a person".to_owned(),
        more => format!("{more} things want a person"),
    }
}

fn head(html: &mut Html, report: &StatusReport) {
    html.markup("<header>\n").element("h1", &report.site_name).markup("\n");
    html.element("p", &capitalised(&format!("{}.", report.daemon_words()))).markup("\n");
    let when = format!(
        "As of {}, {}. Reload the page for the newest state.",
        report.clock().when(report.at),
        report.zone.name()
    );
    html.element("p class=\"aside\"", &when).markup("\n</header>\n");
}

fn concerns(html: &mut Html, report: &StatusReport) {
    let concerns = &report.concerns;
    if concerns.is_empty() {
        html.markup("<section class=\"calm\">\n").element("h2", "Nothing wants a person").markup("\n</section>\n");
        return;
    }
    html.markup("<section class=\"wanted\">\n").element("h2", &in_short(report)).markup("\n<ul>\n");
    for concern in concerns.list.iter().take(SHOWN) {
        html.markup("<li>").element("strong", &capitalised(concern.kind.title())).markup(" ");
        html.element("span", &format!("{}{}", concern.message, report.since_words(concern)));
        if let Some(hint) = &concern.hint {
            html.markup("<br>").element("span class=\"aside\"", &format!("What to do: {hint}"));
        }
        html.markup("</li>\n");
    }
    let more = concerns.total().saturating_sub(SHOWN.min(concerns.list.len()));
    if more > 0 {
        html.element("li", &format!("and {more} more")).markup("\n");
    }
    html.markup("</ul>\n</section>\n");
}

fn intake(html: &mut Html, report: &StatusReport) {
    html.markup("<section>\n").element("h2", "Intake").markup("\n<dl>\n");
    let counts = &report.counts;
    let mut line = |term: &str, words: &str| {
        html.markup("<div>").element("dt", term).element("dd", words).markup("</div>\n");
    };
    if let Some(words) = report.intake_words() {
        line("Scans", &capitalised(&words));
    }
    if report.ledger_fault.is_none() {
        let under_way = counts.claimed + counts.staged + counts.published;
        line(
            "Files",
            &format!(
                "{} archived, {} known under another name, {} in quarantine, {under_way} under way",
                counts.archived, counts.duplicates, counts.quarantined
            ),
        );
        line("Rows", &format!("{} read from these files, {} rejected", counts.rows_accepted, counts.rows_rejected));
        line(
            "Folders",
            &format!(
                "{} files settling, {} waiting too long, {} unreachable",
                counts.settling, counts.waiting, counts.retrying
            ),
        );
        if !report.alerts.is_empty() {
            let told = report.alerts.iter().filter(|alert| alert.told_at.is_some()).count();
            line("Alerts", &format!("{} open, {told} of them told", report.alerts.len()));
        }
    }
    for volume in &report.volumes {
        let low = if volume.is_low { "; intake needs more" } else { "" };
        let words = format!("{} free for {} ({}){low}", size(volume.free_bytes), volume.holds.join(", "), volume.kind);
        line("Space", &words);
    }
    html.markup("</dl>\n</section>\n");
}

fn folders(html: &mut Html, report: &StatusReport) {
    if report.sightings.is_empty() {
        return;
    }
    let clock = report.clock();
    let mut rows = Vec::new();
    let is_settling = |sighting: &&Sighting| sighting.state == SightingState::Settling;
    let waiting = report.sightings.iter().filter(|sighting| !is_settling(sighting)).take(SHOWN);
    let settling = report.sightings.iter().filter(is_settling).take(SETTLING_SHOWN);
    for sighting in waiting.chain(settling) {
        let unchanged = match sighting.state {
            SightingState::Retrying => String::new(),
            SightingState::Settling | SightingState::Waiting => clock.ago(sighting.stable_since),
        };
        rows.push(vec![
            sighting.path.clone(),
            sighting.state.word().to_owned(),
            clock.ago(sighting.first_seen),
            unchanged,
            without_hint(&sighting.note).0,
        ]);
    }
    let counts = &report.counts;
    let all = usize::try_from(counts.settling + counts.waiting + counts.retrying).unwrap_or(0);
    html.markup("<section>\n").element("h2", "In the import folders").markup("\n");
    html.table(&shown_of(rows.len(), all), &["path", "state", "seen for", "unchanged for", "why"], &rows);
    html.markup("</section>\n");
}

fn quarantine(html: &mut Html, report: &StatusReport) {
    if report.quarantined.is_empty() {
        return;
    }
    let mut rows = Vec::new();
    for refused in report.quarantined.iter().take(SHOWN) {
        let file = &refused.file;
        rows.push(vec![
            file.first_name.clone(),
            report.clock().when(file.quarantined_at.unwrap_or(file.claimed_at)),
            refused.reason(),
            refused.edits.join("; "),
            refused.further_names().join(", "),
            file.source_file_id.chars().take(12).collect(),
        ]);
    }
    let all = usize::try_from(report.counts.quarantined).unwrap_or(0);
    html.markup("<section>\n").element("h2", "Quarantine").markup("\n");
    html.table(
        &shown_of(rows.len(), all),
        &["file", "refused", "why", "would mend it", "came also as", "file id"],
        &rows,
    );
    html.markup("</section>\n");
}

fn recent(html: &mut Html, report: &StatusReport) {
    if report.recent.is_empty() {
        return;
    }
    let mut rows = Vec::new();
    for file in &report.recent {
        let what = if file.marks_accepted > 0 { "marks" } else { "shots" };
        rows.push(vec![
            file.first_name.clone(),
            report.clock().when(file.claimed_at),
            file.state.word().to_owned(),
            format!("{} {what}", file.rows_accepted),
            file.rows_rejected.to_string(),
        ]);
    }
    html.markup("<section>\n").element("h2", "Last files").markup("\n");
    html.table("Newest first", &["file", "taken", "state", "rows", "rejected"], &rows).markup("</section>\n");
}

fn jobs(html: &mut Html, report: &StatusReport) {
    if report.runs.is_empty() {
        return;
    }
    let mut rows = Vec::new();
    for (job, run) in &report.runs {
        let outcome = run.outcome.map_or("runs now", RunOutcome::word);
        let written = run.rows.map_or_else(String::new, |rows| rows.to_string());
        rows.push(vec![job.clone(), outcome.to_owned(), report.clock().when(run.start.started), written]);
    }
    html.markup("<section>\n").element("h2", "Jobs").markup("\n");
    html.table("Last run of each", &["job", "outcome", "began", "rows"], &rows).markup("</section>\n");
}

fn lake(html: &mut Html, report: &StatusReport) {
    if report.datasets.is_empty() && report.summaries.is_empty() {
        return;
    }
    html.markup("<section>\n").element("h2", "Lake").markup("\n");
    let mut rows = Vec::new();
    for dataset in &report.datasets {
        let bytes = size(u64::try_from(dataset.bytes).unwrap_or(0));
        rows.push(vec![dataset.dataset.clone(), dataset.rows.to_string(), dataset.files.to_string(), bytes]);
    }
    let generation = report.generation.map_or_else(String::new, |generation| format!("Generation {generation}"));
    html.table(&generation, &["dataset", "rows", "files", "size"], &rows);
    if let Some(newest) = report.summaries.first() {
        let words = format!(
            "Summaries were last written {}, for the week of {}.",
            report.clock().when(newest.made_at),
            newest.week
        );
        html.element("p", &words).markup("\n");
    }
    html.markup("</section>\n");
}

fn shown_of(shown: usize, all: usize) -> String {
    if shown >= all { count(shown, "entry", "entries") } else { format!("{shown} of {all}; /status.json has more") }
}

fn capitalised(text: &str) -> String {
    let text = one_line(text);
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
