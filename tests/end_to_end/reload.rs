//! Taking up a changed configuration without a restart.

use std::path::Path;
use std::time::Duration;

use crate::home::{Daemon, drop_exports, edit, files_below, fresh_home, log_of, strikemill, until, words};

const LONG: Duration = Duration::from_secs(90);
const IN_FORCE: &str = "the new configuration is in force";

fn times(home: &Path, words: &str) -> usize {
    log_of(home).matches(words).count()
}

fn vitals(home: &Path) -> serde_json::Value {
    let text = std::fs::read(home.join("state/vitals.json")).unwrap_or_default();
    serde_json::from_slice(&text).unwrap_or_default()
}

fn archived(home: &Path) -> usize {
    files_below(&home.join("archive")).len()
}

#[test]
fn a_folder_that_is_added_is_watched_after_sighup_and_the_log_level_follows() {
    let home = fresh_home();
    let mut daemon = Daemon::watching(home.path());
    assert_eq!(times(home.path(), "DEBUG"), 0);
    std::fs::create_dir_all(home.path().join("import/annexe")).expect("a folder");
    edit(home.path(), "config/strikemill.toml", "level = \"info\"", "level = \"debug\"");
    edit(
        home.path(),
        "config/strikemill.toml",
        "[intake]",
        "[[import]]\nfolder = \"import/annexe\"\nbay = \"9\"\n\n[intake]",
    );
    daemon.signal("HUP");
    until("the new configuration", home.path(), LONG, || times(home.path(), IN_FORCE) > 0);
    let export = files_below(&crate::home::checkout().join("demo-data/bay1")).swap_remove(0);
    std::fs::copy(export, home.path().join("import/annexe/a.csv")).expect("an export");
    until("its export in the archive", home.path(), LONG, || archived(home.path()) == 1);
    until("finer log lines", home.path(), LONG, || times(home.path(), "DEBUG") > 0);
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "{}", log_of(home.path()));
}

#[test]
fn a_pack_that_is_added_reads_exports_without_a_restart() {
    let home = fresh_home();
    let (pack, aside) = (home.path().join("plugins/formats/hall-metric"), home.path().join("hall-metric"));
    std::fs::rename(&pack, &aside).expect("the pack is taken out");
    let _daemon = Daemon::watching(home.path());
    // The first look at the files may come a moment after the log says that the daemon watches.
    std::thread::sleep(Duration::from_secs(1));
    std::fs::rename(&aside, &pack).expect("the pack is put back");
    until("the new configuration", home.path(), LONG, || times(home.path(), IN_FORCE) > 0);
    assert!(log_of(home.path()).contains("plugins/formats/hall-metric"), "{}", log_of(home.path()));
    let sent = drop_exports(home.path(), "bay1", 2);
    until("its exports in the archive", home.path(), LONG, || archived(home.path()) == sent);
}

#[test]
fn what_is_faulty_is_told_and_leaves_the_old_in_force_until_it_is_mended() {
    let home = fresh_home();
    let mut daemon = Daemon::watching(home.path());
    std::thread::sleep(Duration::from_secs(1));
    edit(home.path(), "config/strikemill.toml", "zone = \"Europe/Dublin\"", "zone = \"Mars/Olympus\"");
    until("the refusal", home.path(), LONG, || times(home.path(), "is no time zone") > 0);
    until("the fault in the vitals", home.path(), LONG, || {
        vitals(home.path())["configuration_faults"].to_string().contains("Mars/Olympus")
    });
    let sent = drop_exports(home.path(), "bay1", 2);
    until("exports in the archive all the same", home.path(), LONG, || archived(home.path()) == sent);
    edit(home.path(), "config/strikemill.toml", "zone = \"Mars/Olympus\"", "zone = \"Europe/Dublin\"");
    until("the mended configuration", home.path(), LONG, || times(home.path(), IN_FORCE) == 1);
    until("no fault in the vitals", home.path(), LONG, || {
        vitals(home.path())["configuration_faults"].as_array().is_some_and(Vec::is_empty)
    });
    assert_eq!(times(home.path(), "is no time zone"), 1, "a fault is told once: {}", log_of(home.path()));

    // A pack that worked is not lost to a slip of the pen.
    std::fs::write(home.path().join("plugins/formats/hall-metric/format.toml"), "name = ").expect("a slip");
    until("the refusal", home.path(), LONG, || times(home.path(), "hall-metric worked so far") > 0);
    // Nor can the site change its name.
    edit(home.path(), "config/strikemill.toml", "id = \"tern-point\"", "id = \"other-point\"");
    daemon.signal("HUP");
    until("the refusal", home.path(), LONG, || times(home.path(), "the site's id was changed") > 0);
    let more = drop_exports(home.path(), "bay1", 4);
    // Those that were known already are kept as well, among the duplicates.
    until("more exports in the archive", home.path(), LONG, || archived(home.path()) == sent + more);
    assert_eq!(times(home.path(), IN_FORCE), 1);
    daemon.signal("TERM");
    assert!(daemon.wait(LONG), "{}", log_of(home.path()));
    assert_eq!(vitals(home.path())["phase"], "stopped");
}

#[test]
fn a_pack_that_cannot_be_read_just_now_is_not_left_out() {
    let home = fresh_home();
    let pack = home.path().join("plugins/formats/hall-metric/format.toml");
    // A folder in its place: the system refuses to read it, whoever asks, root too.
    std::fs::remove_file(&pack).expect("removed");
    std::fs::create_dir(&pack).expect("a folder");
    let sent = drop_exports(home.path(), "bay1", 1);
    let place = home.path().display().to_string();
    for command in [&["run"][..], &["import"][..]] {
        let output = strikemill(&[command, &["--home", place.as_str()]].concat());
        assert_eq!(output.status.code(), Some(1), "{command:?}");
        assert!(
            words(&output).contains("cannot be read") && words(&output).contains("hall-metric"),
            "{}",
            words(&output)
        );
    }
    assert_eq!(files_below(&home.path().join("import")).len(), sent, "nothing was taken");
    assert_eq!(files_below(&home.path().join("quarantine")).len(), 0);
}
