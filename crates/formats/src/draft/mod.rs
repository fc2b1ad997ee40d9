//! A first look at a new export: proposes a whole pack, says how sure it is of each part, and asks what only a person can know.
//!
//! The draft is made once, when a device is new, and never while importing: what it proposes becomes a text file that a person
//! checks. It reads the sample with the engine and dialect of the very pack it writes.

mod aliases;
mod club_words;
mod compose;
mod compose_measures;
mod dialect;
mod expected;
mod file_names;
mod header;
mod moments;
mod numbers;
mod page;
mod plan;
mod propose;
mod propose_numbers;
mod propose_texts;
mod propose_time;
mod repack;
mod roles;
mod rows;
mod sample;
mod sheets;
mod sniff;
mod table;
mod trees;
mod unit_words;
mod vocabulary;

use std::path::Path;
use std::sync::Arc;

use crate::compile::compile;
use crate::context::{ParseLimits, SiteContext};
use crate::pack::{Pack, ParsedFile, ProofMaterial};
use crate::proof::test_pack;
use crate::proof_report::PackTestReport;

use aliases::Aliases;
use compose::{Material, compose};
use file_names::NameGuess;
use plan::{LeftOut, Place, Plan, SignPlan, TextRole, UnitPlace};
use propose_texts::may_name_a_person;
use sniff::Sniffed;
use table::Table;

/// A proposed pack. Nothing of it is on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// Name of the pack, and of its folder.
    pub name: String,
    /// Text of `format.toml`; unfinished where there is an [`Draft::obstacle`], empty where nothing at all was recognised.
    pub format_toml: String,
    /// File name of the sample inside the pack.
    pub sample_name: String,
    /// The sample: the first records, with made-up names in place of the players'.
    pub sample_bytes: Vec<u8>,
    /// Text of `expected.csv`, as the pack itself reads the sample.
    pub expected_csv: String,
    /// What was recognised about the file as a whole.
    pub notes: Vec<String>,
    /// What was recognised, column by column.
    pub findings: Vec<Finding>,
    /// What a person must decide, by line of `format.toml`.
    pub questions: Vec<Question>,
    /// How the pack reads its own sample; nothing where there is no pack.
    pub report: Option<PackTestReport>,
    /// Why this is no pack yet, where it is none.
    pub obstacle: Option<String>,
}

/// What one column was taken for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Header word, path, preamble key or capture of the file name.
    pub place: String,
    /// Column of ours or key of the pack; empty where it was left alone.
    pub becomes: String,
    /// Unit, sign or format that it is read with.
    pub how: String,
    /// How sure, 0 to 100.
    pub confidence: u32,
    /// What speaks for it.
    pub because: String,
}

/// Something that only a person can decide.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Line of `format.toml`, from 1.
    pub line: usize,
    /// The question, with what was assumed.
    pub text: String,
}

/// A name for a pack made from a sample's file name: small letters and hyphens.
pub fn pack_name_of(file_name: &str) -> String {
    file_names::pack_name_of(file_name)
}

/// Proposes a pack for a sample. `file_name` has no folders. Never fails: what stands in the way is the draft's obstacle.
pub fn draft(name: &str, file_name: &str, bytes: &[u8]) -> Draft {
    let mut draft = Draft {
        name: name.to_owned(),
        format_toml: String::new(),
        sample_name: String::new(),
        sample_bytes: Vec::new(),
        expected_csv: String::new(),
        notes: Vec::new(),
        findings: Vec::new(),
        questions: Vec::new(),
        report: None,
        obstacle: None,
    };
    match Look::at(file_name, bytes) {
        Ok(look) => look.fill(&mut draft, file_name, bytes),
        Err(obstacle) => draft.obstacle = Some(obstacle),
    }
    draft
}

/// Everything that was seen of a sample.
struct Look {
    sniffed: Sniffed,
    dialect: dialect::Dialect,
    table: Table,
    guess: NameGuess,
    plan: Plan,
    time_obstacle: Option<String>,
    aliases: Aliases,
}

impl Look {
    fn at(file_name: &str, bytes: &[u8]) -> Result<Look, String> {
        let sniffed = sniff::sniff(bytes)?;
        let dialect = dialect::dialect_of(&sniffed, bytes)?;
        let table = table::read_table(bytes, &dialect.text, sample::KEPT)?;
        let guess = NameGuess::of(file_name, &[]);
        let (plan, _) = propose::decide(&table, &guess);
        let names = player_names(&plan, &table);
        // A second look, since a file name may name a player too.
        let guess = NameGuess::of(file_name, &names);
        let (plan, time_obstacle) = propose::decide(&table, &guess);
        let aliases = Aliases::of(names.iter().map(String::as_str));
        Ok(Look { sniffed, dialect, table, guess, plan, time_obstacle, aliases })
    }

