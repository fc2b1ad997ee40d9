//! The roster file, read strictly: every fault is told with its place, and a faulty line counts for nobody.

use std::collections::HashMap;
use std::fmt;
use std::path::{Path, PathBuf};

use csv::StringRecord;
use shot::Hand;

use crate::roster::{RosterPlayer, alias_form};
use crate::roster_batches::kind_of_club;

const COLUMNS: [&str; 10] = [
    "player_id",
    "shown_as",
    "aliases",
    "hand",
    "coach",
    "groups",
    "consent",
    "clubs",
    "stock_path_deg",
    "stock_face_deg",
];

/// Beyond this a usual shot is no usual shot (common practice, no source).
const WIDEST_STOCK_DEG: f64 = 20.0;

/// One fault of the roster: where it stands, what is wrong, what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct RosterFault {
    /// The roster file.
    pub path: PathBuf,
    /// Line from 1; 0 where the fault concerns the whole file.
    pub line: u64,
    /// Name of the column; empty where the fault concerns a whole line or file.
    pub column: String,
    /// The offending text.
    pub snippet: String,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do about it.
    pub hint: String,
}

impl RosterFault {
    pub(crate) fn whole(path: &Path, message: String, hint: String) -> RosterFault {
        RosterFault { path: path.to_owned(), line: 0, column: String::new(), snippet: String::new(), message, hint }
    }
}

impl fmt::Display for RosterFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", self.message)?;
        write!(out, "  --> {}", self.path.display())?;
        if self.line > 0 {
            write!(out, ":{}", self.line)?;
        }
        if !self.column.is_empty() {
            write!(out, ", column {}", self.column)?;
        }
        writeln!(out)?;
        if !self.snippet.is_empty() {
            writeln!(out, "   | {}", self.snippet)?;
        }
        write!(out, "hint: {}", self.hint)
    }
}

type Parsed = (Vec<RosterPlayer>, HashMap<String, usize>, Vec<RosterFault>);

/// Players, their aliases, and everything that is wrong.
pub(crate) fn parse(path: &Path, text: &str) -> Parsed {
    // Spreadsheet programs begin UTF-8 files with a mark that is no part of the first column's name.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let mut faults = Vec::new();
    let header = match reader.headers() {
        Ok(header) => header.clone(),
        Err(error) => {
            let fault = RosterFault::whole(path, format!("the roster is no CSV: {error}"), SEPARATED_HINT.into());
            return (Vec::new(), HashMap::new(), vec![fault]);
        }
    };
    check_header(path, &header, &mut faults);
    if !faults.is_empty() {
        return (Vec::new(), HashMap::new(), faults);
    }
    let mut players: Vec<RosterPlayer> = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(0, csv::Position::line);
                let row = Row { path, header: &header, record: &record, line };
                if let Some(player) = row.player(&players, &mut faults) {
                    players.push(player);
                }
            }
            Err(error) => {
                let message = format!("a line is no CSV: {error}");
                faults.push(RosterFault::whole(path, message, SEPARATED_HINT.into()));
            }
        }
    }
    let by_alias = index_aliases(path, &players, &mut faults);
    (players, by_alias, faults)
}

const SEPARATED_HINT: &str = "save the file as CSV separated by commas, text in UTF-8";

fn check_header(path: &Path, header: &StringRecord, faults: &mut Vec<RosterFault>) {
    let mut fault = |column: &str, message: String, hint: String| {
        let snippet = header.iter().collect::<Vec<_>>().join(",");
        faults.push(RosterFault { path: path.to_owned(), line: 1, column: column.into(), snippet, message, hint });
    };
    if header.len() == 1 && header.get(0).is_some_and(|only| only.contains(';')) {
        return fault("", "the columns are separated by semicolons".into(), SEPARATED_HINT.into());
    }
    for name in COLUMNS {
        match header.iter().filter(|column| *column == name).count() {
            1 => {}
            0 => fault(name, format!("the column \"{name}\" is missing"), format!("columns: {}", COLUMNS.join(","))),
            _ => fault(name, format!("the column \"{name}\" stands twice"), "remove one of them".into()),
        }
    }
    for name in header.iter().filter(|name| !COLUMNS.contains(name)) {
        fault(name, format!("the column \"{name}\" is unknown"), format!("columns: {}", COLUMNS.join(",")));
    }
}

/// Gives every alias to its player. One that two players claim is nobody's: a shot of the wrong person is worse than an
/// unknown one.
fn index_aliases(path: &Path, players: &[RosterPlayer], faults: &mut Vec<RosterFault>) -> HashMap<String, usize> {
    let mut claims: HashMap<String, usize> = HashMap::new();
    let mut contested = Vec::new();
    for (position, player) in players.iter().enumerate() {
        for alias in std::iter::once(&player.player_id).chain(&player.aliases) {
            let form = alias_form(alias);
            let first = *claims.entry(form.clone()).or_insert(position);
            if first != position {
                faults.push(RosterFault {
                    path: path.to_owned(),
                    line: player.line,
                    column: "aliases".into(),
                    snippet: alias.clone(),
                    message: format!(
                        "the alias \"{alias}\" of {} belongs to {} already (line {})",
                        player.player_id, players[first].player_id, players[first].line
                    ),
                    hint: "leave it with one of them, and give the other a different name on the device".into(),
                });
                contested.push(form);
            }
        }
    }
    for form in contested {
        claims.remove(&form);
    }
    claims
}

