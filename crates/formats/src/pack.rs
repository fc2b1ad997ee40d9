//! A pack that was checked, and the reading of a file with it.

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;

use shot::{DeviceRow, Hand, ParsedMark, ParsedShot, Problem, Severity};

use crate::context::SiteContext;
use crate::drift;
use crate::mapping::Mapping;
use crate::mark::MarkMapping;
use crate::recognise::Recogniser;
use crate::record::{Engine, Item, Opening};
use crate::repeated_hour;
use crate::rule::Rule;
use crate::source::View;

/// Problems kept of one file; a file with more is refused whole, its report would help nobody.
const MOST_PROBLEMS: usize = 20_000;

/// One mapping pack.
#[derive(Debug)]
pub struct Pack {
    pub(crate) name: String,
    pub(crate) version: String,
    pub(crate) title: String,
    pub(crate) max_problem_share: f64,
    pub(crate) engine: Box<dyn Engine>,
    pub(crate) engine_word: &'static str,
    pub(crate) recogniser: Recogniser,
    pub(crate) mapping: Mapping,
    /// What a pack of strike marks reads besides; none in a pack of shots.
    pub(crate) marks: Option<MarkMapping>,
    pub(crate) devices: Vec<DeviceRow>,
    pub(crate) proof: ProofMaterial,
    /// The text of the pack's `format.toml`, and where it stands.
    pub(crate) text: PackText,
}

/// A pack as written.
#[derive(Debug, Clone, Default)]
pub(crate) struct PackText {
    pub path: PathBuf,
    pub text: String,
}

/// What a pack brings along to prove itself with.
#[derive(Debug, Default)]
pub(crate) struct ProofMaterial {
    pub folder: PathBuf,
    pub zone: chrono_tz::Tz,
    pub bay: Option<String>,
    pub environment: Option<String>,
    pub hands: Arc<HashMap<String, Hand>>,
    pub samples: Vec<(String, Vec<u8>)>,
    pub expected: Option<String>,
}

/// What a file held.
#[derive(Debug, Clone, PartialEq)]
pub struct ParsedFile {
    /// The shots that were taken, in file order; none where the pack reads strike marks.
    pub shots: Vec<ParsedShot>,
    /// The strike marks that were taken, in file order; none where the pack reads shots.
    pub marks: Vec<ParsedMark>,
    /// Everything that was wrong, in file order. Line 0 speaks of the whole file.
    pub problems: Vec<Problem>,
    /// Data rows that were seen, taken or not.
    pub rows_seen: u64,
}

impl ParsedFile {
    /// Rows that were lost.
    pub fn rows_rejected(&self) -> u64 {
        let rejected =
            self.problems.iter().filter(|problem| problem.severity == Severity::Rejected && problem.line > 0);
        let mut lines: Vec<i64> = rejected.map(|problem| problem.line).collect();
        lines.sort_unstable();
        lines.dedup();
        lines.len() as u64
    }

    /// Share of the rows that were lost, 0 to 1; 1 where a problem refuses the file as a whole.
    pub fn problem_share(&self) -> f64 {
        let refused = |problem: &Problem| problem.line == 0 && problem.severity == Severity::Rejected;
        if self.problems.iter().any(refused) {
            return 1.0;
        }
        if self.rows_seen == 0 { 0.0 } else { self.rows_rejected() as f64 / self.rows_seen as f64 }
    }
}

impl Pack {
    /// Name of the pack, which is the name of its folder.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Version of the pack.
    pub fn version(&self) -> &str {
        &self.version
    }

    /// The word of the engine that reads its files.
    pub fn engine_word(&self) -> &'static str {
        self.engine_word
    }

    /// One line about the pack, for people; may be empty.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Share of rejected rows above which a file is to be quarantined whole.
    pub fn max_problem_share(&self) -> f64 {
        self.max_problem_share
    }

    /// Every quantity the pack delivers, and how far to trust it.
    pub fn devices(&self) -> Vec<DeviceRow> {
        self.devices.clone()
    }

    /// Whether a file that ends in `tail` (its last bytes, or all of them) looks finished.
    pub fn structural_end(&self, tail: &[u8]) -> bool {
        self.engine.complete(tail)
    }

    /// Reads a file. Never fails: what cannot be read becomes a problem. A problem at line 0 with severity `Rejected` refuses
    /// the file as a whole; its shots, if any, are then not to be published.
    pub fn parse(&self, file_name: &str, bytes: &[u8], site: &SiteContext) -> ParsedFile {
        let mut reading = Reading {
            pack: self,
            site,
            captures: self.recogniser.captures(file_name),
            opening: Opening::default(),
            file: ParsedFile { shots: Vec::new(), marks: Vec::new(), problems: Vec::new(), rows_seen: 0 },
            later: Vec::new(),
        };
        if bytes.len() > site.limits.max_file_bytes {
            let message = format!("the file has {} bytes, the limit is {}", bytes.len(), site.limits.max_file_bytes);
            reading.file.problems.push(Rule::FileTooLarge.rejects(0, None, "", message));
            return reading.file;
        }
        self.engine.read(bytes, &site.limits, &mut |item| reading.take(item));
        repeated_hour::settle(&mut reading.file.shots, &reading.later, site.zone);
        repeated_hour::settle(&mut reading.file.marks, &reading.later, site.zone);
        drift::advise(self, bytes, &mut reading.file.problems);
        reading.file
    }
}