    fn fill(mut self, draft: &mut Draft, file_name: &str, bytes: &[u8]) {
        draft.notes.clone_from(&self.dialect.notes);
        let plain_name = self.aliases.apply(
            &file_name.replace(['/', '\\'], "_").replace(char::is_control, "_"),
            aliases::Bounds::Words,
            &|_| Vec::new(),
        );
        draft.sample_name = format!("sample-{plain_name}");
        let cut = sample::cut(&self.sniffed, &self.table, bytes);
        let site = test_site();
        let read = self.settle(&draft.name, &plain_name, &cut, &site);
        let (format_toml, questions) = self.write(&draft.name, &plain_name);
        draft.format_toml = format_toml;
        draft.questions = questions;
        draft.findings = findings(&self.plan);
        match read.and_then(|(pack, file)| self.usable(&file).map(|()| pack)) {
            Ok(pack) => match sample::without_names(&self.sniffed, &self.aliases, &cut, &pack, &plain_name, &site) {
                Ok(sample) => prove(draft, pack, sample, &plain_name, &site),
                Err(why) => draft.obstacle = Some(why),
            },
            Err(why) => draft.obstacle = Some(why),
        }
    }

    fn write(&self, name: &str, shown_name: &str) -> (String, Vec<Question>) {
        use crate::spec::EngineWord as E;
        compose(&Material {
            name,
            shown_name,
            dialect: &self.dialect.text,
            dialect_questions: &self.dialect.questions,
            guess: &self.guess,
            table: &self.table,
            plan: &self.plan,
            has_header: !matches!(self.sniffed.engine, E::JsonLines | E::Json | E::Xml),
            text_numbers: matches!(self.sniffed.engine, E::Delimited | E::Xml | E::Json | E::JsonLines),
            aliased: self.aliases.count(),
        })
    }

    /// Reads the sample with the drafted pack. A number that costs many rows is taken out of the plan, and asked about.
    fn settle(
        &mut self,
        name: &str,
        file_name: &str,
        sample: &[u8],
        site: &SiteContext,
    ) -> Result<(Pack, ParsedFile), String> {
        if let Some(why) = &self.time_obstacle {
            return Err(format!("{why}: a shot without its time cannot be kept"));
        }
        loop {
            let (text, _) = self.write(name, file_name);
            let pack = compile(&Path::new(name).join("format.toml"), &text).map_err(|faults| {
                let messages: Vec<String> = faults.into_iter().map(|fault| fault.message).collect();
                format!("the drafted pack has faults: {}", messages.join("; "))
            })?;
            let file = pack.parse(file_name, sample, site);
            let Some((place, lost)) = costly_number(&self.plan, &file) else { return Ok((pack, file)) };
            let number = self.plan.numbers.remove(place);
            let why = format!(
                "read as {} in {} it would cost {lost} of {} rows",
                number.role.name(),
                number.unit,
                file.rows_seen
            );
            self.plan.left_out.push(LeftOut { place: number.place, why, asks: true, example: number.ground.example });
        }
    }

    fn usable(&self, file: &ParsedFile) -> Result<(), String> {
        if self.plan.numbers.is_empty() {
            return Err("no column was recognised as a number of a shot".to_owned());
        }
        if file.shots.is_empty() {
            let first = file
                .problems
                .first()
                .map_or(String::new(), |problem| format!(": line {}: {}", problem.line, problem.message));
            return Err(format!("the drafted pack reads no shot of the sample{first}"));
        }
        Ok(())
    }
}

fn test_site() -> SiteContext {
    SiteContext {
        site_id: "test".to_owned(),
        zone: chrono_tz::UTC,
        bay: None,
        environment: None,
        limits: ParseLimits::default(),
        hands: Arc::default(),
    }
}

/// Names of the player's column, and of every other one that may name a person: one too many does no harm, one too few is
/// published.
fn player_names(plan: &Plan, table: &Table) -> Vec<String> {
    let mut names = named_players(plan, table);
    for column in table.columns.iter().filter(|column| may_name_a_person(column)) {
        names.extend(column.distinct().keys().filter(|text| !is_number_like(text)).map(|text| (*text).to_owned()));
    }
    names
}

