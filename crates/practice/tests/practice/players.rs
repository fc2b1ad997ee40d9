//! Players whose truth is known, drawn with a seed. Units as in the data: m for carry, mm on the face.

use practice::{Measurement, PracticeStrike, Strike, StrikeSource};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

pub struct Draws(ChaCha8Rng);

impl Draws {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    pub fn between(&mut self, least: u32, most: u32) -> u32 {
        self.0.random_range(least..=most)
    }
}

/// How a player's carry loss varies.
#[derive(Debug, Clone, Copy)]
pub struct CarryHabit {
    pub weeks: u32,
    pub most_sessions: u32,
    pub session_deviation: f64,
    pub shot_deviation: f64,
    pub reading_deviation: f64,
    /// Whether the loss is the skewed one of real strikes (a square of the offset) instead of a normal draw.
    pub skewed: bool,
}

pub struct CarryWeeks {
    pub values: Vec<Measurement>,
    /// True level of the last week's sessions, weighted by their shots.
    pub week_level: f64,
    /// True level of the player.
    pub level: f64,
    /// True sum of the last week's losses.
    pub total: f64,
    /// True level of a session to come.
    pub next_session: f64,
}

/// Share of the readings' error variance that they have in common.
pub const SHARED: f64 = 0.2;

pub fn carry_weeks(draws: &mut Draws, habit: CarryHabit) -> CarryWeeks {
    let level = 5.0;
    let common_error = SHARED.sqrt() * habit.reading_deviation * draws.normal();
    let mut weeks = CarryWeeks { values: Vec::new(), week_level: 0.0, level, total: 0.0, next_session: 0.0 };
    let mut current = 0.0;
    let mut session = 0;
    for week in 0..habit.weeks {
        for _ in 0..draws.between(1, habit.most_sessions) {
            session += 1;
            let session_level = level + habit.session_deviation * draws.normal();
            for _ in 0..draws.between(8, 30) {
                // Chi-square with two degrees, moved and scaled, has the mean 0 and the deviation 1 of a normal draw.
                let unit = if habit.skewed {
                    0.5 * (draws.normal().powi(2) + draws.normal().powi(2)) - 1.0
                } else {
                    draws.normal()
                };
                let truth = session_level + habit.shot_deviation * unit;
                let own_error = (1.0 - SHARED).sqrt() * habit.reading_deviation * draws.normal();
                let is_current = week + 1 == habit.weeks;
                if is_current {
                    current += 1.0;
                    weeks.week_level += session_level;
                    weeks.total += truth;
                }
                weeks.values.push(Measurement {
                    value: truth + common_error + own_error,
                    deviation: habit.reading_deviation,
                    session,
                    day: 7 * week.cast_signed(),
                    current: is_current,
                });
            }
        }
    }
    weeks.week_level /= current;
    weeks.next_session = level + habit.session_deviation * draws.normal();
    weeks
}

/// How a player's strikes vary.
#[derive(Debug, Clone, Copy)]
pub struct StrikeHabit {
    pub mean: [f64; 2],
    pub spread: [f64; 2],
    pub correlation: f64,
    /// Deviation of session means, in spreads of a shot.
    pub session_share: f64,
    pub reading: [f64; 2],
    pub inferred: bool,
}

impl StrikeHabit {
    /// A true strike about a session's own mean.
    pub fn strike(&self, draws: &mut Draws, session: [f64; 2]) -> [f64; 2] {
        let (first, second) = (draws.normal(), draws.normal());
        let rest = (1.0 - self.correlation * self.correlation).sqrt();
        [session[0] + self.spread[0] * first, session[1] + self.spread[1] * (self.correlation * first + rest * second)]
    }

    /// A session's own mean.
    pub fn session(&self, draws: &mut Draws) -> [f64; 2] {
        [
            self.mean[0] + self.session_share * self.spread[0] * draws.normal(),
            self.mean[1] + self.session_share * self.spread[1] * draws.normal(),
        ]
    }

