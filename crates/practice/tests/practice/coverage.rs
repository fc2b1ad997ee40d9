//! Intervals hold what they promise, and practice is not praised for nothing. Bounded here; `the_long_tables` prints more:
//! `cargo test -p practice --test practice -- --ignored --nocapture the_long_tables`.

use practice::{mean_by_sessions, practice_effect, strike_pattern};

use crate::players::{CarryHabit, Draws, PracticeHabit, SHARED, StrikeHabit, carry_weeks, practice_weeks};

const SEED: u64 = 20_261_201;

fn inside(low: Option<f64>, high: Option<f64>, truth: f64) -> bool {
    low.zip(high).is_some_and(|(low, high)| low <= truth && truth <= high)
}

/// Shares of intervals that hold the truth: the week's level, the player's, the next session's, the total as hit.
fn carry_coverage(habit: CarryHabit, players: u32) -> [f64; 4] {
    let mut draws = Draws::new(SEED);
    let mut held = [0.0; 4];
    for _ in 0..players {
        let weeks = carry_weeks(&mut draws, habit);
        let answer = mean_by_sessions(&weeks.values, SHARED);
        let hits = [
            inside(answer.mean_low, answer.mean_high, weeks.week_level),
            inside(answer.level_low, answer.level_high, weeks.level),
            inside(answer.next_session_low, answer.next_session_high, weeks.next_session),
            inside(answer.total_low, answer.total_high, weeks.total),
        ];
        for (share, hit) in held.iter_mut().zip(hits) {
            *share += if hit { 1.0 } else { 0.0 };
        }
    }
    held.map(|count| count / f64::from(players))
}

fn carry_habits() -> Vec<CarryHabit> {
    let mut habits = Vec::new();
    for weeks in [1, 3, 8] {
        for most_sessions in [1, 2] {
            for session_deviation in [0.0, 1.0, 2.5] {
                for skewed in [false, true] {
                    habits.push(CarryHabit {
                        weeks,
                        most_sessions,
                        session_deviation,
                        shot_deviation: 4.0,
                        reading_deviation: 1.5,
                        skewed,
                    });
                }
            }
        }
    }
    habits
}

/// Shares of ellipses that hold the next strike, and of intervals that hold mean, spread ratio and shift.
fn pattern_coverage(habit: StrikeHabit, sessions: u32, size: u32, players: u32) -> [f64; 4] {
    let mut draws = Draws::new(SEED + 1);
    let mut held = [0.0; 4];
    for _ in 0..players {
        let mut strikes = habit.sessions(&mut draws, 10, sessions, size, true);
        strikes.extend(habit.sessions(&mut draws, 1, 4, size, false));
        let answer = strike_pattern(&strikes);
        let place = habit.session(&mut draws);
        let next = habit.strike(&mut draws, place);
        let hits = [
            within_ellipse(&answer, next),
            inside(answer.mean_toe_low_mm, answer.mean_toe_high_mm, habit.mean[0]),
            inside(answer.spread_ratio_low, answer.spread_ratio_high, 1.0),
            inside(answer.shift_up_low_mm, answer.shift_up_high_mm, 0.0),
        ];
        for (share, hit) in held.iter_mut().zip(hits) {
            *share += if hit { 1.0 } else { 0.0 };
        }
    }
    held.map(|count| count / f64::from(players))
}

fn within_ellipse(answer: &practice::StrikePattern, place: [f64; 2]) -> bool {
    let number = |value: Option<f64>| value.expect("a pattern");
    if answer.ellipse_long_mm.is_none() {
        // One that is not told reaches beyond every face.
        return true;
    }
    let (toe, up) = (place[0] - number(answer.next_toe_mm), place[1] - number(answer.next_up_mm));
    let (sine, cosine) = number(answer.ellipse_tilt_deg).to_radians().sin_cos();
    let along = (cosine * toe + sine * up) / number(answer.ellipse_long_mm);
    let across = (cosine * up - sine * toe) / number(answer.ellipse_short_mm);
    along * along + across * across <= 1.0
}

fn strike_habits() -> Vec<StrikeHabit> {
    let mut habits = Vec::new();
    for session_share in [0.0, 0.3, 0.6] {
        for (reading, inferred) in [([1.0, 1.0], false), ([3.0, 2.5], true)] {
            habits.push(StrikeHabit {
                mean: [9.0, -2.0],
                spread: [9.0, 6.0],
                correlation: 0.3,
                session_share,
                reading,
                inferred,
            });
        }
    }
    habits
}

