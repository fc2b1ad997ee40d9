//! Counts over the demo: what the README claims and a person who tunes the habits wants to see.

use std::collections::BTreeMap;

use shot::Intent;

use super::record::{DemoShot, Recorded};
use super::timetable::Bay;
use crate::{MissRule, TrueCause};

/// What became of one player's full driver shots (play and drill).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DriverTally {
    /// How many.
    pub shots: usize,
    /// How many of them missed.
    pub misses: usize,
    /// Misses by true cause.
    pub causes: BTreeMap<TrueCause, usize>,
    /// Carry lost to the strike of each, in m.
    pub carry_lost_m: Vec<f64>,
}

impl DriverTally {
    /// The share of misses with a cause, 0 where there is no miss.
    pub fn share(&self, cause: TrueCause) -> f64 {
        let count = self.causes.get(&cause).copied().unwrap_or(0);
        count as f64 / self.misses.max(1) as f64
    }

    /// Median carry lost to the strike in m; `None` without shots.
    pub fn median_carry_lost_m(&self) -> Option<f64> {
        let mut sorted = self.carry_lost_m.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied()
    }

    fn add(&mut self, shot: &DemoShot) {
        self.shots += 1;
        self.carry_lost_m.push(shot.truth.carry_lost_to_strike_m());
        if let Some(cause) = MissRule::default().cause(&shot.truth) {
            self.misses += 1;
            *self.causes.entry(cause).or_insert(0) += 1;
        }
    }
}

/// Driver tallies by who swung; coaches' demonstrations, warm-ups and partial swings do not count.
pub fn drivers(recorded: &[Recorded]) -> BTreeMap<&'static str, DriverTally> {
    let mut tallies: BTreeMap<&'static str, DriverTally> = BTreeMap::new();
    for shot in recorded.iter().flat_map(|session| &session.shots) {
        if shot.club_id == "driver" && matches!(shot.intent, Intent::Play | Intent::Drill) {
            tallies.entry(shot.swung_by).or_default().add(shot);
        }
    }
    tallies
}

/// All tallies in one.
pub fn together(tallies: &BTreeMap<&'static str, DriverTally>) -> DriverTally {
    let mut sum = DriverTally::default();
    for tally in tallies.values() {
        sum.shots += tally.shots;
        sum.misses += tally.misses;
        sum.carry_lost_m.extend(&tally.carry_lost_m);
        for (cause, count) in &tally.causes {
            *sum.causes.entry(*cause).or_insert(0) += count;
        }
    }
    sum
}

/// Shots by bay.
pub fn by_bay(recorded: &[Recorded]) -> BTreeMap<Bay, usize> {
    count(recorded.iter().flat_map(|session| session.shots.iter().map(|_| session.session.bay)))
}

/// Shots by the name the device logged.
pub fn by_player(recorded: &[Recorded]) -> BTreeMap<&'static str, usize> {
    count(recorded.iter().flat_map(|session| session.shots.iter().map(|shot| shot.logged_as)))
}

/// Shots by purpose, as the word of the data.
pub fn by_intent(recorded: &[Recorded]) -> BTreeMap<&'static str, usize> {
    count(recorded.iter().flat_map(|session| session.shots.iter().map(|shot| shot.intent.word())))
}

/// Shots by club.
pub fn by_club(recorded: &[Recorded]) -> BTreeMap<&'static str, usize> {
    count(recorded.iter().flat_map(|session| session.shots.iter().map(|shot| shot.club_id)))
}

fn count<Key: Ord>(keys: impl Iterator<Item = Key>) -> BTreeMap<Key, usize> {
    let mut counts = BTreeMap::new();
    for key in keys {
        *counts.entry(key).or_insert(0) += 1;
    }
    counts
}