/// One line of the roster.
struct Row<'a> {
    path: &'a Path,
    header: &'a StringRecord,
    record: &'a StringRecord,
    line: u64,
}

impl Row<'_> {
    fn cell(&self, column: &str) -> &str {
        let position = self.header.iter().position(|name| name == column);
        position.and_then(|position| self.record.get(position)).unwrap_or("")
    }

    fn fault(&self, column: &str, snippet: &str, message: String, hint: &str) -> RosterFault {
        RosterFault {
            path: self.path.to_owned(),
            line: self.line,
            column: column.to_owned(),
            snippet: shot::Problem::cut(snippet),
            message,
            hint: hint.to_owned(),
        }
    }

    /// The player, if nothing is wrong with the line.
    fn player(&self, earlier: &[RosterPlayer], faults: &mut Vec<RosterFault>) -> Option<RosterPlayer> {
        let before = faults.len();
        if self.record.len() != self.header.len() {
            let message = format!("the line has {} cells, the header has {}", self.record.len(), self.header.len());
            let whole = self.record.iter().collect::<Vec<_>>().join(",");
            faults.push(self.fault("", &whole, message, "put text that holds a comma between double quotes"));
            return None;
        }
        let player_id = self.cell("player_id");
        if !is_word(player_id) || player_id.starts_with("unknown-") {
            let hint = "use lower-case letters, digits and -, and do not begin with unknown-";
            faults.push(self.fault("player_id", player_id, format!("\"{player_id}\" is no alias"), hint));
        }
        if let Some(first) = earlier.iter().find(|player| player.player_id == player_id) {
            let message = format!("the player \"{player_id}\" stands in line {} already", first.line);
            faults.push(self.fault("player_id", player_id, message, "give each player one line"));
        }
        let hand = Hand::parse(self.cell("hand"));
        if hand.is_none() {
            let message = format!("\"{}\" is no hand", self.cell("hand"));
            faults.push(self.fault("hand", self.cell("hand"), message, "write right or left"));
        }
        let consent = match self.cell("consent") {
            "yes" => Some(true),
            "no" => Some(false),
            other => {
                let hint = "write yes only where the player (for a minor also the guardian) agreed, otherwise no";
                faults.push(self.fault("consent", other, format!("\"{other}\" is neither yes nor no"), hint));
                None
            }
        };
        let coach = self.cell("coach");
        if !coach.is_empty() && !is_word(coach) {
            let hint = "use lower-case letters, digits and -";
            faults.push(self.fault("coach", coach, format!("\"{coach}\" is no alias of a coach"), hint));
        }
        let clubs = self.clubs(faults);
        let stock_path_deg = self.angle("stock_path_deg", faults);
        let stock_face_deg = self.angle("stock_face_deg", faults);
        if faults.len() > before {
            return None;
        }
        let shown_as = self.cell("shown_as");
        Some(RosterPlayer {
            player_id: player_id.to_owned(),
            shown_as: if shown_as.is_empty() { player_id.to_owned() } else { shown_as.to_owned() },
            aliases: listed(self.cell("aliases")),
            hand: hand?,
            coach: (!coach.is_empty()).then(|| coach.to_owned()),
            groups: listed(self.cell("groups")),
            consent: consent?,
            clubs,
            stock_path_deg,
            stock_face_deg,
            line: self.line,
        })
    }

    fn clubs(&self, faults: &mut Vec<RosterFault>) -> Vec<(String, String)> {
        let mut clubs: Vec<(String, String)> = Vec::new();
        for part in listed(self.cell("clubs")) {
            let (club_id, profile) = match part.split_once('=') {
                Some((club_id, profile)) => (club_id.trim(), profile.trim()),
                None => (part.as_str(), ""),
            };
            let (message, hint) = if !is_word(profile) {
                ("names no head profile".to_owned(), "write club=profile, for example driver=modern-driver")
            } else if kind_of_club(club_id).is_none() {
                (
                    format!("has the unknown club \"{club_id}\""),
                    "use driver, or a word that ends in -wood, -hybrid, -iron or -wedge, as the mapping packs do",
                )
            } else if clubs.iter().any(|(earlier, _)| earlier == club_id) {
                (format!("repeats the club \"{club_id}\""), "give each club one profile")
            } else {
                clubs.push((club_id.to_owned(), profile.to_owned()));
                continue;
            };
            faults.push(self.fault("clubs", &part, format!("\"{part}\" {message}"), hint));
        }
        clubs
    }

    /// An angle in degrees; nothing means none.
    fn angle(&self, column: &str, faults: &mut Vec<RosterFault>) -> f64 {
        let text = self.cell(column);
        match text.parse::<f64>() {
            _ if text.is_empty() => 0.0,
            Ok(angle) if angle.abs() <= WIDEST_STOCK_DEG => angle,
            _ => {
                let message = format!("\"{text}\" is no angle between -{WIDEST_STOCK_DEG} and {WIDEST_STOCK_DEG}");
                faults.push(self.fault(column, text, message, "write degrees with a point, positive = right"));
                0.0
            }
        }
    }
}

/// A word that may stand in file names and queries: `[a-z0-9][a-z0-9-]*`.
fn is_word(text: &str) -> bool {
    let plain = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit();
    text.starts_with(plain) && text.chars().all(|letter| plain(letter) || letter == '-')
}

fn listed(text: &str) -> Vec<String> {
    text.split(';').map(str::trim).filter(|part| !part.is_empty()).map(str::to_owned).collect()
}
