//! The roster file, read strictly: every fault is told with its place, and a faulty line counts for nobody.

use std::collections::HashMap;
use std::path::Path;

use shot::Hand;

use crate::TableFault;
use crate::roster::{RosterPlayer, alias_form};
use crate::roster_batches::kind_of_club;
use crate::table::{Table, TableRow, is_word};

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

type Parsed = (Vec<RosterPlayer>, HashMap<String, usize>, Vec<TableFault>);

/// Players, their aliases, and everything that is wrong.
pub(crate) fn parse(path: &Path, text: &str) -> Parsed {
    let mut faults = Vec::new();
    let Some(table) = Table::read(path, text, "the roster", &COLUMNS, &mut faults) else {
        return (Vec::new(), HashMap::new(), faults);
    };
    let mut players: Vec<RosterPlayer> = Vec::new();
    for row in table.rows() {
        if let Some(player) = player_of(row, &players, &mut faults) {
            players.push(player);
        }
    }
    let by_alias = index_aliases(path, &players, &mut faults);
    (players, by_alias, faults)
}

/// Gives every alias to its player. One that two players claim is nobody's: a shot of the wrong person is worse than an
/// unknown one.
fn index_aliases(path: &Path, players: &[RosterPlayer], faults: &mut Vec<TableFault>) -> HashMap<String, usize> {
    let mut claims: HashMap<String, usize> = HashMap::new();
    let mut contested = Vec::new();
    for (position, player) in players.iter().enumerate() {
        for alias in std::iter::once(&player.player_id).chain(&player.aliases) {
            let form = alias_form(alias);
            let first = *claims.entry(form.clone()).or_insert(position);
            if first != position {
                faults.push(TableFault {
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

/// The player of a line, if nothing is wrong with it.
fn player_of(row: TableRow<'_>, earlier: &[RosterPlayer], faults: &mut Vec<TableFault>) -> Option<RosterPlayer> {
    let before = faults.len();
    if let Some(fault) = row.ragged() {
        faults.push(fault);
        return None;
    }
    let player_id = row.cell("player_id");
    if !is_word(player_id) || player_id.starts_with("unknown-") {
        let hint = "use lower-case letters, digits and -, and do not begin with unknown-";
        faults.push(row.fault("player_id", player_id, format!("\"{player_id}\" is no alias"), hint));
    }
    if let Some(first) = earlier.iter().find(|player| player.player_id == player_id) {
        let message = format!("the player \"{player_id}\" stands in line {} already", first.line);
        faults.push(row.fault("player_id", player_id, message, "give each player one line"));
    }
    let hand = Hand::parse(row.cell("hand"));
    if hand.is_none() {
        let message = format!("\"{}\" is no hand", row.cell("hand"));
        faults.push(row.fault("hand", row.cell("hand"), message, "write right or left"));
    }
    let consent = match row.cell("consent") {
        "yes" => Some(true),
        "no" => Some(false),
        other => {
            let hint = "write yes only where the player (for a minor also the guardian) agreed, otherwise no";
            faults.push(row.fault("consent", other, format!("\"{other}\" is neither yes nor no"), hint));
            None
        }
    };
    let coach = row.cell("coach");
    if !coach.is_empty() && !is_word(coach) {
        let hint = "use lower-case letters, digits and -";
        faults.push(row.fault("coach", coach, format!("\"{coach}\" is no alias of a coach"), hint));
    }
    let clubs = clubs_of(row, faults);
    let stock_path_deg = angle_of(row, "stock_path_deg", faults);
    let stock_face_deg = angle_of(row, "stock_face_deg", faults);
    if faults.len() > before {
        return None;
    }
    let shown_as = row.cell("shown_as");
    Some(RosterPlayer {
        player_id: player_id.to_owned(),
        shown_as: if shown_as.is_empty() { player_id.to_owned() } else { shown_as.to_owned() },
        aliases: listed(row.cell("aliases")),
        hand: hand?,
        coach: (!coach.is_empty()).then(|| coach.to_owned()),
        groups: listed(row.cell("groups")),
        consent: consent?,
        clubs,
        stock_path_deg,
        stock_face_deg,
        line: row.line,
    })
}

fn clubs_of(row: TableRow<'_>, faults: &mut Vec<TableFault>) -> Vec<(String, String)> {
    let mut clubs: Vec<(String, String)> = Vec::new();
    for part in listed(row.cell("clubs")) {
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
        faults.push(row.fault("clubs", &part, format!("\"{part}\" {message}"), hint));
    }
    clubs
}

/// An angle in degrees; nothing means none.
fn angle_of(row: TableRow<'_>, column: &str, faults: &mut Vec<TableFault>) -> f64 {
    let text = row.cell(column);
    match text.parse::<f64>() {
        _ if text.is_empty() => 0.0,
        Ok(angle) if angle.abs() <= WIDEST_STOCK_DEG => angle,
        _ => {
            let message = format!("\"{text}\" is no angle between -{WIDEST_STOCK_DEG} and {WIDEST_STOCK_DEG}");
            faults.push(row.fault(column, text, message, "write degrees with a point, positive = right"));
            0.0
        }
    }
}

fn listed(text: &str) -> Vec<String> {
    text.split(';').map(str::trim).filter(|part| !part.is_empty()).map(str::to_owned).collect()
}
