//! Configuration: what the person wrote (raw, from TOML) and what the program uses (resolved and checked).

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono_tz::Tz;
use toml::Spanned;

use crate::config_file::{RawAlert, RawConfiguration, RawFolder};
use crate::fault::Fault;

/// The checked configuration of one home.
#[derive(Debug, Clone)]
pub struct Configuration {
    pub home: PathBuf,
    pub site_id: String,
    pub site_name: String,
    pub zone: Tz,
    pub yards: bool,
    pub folders: Vec<ImportFolder>,
    pub roster_file: PathBuf,
    pub corrections_file: PathBuf,
    pub quiet_period: Duration,
    pub rescan_every: Duration,
    pub waiting_too_long: Duration,
    pub share_rescan_every: Duration,
    /// Bytes; intake pauses below it.
    pub least_free: u64,
    pub limits: formats::ParseLimits,
    pub verdict: verdict::Settings,
    pub digest_cron: String,
    pub query_memory_bytes: usize,
    pub query_seconds: u64,
    pub log_json: bool,
    pub log_level: tracing::Level,
    pub stop_limit: Duration,
    /// Where the status page listens.
    pub console: Option<SocketAddr>,
    pub alert: Option<AlertSettings>,
}

/// The command that tells IT when something wants a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertSettings {
    /// The program and its arguments; never empty.
    pub command: Vec<String>,
    /// What has not been mended is told again after this time.
    pub repeat_every: Duration,
    /// A command that takes longer is stopped.
    pub limit: Duration,
}

/// A folder that a bay's computer drops exports into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportFolder {
    pub path: PathBuf,
    pub bay: Option<String>,
    pub environment: Option<String>,
    /// It lies on a share; nothing mounted there means unreachable.
    pub share: bool,
}

/// Places of the players and of the corrections below a home, where the configuration names no other.
pub const ROSTER_FILE: &str = "config/roster.csv";
pub const CORRECTIONS_FILE: &str = "config/corrections.csv";

/// Place of the configuration below a home.
pub const CONFIGURATION_FILE: &str = "config/strikemill.toml";

impl Configuration {
    /// Reads and checks `config/strikemill.toml` of a home; every fault that can be found is reported.
    pub fn load(home: &Path) -> Result<Configuration, Vec<Fault>> {
        let path = home.join(CONFIGURATION_FILE);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) => {
                let hint = "name the home with --home DIR, or make one with `strikemill init --home DIR`";
                return Err(vec![Fault::of_file(&path, format!("the configuration cannot be read: {error}"), hint)]);
            }
        };
        Configuration::parse(home, &path, &text)
    }

    fn parse(home: &Path, path: &Path, text: &str) -> Result<Configuration, Vec<Fault>> {
        let raw: RawConfiguration = match toml::from_str(text) {
            Ok(raw) => raw,
            Err(error) => {
                let offset = error.span().map_or(0, |span| span.start);
                let hint =
                    "config/strikemill.toml of a fresh home (`strikemill init`) shows every key with its meaning";
                return Err(vec![Fault::at(path, text, offset, error.message().to_owned(), hint)]);
            }
        };
        let mut checker = Checker { path, text, faults: Vec::new() };
        let configuration = raw.resolve(home, &mut checker);
        if checker.faults.is_empty() { Ok(configuration) } else { Err(checker.faults) }
    }

    /// A folder of the home.
    pub fn place(&self, name: &str) -> PathBuf {
        self.home.join(name)
    }
}

struct Checker<'a> {
    path: &'a Path,
    text: &'a str,
    faults: Vec<Fault>,
}

impl Checker<'_> {
    fn fault<T>(&mut self, at: &Spanned<T>, message: String, hint: &str) {
        self.faults.push(Fault::at(self.path, self.text, at.span().start, message, hint));
    }

    /// A number within limits, or its fault and the default.
    fn within(&mut self, value: Option<&Spanned<f64>>, lowest: f64, highest: f64, default: f64) -> f64 {
        let Some(value) = value else { return default };
        let number = *value.get_ref();
        if number >= lowest && number <= highest {
            return number;
        }
        self.fault(
            value,
            format!("{number} is outside {lowest} to {highest}"),
            &format!("leave the key out for {default}"),
        );
        default
    }

    fn whole(&mut self, value: Option<&Spanned<u64>>, lowest: u64, highest: u64, default: u64) -> u64 {
        let Some(value) = value else { return default };
        let number = *value.get_ref();
        if (lowest..=highest).contains(&number) {
            return number;
        }
        self.fault(
            value,
            format!("{number} is outside {lowest} to {highest}"),
            &format!("leave the key out for {default}"),
        );
        default
    }
}