fn practice_habit(left: f64, memory: f64, inferred: bool, weeks_after: u32) -> PracticeHabit {
    PracticeHabit {
        strikes: StrikeHabit {
            mean: [9.0, -2.0],
            spread: [9.0, 6.0],
            correlation: 0.3,
            session_share: 0.3,
            reading: if inferred { [3.0, 2.5] } else { [1.0, 1.0] },
            inferred,
        },
        form: 0.15,
        memory,
        left,
        weeks_after,
    }
}

/// Shares of `too early`, `early sign`, `holds`, `no change`.
fn effect_shares(habit: PracticeHabit, players: u32) -> [f64; 4] {
    let mut draws = Draws::new(SEED + 2);
    let mut shares = [0.0; 4];
    for _ in 0..players {
        let strikes = practice_weeks(&mut draws, habit);
        let effect = practice_effect(&strikes).effect.expect("an effect");
        let names = ["too early", "early sign", "holds", "no change"];
        let position = names.iter().position(|name| *name == effect).expect("a known answer");
        shares[position] += 1.0;
    }
    shares.map(|count| count / f64::from(players))
}

/// Three standard errors of a share of 0.9 (0.95 for ellipses): what chance alone may take from the limits.
fn chance(players: u32) -> f64 {
    3.0 * (0.09 / f64::from(players)).sqrt()
}

#[test]
fn nine_of_ten_weekly_intervals_hold_the_truth() {
    let players = 80;
    let mut pooled = [0.0; 4];
    let mut counted = [0.0; 4];
    for habit in carry_habits() {
        let held = carry_coverage(habit, players);
        for (position, share) in held.into_iter().enumerate() {
            // From one or two sessions no level is told.
            if habit.weeks >= 3 || position == 0 || position == 3 {
                pooled[position] += share;
                counted[position] += 1.0;
                assert!(share >= 0.85 - chance(players), "{habit:?}: {held:?}");
            }
        }
    }
    for (sum, count) in pooled.iter().zip(counted) {
        let share = sum / count;
        assert!((0.85..=0.95).contains(&share), "{pooled:?} of {counted:?}");
    }
}

#[test]
fn ellipses_hold_the_next_strike() {
    for habit in strike_habits() {
        for (sessions, size) in [(1, 8), (2, 15)] {
            let held = pattern_coverage(habit, sessions, size, 80);
            assert!(held[0] >= 0.95 - 3.0 * (0.05_f64 * 0.95 / 80.0).sqrt() - 0.02, "{habit:?} {sessions}: {held:?}");
            for share in &held[1..] {
                assert!(*share >= 0.85 - chance(80), "{habit:?} {sessions}: {held:?}");
            }
        }
    }
}

#[test]
fn practice_without_effect_is_rarely_praised_and_a_real_one_is_seen() {
    let players = 200;
    for memory in [0.0, 0.5] {
        for inferred in [false, true] {
            let idle = effect_shares(practice_habit(1.0, memory, inferred, 8), players);
            assert!(idle[2] < 0.05, "{memory} {inferred}: {idle:?}");
            let real = effect_shares(practice_habit(0.7, memory, inferred, 8), 60);
            assert!(real[2] > 0.5, "{memory} {inferred}: {real:?}");
        }
    }
}

#[test]
#[ignore = "a table for the documentation, minutes long"]
fn the_long_tables() {
    println!("weeks sessions tau skewed | week level, player level, next session, total");
    for habit in carry_habits() {
        let held = carry_coverage(habit, 500);
        println!(
            "{} 1-{} {} {} | {:.3} {:.3} {:.3} {:.3}",
            habit.weeks, habit.most_sessions, habit.session_deviation, habit.skewed, held[0], held[1], held[2], held[3]
        );
    }
    println!("session share, inferred, sessions x strikes | ellipse, mean, spread ratio, shift");
    for habit in strike_habits() {
        for (sessions, size) in [(1, 8), (1, 20), (2, 15)] {
            let held = pattern_coverage(habit, sessions, size, 300);
            println!(
                "{} {} {sessions}x{size} | {:.3} {:.3} {:.3} {:.3}",
                habit.session_share, habit.inferred, held[0], held[1], held[2], held[3]
            );
        }
    }
    println!("left, memory, inferred, weeks after | too early, early sign, holds, no change");
    for weeks_after in [2, 4, 8] {
        for left in [1.0, 0.9, 0.8, 0.7] {
            for (memory, inferred) in [(0.0, false), (0.5, false), (0.8, false), (0.5, true)] {
                let shares = effect_shares(practice_habit(left, memory, inferred, weeks_after), 300);
                println!(
                    "{left} {memory} {inferred} {weeks_after} | {:.3} {:.3} {:.3} {:.3}",
                    shares[0], shares[1], shares[2], shares[3]
                );
            }
        }
    }
}
