//! The roster that belongs to the demo.

use super::cast::Member;
use super::export::fixed;
use super::people::{coaches, players};
use super::record::People;
use crate::Player;

const COLUMNS: &str = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg";

/// The text of `roster.csv`: players and coaches, not the visitor.
///
/// Stock path and face stand in the data's sign, positive = right of the target line for both hands.
pub fn text(people: &People) -> String {
    let mut lines = vec![COLUMNS.to_owned()];
    for member in players().iter().chain(&coaches()) {
        if let Some((player, member)) = people.get(member.id) {
            lines.push(line(player, member));
        }
    }
    lines.push(String::new());
    lines.join("\n")
}

fn line(player: &Player, member: &Member) -> String {
    let side = member.hand.sign() as f64;
    let stock = player.clubs.first().map(|club| club.habits.stock).unwrap_or_default();
    let clubs: Vec<String> =
        member.clubs().iter().map(|club_id| format!("{club_id}={}", member.profile_of(club_id))).collect();
    [
        member.id.to_owned(),
        member.shown_as(),
        [member.id.to_owned(), member.shown_as(), member.in_capitals()].join("; "),
        if side > 0.0 { "right" } else { "left" }.to_owned(),
        member.coach.to_owned(),
        member.groups.to_owned(),
        if member.consent { "yes" } else { "no" }.to_owned(),
        clubs.join("; "),
        fixed(side * stock.path_deg, 1),
        fixed(side * stock.face_deg, 1),
    ]
    .join(",")
}
