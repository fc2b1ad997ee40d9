//! What was told, while the ledger works and while it does not.

use ledger::{Alert, AlertSubject, Ledger};

/// The alerts as known last. The ledger is the truth while it works; a ledger that does not is itself a thing to tell, and must
/// be told once.
#[derive(Debug, Default)]
pub(super) struct Memory {
    known: Vec<Alert>,
    /// Changes that the ledger has not taken yet.
    is_ahead: bool,
}

impl Memory {
    /// Notes what wants a person now and answers all alerts.
    pub(super) fn noted(&mut self, ledger: &Ledger, now: &[AlertSubject], unseen: &[&str], at: i64) -> Vec<Alert> {
        match ledger.note_alerts(now, unseen, at) {
            Ok(noted) if self.is_ahead => self.catch_up(ledger, noted, at),
            Ok(noted) => self.known = noted,
            Err(error) => {
                if !self.is_ahead {
                    tracing::warn!("alerts are kept in memory until the ledger works again: {error}");
                }
                self.is_ahead = true;
                self.step(now, unseen, at);
            }
        }
        self.known.clone()
    }

    /// Notes that somebody was told.
    pub(super) fn told(&mut self, ledger: &Ledger, told: &[Alert], at: i64) {
        if ledger.note_alerts_told(told, at).is_err() {
            self.is_ahead = true;
        }
        for alert in told {
            self.known.retain(|known| known.resolved_at.is_none() || known.about.subject != alert.about.subject);
            for known in &mut self.known {
                if known.about.subject == alert.about.subject {
                    known.told_at = Some(at);
                }
            }
        }
    }

    /// The ledger works again: what was told meanwhile is noted, and what mended meanwhile is still to be told.
    fn catch_up(&mut self, ledger: &Ledger, mut noted: Vec<Alert>, at: i64) {
        let mut told_meanwhile = Vec::new();
        for known in std::mem::take(&mut self.known) {
            match noted.iter_mut().find(|alert| alert.about.subject == known.about.subject) {
                Some(alert) if alert.resolved_at.is_none() && known.told_at > alert.told_at => {
                    alert.told_at = known.told_at;
                    told_meanwhile.push(alert.clone());
                }
                // It never came into the ledger, and has gone: whoever was told of it is to know.
                None if known.told_at.is_some() => {
                    noted.push(Alert { resolved_at: known.resolved_at.or(Some(at)), ..known });
                }
                Some(_) | None => {}
            }
        }
        self.is_ahead = told_meanwhile
            .iter()
            .any(|alert| ledger.note_alerts_told(std::slice::from_ref(alert), alert.told_at.unwrap_or(at)).is_err());
        // What stands in memory alone keeps it ahead until it was told.
        self.is_ahead |= noted.iter().any(|alert| alert.resolved_at == Some(at));
        self.known = noted;
    }

    /// The same steps that the ledger takes.
    fn step(&mut self, now: &[AlertSubject], unseen: &[&str], at: i64) {
        for about in now {
            match self.known.iter_mut().find(|alert| alert.about.subject == about.subject) {
                Some(alert) => {
                    alert.about = about.clone();
                    alert.resolved_at = None;
                }
                None => self.known.push(Alert { about: about.clone(), first_at: at, told_at: None, resolved_at: None }),
            }
        }
        let is_present = |alert: &Alert| {
            unseen.contains(&alert.about.kind.as_str()) || now.iter().any(|about| about.subject == alert.about.subject)
        };
        self.known.retain(|alert| alert.told_at.is_some() || is_present(alert));
        for alert in &mut self.known {
            if alert.resolved_at.is_none() && !is_present(alert) {
                alert.resolved_at = Some(at);
            }
        }
    }
}
