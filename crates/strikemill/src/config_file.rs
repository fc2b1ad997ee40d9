//! `config/strikemill.toml` as written, before it is checked; unknown keys are refused.

use std::path::PathBuf;

use serde::Deserialize;
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawConfiguration {
    /// The site.
    pub site: RawSite,
    /// Folders that the bays' computers drop exports into.
    #[serde(default)]
    pub import: Vec<RawFolder>,
    /// How files are taken in.
    #[serde(default)]
    pub intake: RawIntake,
    /// What counts as a miss, and when a cause is named.
    #[serde(default)]
    pub verdict: RawVerdict,
    /// The summaries.
    #[serde(default)]
    pub digest: RawDigest,
    /// Bounds of queries.
    #[serde(default)]
    pub query: RawQuery,
    /// The log.
    #[serde(default)]
    pub log: RawLog,
    /// The daemon itself.
    #[serde(default)]
    pub daemon: RawDaemon,
    /// The status page, health and metrics.
    #[serde(default)]
    pub console: RawConsole,
    /// Whom to tell when something wants a person.
    #[serde(default)]
    pub alert: RawAlert,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawSite {
    /// Small letters, digits and hyphens; part of every shot's identity, so never change it.
    #[cfg_attr(test, schemars(with = "String", regex(pattern = "^[a-z0-9-]{1,60}$")))]
    pub id: Spanned<String>,
    /// Name for people; the id where left out.
    pub name: Option<String>,
    /// IANA zone of local times and weeks.
    #[cfg_attr(test, schemars(with = "String"))]
    pub zone: Spanned<String>,
    /// For people; data are always metric.
    #[cfg_attr(test, schemars(with = "Option<crate::config_schema::Units>"))]
    pub units: Option<Spanned<String>>,
    /// The roster of players, below the home.
    pub roster: Option<PathBuf>,
    /// The list of corrections, below the home.
    pub corrections: Option<PathBuf>,
}

#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawFolder {
    /// The folder, below the home.
    #[cfg_attr(test, schemars(with = "PathBuf"))]
    pub folder: Spanned<PathBuf>,
    /// The bay whose exports arrive there.
    pub bay: Option<String>,
    /// Whether the bay is indoors or outdoors.
    #[cfg_attr(test, schemars(with = "Option<crate::config_schema::Environment>"))]
    pub environment: Option<Spanned<String>>,
    /// The folder lies on a share: while nothing is mounted there it counts as unreachable, never as empty.
    #[serde(default)]
    pub share: bool,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawIntake {
    /// A file is taken once it has not changed for this long.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.1, max = 3600.0)))]
    pub quiet_period_s: Option<Spanned<f64>>,
    /// A full look at the folders, whatever the watcher says.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.1, max = 3600.0)))]
    pub rescan_every_s: Option<Spanned<f64>>,
    /// From then on a file that never settles is reported.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 1.0, max = 604_800.0)))]
    pub waiting_too_long_s: Option<Spanned<f64>>,
    /// Time between two looks at folders on network shares, where no events tell of new files.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.1, max = 3600.0)))]
    pub share_rescan_every_s: Option<Spanned<f64>>,
    /// Intake pauses while a volume of the home has less free space than this, and goes on by itself.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 1_048_576)))]
    pub least_free_mib: Option<Spanned<u64>>,
    /// Larger files go to quarantine unread.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 4096)))]
    pub max_file_mib: Option<Spanned<u64>>,
    /// A packed file (a workbook, compressed columns) that unpacks to more is refused.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 16_384)))]
    pub max_unpacked_mib: Option<Spanned<u64>>,
    /// A file with more rows is refused; rows of one file are held in memory together, some 2 KiB each.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 100, max = 10_000_000)))]
    pub max_rows: Option<Spanned<u64>>,
    /// A row or record that is longer is rejected.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 65_536)))]
    pub max_row_kib: Option<Spanned<u64>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawVerdict {
    /// Half width of the corridor, as a share of the reference carry.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.005, max = 0.5)))]
    pub corridor_share: Option<Spanned<f64>>,
    /// A carry shorter than the reference by more than this share is a miss.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.005, max = 0.5)))]
    pub carry_tolerance: Option<Spanned<f64>>,
    /// Below this probability a cause is not named.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.5, max = 0.99)))]
    pub certain_enough: Option<Spanned<f64>>,
    /// From this face-to-path reading on, somebody would act on a curve.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.1, max = 10.0)))]
    pub curve_acted_on_deg: Option<Spanned<f64>>,
    /// From this probability on, a curve counts as misread.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.5, max = 0.999)))]
    pub misread_probability: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawDigest {
    /// When the summary of the past week is written, in the site's zone: five fields.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub cron: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawQuery {
    /// Beyond this the engine spills to the state folder.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 64, max = 65_536)))]
    pub memory_mib: Option<Spanned<u64>>,
    /// A query that takes longer is stopped.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 86_400)))]
    pub seconds: Option<Spanned<u64>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawLog {
    /// How lines are written.
    #[cfg_attr(test, schemars(with = "Option<crate::config_schema::LogFormat>"))]
    pub format: Option<Spanned<String>>,
    /// The least grave events that are written.
    #[cfg_attr(test, schemars(with = "Option<crate::config_schema::LogLevel>"))]
    pub level: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawDaemon {
    /// How long a stop waits for the step at hand; what is then unfinished the next start finishes.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 3600)))]
    pub stop_limit_s: Option<Spanned<u64>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawConsole {
    /// Address and port of the status page; without it there is none. Whoever reaches it sees file names and errors.
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub listen: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct RawAlert {
    /// A program and its arguments, started without a shell; it reads the message on its standard input.
    #[cfg_attr(test, schemars(with = "Option<Vec<String>>"))]
    pub command: Option<Spanned<Vec<String>>>,
    /// What has not been mended is told again after this many hours.
    #[cfg_attr(test, schemars(with = "Option<f64>", range(min = 0.1, max = 8760.0)))]
    pub repeat_hours: Option<Spanned<f64>>,
    /// A command that takes longer is stopped.
    #[cfg_attr(test, schemars(with = "Option<u64>", range(min = 1, max = 3600)))]
    pub limit_s: Option<Spanned<u64>>,
}