impl RawConfiguration {
    fn resolve(self, home: &Path, checker: &mut Checker<'_>) -> Configuration {
        // The ledger holds full paths: a relative one means something else to whoever stands elsewhere.
        let home = &full_path(home);
        let default = verdict::Settings::default();
        let judged = &self.verdict;
        let verdict = verdict::Settings {
            corridor_share: checker.within(judged.corridor_share.as_ref(), 0.005, 0.5, default.corridor_share),
            carry_tolerance: checker.within(judged.carry_tolerance.as_ref(), 0.005, 0.5, default.carry_tolerance),
            certain_enough: checker.within(judged.certain_enough.as_ref(), 0.5, 0.99, default.certain_enough),
            curve_acted_on_deg: checker.within(
                judged.curve_acted_on_deg.as_ref(),
                0.1,
                10.0,
                default.curve_acted_on_deg,
            ),
            misread_probability: checker.within(
                judged.misread_probability.as_ref(),
                0.5,
                0.999,
                default.misread_probability,
            ),
            ..default
        };
        let seconds = Duration::from_secs_f64;
        let intake = &self.intake;
        let units = choice(self.site.units.as_ref(), &["yards", "metres"], checker);
        let log_format = choice(self.log.format.as_ref(), &["text", "json"], checker);
        let level = choice(self.log.level.as_ref(), &["info", "error", "warn", "debug", "trace"], checker);
        Configuration {
            home: home.clone(),
            site_id: site_id(&self.site.id, checker),
            site_name: self.site.name.unwrap_or_else(|| self.site.id.get_ref().clone()),
            zone: zone(&self.site.zone, checker),
            yards: units == "yards",
            folders: folders(self.import, home, checker),
            roster_file: home.join(self.site.roster.unwrap_or_else(|| ROSTER_FILE.into())),
            corrections_file: home.join(self.site.corrections.unwrap_or_else(|| CORRECTIONS_FILE.into())),
            quiet_period: seconds(checker.within(intake.quiet_period_s.as_ref(), 0.1, 3_600.0, 3.0)),
            rescan_every: seconds(checker.within(intake.rescan_every_s.as_ref(), 0.1, 3_600.0, 20.0)),
            waiting_too_long: seconds(checker.within(intake.waiting_too_long_s.as_ref(), 1.0, 604_800.0, 900.0)),
            share_rescan_every: seconds(checker.within(intake.share_rescan_every_s.as_ref(), 0.1, 3_600.0, 10.0)),
            least_free: checker.whole(intake.least_free_mib.as_ref(), 1, 1_048_576, 1_024) * 1024 * 1024,
            limits: formats::ParseLimits {
                max_file_bytes: checker.whole(intake.max_file_mib.as_ref(), 1, 4_096, 256) as usize * 1024 * 1024,
                max_unpacked_bytes: checker.whole(intake.max_unpacked_mib.as_ref(), 1, 16_384, 512) as usize
                    * 1024
                    * 1024,
                max_rows: checker.whole(intake.max_rows.as_ref(), 100, 10_000_000, 1_000_000),
                max_line_bytes: checker.whole(intake.max_row_kib.as_ref(), 1, 65_536, 1_024) as usize * 1024,
                ..formats::ParseLimits::default()
            },
            verdict,
            digest_cron: cron(self.digest.cron, checker),
            query_memory_bytes: checker.whole(self.query.memory_mib.as_ref(), 64, 65_536, 1_024) as usize * 1024 * 1024,
            query_seconds: checker.whole(self.query.seconds.as_ref(), 1, 86_400, 120),
            log_json: log_format == "json",
            log_level: level.parse().unwrap_or(tracing::Level::INFO),
            stop_limit: Duration::from_secs(checker.whole(self.daemon.stop_limit_s.as_ref(), 1, 3_600, 60)),
            console: console(self.console.listen, checker),
            alert: alert(self.alert, checker),
        }
    }
}

/// The one name of a home, however it was typed.
fn full_path(home: &Path) -> PathBuf {
    home.canonicalize().or_else(|_| std::path::absolute(home)).unwrap_or_else(|_| home.to_owned())
}

/// One of a few words; the first is the default.
fn choice(value: Option<&Spanned<String>>, words: &[&'static str], checker: &mut Checker<'_>) -> &'static str {
    let Some(value) = value else { return words[0] };
    if let Some(word) = words.iter().find(|word| **word == value.get_ref()) {
        return word;
    }
    checker.fault(
        value,
        format!("\"{}\" is not known here", value.get_ref()),
        &format!("one of: {}", words.join(", ")),
    );
    words[0]
}

fn cron(written: Option<Spanned<String>>, checker: &mut Checker<'_>) -> String {
    let Some(written) = written else { return "0 6 * * MON".into() };
    if let Err(why) = jobs::Cron::parse(written.get_ref()) {
        let hint = "five fields: minute, hour, day of month, month, day of week; for example \"0 6 * * MON\"";
        checker.fault(&written, format!("\"{}\" is no schedule: {why}", written.get_ref()), hint);
    }
    written.into_inner()
}

fn console(written: Option<Spanned<String>>, checker: &mut Checker<'_>) -> Option<SocketAddr> {
    let written = written?;
    let address = written.get_ref().parse().ok();
    if address.is_none() {
        let hint = "an address and a port, for example \"127.0.0.1:7480\" for this machine only";
        checker.fault(&written, format!("\"{}\" is no address to listen on", written.get_ref()), hint);
    }
    address
}