fn is_number_like(text: &str) -> bool {
    !text.chars().any(char::is_alphabetic)
}

fn named_players(plan: &Plan, table: &Table) -> Vec<String> {
    let Some(player) = plan.text(TextRole::Player) else { return Vec::new() };
    match &player.place {
        Place::Field(name) => {
            let column = table.columns.iter().find(|column| column.name == *name);
            column.map(|column| column.distinct().keys().map(|text| (*text).to_owned()).collect()).unwrap_or_default()
        }
        Place::Preamble(key) => {
            table.preamble.iter().filter(|(known, _)| known == key).map(|(_, value)| value.clone()).collect()
        }
        Place::FileName(_) => Vec::new(),
    }
}

/// A number of the plan that rejects a third of the rows or more, with how many.
fn costly_number(plan: &Plan, file: &ParsedFile) -> Option<(usize, usize)> {
    let mut worst: Option<(usize, usize)> = None;
    for (place, number) in plan.numbers.iter().enumerate() {
        let (Place::Field(label) | Place::Preamble(label) | Place::FileName(label)) = &number.place;
        let rejected = |problem: &&shot::Problem| {
            problem.severity == shot::Severity::Rejected && problem.line > 0 && problem.column.as_deref() == Some(label)
        };
        let lost = file.problems.iter().filter(rejected).count();
        if lost as u64 * 3 >= file.rows_seen.max(1) && worst.is_none_or(|(_, most)| lost > most) {
            worst = Some((place, lost));
        }
    }
    worst
}

/// Lets the pack read its own sample, and keeps what it read as the expected rows.
fn prove(draft: &mut Draft, mut pack: Pack, sample: Vec<u8>, file_name: &str, site: &SiteContext) {
    let file = pack.parse(file_name, &sample, site);
    draft.expected_csv = expected::expected_csv(&file);
    pack.proof = ProofMaterial {
        samples: vec![(draft.sample_name.clone(), sample.clone())],
        expected: Some(draft.expected_csv.clone()),
        ..ProofMaterial::default()
    };
    let rejected = file.rows_rejected();
    if rejected > 0 {
        let first = file.problems.iter().find(|problem| problem.severity == shot::Severity::Rejected);
        let why =
            first.map_or(String::new(), |problem| format!(", for example line {}: {}", problem.line, problem.message));
        draft.notes.push(format!("{rejected} of {} rows of the sample are rejected{why}", file.rows_seen));
    }
    let report = test_pack(&pack);
    if !report.passed() {
        draft.obstacle = Some(format!("the drafted pack does not pass its own test:\n{report}"));
    }
    draft.report = Some(report);
    draft.sample_bytes = sample;
}

fn findings(plan: &Plan) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(time) = &plan.time {
        let how = time.epoch.map_or_else(|| time.formats.join(" or "), |unit| format!("{unit} since 1970"));
        for part in &time.parts {
            found.push(Finding {
                place: part.shown(),
                becomes: "time".to_owned(),
                how: how.clone(),
                confidence: time.ground.confidence,
                because: time.ground.because.join("; "),
            });
        }
    }
    for text in &plan.texts {
        found.push(Finding {
            place: text.place.shown(),
            becomes: text.role.key().to_owned(),
            how: String::new(),
            confidence: text.ground.confidence,
            because: text.ground.because.join("; "),
        });
    }
    for number in &plan.numbers {
        let doubt = number.other_unit.filter(|_| number.unit_place == UnitPlace::Range);
        let mut how = format!("{}{}", number.unit, doubt.map(|other| format!(" (or {other})")).unwrap_or_default());
        match &number.sign {
            SignPlan::Plain => {}
            SignPlan::Inverted => how.push_str(", inverted"),
            SignPlan::Suffix { positive, negative } => {
                how = format!("{how}, {} / {}", positive.join(" "), negative.join(" "));
            }
        }
        found.push(Finding {
            place: number.place.shown(),
            becomes: number.role.name().to_owned(),
            how,
            confidence: number.ground.confidence,
            because: number.ground.because.join("; "),
        });
    }
    for left in &plan.left_out {
        found.push(Finding {
            place: left.place.shown(),
            becomes: String::new(),
            how: String::new(),
            confidence: 0,
            because: left.why.clone(),
        });
    }
    found
}
