//! A site in a temporary folder: lake, ledger, packs, a clock that the test turns.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use files::Files;
use impact::HeadBook;
use jobs::{Engine, EngineLimits, JobPackSet, JobsError, Output, Runner};
use lake::{Lake, Provenance};
use ledger::Ledger;
use shot::{LocalDay, Measures, Month, ParsedShot, Quantity, ShotRow};
use tempfile::TempDir;

/// The published driver head with the deviations that the tests need; [source: "Adjusting a momentum-based golf
/// clubhead-ball impact model to improve accuracy", Proceedings (MDPI) 49(1), 47, 2020, Table 1; roll and friction common
/// practice, no source], and a flat head made up for the tests.
const HEADS: &str = r#"
[[head]]
name = "published-driver"
kind = "driver"
mass_kg = 0.204
cg_m = [-0.0423, 0.0029, 0.001]
inertia_kg_m2 = [
    [2843e-7, -733e-7, 530.2e-7],
    [-733e-7, 5679e-7, 0.5e-7],
    [530.2e-7, 0.5e-7, 4085e-7],
]
restitution = 0.83
restitution_falloff_per_m2 = 0.0
loft_deg = 9.8
bulge_radius_m = 0.305
roll_radius_m = 0.305
friction = 0.2
ball_mass_kg = 0.0459
ball_radius_m = 0.0213
restitution_sd = 0.01
restitution_falloff_sd = 20.0
inertia_scale_sd = 0.05
cg_sd_m = [0.002, 0.002, 0.002]
bulge_sd_m = 0.02
typical_club_speed_mps = 44.7
typical_attack_deg = 0.0
typical_delivered_loft_deg = 9.8
reveals_strike = true

[[head]]
name = "flat-head"
kind = "iron"
mass_kg = 0.25
cg_m = [-0.005, 0.0, 0.0]
inertia_kg_m2 = [[2500e-7, 0.0, 0.0], [0.0, 2500e-7, 0.0], [0.0, 0.0, 500e-7]]
restitution = 0.8
restitution_falloff_per_m2 = 0.0
loft_deg = 30.0
friction = 0.4
restitution_sd = 0.01
restitution_falloff_sd = 20.0
inertia_scale_sd = 0.05
cg_sd_m = [0.002, 0.002, 0.002]
bulge_sd_m = 0.02
typical_club_speed_mps = 36.0
typical_attack_deg = -4.0
typical_delivered_loft_deg = 24.0
reveals_strike = false
"#;

pub fn heads() -> Arc<HeadBook> {
    Arc::new(toml::from_str(HEADS).expect("the heads of the tests read"))
}

/// Days from 1970-01-01 of a date `YYYY-MM-DD`.
pub fn day(text: &str) -> LocalDay {
    let date: chrono::NaiveDate = text.parse().expect("a date");
    let epoch: chrono::NaiveDate = "1970-01-01".parse().expect("a date");
    i32::try_from((date - epoch).num_days()).expect("a day of our time")
}

/// Noon UTC of a date, in microseconds.
pub fn noon(text: &str) -> i64 {
    (i64::from(day(text)) * 24 + 12) * 3_600_000_000
}

/// A shot of a player on a day; `number` makes it unique and lets `ball_speed_mps` stand for its value.
pub fn shot(player: &str, date: &str, number: i64, ball_speed_mps: f64) -> ShotRow {
    let mut measures = Measures::default();
    measures.set(Quantity::BallSpeedMps, Some(ball_speed_mps));
    let struck_at = noon(date) + number * 1_000_000;
    ShotRow {
        shot_id: format!("{player}-{date}-{number}"),
        site_id: "north".into(),
        player_id: Some(player.into()),
        parsed: ParsedShot {
            source_row: number,
            bay: Some("1".into()),
            session_text: None,
            shot_text: None,
            player_text: None,
            hand: Some(shot::Hand::Right),
            club_id: Some("driver".into()),
            club_kind: Some("driver".into()),
            ball_kind: None,
            intent: shot::Intent::Play,
            time_text: struck_at.to_string(),
            struck_at,
            local_date: day(date),
            zone: "UTC".into(),
            environment: None,
            measures,
            strike_source: None,
            quality: Vec::new(),
        },
        recorded: shot::Recorded::default(),
        source_file_id: "f".repeat(64),
        format: "test".into(),
        format_version: "1".into(),
        import_sequence: 1,
        imported_at: noon(date),
    }
}

