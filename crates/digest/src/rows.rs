//! Rows of the datasets a summary needs, with players filtered before anything else is looked at.

use std::collections::{BTreeMap, BTreeSet};

use shot::{Hand, LocalDay};

use crate::DigestError;
use crate::coach_week::{Estimate, FEWEST_JUDGED_SHOTS, JudgedShot, Tally, ZONES};
use crate::published::Batches;
use crate::tables::Table;

/// A player the summary may speak of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Player {
    /// Alias.
    pub player_id: String,
    /// Playing hand.
    pub hand: Hand,
}

/// A row of `shot_verdicts` that counts.
#[derive(Debug, Clone, PartialEq)]
pub struct VerdictRow {
    /// Alias.
    pub player_id: String,
    /// Club.
    pub club_id: String,
    /// The shot.
    pub shot: JudgedShot,
    /// Why something cannot be told.
    pub reason: Option<String>,
}

/// A row of `carry_loss`.
#[derive(Debug, Clone, PartialEq)]
pub struct LossRow {
    /// Alias.
    pub player_id: String,
    /// Club.
    pub club_id: String,
    /// Monday.
    pub week: LocalDay,
    /// Counts.
    pub tally: Tally,
    /// Carry lost per shot, metres.
    pub mean: Option<Estimate>,
    /// Carry lost over the week, metres.
    pub total: Option<Estimate>,
    /// By zone, metres.
    pub by_zone: [Option<f64>; ZONES.len()],
    /// Gain of a tighter pattern, metres a shot.
    pub tighter_gain_m: Option<f64>,
    /// Gain of a faster club, metres a shot.
    pub faster_gain_m: Option<f64>,
    /// Sessions.
    pub sessions: Option<i64>,
    /// Day up to which the reference was formed.
    pub model_as_of: Option<LocalDay>,
    /// Method.
    pub method_version: Option<String>,
    /// Recomputations.
    pub revision: i64,
}

/// The players of a coach at a site who have agreed to be analysed; with no coach, every such player of the site.
pub fn players(batches: &Batches, site_id: &str, coach: Option<&str>) -> Result<Vec<Player>, DigestError> {
    let mut found = Vec::new();
    for batch in batches {
        let table = Table::new("players", batch);
        let (sites, aliases, hands) = (table.texts("site_id")?, table.texts("player_id")?, table.integers("hand")?);
        let (coaches, consents) = (table.texts("coach")?, table.flags("consent")?);
        for row in 0..table.rows() {
            // Consent must be there in so many words: a missing flag is a no.
            let may_show = consents[row] == Some(true)
                && sites[row].as_deref() == Some(site_id)
                && coach.is_none_or(|wanted| coaches[row].as_deref() == Some(wanted));
            let Some(player_id) = aliases[row].clone().filter(|_| may_show) else { continue };
            let hand = if hands[row] == Some(-1) { Hand::Left } else { Hand::Right };
            found.push(Player { player_id, hand });
        }
    }
    Ok(found)
}

/// The coaches of the players of a site who have agreed to be analysed.
pub fn coaches(batches: &Batches, site_id: &str) -> Result<Vec<String>, DigestError> {
    let mut found = BTreeSet::new();
    for batch in batches {
        let table = Table::new("players", batch);
        let (sites, coaches, consents) = (table.texts("site_id")?, table.texts("coach")?, table.flags("consent")?);
        for ((site, coach), consent) in sites.into_iter().zip(coaches).zip(consents) {
            if consent == Some(true) && site.as_deref() == Some(site_id) {
                found.extend(coach);
            }
        }
    }
    Ok(found.into_iter().collect())
}

/// Kinds of the players' clubs by alias and club.
pub fn club_kinds(batches: &Batches) -> Result<BTreeMap<(String, String), String>, DigestError> {
    let mut kinds = BTreeMap::new();
    for batch in batches {
        let table = Table::new("clubs", batch);
        let (aliases, clubs, kinds_here) =
            (table.texts("player_id")?, table.texts("club_id")?, table.texts("club_kind")?);
        for ((alias, club), kind) in aliases.into_iter().zip(clubs).zip(kinds_here) {
            if let (Some(alias), Some(club), Some(kind)) = (alias, club, kind) {
                kinds.insert((alias, club), kind);
            }
        }
    }
    Ok(kinds)
}

/// The counting shots of a week, of the allowed players only.
pub fn verdicts(
    batches: &Batches,
    site_id: &str,
    week: LocalDay,
    allowed: &BTreeSet<String>,
) -> Result<Vec<VerdictRow>, DigestError> {
    let mut found = Vec::new();
    for batch in batches {
        let table = Table::new("shot_verdicts", batch);
        let (sites, aliases, clubs) = (table.texts("site_id")?, table.texts("player_id")?, table.texts("club_id")?);
        let (days, counted) = (table.days("local_date")?, table.flags("counted")?);
        let (instants, misread) = (table.instants("struck_at")?, table.flags("misread")?);
        let (misses, causes) = (table.texts("miss")?, table.texts("cause")?);
        let (sources, reasons) = (table.texts("strike_source")?, table.texts("reason")?);
        let probability = table.reals("cause_probability")?;
        let (lateral, carry) = (table.reals("lateral_m")?, table.reals("carry_m")?);
        let (centred_lateral, centred_carry) = (table.reals("centred_lateral_m")?, table.reals("centred_carry_m")?);
        let lost = table.reals("carry_lost_to_strike_m")?;
        let (toe, up) = (table.reals("strike_toe_mm")?, table.reals("strike_up_mm")?);
        for row in 0..table.rows() {
            let in_week = days[row].is_some_and(|day| shot::monday_of(day) == week);
            let here = sites[row].as_deref() == Some(site_id) && counted[row] != Some(false);
            let (Some(player_id), Some(club_id)) = (aliases[row].clone(), clubs[row].clone()) else { continue };
            if !in_week || !here || !allowed.contains(&player_id) {
                continue;
            }
            let judged = JudgedShot {
                struck_at: instants[row].unwrap_or_default(),
                miss: misses[row].clone(),
                cause: causes[row].clone(),
                cause_probability: probability[row],
                lateral_m: lateral[row],
                carry_m: carry[row],
                centred_lateral_m: centred_lateral[row],
                centred_carry_m: centred_carry[row],
                carry_lost_m: lost[row],
                toe_mm: toe[row],
                up_mm: up[row],
                strike_source: sources[row].clone(),
                misread: misread[row],
            };
            found.push(VerdictRow { player_id, club_id, shot: judged, reason: reasons[row].clone() });
        }
    }
    found.sort_by_key(|row| row.shot.struck_at);
    Ok(found)
}

