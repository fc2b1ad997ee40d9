//! Alerts against a real ledger and real commands.

use std::time::Duration;

use console::{Phase, Sources};
use ledger::{Sighting, SightingState};

use super::command::Letter;

use super::*;

const MINUTE: i64 = 60_000_000;

struct Place {
    folder: tempfile::TempDir,
    ledger: Arc<Ledger>,
}

impl Place {
    fn new() -> Place {
        let folder = tempfile::tempdir().expect("a folder");
        let ledger = Arc::new(Ledger::open(&folder.path().join("ledger.sqlite")).expect("a ledger"));
        Place { folder, ledger }
    }

    fn book(&self) -> Book {
        Book::new(Arc::clone(&self.ledger), Duration::from_hours(1))
    }

    /// What waits too long in the import folders.
    fn waits(&self, names: &[&str], now: i64) {
        let mut sightings = Vec::new();
        for name in names {
            sightings.push(Sighting {
                path: format!("/in/{name}"),
                bytes: 0,
                modified: None,
                first_seen: now,
                stable_since: now,
                last_seen: now,
                state: SightingState::Waiting,
                note: "it is empty\nhint: export it again".into(),
            });
        }
        let before: Vec<String> =
            self.ledger.sightings().expect("sightings").into_iter().map(|sighting| sighting.path).collect();
        self.ledger.update_sightings(&sightings, &before).expect("noted");
    }

    fn report(paused: Option<&str>, ledger: Result<Option<&Ledger>, String>) -> StatusReport {
        let vitals = console::DaemonVitals {
            phase: Phase::Running,
            paused: paused.map(str::to_owned),
            ..console::DaemonVitals::default()
        };
        StatusReport::gather(Sources {
            program: "strikemill test",
            site_id: Some("north".into()),
            site_name: "North".into(),
            zone: chrono_tz::UTC,
            now: 100 * MINUTE,
            daemon: Some(1),
            vitals: Some(vitals),
            ledger,
            lake: None,
            waiting_too_long: Duration::from_mins(15),
            configuration_faults: Vec::new(),
            pack_faults: Vec::new(),
            volumes: Vec::new(),
        })
    }

    fn text(&self, due: &Due, paused: Option<&str>) -> String {
        letter(due, &Place::report(paused, Ok(Some(&self.ledger))), self.folder.path()).text
    }
}

#[test]
fn new_things_are_told_once_lasting_ones_again_and_mended_ones_at_the_end_whoever_restarts() {
    let place = Place::new();
    let report = || Place::report(None, Ok(Some(&place.ledger)));
    let mut book = place.book();
    assert!(book.look(&report(), MINUTE, true).is_none(), "nothing wants a person");

    place.waits(&["a.csv"], MINUTE);
    let due = book.look(&report(), 2 * MINUTE, true).expect("one thing is due");
    let text = place.text(&due, None);
    assert!(text.starts_with("strikemill at North: 1 thing wants a person\n\nNew\n"), "{text}");
    assert!(
        text.contains("- waiting too long: /in/a.csv: it is empty (noted 1970-01-01 00:02)\n  hint: export it again"),
        "{text}"
    );
    book.note_told(&due, 2 * MINUTE);
    assert!(book.look(&report(), 3 * MINUTE, true).is_none(), "told is told");

    let mut book = place.book();
    assert!(book.look(&report(), 4 * MINUTE, true).is_none(), "a restart tells nothing again");
    let due = book.look(&report(), 62 * MINUTE, true).expect("it lasts");
    assert!(place.text(&due, None).contains("Still so\n- waiting too long: /in/a.csv"));
    book.note_told(&due, 62 * MINUTE);

    place.waits(&["b.csv"], MINUTE);
    let due = book.look(&report(), 63 * MINUTE, true).expect("one new, one mended");
    let text = place.text(&due, None);
    assert!(text.starts_with("strikemill at North: 1 thing wants a person, 1 mended\n"), "{text}");
    assert!(text.contains("Mended\n- waiting too long: /in/a.csv"), "{text}");
    book.note_told(&due, 63 * MINUTE);
    assert_eq!(place.ledger.alerts().expect("alerts").len(), 1);
    assert!(book.look(&report(), 64 * MINUTE, true).is_none());
}

