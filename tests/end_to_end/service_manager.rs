//! What a service manager hears, on a real datagram socket. Names and order: the manual page sd_notify(3) of systemd 253.

use std::os::unix::net::UnixDatagram;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::home::{Daemon, edit, fresh_home, until};

const LONG: Duration = Duration::from_secs(90);

/// Listens in place of a service manager.
struct Manager {
    _folder: tempfile::TempDir,
    address: PathBuf,
    heard: Arc<Mutex<Vec<String>>>,
}

impl Manager {
    fn new() -> Manager {
        let folder = tempfile::TempDir::new().expect("a temporary folder");
        let address = folder.path().join("notify");
        let socket = UnixDatagram::bind(&address).expect("a socket");
        let heard = Arc::new(Mutex::new(Vec::new()));
        let keeping = Arc::clone(&heard);
        // It ends with the process: a test's listener has nobody to end it.
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(length) = socket.recv(&mut bytes) {
                let text = String::from_utf8_lossy(&bytes[..length]).into_owned();
                keeping.lock().expect("no panic").push(text);
            }
        });
        Manager { _folder: folder, address, heard }
    }

    fn heard(&self) -> Vec<String> {
        self.heard.lock().expect("no panic").clone()
    }

    /// How many messages have this line.
    fn count(&self, line: &str) -> usize {
        self.heard().iter().filter(|text| text.lines().any(|found| found == line)).count()
    }
}

#[test]
fn start_reload_progress_and_stop_are_told_in_order() {
    let home = fresh_home();
    let manager = Manager::new();
    let address = manager.address.display().to_string();
    let mut daemon =
        Daemon::start_with(home.path(), &[("NOTIFY_SOCKET", address.as_str()), ("WATCHDOG_USEC", "400000")]);
    until("ready", home.path(), LONG, || manager.count("READY=1") == 1);
    until("a status", home.path(), LONG, || manager.count("STATUS=watching 7 folders") == 1);
    until("signs of life", home.path(), LONG, || manager.count("WATCHDOG=1") >= 5);
    assert_eq!(manager.count("RELOADING=1"), 0);

    daemon.signal("HUP");
    until("ready again", home.path(), LONG, || manager.count("READY=1") == 2);
    let reloading: Vec<String> =
        manager.heard().into_iter().filter(|text| text.lines().any(|line| line == "RELOADING=1")).collect();
    assert_eq!(reloading.len(), 1);
    let stamp = reloading[0].lines().find_map(|line| line.strip_prefix("MONOTONIC_USEC=")).expect("a time");
    assert!(stamp.parse::<u64>().is_ok_and(|micros| micros > 0), "{stamp}");

    // A reload that is refused is over as well, or the manager would take the daemon for hung.
    edit(home.path(), "config/strikemill.toml", "units = \"yards\"", "units = \"cubits\"");
    daemon.signal("HUP");
    until("ready once more", home.path(), LONG, || manager.count("READY=1") == 3);
    until("the fault in the status", home.path(), LONG, || {
        manager.heard().iter().any(|text| text.starts_with("STATUS=the configuration written last is faulty"))
    });
    let alive = manager.count("WATCHDOG=1");
    until("more signs of life", home.path(), LONG, || manager.count("WATCHDOG=1") > alive + 2);

    daemon.signal("TERM");
    assert!(daemon.wait(LONG));
    until("the stop", home.path(), LONG, || manager.count("STOPPING=1") == 1);
    let heard = manager.heard();
    let place = |line: &str| heard.iter().position(|text| text.lines().any(|found| found == line)).expect("heard");
    assert!(place("READY=1") < place("RELOADING=1") && place("RELOADING=1") < place("STOPPING=1"), "{heard:?}");
}

#[test]
fn another_process_of_the_manager_sends_no_signs_of_life() {
    let home = fresh_home();
    let manager = Manager::new();
    let address = manager.address.display().to_string();
    // WATCHDOG_PID names the process that is meant; it is not the daemon's.
    let environment = [("NOTIFY_SOCKET", address.as_str()), ("WATCHDOG_USEC", "100000"), ("WATCHDOG_PID", "1")];
    let mut daemon = Daemon::start_with(home.path(), &environment);
    until("a status", home.path(), LONG, || manager.count("STATUS=watching 7 folders") == 1);
    daemon.signal("TERM");
    assert!(daemon.wait(LONG));
    assert_eq!(manager.count("WATCHDOG=1"), 0);
}
