//! The roster as rows of the `players` and `clubs` datasets.

use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray};

use crate::{IntakeError, Roster, RosterPlayer};

/// The kind of a club by its word, as the mapping packs name clubs.
pub(crate) fn kind_of_club(club_id: &str) -> Option<&'static str> {
    const BY_ENDING: [(&str, &str); 4] =
        [("-wood", "fairway-wood"), ("-hybrid", "hybrid"), ("-iron", "iron"), ("-wedge", "wedge")];
    if club_id == "driver" {
        return Some("driver");
    }
    let kind = BY_ENDING.iter().find(|(ending, _)| club_id.len() > ending.len() && club_id.ends_with(ending));
    kind.map(|(_, kind)| *kind)
}

impl Roster {
    /// One row a player, of the `players` schema.
    pub fn players_batch(&self, site_id: &str) -> Result<RecordBatch, IntakeError> {
        let players = || self.players().iter();
        let groups: Vec<Option<String>> =
            players().map(|player| (!player.groups.is_empty()).then(|| player.groups.join(";"))).collect();
        let columns: Vec<ArrayRef> = vec![
            Arc::new(players().map(|_| Some(site_id)).collect::<StringArray>()),
            Arc::new(players().map(|player| Some(player.player_id.as_str())).collect::<StringArray>()),
            Arc::new(players().map(|player| Some(player.hand.sign())).collect::<Int64Array>()),
            Arc::new(players().map(|player| player.coach.as_deref()).collect::<StringArray>()),
            Arc::new(groups.iter().map(Option::as_deref).collect::<StringArray>()),
            Arc::new(players().map(|player| Some(player.consent)).collect::<BooleanArray>()),
            Arc::new(players().map(|player| Some(player.stock_path_deg)).collect::<Float64Array>()),
            Arc::new(players().map(|player| Some(player.stock_face_deg)).collect::<Float64Array>()),
        ];
        RecordBatch::try_new(shot::players().arrow_schema(), columns)
            .map_err(|cause| IntakeError::Rows { dataset: "players", cause })
    }

    /// One row a player and club, of the `clubs` schema.
    pub fn clubs_batch(&self, site_id: &str) -> Result<RecordBatch, IntakeError> {
        let of_player = |player: &RosterPlayer| {
            let kinds = player.clubs.iter().filter_map(|(club, profile)| Some((club, kind_of_club(club)?, profile)));
            let owned =
                kinds.map(|(club, kind, profile)| (player.player_id.clone(), club.clone(), kind, profile.clone()));
            owned.collect::<Vec<_>>()
        };
        let rows: Vec<(String, String, &str, String)> = self.players().iter().flat_map(of_player).collect();
        let columns: Vec<ArrayRef> = vec![
            Arc::new(rows.iter().map(|_| Some(site_id)).collect::<StringArray>()),
            Arc::new(rows.iter().map(|row| Some(row.0.as_str())).collect::<StringArray>()),
            Arc::new(rows.iter().map(|row| Some(row.1.as_str())).collect::<StringArray>()),
            Arc::new(rows.iter().map(|row| Some(row.2)).collect::<StringArray>()),
            Arc::new(rows.iter().map(|row| Some(row.3.as_str())).collect::<StringArray>()),
        ];
        RecordBatch::try_new(shot::clubs().arrow_schema(), columns)
            .map_err(|cause| IntakeError::Rows { dataset: "clubs", cause })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn club_words_tell_their_kind() {
        for (word, kind) in [
            ("driver", Some("driver")),
            ("3-wood", Some("fairway-wood")),
            ("4-hybrid", Some("hybrid")),
            ("7-iron", Some("iron")),
            ("pitching-wedge", Some("wedge")),
            ("putter", None),
            ("-iron", None),
        ] {
            assert_eq!(kind_of_club(word), kind, "{word}");
        }
    }
}
