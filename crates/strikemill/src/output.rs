//! Words on standard output. Unlike `println!` a closed pipe or a full disk is an error to handle, not a panic.

use std::fmt::Arguments;
use std::io::Write;

/// Writes one line.
pub fn line(words: Arguments<'_>) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_fmt(words)?;
    out.write_all(b"\n")?;
    out.flush()
}

/// Writes one line to standard output, or ends the function with the error.
macro_rules! say {
    () => { $crate::output::line(format_args!(""))? };
    ($($words:tt)*) => { $crate::output::line(format_args!($($words)*))? };
}
pub(crate) use say;
