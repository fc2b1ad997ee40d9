//! A ledger that refuses to be written, on purpose, for tests.

use crate::{Ledger, LedgerError};

impl Ledger {
    /// Lets SQLite refuse every write through this handle, as it does when the disk or the account's rights do; or allows them
    /// again.
    pub fn refuse_writes(&self, refuse: bool) -> Result<(), LedgerError> {
        self.read("be made read-only", |connection| connection.pragma_update(None, "query_only", refuse))
    }
}
