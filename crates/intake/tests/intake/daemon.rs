//! The watching task, on the real clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use intake::{Intake, Watcher};
use tokio::sync::{mpsc, watch};

use crate::site::{Site, at, export};

#[tokio::test(flavor = "multi_thread")]
async fn it_imports_tells_and_stops() {
    let site = Site::new();
    let mut settings = site.settings();
    settings.quiet_period = Duration::from_millis(200);
    settings.rescan_every = Duration::from_secs(2);
    let running = site.start();
    let told = Arc::new(AtomicUsize::new(0));
    let counter = Arc::clone(&told);
    let intake = Intake::open(
        settings,
        files::Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open")
    .with_progress(Arc::new(move |_| {
        counter.fetch_add(1, Ordering::Relaxed);
    }));
    let (stop, stopped) = watch::channel(false);
    let (imported, mut events) = mpsc::channel(4);
    let (reports, mut seen) = mpsc::channel(64);
    let task = tokio::spawn(Watcher::new(Arc::new(intake), stopped, imported).with_reports(reports).run());

    site.drop_file("session_1_bay2.csv", export(1..4));
    let event = tokio::time::timeout(Duration::from_secs(30), events.recv()).await.expect("in time").expect("an event");
    assert_eq!((event.files, event.shots), (1, 3));
    assert_eq!(event.generation, running.lake.manifest().expect("manifest").generation);
    assert!(told.load(Ordering::Relaxed) > 0, "the progress was told");
    assert!(seen.recv().await.is_some());

    stop.send(true).expect("the task listens");
    let ended = tokio::time::timeout(Duration::from_secs(10), task).await.expect("it stops in time");
    ended.expect("no panic").expect("no error");
    assert_eq!(running.shot_ids().len(), 3);
}

#[test]
fn vitals_tell_of_scans_waits_and_publications() {
    let site = Site::new();
    let running = site.start();
    let vitals = running.intake.vitals();
    assert_eq!((vitals.scan_started, vitals.scan_finished, vitals.last_publication), (None, None, None));
    site.drop_file("session_1_bay2.csv", export(1..4));
    site.drop_file("session_2_bay2.csv", "");
    running.intake.scan_once(at(0)).expect("a look");
    let settling = running.intake.vitals();
    assert_eq!((settling.settling, settling.waiting, settling.oldest_wait.as_ref()), (2, 0, None));
    assert!(settling.file_acts > vitals.file_acts && !settling.working && settling.scan_finished_at.is_some());
    running.intake.scan_once(at(700)).expect("a later look");
    let vitals = running.intake.vitals();
    assert_eq!((vitals.settling, vitals.waiting, vitals.failing.as_ref()), (0, 1, None));
    assert_eq!(vitals.last_publication, Some(at(700).timestamp_micros()));
    let (path, since) = vitals.oldest_wait.expect("the empty file");
    assert!(path.ends_with("session_2_bay2.csv"), "{path}");
    assert_eq!(since, at(0).timestamp_micros());
    assert!(vitals.progressed_at >= settling.progressed_at);
}

/// The events of a real folder: created after the start, written with the file kept open, taken away and made anew.
#[tokio::test(flavor = "multi_thread")]
async fn events_follow_a_folder_and_an_open_file_waits() {
    let site = Site::new();
    let import = site.home.join("import");
    std::fs::remove_dir(&import).expect("no folder yet");
    let mut settings = site.settings();
    settings.quiet_period = Duration::from_millis(300);
    settings.rescan_every = Duration::from_millis(500);
    let running = site.start();
    let intake = Intake::open(
        settings,
        files::Files::new(),
        running.ledger.clone(),
        running.lake.clone(),
        site.packs.clone(),
        site.roster.clone(),
    )
    .expect("open");
    let (stop, stopped) = watch::channel(false);
    let (imported, mut events) = mpsc::channel(16);
    let task = tokio::spawn(Watcher::new(Arc::new(intake), stopped, imported).run());
    for round in 1..3_u32 {
        std::fs::create_dir_all(&import).expect("the folder appears");
        tokio::time::sleep(Duration::from_millis(1_500)).await; // the next scan begins to listen
        let path = import.join(format!("session_{round}_bay2.csv"));
        let mut writer = std::fs::File::create(&path).expect("the device's file");
        std::io::Write::write_all(&mut writer, export(round * 10..round * 10 + 3).as_bytes()).expect("written");
        let is_noted = || {
            let sightings = running.ledger.sightings().expect("sightings");
            sightings.iter().any(|sighting| sighting.note == "the program that writes it has it open")
        };
        let deadline = std::time::Instant::now() + Duration::from_secs(30);
        while !is_noted() {
            assert!(std::time::Instant::now() < deadline, "round {round}: an open file is noted as such");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert!(path.exists(), "nobody takes it while it is open");
        drop(writer);
        let event = tokio::time::timeout(Duration::from_secs(30), events.recv()).await.expect("in time");
        assert_eq!(event.expect("an event").shots, 3);
        tokio::time::sleep(Duration::from_millis(300)).await;
        std::fs::remove_dir_all(&import).expect("the folder goes");
    }
    stop.send(true).expect("the task listens");
    let ended = tokio::time::timeout(Duration::from_secs(10), task).await.expect("it stops in time");
    ended.expect("no panic").expect("no error");
}
