//! Strike marks and the shots they belong to: one group a bay, day and kind of list. A group is linked anew only when its
//! own shots or marks changed; the others keep what is published of them.

use std::collections::{BTreeMap, HashMap};
use std::fmt::Write as _;

use arrow::array::{Date32Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray};
use linking::{LinkSettings, MarkFate, MarkMoment, ShotMoment, link};
use shot::LocalDay;

use crate::IntakeError;
use crate::link_rows::{Fate, Noted};
use crate::shot_columns::{LinkedStrike, column, number, optional};

/// Raised when the same shots and marks would be linked otherwise.
const METHOD: &str = "1";

/// A bay (empty where none is named), a local day, and the mapping pack of the marks.
pub(crate) type GroupKey = (String, LocalDay, String);

/// A shot without a strike position of its own.
#[derive(Debug)]
struct ShotPoint {
    shot_id: String,
    at: i64,
    player: Option<String>,
    club: Option<String>,
}

/// A mark.
#[derive(Debug, Clone)]
pub(crate) struct MarkPoint {
    pub(crate) mark_id: String,
    pub(crate) at: i64,
    /// Line or record of the list.
    pub(crate) source_row: i64,
    time_sd_s: f64,
    pub(crate) player: Option<String>,
    club: Option<String>,
    pub(crate) strike: LinkedStrike,
}

/// What became of a group.
#[derive(Debug, Clone)]
pub(crate) struct LinkedGroup {
    pub(crate) key: GroupKey,
    /// Of its shots and marks.
    pub(crate) fingerprint: String,
    pub(crate) marks: Vec<(MarkPoint, Fate)>,
    /// Lead of the marks' clock and its deviation, s, where no other one is left.
    pub(crate) clock: Option<(f64, f64)>,
}

/// A text by which the ledger knows a group.
pub(crate) fn name_of_group((bay, day, format): &GroupKey) -> String {
    format!("{day}/{format}/{bay}")
}

/// Links all marks of a month. The rows are amended; `published` is what stands in the lake, with the fingerprints of the
/// groups it was made from.
pub(crate) fn link_month(
    shots: &[RecordBatch],
    marks: &[RecordBatch],
    published: &Noted,
) -> Result<Vec<LinkedGroup>, IntakeError> {
    let mut marks_by_group: BTreeMap<GroupKey, Vec<MarkPoint>> = BTreeMap::new();
    for batch in marks {
        gather_marks(batch, &mut marks_by_group)?;
    }
    let mut shots_by_day: HashMap<(String, LocalDay), Vec<ShotPoint>> =
        marks_by_group.keys().map(|(bay, day, _)| ((bay.clone(), *day), Vec::new())).collect();
    for batch in shots {
        gather_shots(batch, &mut shots_by_day)?;
    }
    for shots in shots_by_day.values_mut() {
        shots.sort_by(|one, other| (one.at, &one.shot_id).cmp(&(other.at, &other.shot_id)));
    }
    let mut groups = Vec::new();
    for (key, mut marks) in marks_by_group {
        // Of marks noted within one minute the list itself tells the order.
        marks.sort_by(|one, other| {
            (one.at, one.source_row, &one.mark_id).cmp(&(other.at, other.source_row, &other.mark_id))
        });
        let shots = shots_by_day.get(&(key.0.clone(), key.1)).map_or(&[][..], Vec::as_slice);
        let fingerprint = fingerprint(shots, &marks);
        let group = match published.group(&key, &fingerprint, &marks) {
            Some(group) => group,
            None => link_group(key, fingerprint, shots, marks),
        };
        groups.push(group);
    }
    Ok(groups)
}

fn gather_marks(batch: &RecordBatch, groups: &mut BTreeMap<GroupKey, Vec<MarkPoint>>) -> Result<(), IntakeError> {
    const DATASET: &str = "strike_marks";
    let text = |name| column::<StringArray>(DATASET, batch, name);
    let real = |name| column(DATASET, batch, name);
    let (ids, bays, formats) = (text("mark_id")?, text("bay")?, text("format")?);
    let (players, clubs) = (text("player_id")?, text("club_id")?);
    let noted_at: &TimestampMicrosecondArray = column(DATASET, batch, "noted_at")?;
    let days: &Date32Array = column(DATASET, batch, "local_date")?;
    let source_rows: &Int64Array = column(DATASET, batch, "source_row")?;
    let (time_sd, toe, up, sd) =
        (real("time_sd_s")?, real("strike_toe_mm")?, real("strike_up_mm")?, real("strike_sd_mm")?);
    for row in 0..batch.num_rows() {
        let key = (optional(bays, row).unwrap_or("").to_owned(), days.value(row), formats.value(row).to_owned());
        // Without a position there is nothing to link; a reading of the list would have rejected such a mark.
        let (Some(toe), Some(deviation)) = (number(toe, row), number(sd, row)) else { continue };
        groups.entry(key).or_default().push(MarkPoint {
            mark_id: ids.value(row).to_owned(),
            at: noted_at.value(row),
            source_row: source_rows.value(row),
            time_sd_s: number(time_sd, row).unwrap_or(0.0),
            player: optional(players, row).map(str::to_owned),
            club: optional(clubs, row).map(str::to_owned),
            strike: LinkedStrike { toe, up: number(up, row), deviation },
        });
    }
    Ok(())
}

