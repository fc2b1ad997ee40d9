//! What wants a person, and when somebody was told.
//!
//! A subject goes through: open and untold, open and told, mended and not yet told so, gone. One that mends before anybody was
//! told of it is forgotten at once; one that comes back before its mending was told is the same event still, and told no
//! second time.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};

use crate::{Ledger, LedgerError};

/// Something that wants a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertSubject {
    /// What it is about; the same text as long as it is the same event.
    pub subject: String,
    /// Of what kind it is.
    pub kind: String,
    /// What to tell.
    pub message: String,
}

/// Something that wants a person, and when somebody was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alert {
    /// What it is about.
    pub about: AlertSubject,
    /// When it was noted first.
    pub first_at: i64,
    /// When somebody was told last; `None` = nobody yet.
    pub told_at: Option<i64>,
    /// When it mended; it is kept until that was told.
    pub resolved_at: Option<i64>,
}

impl Ledger {
    /// All alerts, oldest first.
    pub fn alerts(&self) -> Result<Vec<Alert>, LedgerError> {
        self.read("list alerts", alerts_of)
    }

    /// Compares what wants a person now with what the ledger knows, and notes the difference; without one nothing is written.
    /// Alerts of the kinds in `unseen` are not taken for mended: of these not everything could be looked at.
    /// Answers all alerts as they stand then.
    pub fn note_alerts(&self, now: &[AlertSubject], unseen: &[&str], at: i64) -> Result<Vec<Alert>, LedgerError> {
        let known = self.alerts()?;
        if same(&known, now, unseen) {
            return Ok(known);
        }
        self.write("note alerts", |transaction| {
            let mut open = transaction.prepare_cached(
                "INSERT INTO alerts (subject, kind, message, first_at) VALUES (?1, ?2, ?3, ?4) \
                 ON CONFLICT (subject) DO UPDATE SET kind = excluded.kind, message = excluded.message, resolved_at = NULL",
            )?;
            for about in now {
                open.execute(params![about.subject, about.kind, about.message, at])?;
            }
            let present = by_subject(now);
            let mut forget = transaction.prepare_cached("DELETE FROM alerts WHERE subject = ?1 AND told_at IS NULL")?;
            let mut mend = transaction
                .prepare_cached("UPDATE alerts SET resolved_at = ?2 WHERE subject = ?1 AND resolved_at IS NULL")?;
            for alert in &known {
                if has_mended(alert, &present, unseen) {
                    forget.execute([&alert.about.subject])?;
                    mend.execute(params![alert.about.subject, at])?;
                }
            }
            alerts_of(transaction)
        })
    }

    /// Notes that somebody was told: of open alerts when, and mended ones are done with.
    pub fn note_alerts_told(&self, told: &[Alert], at: i64) -> Result<(), LedgerError> {
        self.write("note that alerts were told", |transaction| {
            // One that changed its state meanwhile is not touched: what was told of it was its former state.
            let mut open = transaction
                .prepare_cached("UPDATE alerts SET told_at = ?2 WHERE subject = ?1 AND resolved_at IS NULL")?;
            let mut mended =
                transaction.prepare_cached("DELETE FROM alerts WHERE subject = ?1 AND resolved_at = ?2")?;
            for alert in told {
                match alert.resolved_at {
                    None => open.execute(params![alert.about.subject, at])?,
                    Some(resolved_at) => mended.execute(params![alert.about.subject, resolved_at])?,
                };
            }
            Ok(())
        })
    }
}

fn by_subject(now: &[AlertSubject]) -> BTreeMap<&str, &AlertSubject> {
    now.iter().map(|about| (about.subject.as_str(), about)).collect()
}

fn has_mended(alert: &Alert, present: &BTreeMap<&str, &AlertSubject>, unseen: &[&str]) -> bool {
    let about = &alert.about;
    alert.resolved_at.is_none()
        && !present.contains_key(about.subject.as_str())
        && !unseen.contains(&about.kind.as_str())
}

fn same(known: &[Alert], now: &[AlertSubject], unseen: &[&str]) -> bool {
    let present = by_subject(now);
    let open: BTreeMap<&str, &AlertSubject> = known
        .iter()
        .filter(|alert| alert.resolved_at.is_none())
        .map(|alert| (alert.about.subject.as_str(), &alert.about))
        .collect();
    let nothing_new = present.iter().all(|(subject, about)| open.get(subject) == Some(about));
    nothing_new && !known.iter().any(|alert| has_mended(alert, &present, unseen))
}

fn alerts_of(connection: &Connection) -> rusqlite::Result<Vec<Alert>> {
    connection
        .prepare_cached(
            "SELECT subject, kind, message, first_at, told_at, resolved_at FROM alerts ORDER BY first_at, subject",
        )?
        .query_map([], |row| {
            Ok(Alert {
                about: AlertSubject { subject: row.get(0)?, kind: row.get(1)?, message: row.get(2)? },
                first_at: row.get(3)?,
                told_at: row.get(4)?,
                resolved_at: row.get(5)?,
            })
        })?
        .collect()
}
