//! The command line: every command and option, with the text that `--help` shows.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

/// Tells which misses were the strike and which the swing, for every shot an academy's devices record.
///
/// strikemill watches the folders that the bays' computers drop their exports into, brings every export into one columnar
/// store, judges each shot, and writes a weekly summary for each coach. Everything it knows is plain Parquet below lake/.
#[derive(Debug, Parser)]
#[command(name = "strikemill", version, max_term_width = 110, after_help = EXAMPLES)]
pub struct CommandLine {
    #[command(flatten)]
    pub common: Common,
    #[command(subcommand)]
    pub command: Command,
}

const EXAMPLES: &str = "\
Examples:
  strikemill demo                          a throwaway academy in ./demo-run, from exports to summaries
  strikemill init --home /srv/strikemill   a new home with the shipped configuration and packs
  strikemill check --home /srv/strikemill  is the configuration sound?
  strikemill run --home /srv/strikemill    the daemon
  strikemill status --home /srv/strikemill what came in, what waits, what went wrong
  strikemill query --home demo-run \"SELECT player_id, week, carry_lost_mean_m FROM carry_loss\"

Exit codes: 0 done, 1 something failed or is wrong, 2 the command line could not be read.";

/// Options that every command takes.
#[derive(Debug, Args)]
pub struct Common {
    /// Folder that holds config/, plugins/, import/, archive/, quarantine/, state/, lake/ and digests/.
    #[arg(long, global = true, value_name = "DIR", default_value = ".", env = "STRIKEMILL_HOME")]
    pub home: PathBuf,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make a throwaway academy from the shipped demo data and run the whole pipeline on it once.
    #[command(after_help = "\
Examples:
  strikemill demo
  strikemill demo --into /tmp/academy

The folder is made anew each time; a folder that the demo did not make is never touched. Everybody in the demo is invented.")]
    Demo(DemoArguments),

    /// Make a new home: the shipped configuration, packs and empty folders. Never overwrites anything.
    Init,

    /// Run the daemon: watch the import folders, import what arrives, run due jobs, write summaries.
    #[command(after_help = "\
Stops cleanly on SIGINT or SIGTERM: the import at hand is finished, nothing is lost; after a hard stop the next start picks up
where it was. One daemon per home.")]
    Run,

    /// Compute for the daemon what it asks for on standard input; the daemon starts this by itself.
    #[command(hide = true)]
    Compute,

    /// Import files or folders now, without waiting for them to settle. The files stay where they are.
    #[command(after_help = "\
Examples:
  strikemill import --home /srv/strikemill old-exports/
  strikemill import --home /srv/strikemill session_0412_bay2.csv
  strikemill import --dry-run new-device/        what would happen; changes nothing, works beside the daemon

A file that was imported before, under whatever name, adds nothing.")]
    Import(ImportArguments),

    /// Take refused files again, after a pack was mended or added.
    #[command(after_help = "\
Examples:
  strikemill retry                 everything in quarantine
  strikemill retry 2ffa5f          the file whose hash begins so; status and the folder's name tell it")]
    Retry(RetryArguments),

    /// Read archived files again under the pack's present version; their old rows are replaced in one step.
    #[command(after_help = "\
Examples:
  strikemill reprocess --pack plain-imperial
  strikemill reprocess --pack plain-imperial --since 2026-10-01")]
    Reprocess(ReprocessArguments),

    /// Check configuration, head profiles, roster and packs; each fault with file, line, column and a hint.
    #[command(after_help = "\
Examples:
  strikemill check                 what people wrote, and whether the lake's files are those that were published
  strikemill check --deep          also every row, every archived and refused file, against the ledger

Looks only, and works beside a running daemon. On a large site --deep reads for hours; it says how far it is.")]
    Check(CheckArguments),

    /// Rebuild a lost or damaged ledger from the lake, and lost or damaged parts of the lake from the archive.
    #[command(after_help = "\
Stop the daemon first. Nothing is deleted: what is damaged is moved aside, and the command says where to. It can be cut off and
given again. A sound home stays as it is; `strikemill check --deep` tells beforehand what is wrong.

The lake is rebuilt by reading archived files again with the packs of today, in the order in which they were imported. What was
removed from the archive cannot be read again.")]
    Repair,

