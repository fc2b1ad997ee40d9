//! Words for people: on standard output, or noted down for a command that waits for the daemon's answer.

use std::fmt::Arguments;
use std::io::{self, Write};

/// Where a command's lines go.
pub trait Teller {
    /// Takes one line, without its end.
    fn tell(&mut self, words: Arguments<'_>) -> io::Result<()>;
}

/// Standard output.
pub struct Aloud;

impl Teller for Aloud {
    fn tell(&mut self, words: Arguments<'_>) -> io::Result<()> {
        line(words)
    }
}

/// Lines kept for later, as far as they fit.
#[derive(Debug, Default)]
pub struct Noted {
    pub lines: Vec<String>,
    /// Lines that were left out because there were too many.
    pub left_out: u64,
    bytes: usize,
}

impl Noted {
    /// Most bytes of all lines together.
    const MOST_BYTES: usize = 16 << 20;
}

impl Teller for Noted {
    fn tell(&mut self, words: Arguments<'_>) -> io::Result<()> {
        let line = words.to_string();
        if self.bytes + line.len() > Noted::MOST_BYTES {
            self.left_out += 1;
            return Ok(());
        }
        self.bytes += line.len();
        self.lines.push(line);
        Ok(())
    }
}

/// Writes one line. Unlike `println!` a closed pipe or a full disk is an error to handle, not a panic.
pub fn line(words: Arguments<'_>) -> io::Result<()> {
    let mut out = io::stdout().lock();
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

/// Gives one line to a [`Teller`], or ends the function with the error.
macro_rules! tell {
    ($teller:expr, $($words:tt)*) => { $crate::output::Teller::tell($teller, format_args!($($words)*))? };
}
pub(crate) use tell;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_is_counted() {
        let mut noted = Noted::default();
        let long = "x".repeat(Noted::MOST_BYTES - 1);
        noted.tell(format_args!("{long}")).expect("it fits");
        noted.tell(format_args!("ab")).expect("it is left out");
        noted.tell(format_args!("c")).expect("it fits");
        assert_eq!((noted.lines.len(), noted.left_out), (2, 1));
    }
}
