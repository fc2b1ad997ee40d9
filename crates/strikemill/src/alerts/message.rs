//! The message to IT: plain text, its first line the subject. It names files and folders, never players.

use std::fmt::Write as _;
use std::path::Path;

use chrono::DateTime;
use chrono_tz::Tz;
use console::{ConcernKind, StatusReport};
use ledger::Alert;

use super::command::Letter;

/// So many lines a part; of more the number is told.
const MOST_LINES: usize = 40;

/// What is to be told.
#[derive(Debug, Default)]
pub(super) struct Due {
    /// Nobody was told yet.
    new: Vec<Alert>,
    /// Told a while ago, and still so.
    lasting: Vec<Alert>,
    /// Told, and no longer so.
    mended: Vec<Alert>,
    /// Open ones that were told not long ago, and are left out.
    others: usize,
    /// When a message was under way of which nobody knows whether it went out.
    uncertain: Option<i64>,
}

impl Due {
    /// What of the alerts is due; `None` where nothing is.
    pub(super) fn of(alerts: Vec<Alert>, now: i64, repeat_every: i64, uncertain: Option<i64>) -> Option<Due> {
        let mut due = Due { uncertain, ..Due::default() };
        for alert in alerts {
            let group = match (alert.resolved_at, alert.told_at) {
                (Some(_), _) => &mut due.mended,
                (None, None) => &mut due.new,
                // A clock that was set back does not silence anything for longer than the time between two messages.
                (None, Some(told)) if now.saturating_sub(told).saturating_abs() >= repeat_every => &mut due.lasting,
                (None, Some(_)) => {
                    due.others += 1;
                    continue;
                }
            };
            group.push(alert);
        }
        let is_nothing = due.all().next().is_none();
        if is_nothing { None } else { Some(due) }
    }

    /// Everything that the message tells.
    pub(super) fn all(&self) -> impl Iterator<Item = &Alert> {
        self.new.iter().chain(&self.lasting).chain(&self.mended)
    }
}

/// The message.
pub(super) fn letter(due: &Due, report: &StatusReport, home: &Path) -> Letter {
    let (wanting, mended) = (due.new.len() + due.lasting.len(), due.mended.len());
    let things = |number: usize| if number == 1 { "1 thing".to_owned() } else { format!("{number} things") };
    let verb = if wanting == 1 { "wants" } else { "want" };
    let subject = match (wanting, mended) {
        (0, _) => format!("strikemill at {}: {} mended", report.site_name, things(mended)),
        (_, 0) => format!("strikemill at {}: {} {verb} a person", report.site_name, things(wanting)),
        _ => format!("strikemill at {}: {} {verb} a person, {mended} mended", report.site_name, things(wanting)),
    };
    let mut body = String::new();
    if let Some(at) = due.uncertain {
        let at = when(at, report.zone);
        let _ = writeln!(body, "A stop cut off the message of {at}: what follows may repeat it.\n"); // never fails
    }
    part(&mut body, "New", &due.new, report);
    part(&mut body, "Still so", &due.lasting, report);
    part(&mut body, "Mended", &due.mended, report);
    if due.others > 0 {
        let _ = writeln!(body, "Told before and still so: {}.\n", due.others);
    }
    let _ = writeln!(body, "More: strikemill status --home {}", home.display());
    Letter::new(&subject, &body)
}

/// A message that only shows that messages arrive.
pub fn test_letter(site_name: &str, home: &Path) -> Letter {
    let body = format!(
        "This is a test: nothing is wrong. Messages of strikemill will arrive like this one.\n\nMore: strikemill status --home {}\n",
        home.display()
    );
    Letter::new(&format!("strikemill at {site_name}: a test message"), &body)
}

fn part(body: &mut String, heading: &str, alerts: &[Alert], report: &StatusReport) {
    if alerts.is_empty() {
        return;
    }
    let _ = writeln!(body, "{heading}");
    let mut hint_before = None;
    for alert in alerts.iter().take(MOST_LINES) {
        let kind = ConcernKind::WORDS.iter().find(|(_, word)| *word == alert.about.kind);
        let title = kind.map_or(alert.about.kind.as_str(), |(kind, _)| kind.title());
        let since = when(alert.first_at, report.zone);
        let _ = writeln!(body, "- {title}: {} (noted {since})", alert.about.message);
        let concern = report.concerns.list.iter().find(|concern| concern.subject == alert.about.subject);
        let hint = concern.and_then(|concern| concern.hint.as_ref()).filter(|_| alert.resolved_at.is_none());
        if let Some(hint) = hint
            && hint_before != Some(hint)
        {
            let _ = writeln!(body, "  hint: {hint}");
        }
        hint_before = hint;
    }
    if alerts.len() > MOST_LINES {
        let _ = writeln!(body, "- and {} more", alerts.len() - MOST_LINES);
    }
    body.push('\n');
}

fn when(micros: i64, zone: Tz) -> String {
    DateTime::from_timestamp_micros(micros)
        .map_or_else(String::new, |instant| instant.with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string())
}
