//! From published tables to one coach's week.

use std::collections::{BTreeMap, BTreeSet};

use lake::Lake;
use shot::{LocalDay, monday_of};

use crate::coach_week::{ClubWeek, CoachWeek, JudgedShot, PlayerWeek, Tally, TrendPoint};
use crate::published::{self, Span};
use crate::rows::{self, LossRow, VerdictRow};
use crate::rows_of_practice;
use crate::wording::count_of;
use crate::{DigestError, WeekRequest, calendar};

/// Weeks shown in a trend, this one included.
const TREND_WEEKS: i32 = 12;

/// Reads what a summary needs. Nothing of another coach's players, nor of players who have not agreed, is taken up.
///
/// `shown_names` turns an alias (of a player or a coach) into the name people read. Datasets that have not been published
/// yet leave their parts of the week empty.
pub fn gather(
    lake: &Lake,
    request: &WeekRequest,
    shown_names: &dyn Fn(&str) -> String,
) -> Result<CoachWeek, DigestError> {
    let week = monday_of(request.week);
    calendar::date(week)?;
    calendar::zone(&request.zone)?;
    let mut missing_datasets = Vec::new();
    let mut read = |dataset: &str, span: Span| -> Result<published::Batches, DigestError> {
        let found = published::read(lake, dataset, span)?;
        // Without the clubs only the outline of the face is a guess, and before the first drill session there is no effect of
        // practice: neither needs a notice.
        if found.is_none() && dataset != "clubs" && dataset != "practice_effect" {
            missing_datasets.push(dataset.to_owned());
        }
        Ok(found.unwrap_or_default())
    };
    let this_week = Span { first: week, last: week + 6 };
    let trend_weeks = Span { first: week - 7 * (TREND_WEEKS - 1), last: week + 6 };
    let players = rows::players(&read("players", Span::ALL)?, &request.site_id, request.coach.as_deref())?;
    let kinds = rows::club_kinds(&read("clubs", Span::ALL)?)?;
    let allowed: BTreeSet<String> = players.iter().map(|player| player.player_id.clone()).collect();
    let verdicts = rows::verdicts(&read("shot_verdicts", this_week)?, &request.site_id, week, &allowed)?;
    let losses = rows::losses(&read("carry_loss", trend_weeks)?, &request.site_id, week, &allowed)?;
    let patterns = rows_of_practice::patterns(&read("strike_pattern", this_week)?, &request.site_id, week)?;
    let plans = rows_of_practice::plans(&read("practice_plan", this_week)?, &request.site_id, week)?;
    let effects = rows_of_practice::effects(&read("practice_effect", this_week)?, &request.site_id, week)?;

    let mut shown_players = Vec::with_capacity(players.len());
    for player in players {
        let mut clubs = clubs_of(&player.player_id, week, &verdicts, &losses);
        for club in &mut clubs {
            let holder = (player.player_id.clone(), club.club_id.clone());
            club.club_kind = kinds.get(&holder).cloned();
            if let Some(row) = patterns.get(&holder) {
                club.pattern = row.pattern;
                club.centre_share = row.centre_share;
            }
            if let Some(row) = plans.get(&holder) {
                club.practise_next.clone_from(&row.practise_next);
                club.practise_why.clone_from(&row.practise_why);
                club.gate = row.gate;
            }
            club.practice_so_far = effects.get(&holder).cloned();
        }
        clubs.sort_by_key(|club| (club.club_id != "driver", -club.tally.shots, club.club_id.clone()));
        let shown_name = shown_names(&player.player_id);
        shown_players.push(PlayerWeek { player_id: player.player_id, shown_name, hand: player.hand, clubs });
    }
    shown_players.sort_by(|a, b| (&a.shown_name, &a.player_id).cmp(&(&b.shown_name, &b.player_id)));
    Ok(CoachWeek {
        site_name: request.site_name.clone(),
        zone: request.zone.clone(),
        week,
        coach: request.coach.clone(),
        coach_shown: request.coach.as_deref().map(shown_names),
        units: request.units,
        generated_at_micros: request.generated_at_micros,
        players: shown_players,
        missing_datasets,
    })
}