#[test]
fn what_comes_up_between_two_messages_goes_into_one() {
    let place = Place::new();
    let report = || Place::report(None, Ok(Some(&place.ledger)));
    let mut book = place.book();
    place.waits(&["a.csv"], MINUTE);
    assert!(book.look(&report(), 2 * MINUTE, false).is_none(), "too soon after the last message");
    place.waits(&["a.csv", "b.csv"], MINUTE);
    assert!(book.look(&report(), 3 * MINUTE, false).is_none());
    let due = book.look(&report(), 4 * MINUTE, true).expect("both are due");
    assert!(place.text(&due, None).starts_with("strikemill at North: 2 things want a person\n"));
    let many: Vec<String> = (0..60).map(|number| format!("{number}.csv")).collect();
    place.waits(&many.iter().map(String::as_str).collect::<Vec<_>>(), MINUTE);
    let due = book.look(&report(), 5 * MINUTE, true).expect("a flood");
    let text = place.text(&due, None);
    assert!(text.lines().count() < 60 && text.contains("- and 20 more"), "{text}");
}

#[test]
fn a_message_cut_off_by_a_stop_is_told_again_and_says_so() {
    let place = Place::new();
    place.waits(&["a.csv"], MINUTE);
    let report = Place::report(None, Ok(Some(&place.ledger)));
    let cut_off = place.book().look(&report, 2 * MINUTE, true).expect("due");
    assert!(!place.text(&cut_off, None).contains("may repeat"));
    // The process ends here: nobody notes whether the command came to its end.
    let mut book = place.book();
    let due = book.look(&report, 3 * MINUTE, true).expect("due again");
    assert!(
        place.text(&due, None).contains("A stop cut off the message of 1970-01-01 00:02: what follows may repeat it.")
    );
    book.note_told(&due, 3 * MINUTE);
    place.waits(&["b.csv"], MINUTE);
    let report = Place::report(None, Ok(Some(&place.ledger)));
    let due = place.book().look(&report, 4 * MINUTE, true).expect("due");
    assert!(!place.text(&due, None).contains("may repeat"), "a noted end is certain");
}

#[test]
fn a_ledger_that_cannot_be_written_is_told_once_and_its_mending_too() {
    let place = Place::new();
    let path = place.folder.path().join("ledger.sqlite");
    // A reader's handle refuses every write, as a full or read-only disk does.
    let broken = Arc::new(Ledger::open_to_read(&path).expect("opened").expect("a ledger"));
    let mut book = Book::new(Arc::clone(&broken), Duration::from_hours(1));
    let failing = Place::report(None, Err("the ledger cannot be written\nhint: make room".into()));
    let due = book.look(&failing, MINUTE, true).expect("due");
    let text = letter(&due, &failing, place.folder.path()).text;
    assert!(
        text.contains("- ledger does not work: the ledger cannot be written") && text.contains("hint: make room"),
        "{text}"
    );
    book.note_told(&due, MINUTE);
    assert!(book.look(&failing, 2 * MINUTE, true).is_none(), "told once, without a ledger to note it");

    book.ledger = Arc::clone(&place.ledger);
    let sound = Place::report(None, Ok(Some(&place.ledger)));
    let due = book.look(&sound, 3 * MINUTE, true).expect("it mended");
    let text = letter(&due, &sound, place.folder.path()).text;
    assert!(text.starts_with("strikemill at North: 1 thing mended\n"), "{text}");
    book.note_told(&due, 3 * MINUTE);
    assert!(book.look(&sound, 4 * MINUTE, true).is_none());
}