    /// Remove originals from archive or quarantine, at your explicit word only; the rows in the lake stay.
    #[command(after_help = "\
Examples:
  strikemill remove --archived-before 2024-01-01 --dry-run    what would go
  strikemill remove --archived-before 2024-01-01
  strikemill remove --quarantined-before 2026-01-01
  strikemill remove --file 2ffa5f                             the file whose hash begins so

The daemon never deletes an original; this command does, and the ledger notes it. Archived originals go only while the lake is
sound and holds their rows. Their bytes stay known: they add nothing when they arrive again. What is gone can neither be read
again under a newer pack nor be used to repair the lake.")]
    Remove(RemoveArguments),

    /// Erase a person's rows from everything strikemill keeps, and let nothing of that person in again.
    #[command(after_help = "\
Examples:
  strikemill forget wren              the alias of the roster
  strikemill forget \"W. Renfield\"   a name as a device writes it

Rows go from every dataset of the lake, names from the ledger, and written pages that show the person are removed. Rows of that
person in files that come later, or are read again, are passed over and counted. The originals in archive and quarantine are not
touched: the command lists those that hold the person and how to remove them, as well as lines of roster and corrections.

There is no way back but to put the originals into a new home. Backups, copies of the lake elsewhere, the devices themselves and
the duty to erase in time remain with you.")]
    Forget(ForgetArguments),

    /// Mapping packs: what exports can be read.
    #[command(subcommand)]
    Formats(FormatsCommand),

    /// Analysis jobs.
    #[command(subcommand)]
    Jobs(JobsCommand),

    /// Ask the lake in SQL; read-only.
    #[command(after_help = "\
Examples:
  strikemill query \"SELECT miss, cause, count(*) FROM shot_verdicts GROUP BY 1, 2 ORDER BY 3 DESC\"
  strikemill query \"SELECT flight(67.0, 12.0, 0.0, 2700, 0.0, 1.225) AS landing\" --output json
  strikemill query \"SELECT impact(44.7, 0, 0, 0, 9.8, 20, 0, 1, 'published-driver') AS launch\"
  strikemill query --functions

Units are in the column names: metres, metres a second, degrees, millimetres, revolutions a minute. Positive is right, up, toe.")]
    Query(QueryArguments),

    /// Show what wants a person, what came in, what waits, what stands in quarantine, and how the jobs went.
    #[command(after_help = "\
Examples:
  strikemill status
  strikemill status --json                 the same for programs, without any player's name
  strikemill status --quiet || tell-it     for a scheduled check

Works beside the daemon, without it, and with a faulty configuration; changes nothing. Exit codes: 0 told, 1 cannot be told;
with --quiet also 3: something wants a person.")]
    Status(StatusArguments),

    /// Tell how well the strike can be told at all: by head, by what a device measures, and for the formats of this home.
    #[command(after_help = "\
Examples:
  strikemill limits --head modern-driver
  strikemill limits --json

Deviations are those of one shot of a player of whom nothing is known yet, struck 10 mm toward the toe and 5 mm high; what is learned
of a player makes them smaller. The figures come from the estimator itself, with usual deviations of devices.")]
    Limits(LimitsArguments),

    /// Send a test message by the command that [alert] names, as an alert would be sent.
    #[command(after_help = "\
The command reads the message on its standard input; STRIKEMILL_SUBJECT and STRIKEMILL_HOME stand in its environment.")]
    Alert(AlertArguments),

    /// Write the summaries of one week.
    #[command(after_help = "\
Examples:
  strikemill digest                        the last complete week
  strikemill digest --week 2026-11-16      the week of that day")]
    Digest(DigestArguments),
}

#[derive(Debug, Args)]
pub struct DemoArguments {
    /// Folder to make.
    #[arg(long, value_name = "DIR", default_value = "demo-run")]
    pub into: PathBuf,
}

