//! What is known of the months whose rows roster, corrections and strike marks were applied to.

use std::collections::HashMap;

use rusqlite::params;

use crate::{Ledger, LedgerError};

/// A month as it was when it was last brought into step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AmendedMonth {
    /// `YYYY-MM`.
    pub month: String,
    /// Of roster and corrections.
    pub fingerprint: String,
    /// Generation of its shots; 0 without any.
    pub shots_generation: i64,
    /// Generation of its strike marks; 0 without any.
    pub marks_generation: i64,
    /// Generation of the links between the two; 0 without any.
    pub links_generation: i64,
}

impl Ledger {
    /// All months that are known to be in step with something.
    pub fn amended_months(&self) -> Result<Vec<AmendedMonth>, LedgerError> {
        self.read("list amended months", |connection| {
            connection
                .prepare_cached(
                    "SELECT month, fingerprint, shots_generation, marks_generation, links_generation \
                     FROM amended_months ORDER BY month",
                )?
                .query_map([], |row| {
                    Ok(AmendedMonth {
                        month: row.get(0)?,
                        fingerprint: row.get(1)?,
                        shots_generation: row.get(2)?,
                        marks_generation: row.get(3)?,
                        links_generation: row.get(4)?,
                    })
                })?
                .collect()
        })
    }

    /// Notes that a month is in step: how many of its shots each correction selects, and the fingerprint of each group of
    /// shots and marks by its name.
    pub fn note_amended(
        &self,
        month: &AmendedMonth,
        counts: &[(String, i64)],
        groups: &[(String, String)],
        at: i64,
    ) -> Result<(), LedgerError> {
        self.write("note an amended month", |transaction| {
            // What hangs on the month goes with it.
            transaction.execute("DELETE FROM amended_months WHERE month = ?1", [&month.month])?;
            transaction.execute(
                "INSERT INTO amended_months (month, fingerprint, shots_generation, marks_generation, \
                 links_generation, amended_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    month.month,
                    month.fingerprint,
                    month.shots_generation,
                    month.marks_generation,
                    month.links_generation,
                    at
                ],
            )?;
            let mut insert = transaction
                .prepare_cached("INSERT INTO linked_groups (month, name, fingerprint) VALUES (?1, ?2, ?3)")?;
            for (name, fingerprint) in groups {
                insert.execute(params![month.month, name, fingerprint])?;
            }
            let mut insert = transaction.prepare_cached(
                "INSERT OR REPLACE INTO correction_counts (month, correction, shots) VALUES (?1, ?2, ?3)",
            )?;
            for (correction, shots) in counts {
                insert.execute(params![month.month, correction, shots])?;
            }
            Ok(())
        })
    }

    /// Forgets that a month is in step: before its rows change, so that a crash in between leaves it to be looked at again.
    pub fn forget_amended(&self, month: &str) -> Result<(), LedgerError> {
        self.write("forget an amended month", |transaction| {
            transaction.execute("DELETE FROM amended_months WHERE month = ?1", [month]).map(|_| ())
        })
    }

    /// The fingerprints of a month's groups of shots and marks, by name.
    pub fn linked_groups(&self, month: &str) -> Result<HashMap<String, String>, LedgerError> {
        self.read("list linked groups", |connection| {
            connection
                .prepare_cached("SELECT name, fingerprint FROM linked_groups WHERE month = ?1")?
                .query_map([month], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })
    }

    /// How many shots each correction selects, over all months.
    pub fn correction_counts(&self) -> Result<HashMap<String, i64>, LedgerError> {
        self.read("count corrected shots", |connection| {
            connection
                .prepare_cached("SELECT correction, sum(shots) FROM correction_counts GROUP BY correction")?
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })
    }
}