/// The state of reading one file.
struct Reading<'a> {
    pack: &'a Pack,
    site: &'a SiteContext,
    captures: Vec<(String, String)>,
    opening: Opening,
    file: ParsedFile,
    /// Shots, or marks, of a local time that occurred twice: their place among the others, and the second instant.
    later: Vec<(usize, i64)>,
}

impl Reading<'_> {
    fn take(&mut self, item: Item<'_>) -> ControlFlow<()> {
        match item {
            Item::Opening(opening) => {
                self.opening = opening.clone();
                return self.check_header();
            }
            Item::Record(record) => {
                self.file.rows_seen += 1;
                let names = &self.pack.recogniser.names;
                if let Some(problem) = names.ambiguous(record) {
                    self.file.problems.push(problem);
                    return self.check_bounds();
                }
                let record = names.wrap(record);
                let view = View { record: &record, opening: &self.opening, captures: &self.captures };
                let (read, mut problems) = self.pack.mapping.read(&view, self.site);
                let (shot, later) = read.unzip();
                let later = later.flatten();
                if let Some(marks) = &self.pack.marks {
                    if let Some(mark) = marks.read(&view, self.site, shot, &mut problems) {
                        self.later.extend(later.map(|later| (self.file.marks.len(), later)));
                        self.file.marks.push(mark);
                    }
                } else if let Some(shot) = shot {
                    self.later.extend(later.map(|later| (self.file.shots.len(), later)));
                    self.file.shots.push(shot);
                }
                self.file.problems.extend(problems);
            }
            Item::Problem(problem) => {
                self.file.rows_seen += u64::from(problem.line > 0);
                self.file.problems.push(problem);
            }
        }
        self.check_bounds()
    }

    fn check_bounds(&mut self) -> ControlFlow<()> {
        if self.file.rows_seen > self.site.limits.max_rows {
            let message = format!("the file has more than {} rows", self.site.limits.max_rows);
            return self.refuse(Rule::TooManyRows, None, message);
        }
        if self.file.problems.len() > MOST_PROBLEMS {
            return self.refuse(
                Rule::TooManyProblems,
                None,
                format!("the file has more than {MOST_PROBLEMS} problems"),
            );
        }
        ControlFlow::Continue(())
    }

    fn refuse(&mut self, rule: Rule, column: Option<&str>, message: String) -> ControlFlow<()> {
        self.file.problems.push(rule.rejects(0, column, "", message));
        ControlFlow::Break(())
    }

    /// A header tells before the first row whether the file can be read at all.
    fn check_header(&mut self) -> ControlFlow<()> {
        let Some(header) = self.opening.header.clone() else { return ControlFlow::Continue(()) };
        for (name, required) in self.pack.fields() {
            let names = &self.pack.recogniser.names;
            let found = header.iter().filter(|column| names.canonical(column) == name).count();
            if found > 1 {
                let message = format!("the header has {found} columns named {}", names.listed(name));
                return self.refuse(Rule::AmbiguousColumn, Some(name), message);
            }
            if found == 0 && required {
                return self.refuse(Rule::MissingColumn, Some(name), format!("the header has no column \"{name}\""));
            }
            if found == 0 {
                let message = format!("the header has no column \"{name}\"; it is taken as missing in every row");
                let problem = Rule::MissingColumn.notes(self.opening.header_line, Some(name), "", message);
                self.file.problems.push(problem);
            }
        }
        ControlFlow::Continue(())
    }
}

/// The UCUM code of the unit of a column of `shots`; empty for a name that is none.
pub fn unit_of_quantity(name: &str) -> &'static str {
    shot::Quantity::from_name(name).map_or("", shot::Quantity::unit)
}
