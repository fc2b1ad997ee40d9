//! Running the command that tells IT: no shell, the message on its standard input, a time limit.

use std::io;
use std::path::Path;
use std::process::Stdio;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, Command};

use crate::config::AlertSettings;

/// So much of what the command says is kept for the log.
const MOST_SAID: usize = 2_000;

/// A message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// One line.
    pub subject: String,
    /// The whole text; its first line is the subject.
    pub text: String,
}

impl Letter {
    /// Control characters of a file's name would break the subject, or a mail's head: they become spaces.
    pub(super) fn new(subject: &str, body: &str) -> Letter {
        let subject: String = subject.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let text = format!("{subject}\n\n{body}");
        Letter { subject, text }
    }
}

/// Runs the command; an error says in words why the message did not go out.
pub async fn deliver(settings: &AlertSettings, home: &Path, letter: &Letter) -> Result<(), String> {
    // The configuration admits no empty command.
    let Some((program, arguments)) = settings.command.split_first() else { return Err("no command is named".into()) };
    let mut command = Command::new(program);
    command
        .args(arguments)
        .env("STRIKEMILL_SUBJECT", &letter.subject)
        .env("STRIKEMILL_HOME", home)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .kill_on_drop(true);
    // A group of its own, so that what it starts ends with it.
    #[cfg(unix)]
    command.process_group(0);
    let mut child = command.spawn().map_err(|error| {
        format!("{program} cannot be started: {error}\nhint: name the program of [alert] command with its full path")
    })?;
    let group = Group::of(&child);
    let talk = talk(&mut child, letter.text.as_bytes());
    let talked = tokio::time::timeout(settings.limit, talk).await;
    match talked {
        Ok(Ok((status, said))) => {
            group.close();
            if status.success() {
                return Ok(());
            }
            let said = if said.is_empty() { String::new() } else { format!(": {said}") };
            Err(format!("{program} ended with {status}{said}"))
        }
        Ok(Err(error)) => Err(format!("{program} cannot be talked to: {error}")),
        Err(_) => Err(format!(
            "{program} took longer than {} s and was stopped\nhint: raise limit_s of [alert], or let the command hand over quicker",
            settings.limit.as_secs()
        )),
    }
}

/// Hands over the message, listens to complaints and waits for the end.
async fn talk(child: &mut Child, message: &[u8]) -> io::Result<(std::process::ExitStatus, String)> {
    let (stdin, stderr) = (child.stdin.take(), child.stderr.take());
    let writing = async {
        let Some(mut stdin) = stdin else { return Ok(()) };
        match stdin.write_all(message).await {
            // A command that does not want to read says by its exit code whether that is well.
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            written => written,
        }
    };
    let listening = async {
        let mut said: Vec<u8> = Vec::new();
        let Some(mut stderr) = stderr else { return Ok(said) };
        let mut piece = [0; 1024];
        loop {
            let length = stderr.read(&mut piece).await?;
            if length == 0 {
                return Ok::<_, io::Error>(said);
            }
            // The rest is read as well, so that the command does not wait for it, and forgotten.
            let wanted = length.min(MOST_SAID - said.len());
            said.extend_from_slice(&piece[..wanted]);
        }
    };
    let (written, said, status) = tokio::join!(writing, listening, child.wait());
    written?;
    let said = String::from_utf8_lossy(&said?).split_whitespace().collect::<Vec<_>>().join(" ");
    Ok((status?, said))
}

/// The command and all that it started, ended when this is dropped before it is over.
struct Group {
    #[cfg(unix)]
    leader: Option<rustix::process::Pid>,
}

impl Group {
    #[cfg(unix)]
    fn of(child: &Child) -> Group {
        let leader = child.id().and_then(|id| i32::try_from(id).ok()).and_then(rustix::process::Pid::from_raw);
        Group { leader }
    }

    #[cfg(not(unix))]
    fn of(_child: &Child) -> Group {
        Group {}
    }

    /// The command has ended by itself; what it left running is its own affair.
    #[cfg_attr(not(unix), expect(clippy::unused_self))]
    fn close(mut self) {
        #[cfg(unix)]
        {
            self.leader = None;
        }
    }
}

#[cfg(unix)]
impl Drop for Group {
    fn drop(&mut self) {
        if let Some(leader) = self.leader {
            // It may have ended meanwhile: then there is nothing to end.
            let _ = rustix::process::kill_process_group(leader, rustix::process::Signal::KILL);
        }
    }
}