#[derive(Debug, Args)]
pub struct ImportArguments {
    /// Only tell what would happen; nothing is imported, moved or noted.
    #[arg(long)]
    pub dry_run: bool,
    /// Files, or folders whose files are taken; without any, roster and corrections are applied and nothing else.
    #[arg(required_if_eq("dry_run", "true"), value_name = "PATH")]
    pub paths: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub struct RetryArguments {
    /// First digits of a file's SHA-256; every file in quarantine where left out.
    #[arg(value_name = "HASH", default_value = "", hide_default_value = true)]
    pub hash: String,
}

#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("choice").required(true).args(["archived_before", "quarantined_before", "file"])))]
pub struct RemoveArguments {
    /// Originals that went to the archive before this day, YYYY-MM-DD.
    #[arg(long, value_name = "DAY")]
    pub archived_before: Option<chrono::NaiveDate>,
    /// Files that were refused before this day, YYYY-MM-DD, with their reasons.
    #[arg(long, value_name = "DAY")]
    pub quarantined_before: Option<chrono::NaiveDate>,
    /// First digits of a file's SHA-256, at least six.
    #[arg(long, value_name = "HASH", value_parser = hash_beginning)]
    pub file: Option<String>,
    /// Only tell what would go.
    #[arg(long)]
    pub dry_run: bool,
}

/// A slip of the pen must not choose half the archive.
fn hash_beginning(text: &str) -> Result<String, String> {
    let is_hash = text.len() >= 6 && text.len() <= 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    if is_hash { Ok(text.to_lowercase()) } else { Err("give 6 to 64 hexadecimal digits".to_owned()) }
}

#[derive(Debug, Args)]
pub struct ForgetArguments {
    /// Alias of the roster, a name as devices write it, or the placeholder unknown-... that stands for one.
    #[arg(value_name = "PERSON")]
    pub person: String,
}

#[derive(Debug, Args)]
pub struct CheckArguments {
    /// Compare lake, ledger, archive and quarantine in full: hashes, counts, columns, order, nothing twice, nothing missing.
    #[arg(long)]
    pub deep: bool,
}

#[derive(Debug, Args)]
pub struct ReprocessArguments {
    /// Name of the mapping pack.
    #[arg(long, value_name = "NAME")]
    pub pack: String,
    /// Only files imported on or after this day, YYYY-MM-DD.
    #[arg(long, value_name = "DAY")]
    pub since: Option<chrono::NaiveDate>,
}

#[derive(Debug, Subcommand)]
pub enum FormatsCommand {
    /// List the mapping packs.
    List,
    /// Read each pack's samples and compare with its expected rows.
    Test {
        /// Only these packs.
        #[arg(value_name = "PACK")]
        names: Vec<String>,
    },
    /// Look at one export of a new device and propose a pack for it. Never overwrites anything.
    #[command(after_help = "\
Examples:
  strikemill formats draft export-of-bay4.csv --name bay4-device
  strikemill formats draft export-of-bay4.csv --out /tmp/packs     without touching the home

The pack holds the first rows of the export as its sample, with made-up names in place of the players'. Numbered questions say what
only a person can know. An export without a usable time, or without a number of a shot, gives no pack but a file NAME.draft.toml
beside the packs, which the importer passes over.")]
    Draft(DraftArguments),
}

#[derive(Debug, Args)]
pub struct DraftArguments {
    /// One export, as the device wrote it.
    #[arg(value_name = "SAMPLE")]
    pub sample: PathBuf,
    /// Name of the pack: small letters, digits and hyphens. Made from the file's name where left out.
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
    /// Folder to make the pack's folder in, instead of the home's plugins/formats.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
pub enum JobsCommand {
    /// List the jobs, when they run and how they last went.
    List,
    /// Run one job now; it recomputes only what changed.
    Run {
        /// Name of the job.
        name: String,
        /// Recompute everything; snapshots that stand stay.
        #[arg(long)]
        full: bool,
        /// Make all snapshots of a job that keeps them anew, from what is known today: a new series beside the old ones.
        #[arg(long, conflicts_with = "full")]
        refit: bool,
    },
}

#[derive(Debug, Args)]
pub struct QueryArguments {
    /// The query; - reads it from standard input.
    #[arg(required_unless_present = "functions")]
    pub sql: Option<String>,
    /// How rows are printed. json is one array of row objects, structs become objects.
    #[arg(long, value_enum, default_value_t = OutputKind::Table)]
    pub output: OutputKind,
    /// List strikemill's own functions instead.
    #[arg(long)]
    pub functions: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum OutputKind {
    Table,
    Csv,
    Json,
}

#[derive(Debug, Args)]
pub struct StatusArguments {
    /// Print one JSON object, the same as /status.json of the status page.
    #[arg(long)]
    pub json: bool,
    /// Print nothing; exit code 3 says that something wants a person.
    #[arg(long, conflicts_with = "json")]
    pub quiet: bool,
}

#[derive(Debug, Args)]
pub struct LimitsArguments {
    /// Only this head profile of config/heads.toml.
    #[arg(long, value_name = "NAME")]
    pub head: Option<String>,
    /// Print one JSON object.
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
pub struct AlertArguments {
    /// Send the test message.
    #[arg(long, required = true)]
    pub test: bool,
}

#[derive(Debug, Args)]
pub struct DigestArguments {
    /// A day of the week to sum up, YYYY-MM-DD; the last complete week where left out.
    #[arg(long, value_name = "DAY")]
    pub week: Option<chrono::NaiveDate>,
    /// Only this coach.
    #[arg(long)]
    pub coach: Option<String>,
}