pub struct Site {
    pub folder: TempDir,
    pub lake: Arc<Lake>,
    pub ledger: Arc<Ledger>,
    now: Arc<AtomicI64>,
}

impl Site {
    pub fn new() -> Site {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let root = folder.path();
        let lake =
            Lake::open(Files::new(), &root.join("lake [1]"), &root.join("state/staging"), "north").expect("a lake");
        std::fs::create_dir_all(root.join("state")).expect("a folder");
        let ledger = Ledger::open(&root.join("state/ledger.sqlite")).expect("a ledger");
        let now = Arc::new(AtomicI64::new(noon("2026-03-04")));
        Site { folder, lake: Arc::new(lake), ledger: Arc::new(ledger), now }
    }

    pub fn set_now(&self, date: &str) {
        self.now.store(noon(date), Ordering::SeqCst);
    }

    /// Publishes shots; each month given is replaced whole.
    pub fn put_shots(&self, rows: &[ShotRow]) {
        let mut months: BTreeMap<Month, Vec<ShotRow>> = BTreeMap::new();
        for row in rows {
            months.entry(Month::of_day(row.parsed.local_date)).or_default().push(row.clone());
        }
        for (month, rows) in months {
            let batch = shot::shots_batch(&rows).expect("a batch");
            self.lake.replace_partition(&shot::shots(), Some(month), &[batch], &provenance()).expect("published");
        }
    }

    pub fn remove_shots(&self, month: &str) {
        self.lake.remove_partition(&shot::shots(), Month::parse(month)).expect("removed");
    }

    pub fn limits(&self) -> EngineLimits {
        let spill_folder = self.folder.path().join("state/spill");
        EngineLimits { memory_bytes: 64 * 1024 * 1024, rows: 10_000, seconds: 60, spill_folder }
    }

    pub fn engine(&self) -> Arc<Engine> {
        self.engine_with(self.limits(), &JobPackSet::default())
    }

    pub fn engine_with(&self, limits: EngineLimits, packs: &JobPackSet) -> Arc<Engine> {
        let engine = Engine::new(Arc::clone(&self.lake), heads(), verdict::Settings::default(), limits);
        Arc::new(engine.expect("an engine").with_datasets(packs.datasets()))
    }

    /// Writes a pack; `toml` is everything behind name, version and description.
    pub fn write_pack(&self, name: &str, toml: &str, sql: &str) {
        let folder = self.folder.path().join("plugins/jobs").join(name);
        std::fs::create_dir_all(&folder).expect("a folder");
        let head = format!("name = \"{name}\"\nversion = \"1\"\ndescription = \"a test\"\n");
        std::fs::write(folder.join("job.toml"), head + toml).expect("written");
        std::fs::write(folder.join("query.sql"), sql).expect("written");
    }

    pub fn packs(&self) -> JobPackSet {
        let (packs, faults) = JobPackSet::load(&self.folder.path().join("plugins/jobs"));
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        assert!(texts.is_empty(), "{}", texts.join("\n"));
        packs
    }

    pub fn runner(&self) -> Runner {
        let packs = self.packs();
        let engine = self.engine_with(self.limits(), &packs);
        let now = Arc::clone(&self.now);
        Runner::new(engine, packs, Arc::clone(&self.ledger), chrono_tz::UTC, "strikemill test")
            // One microsecond a look, so that runs have an order.
            .with_clock(move || now.fetch_add(1, Ordering::SeqCst))
    }

    /// The rows of a query as JSON objects; job datasets are known.
    pub fn rows(&self, sql: &str) -> Vec<serde_json::Value> {
        let packs = self.packs();
        json(&self.engine_with(self.limits(), &packs), sql).unwrap_or_else(|error| panic!("{error}"))
    }
}

pub fn provenance() -> Provenance {
    Provenance { writer: "test".into(), run_id: "test".into(), created_micros: 0, extra: Vec::new() }
}

pub fn json(engine: &Arc<Engine>, sql: &str) -> Result<Vec<serde_json::Value>, JobsError> {
    let mut out = Vec::new();
    engine.execute(sql, Output::Json, &mut out)?;
    Ok(serde_json::from_slice(&out).expect("the output is JSON"))
}

/// The error of a query as a reader sees it.
pub fn error(engine: &Arc<Engine>, sql: &str) -> String {
    match json(engine, sql) {
        Ok(rows) => panic!("{sql} gave {rows:?}"),
        Err(error) => error.to_string(),
    }
}