    /// What the data say of a true strike.
    pub fn seen(&self, draws: &mut Draws, truth: [f64; 2], session: u32, current: bool) -> Strike {
        let mut strike = Strike {
            toe_mm: truth[0] + self.reading[0] * draws.normal(),
            up_mm: truth[1] + self.reading[1] * draws.normal(),
            toe_sd_mm: self.reading[0],
            up_sd_mm: self.reading[1],
            correlation: 0.0,
            source: StrikeSource::Measured,
            posterior: false,
            delivery_measured: None,
            prior: None,
            session,
            day: session.cast_signed(),
            current,
        };
        if self.inferred {
            // The posterior under the verdict's own prior, 0 +- 12 and 0 +- 8 mm.
            let toe_variance = 1.0 / (1.0 / 144.0 + 1.0 / self.reading[0].powi(2));
            let up_variance = 1.0 / (1.0 / 64.0 + 1.0 / self.reading[1].powi(2));
            strike.toe_mm *= toe_variance / self.reading[0].powi(2);
            strike.up_mm *= up_variance / self.reading[1].powi(2);
            strike.toe_sd_mm = toe_variance.sqrt();
            strike.up_sd_mm = up_variance.sqrt();
            strike.source = StrikeSource::Inferred;
            strike.posterior = true;
            strike.delivery_measured = Some(true);
        }
        strike
    }

    /// Strikes of some sessions of the given size.
    pub fn sessions(&self, draws: &mut Draws, first: u32, count: u32, size: u32, current: bool) -> Vec<Strike> {
        let mut strikes = Vec::new();
        for session in first..first + count {
            let own = self.session(draws);
            for _ in 0..size {
                let truth = self.strike(draws, own);
                strikes.push(self.seen(draws, truth, session, current));
            }
        }
        strikes
    }
}

/// A player who begins practice because the last week was bad.
#[derive(Debug, Clone, Copy)]
pub struct PracticeHabit {
    pub strikes: StrikeHabit,
    /// Deviation of a session's spread, as a share of the spread.
    pub form: f64,
    /// How much of a week's form is left the week after.
    pub memory: f64,
    /// What practice leaves of spread and offset: 1 nothing changes.
    pub left: f64,
    pub weeks_after: u32,
}

pub fn practice_weeks(draws: &mut Draws, habit: PracticeHabit) -> Vec<PracticeStrike> {
    let mut strikes = Vec::new();
    let mut form = draws.normal();
    let mut session = 0;
    let mut day = 0;
    let mut start = None;
    // Practice begins with the first week whose form is a deviation worse, from the fifth week on and within a year.
    for week in 0..60_u32 {
        form = habit.memory * form + (1.0 - habit.memory * habit.memory).sqrt() * draws.normal();
        let left = if start.is_some() { habit.left } else { 1.0 };
        for visit in 0..draws.between(1, 2) {
            session += 1;
            day = 7 * week.cast_signed() + 3 * visit.cast_signed();
            // Half of the form's variance is the week's and half the session's own.
            let own = (0.5_f64.sqrt() * (form + draws.normal())).clamp(-2.5, 2.5);
            let scale = left * (1.0 + habit.form * own);
            let place = habit.strikes.session(draws);
            for _ in 0..draws.between(10, 25) {
                let truth = habit.strikes.strike(draws, place).map(|position| position * scale);
                strikes.push(practised(habit.strikes.seen(draws, truth, session, false), truth, day, false));
            }
        }
        match start {
            None if week >= 4 && (form > 1.0 || week >= 52) => {
                start = Some(week);
                // A drill session ends the bad week.
                session += 1;
                for _ in 0..20 {
                    let truth = habit.strikes.strike(draws, [0.0, 0.0]).map(|position| 0.7 * position);
                    strikes.push(practised(habit.strikes.seen(draws, truth, session, false), truth, day + 1, true));
                }
            }
            Some(first) if week >= first + habit.weeks_after => break,
            _ => {}
        }
    }
    strikes
}

fn practised(strike: Strike, truth: [f64; 2], day: i32, drill: bool) -> PracticeStrike {
    PracticeStrike {
        toe_mm: strike.toe_mm,
        up_mm: strike.up_mm,
        toe_sd_mm: strike.toe_sd_mm,
        up_sd_mm: strike.up_sd_mm,
        source: strike.source,
        posterior: strike.posterior,
        // About a hundredth of a metre a square millimetre: 20 mm cost a driver about 4 m.
        carry_lost_m: Some(0.01 * (truth[0].powi(2) + truth[1].powi(2))),
        session: strike.session,
        day,
        drill,
    }
}