fn alert(written: RawAlert, checker: &mut Checker<'_>) -> Option<AlertSettings> {
    let hours = checker.within(written.repeat_hours.as_ref(), 0.1, 8_760.0, 24.0);
    let limit = Duration::from_secs(checker.whole(written.limit_s.as_ref(), 1, 3_600, 60));
    let command = written.command?;
    if command.get_ref().first().is_none_or(std::string::String::is_empty) {
        let hint = "name the program and its arguments as a list, for example [\"/usr/local/bin/tell-it\"]";
        checker.fault(&command, "the command names no program".to_owned(), hint);
        return None;
    }
    let repeat_every = Duration::from_secs_f64(hours * 3_600.0);
    Some(AlertSettings { command: command.into_inner(), repeat_every, limit })
}

fn site_id(id: &Spanned<String>, checker: &mut Checker<'_>) -> String {
    let text = id.get_ref();
    let good = !text.is_empty()
        && text.len() <= 60
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
    if !good {
        let hint = "use lower-case letters, digits and hyphens, for example north-range";
        checker.fault(id, format!("\"{text}\" cannot name a site"), hint);
    }
    text.clone()
}

fn zone(zone: &Spanned<String>, checker: &mut Checker<'_>) -> Tz {
    zone.get_ref().parse().unwrap_or_else(|_| {
        let hint = "use a name of the IANA time zone database, for example Europe/Dublin or America/Chicago";
        checker.fault(zone, format!("\"{}\" is no time zone", zone.get_ref()), hint);
        Tz::UTC
    })
}

fn folders(raw: Vec<RawFolder>, home: &Path, checker: &mut Checker<'_>) -> Vec<ImportFolder> {
    let mut folders: Vec<ImportFolder> = Vec::new();
    for entry in raw {
        let path = home.join(entry.folder.get_ref());
        for inner in ["archive", "quarantine", "state", "lake", "digests", "config", "plugins"] {
            if path.starts_with(home.join(inner)) {
                let message =
                    format!("an import folder must not lie in {inner}/, which strikemill itself writes or reads");
                checker.fault(&entry.folder, message, "choose a folder of its own, for example import/bay1");
            }
        }
        if home.starts_with(&path) {
            let message = "an import folder must not be or contain the home itself".to_owned();
            checker.fault(&entry.folder, message, "choose a folder of its own, for example import/bay1");
        }
        if folders.iter().any(|earlier| earlier.path.starts_with(&path) || path.starts_with(&earlier.path)) {
            let message = "this folder is, contains or lies in an earlier import folder".to_owned();
            checker.fault(&entry.folder, message, "one entry a folder; sub-folders are scanned with it");
        }
        let environment =
            entry.environment.as_ref().map(|word| choice(Some(word), &["indoor", "outdoor"], checker).to_owned());
        folders.push(ImportFolder { path, bay: entry.bay, environment, share: entry.share });
    }
    folders
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Configuration, Vec<Fault>> {
        Configuration::parse(Path::new("/home"), Path::new("/home/config/strikemill.toml"), text)
    }

    #[test]
    fn the_shipped_configuration_is_sound() {
        let configuration = parse(include_str!("../../../config/strikemill.toml")).expect("no faults");
        assert_eq!(configuration.verdict, verdict::Settings::default());
        assert_eq!(configuration.folders.len(), 7);
    }

    #[test]
    fn only_id_and_zone_are_required() {
        let configuration = parse("[site]\nid = \"north\"\nzone = \"Europe/Dublin\"\n").expect("no faults");
        assert_eq!(configuration.site_name, "north");
        assert!(configuration.yards);
        assert_eq!(configuration.roster_file, Path::new("/home/config/roster.csv"));
        let text = "[site]\nid = \"north\"\nzone = \"UTC\"\ncorrections = \"/srv/c.csv\"\nroster = \"people/r.csv\"\n";
        let configuration = parse(text).expect("no faults");
        assert_eq!(configuration.roster_file, Path::new("/home/people/r.csv"));
        assert_eq!(configuration.corrections_file, Path::new("/srv/c.csv"));
    }

    #[test]
    fn every_fault_is_found_with_its_place() {
        let text = "[site]\nid = \"North Range\"\nzone = \"Mars/Olympus\"\n[verdict]\ncorridor_share = 3.0\n\
                    [[import]]\nfolder = \"lake/in\"\n[[import]]\nfolder = \"in\"\n[[import]]\nfolder = \"in/deeper\"\n";
        let faults = parse(text).expect_err("five faults");
        let mut lines: Vec<usize> = faults.iter().map(|fault| fault.line).collect();
        lines.sort_unstable();
        assert_eq!(lines, vec![2, 3, 5, 7, 11], "{faults:?}");
    }

    #[test]
    fn an_unknown_key_is_refused_where_it_stands() {
        let faults = parse("[site]\nid = \"a\"\nzone = \"UTC\"\ncolour = 3\n").expect_err("unknown key");
        assert_eq!(faults[0].line, 4);
        assert!(faults[0].message.contains("colour"), "{}", faults[0].message);
    }
}