/// Every coach that a player of the site with consent has, in order.
pub fn coaches(lake: &Lake, site_id: &str) -> Result<Vec<String>, DigestError> {
    let batches = published::read(lake, "players", Span::ALL)?.unwrap_or_default();
    rows::coaches(&batches, site_id)
}

fn clubs_of(player_id: &str, week: LocalDay, verdicts: &[VerdictRow], losses: &[LossRow]) -> Vec<ClubWeek> {
    let mut clubs: BTreeMap<&str, ClubWeek> = BTreeMap::new();
    for loss in losses.iter().filter(|loss| loss.player_id == player_id && loss.week == week) {
        clubs.insert(&loss.club_id, club_from_loss(loss));
    }
    let mut reasons: BTreeMap<&str, BTreeMap<&str, i64>> = BTreeMap::new();
    for verdict in verdicts.iter().filter(|verdict| verdict.player_id == player_id) {
        let club = clubs
            .entry(&verdict.club_id)
            .or_insert_with(|| ClubWeek { club_id: verdict.club_id.clone(), ..ClubWeek::default() });
        club.shots.push(verdict.shot.clone());
        if let Some(reason) = verdict.reason.as_deref() {
            *reasons.entry(&verdict.club_id).or_default().entry(reason).or_default() += 1;
        }
    }
    let mut found = Vec::with_capacity(clubs.len());
    for (club_id, mut club) in clubs {
        if club.method_version.is_none() && club.tally == Tally::default() {
            // The weekly figures have not been computed: counts still can be had from the shots.
            club.tally = tally_of(&club.shots);
        }
        let mut untold: Vec<(String, i64)> = Vec::new();
        for (reason, count) in reasons.remove(club_id).unwrap_or_default() {
            untold.push((reason.to_owned(), count));
        }
        untold.sort_by_key(|(_, count)| -count);
        club.untold = untold;
        club.trend = trend_of(player_id, club_id, week, losses);
        found.push(club);
    }
    found
}

fn club_from_loss(loss: &LossRow) -> ClubWeek {
    ClubWeek {
        club_id: loss.club_id.clone(),
        club_kind: None,
        tally: loss.tally,
        carry_lost: loss.mean,
        carry_lost_total: loss.total,
        lost_by_zone: loss.by_zone,
        tighter_strike_gain_m: loss.tighter_gain_m,
        faster_club_gain_m: loss.faster_gain_m,
        sessions: loss.sessions,
        model_as_of: loss.model_as_of,
        method_version: loss.method_version.clone(),
        revision: loss.revision,
        ..ClubWeek::default()
    }
}

fn trend_of(player_id: &str, club_id: &str, week: LocalDay, losses: &[LossRow]) -> Vec<TrendPoint> {
    let mut points = Vec::new();
    for loss in losses {
        let shown = loss.player_id == player_id && loss.club_id == club_id && loss.week > week - 7 * TREND_WEEKS;
        if let Some(carry_lost) = loss.mean.filter(|_| shown) {
            points.push(TrendPoint {
                week: loss.week,
                judged: loss.tally.judged,
                sessions: loss.sessions.unwrap_or_default(),
                carry_lost,
            });
        }
    }
    points
}

/// Counts from the shots themselves.
fn tally_of(shots: &[JudgedShot]) -> Tally {
    let mut tally = Tally { shots: count_of(shots), ..Tally::default() };
    for shot in shots {
        tally.judged += i64::from(shot.carry_lost_m.is_some());
        tally.misread += i64::from(shot.misread == Some(true));
        match shot.strike_source.as_deref() {
            Some("measured") => tally.measured += 1,
            Some("linked") => tally.linked += 1,
            // One axis may have been read where the other was inferred.
            Some("inferred" | "toe only" | "height only") => tally.inferred += 1,
            _ => {}
        }
        if !shot.is_miss() {
            continue;
        }
        tally.misses += 1;
        let place = match shot.cause.as_deref() {
            Some("strike") => &mut tally.strike,
            Some("delivery") => &mut tally.delivery,
            Some("either") => &mut tally.either,
            Some("both needed") => &mut tally.both_needed,
            Some("neither") => &mut tally.neither,
            _ => &mut tally.unclear,
        };
        *place += 1;
    }
    tally
}