#[test]
fn the_pause_between_attempts_grows_to_an_hour_and_a_success_ends_it() {
    let mut pace = Pace::default();
    assert!(pace.allows());
    pace.begins();
    assert!(!pace.allows());
    let mut pauses = Vec::new();
    for _ in 0..8 {
        pace.failed();
        pauses.push(pace.pause().as_secs() / 60);
    }
    assert_eq!(pauses, [2, 4, 8, 16, 32, 60, 60, 60]);
    pace.succeeded();
    assert_eq!(pace.pause(), LEAST_PAUSE);
}

#[cfg(unix)]
mod commands {
    use super::*;

    fn settings(command: &[&str], limit: Duration) -> AlertSettings {
        AlertSettings {
            command: command.iter().map(ToString::to_string).collect(),
            repeat_every: Duration::from_hours(1),
            limit,
        }
    }

    const LONG: Duration = Duration::from_mins(1);

    #[tokio::test]
    async fn the_command_reads_the_message_and_its_environment_and_no_shell_reads_along() {
        let folder = tempfile::tempdir().expect("a folder");
        let out = folder.path().join("out");
        let script = "cat >\"$1\"; printf '%s|%s|%s' \"$STRIKEMILL_SUBJECT\" \"$STRIKEMILL_HOME\" \"$2\" >>\"$1\"";
        let out_text = out.display().to_string();
        let settings = settings(&["/bin/sh", "-c", script, "sh", &out_text, "$(touch x); `y`"], LONG);
        let letter = Letter::new("a\nb", "body\n");
        deliver(&settings, folder.path(), &letter).await.expect("delivered");
        let said = std::fs::read_to_string(out).expect("what the command got");
        assert_eq!(said, format!("a b\n\nbody\na b|{}|$(touch x); `y`", folder.path().display()));
    }

    #[tokio::test]
    async fn whatever_goes_wrong_is_said_in_words() {
        let folder = tempfile::tempdir().expect("a folder");
        let letter = Letter::new("subject", &"body\n".repeat(100_000));
        let tell = async |command: &[&str], limit| deliver(&settings(command, limit), folder.path(), &letter).await;
        let absent = tell(&["/nowhere/at-all"], LONG).await.expect_err("absent");
        assert!(absent.contains("cannot be started") && absent.contains("hint:"), "{absent}");
        let failed = tell(&["/bin/sh", "-c", "echo no such host >&2; exit 75"], LONG).await.expect_err("failed");
        assert!(failed.contains("exit status: 75: no such host"), "{failed}");
        let deaf = tell(&["/bin/sh", "-c", "exec <&-; exit 0"], LONG).await;
        assert_eq!(deaf, Ok(()), "who does not read decides by the exit code");
        let loud = tell(&["/bin/sh", "-c", "cat >/dev/null; yes complaint | head -c 1000000 >&2; exit 1"], LONG).await;
        assert!(loud.expect_err("failed").len() < 3_000, "what it says is bounded");
    }

    #[tokio::test]
    async fn a_command_that_takes_too_long_ends_with_all_that_it_started() {
        let folder = tempfile::tempdir().expect("a folder");
        let note = folder.path().join("child");
        let script = format!("sleep 300 & echo $! >'{}'; wait", note.display());
        let command = settings(&["/bin/sh", "-c", &script], Duration::from_secs(1));
        let slow = deliver(&command, folder.path(), &Letter::new("subject", "body")).await.expect_err("too slow");
        assert!(slow.contains("longer than 1 s"), "{slow}");
        let child = std::fs::read_to_string(note).expect("the child's number");
        // Until the system has cleared it away it may stand there as ended, Z.
        let alive =
            || std::fs::read_to_string(format!("/proc/{}/stat", child.trim())).is_ok_and(|stat| !stat.contains(") Z "));
        for _ in 0..200 {
            if !alive() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("process {child} lives on");
    }
}