fn gather_shots(
    batch: &RecordBatch,
    days: &mut HashMap<(String, LocalDay), Vec<ShotPoint>>,
) -> Result<(), IntakeError> {
    const DATASET: &str = "shots";
    let text = |name| column::<StringArray>(DATASET, batch, name);
    let (ids, bays, players, clubs) = (text("shot_id")?, text("bay")?, text("player_id")?, text("club_id")?);
    let struck_at: &TimestampMicrosecondArray = column(DATASET, batch, "struck_at")?;
    let dates: &Date32Array = column(DATASET, batch, "local_date")?;
    let toe = column(DATASET, batch, "strike_toe_mm")?;
    let up = column(DATASET, batch, "strike_up_mm")?;
    let sd = column(DATASET, batch, "strike_sd_mm")?;
    for row in 0..batch.num_rows() {
        if [toe, up, sd].iter().any(|measured| number(measured, row).is_some()) {
            continue;
        }
        let key = (optional(bays, row).unwrap_or("").to_owned(), dates.value(row));
        let Some(shots) = days.get_mut(&key) else { continue };
        shots.push(ShotPoint {
            shot_id: ids.value(row).to_owned(),
            at: struck_at.value(row),
            player: optional(players, row).map(str::to_owned),
            club: optional(clubs, row).map(str::to_owned),
        });
    }
    Ok(())
}

fn fingerprint(shots: &[ShotPoint], marks: &[MarkPoint]) -> String {
    let mut text = METHOD.to_owned();
    for shot in shots {
        let ShotPoint { shot_id, at, player, club } = shot;
        let _ = writeln!(text, "{shot_id}{at}{player:?}{club:?}"); // writing to a String cannot fail
    }
    for mark in marks {
        let MarkPoint { mark_id, at, time_sd_s, player, club, .. } = mark;
        let _ = writeln!(text, "{mark_id}{at}{time_sd_s:?}{player:?}{club:?}");
    }
    shot::text_hash(&text)
}

/// Numbers for the words of one group.
#[derive(Default)]
struct Numbers<'a>(HashMap<&'a str, u32>);

impl<'a> Numbers<'a> {
    fn of(&mut self, word: Option<&'a String>) -> Option<u32> {
        let next = u32::try_from(self.0.len()).unwrap_or(u32::MAX);
        word.map(|word| *self.0.entry(word).or_insert(next))
    }
}

fn link_group(key: GroupKey, fingerprint: String, shots: &[ShotPoint], marks: Vec<MarkPoint>) -> LinkedGroup {
    let origin = marks.iter().map(|mark| mark.at).chain(shots.iter().map(|shot| shot.at)).min().unwrap_or(0);
    let seconds = |at: i64| (at - origin) as f64 / 1e6;
    let (mut players, mut clubs) = (Numbers::default(), Numbers::default());
    let mut shot_moments = Vec::with_capacity(shots.len());
    for shot in shots {
        let (player, club) = (players.of(shot.player.as_ref()), clubs.of(shot.club.as_ref()));
        shot_moments.push(ShotMoment { seconds: seconds(shot.at), player, club });
    }
    let mut mark_moments = Vec::with_capacity(marks.len());
    for mark in &marks {
        mark_moments.push(MarkMoment {
            seconds: seconds(mark.at),
            seconds_sd: mark.time_sd_s,
            player: players.of(mark.player.as_ref()),
            club: clubs.of(mark.club.as_ref()),
        });
    }
    let linking = link(&shot_moments, &mark_moments, &LinkSettings::default());
    let clock = match (linking.offset_identified, linking.offset_s, linking.offset_sd_s) {
        (true, Some(offset), Some(deviation)) => Some((offset, deviation)),
        _ => None,
    };
    let shot_id = |position: usize| shots.get(position).map_or_else(String::new, |shot| shot.shot_id.clone());
    let mut fates = Vec::with_capacity(linking.fates.len());
    for fate in linking.fates {
        fates.push(match fate {
            MarkFate::Linked { shot, probability } => Fate::Linked { shot_id: shot_id(shot), probability },
            MarkFate::Ambiguous { candidates } => {
                let named = candidates.into_iter().map(|(shot, probability)| (shot_id(shot), probability));
                Fate::ambiguous(&named.collect::<Vec<_>>())
            }
            MarkFate::Unmatched { .. } => Fate::Unmatched,
        });
    }
    LinkedGroup { key, fingerprint, marks: marks.into_iter().zip(fates).collect(), clock }
}

/// The strikes that the links give to shots. Where two lists link one shot, the sharper mark counts.
pub(crate) fn strikes_of(groups: &[LinkedGroup]) -> HashMap<String, LinkedStrike> {
    let mut strikes: HashMap<String, (&MarkPoint, LinkedStrike)> = HashMap::new();
    for (mark, fate) in groups.iter().flat_map(|group| &group.marks) {
        let Fate::Linked { shot_id, .. } = fate else { continue };
        let is_sharper = strikes.get(shot_id).is_none_or(|(rival, strike)| {
            (mark.strike.deviation, &mark.mark_id).partial_cmp(&(strike.deviation, &rival.mark_id))
                == Some(std::cmp::Ordering::Less)
        });
        if is_sharper {
            strikes.insert(shot_id.clone(), (mark, mark.strike));
        }
    }
    strikes.into_iter().map(|(shot_id, (_, strike))| (shot_id, strike)).collect()
}
