//! Faults of whole files, and the bounds under which packed files are read.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

use shot::Problem;

use crate::context::ParseLimits;
use crate::rule::Rule;

/// Why a file cannot be read, or not further.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FileFault {
    pub rule: Rule,
    pub message: String,
}

impl FileFault {
    pub fn new(rule: Rule, message: impl Into<String>) -> FileFault {
        FileFault { rule, message: message.into() }
    }

    /// The problem that refuses the file as a whole.
    pub fn problem(self) -> Problem {
        self.rule.rejects(0, None, "", self.message)
    }
}

/// What may still be unpacked of one file. What is handed on more than once (a shared text, a repeated row, a word of a dictionary)
/// counts each time: a small file must not become a large one by pointing at the same text again and again.
#[derive(Debug)]
pub(crate) struct Budget {
    left: Cell<usize>,
    most: usize,
}

impl Budget {
    pub fn new(limits: &ParseLimits) -> Budget {
        Budget { left: Cell::new(limits.max_unpacked_bytes), most: limits.max_unpacked_bytes }
    }

    /// Takes bytes off the budget; false where it has no more.
    pub fn spend(&self, bytes: usize) -> bool {
        let Some(left) = self.left.get().checked_sub(bytes) else {
            self.left.set(0);
            return false;
        };
        self.left.set(left);
        true
    }

    /// The fault of a file that unpacks to too much.
    pub fn fault(&self) -> FileFault {
        FileFault::new(Rule::UnpacksTooLarge, format!("the file unpacks to more than {} bytes", self.most))
    }
}

/// Calls a reader of binary files, and turns a panic inside it into a fault. Everything that is known to break these readers is
/// refused before they are called; this is the last barrier, since an index out of range somewhere in a foreign crate must cost
/// one file and not the daemon. It holds no state that a later file could see.
pub(crate) fn guarded<T>(rule: Rule, read: impl FnOnce() -> Result<T, FileFault>) -> Result<T, FileFault> {
    catch_unwind(AssertUnwindSafe(read))
        .unwrap_or_else(|_| Err(FileFault::new(rule, "the file is damaged in a way that its reader did not foresee")))
}