/// The weekly figures up to a week, of the allowed players only.
pub fn losses(
    batches: &Batches,
    site_id: &str,
    last_week: LocalDay,
    allowed: &BTreeSet<String>,
) -> Result<Vec<LossRow>, DigestError> {
    let mut found = Vec::new();
    for batch in batches {
        let table = Table::new("carry_loss", batch);
        let (sites, aliases, clubs) = (table.texts("site_id")?, table.texts("player_id")?, table.texts("club_id")?);
        let weeks = table.days("week")?;
        let counts = TallyColumns::read(&table)?;
        let mut means = estimates(&table, "carry_lost_mean_m", "carry_lost_mean_low_m", "carry_lost_mean_high_m")?;
        let totals = estimates(&table, "carry_lost_total_m", "carry_lost_total_low_m", "carry_lost_total_high_m")?;
        let mut zones = Vec::with_capacity(ZONES.len());
        for zone in ZONES {
            zones.push(table.reals(&format!("lost_{zone}_m"))?);
        }
        let (tighter, faster) = (table.reals("tighter_strike_gain_mean_m")?, table.reals("faster_club_gain_mean_m")?);
        let (sessions, revisions) = (table.integers("sessions")?, table.integers("revision")?);
        let (model_as_of, methods) = (table.days("model_as_of")?, table.texts("method_version")?);
        for row in 0..table.rows() {
            let (Some(player_id), Some(club_id), Some(week)) = (aliases[row].clone(), clubs[row].clone(), weeks[row])
            else {
                continue;
            };
            if week > last_week || sites[row].as_deref() != Some(site_id) || !allowed.contains(&player_id) {
                continue;
            }
            let tally = counts.row(row);
            if tally.judged < FEWEST_JUDGED_SHOTS {
                means[row] = None; // whatever the job wrote, so few shots carry no average
            }
            let mut by_zone = [None; ZONES.len()];
            for (place, zone) in by_zone.iter_mut().zip(&zones) {
                *place = zone[row];
            }
            found.push(LossRow {
                player_id,
                club_id,
                week,
                tally,
                mean: means[row],
                total: totals[row],
                by_zone,
                tighter_gain_m: tighter[row],
                faster_gain_m: faster[row],
                sessions: sessions[row],
                model_as_of: model_as_of[row],
                method_version: methods[row].clone(),
                revision: revisions[row].unwrap_or_default(),
            });
        }
    }
    found.sort_by_key(|row| row.week);
    Ok(found)
}

/// A mean without both ends of its interval counts as not known.
fn estimates(table: &Table<'_>, mean: &str, low: &str, high: &str) -> Result<Vec<Option<Estimate>>, DigestError> {
    let (means, lows, highs) = (table.reals(mean)?, table.reals(low)?, table.reals(high)?);
    let mut found = Vec::with_capacity(means.len());
    for ((mean, low), high) in means.into_iter().zip(lows).zip(highs) {
        found.push(match (mean, low, high) {
            (Some(mean), Some(low), Some(high)) => Some(Estimate { mean, low, high }),
            _ => None,
        });
    }
    Ok(found)
}

/// The count columns of `carry_loss`, in the order of [`TallyColumns::NAMES`].
struct TallyColumns(Vec<Vec<Option<i64>>>);

impl TallyColumns {
    const NAMES: [&'static str; 13] = [
        "shots",
        "shots_judged",
        "strikes_measured",
        "strikes_linked",
        "strikes_inferred",
        "misses",
        "misses_strike",
        "misses_delivery",
        "misses_either",
        "misses_both_needed",
        "misses_neither",
        "misses_unclear",
        "misread_curves",
    ];

    fn read(table: &Table<'_>) -> Result<TallyColumns, DigestError> {
        let mut columns = Vec::with_capacity(TallyColumns::NAMES.len());
        for name in TallyColumns::NAMES {
            columns.push(table.integers(name)?);
        }
        Ok(TallyColumns(columns))
    }

    fn row(&self, row: usize) -> Tally {
        let count = |position: usize| self.0[position][row].unwrap_or_default();
        Tally {
            shots: count(0),
            judged: count(1),
            measured: count(2),
            linked: count(3),
            inferred: count(4),
            misses: count(5),
            strike: count(6),
            delivery: count(7),
            either: count(8),
            both_needed: count(9),
            neither: count(10),
            unclear: count(11),
            misread: count(12),
        }
    }
}
