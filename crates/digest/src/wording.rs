//! Numbers and findings in words. Every sentence of the page that carries a figure is made here.

use std::fmt::Write as _;

use crate::Units;
use crate::coach_week::{ClubWeek, Estimate, FEWEST_JUDGED_SHOTS, Tally};

/// A number with one decimal and a true minus sign; zero never has a sign.
pub fn number(value: f64, decimals: usize) -> String {
    let plain = format!("{value:.decimals$}");
    match plain.strip_prefix('-') {
        Some(magnitude) if magnitude.bytes().all(|byte| byte == b'0' || byte == b'.') => magnitude.to_owned(),
        Some(magnitude) => format!("\u{2212}{magnitude}"),
        None => plain,
    }
}

/// A length in metres, shown in the chosen unit: `4.2 yd`.
pub fn length(metres: f64, units: Units) -> String {
    format!("{}\u{a0}{}", number(units.from_metres(metres), 1), units.symbol())
}

/// A mean with its interval: `4.2 yd (3.1 to 5.3)`.
pub fn estimate(value: Estimate, units: Units) -> String {
    let shown = |metres: f64| number(units.from_metres(metres), 1);
    format!("{} ({}\u{a0}to\u{a0}{})", length(value.mean, units), shown(value.low), shown(value.high))
}

/// A count with its noun: `1 shot`, `2 shots`.
pub fn counted(count: i64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// How sure, in words and as a number: `very likely (84 %)`.
pub fn certainty(probability: f64) -> String {
    let word = match probability {
        share if share >= 0.95 => "almost certain",
        share if share >= 0.8 => "very likely",
        share if share >= 0.6 => "likely",
        _ => "not to be told",
    };
    // 100 % would claim what no inference can.
    format!("{word} ({}\u{a0}%)", (probability * 100.0).round().clamp(0.0, 99.0))
}

/// How many items a list has, as the counts of the data have it.
pub fn count_of<T>(items: &[T]) -> i64 {
    i64::try_from(items.len()).unwrap_or(i64::MAX)
}

/// A club or word of the data as people write it: `7-iron` becomes `7 iron`.
pub fn plain_word(text: &str) -> String {
    text.replace(['-', '_'], " ")
}

/// The text with a capital first letter.
pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A miss in words: `short-left` becomes `short and left`.
pub fn miss_words(miss: &str) -> String {
    miss.replace('-', " and ")
}

/// The first headline: carry lost to strike per shot, or why there is no number.
pub fn carry_lost_sentence(club: &ClubWeek, units: Units) -> String {
    let name = plain_word(&club.club_id);
    let judged = counted(club.tally.judged, "shot", "shots");
    let Some(lost) = club.carry_lost else {
        if club.tally.judged == 0 {
            return "No number for the strike: it could not be judged for any shot with this club; the reasons stand below."
                .to_owned();
        }
        if club.tally.judged < FEWEST_JUDGED_SHOTS {
            return format!(
                "Too few shots for a number: the strike could be judged for {judged}, and an average needs at least {FEWEST_JUDGED_SHOTS}."
            );
        }
        return format!("No average yet: {judged} judged, but too little is known to give a number with an interval.");
    };
    let shown = |metres: f64| number(units.from_metres(metres), 1);
    let range = |joined: &str| format!("{}{joined}{}\u{a0}{}", shown(lost.low), shown(lost.high), units.symbol());
    if lost.low > 0.0 {
        return format!(
            "Off-centre strikes cost {} of carry per {name} shot; the data put it between {} (90\u{a0}% interval).",
            length(lost.mean, units),
            range(" and ")
        );
    }
    format!(
        "No clear carry loss to strike per {name} shot: the average is {}, and the 90\u{a0}% interval from {} takes in zero.",
        length(lost.mean, units),
        range(" to ")
    )
}

/// The second headline: curves that would have been misread.
pub fn misread_sentence(tally: Tally) -> String {
    match tally.misread {
        0 if tally.judged == 0 => "Whether any curve would have been misread cannot be told.".to_owned(),
        0 => "No curve of the week is surely misread; many of those that mislead go unnoticed.".to_owned(),
        1 => "1 curve would have been misread: taken from the flight alone, it points to a face and path that were not there."
            .to_owned(),
        count => format!(
            "{count} curves would have been misread: taken from the flight alone, they point to a face and path that were not there."
        ),
    }
}

/// Misses by cause.
pub fn misses_sentence(tally: Tally, mean_strike_certainty: Option<f64>) -> String {
    if tally.misses == 0 {
        return format!("None of {} was a miss.", counted(tally.shots, "shot", "shots"));
    }
    let mut parts = vec![format!("{} caused by the strike", tally.strike)];
    if let Some(probability) = mean_strike_certainty.filter(|_| tally.strike > 0) {
        let on_average = if tally.strike > 1 { "on average " } else { "" };
        let _ = write!(parts[0], ", {on_average}{}", certainty(probability)); // a String takes everything
    }
    parts.push(format!("{} by the delivery", tally.delivery));
    let rarer = [
        (tally.either, "that either alone would have mended"),
        (tally.both_needed, "that only both together would have mended"),
        (tally.neither, "that neither would have mended"),
    ];
    for (count, words) in rarer {
        if count > 0 {
            parts.push(format!("{count} {words}"));
        }
    }
    parts.push(format!("{} whose cause cannot be told", tally.unclear));
    let verb = if tally.misses == 1 { "was a miss" } else { "were misses" };
    format!("{} of {} {verb}: {}.", tally.misses, counted(tally.shots, "shot", "shots"), parts.join("; "))
}

/// What the figures rest on.
pub fn basis_sentence(tally: Tally, sessions: Option<i64>) -> String {
    let over =
        sessions.filter(|count| *count > 0).map(|count| format!(" in {}", counted(count, "session", "sessions")));
    format!(
        "Rests on {}{}; the strike could be judged for {}. Strike positions: {} measured, {} linked afterwards, {} inferred from the ball.",
        counted(tally.shots, "shot", "shots"),
        over.unwrap_or_default(),
        tally.judged,
        tally.measured,
        tally.linked,
        tally.inferred
    )
}

/// What tighter strikes would give back, beside what a faster club would.
pub fn gains_sentence(club: &ClubWeek, units: Units) -> Option<String> {
    let tighter = club.tighter_strike_gain_m?;
    // Under half a unit there is nothing to win, and a number would only invite to practise for it.
    (units.from_metres(tighter) >= 0.5).then(|| {
        let gain = length(tighter, units);
        format!("Strikes a quarter nearer to the face centre would give back about {gain} of carry per shot.")
    })
}

/// What to practise first, as a heading of the practice part.
pub fn practice_heading(practise_next: Option<&str>) -> &'static str {
    match practise_next {
        Some("strike first") => "Strike first",
        Some("delivery first") => "Delivery first",
        Some("keep going") => "Keep going",
        _ => "Not enough shots",
    }
}

/// What that means, in plain words.
pub fn practice_meaning(practise_next: Option<&str>) -> &'static str {
    match practise_next {
        Some("strike first") => "Work on where the face meets the ball before changing anything in the swing.",
        Some("delivery first") => "Work on path, face and attack before the strike.",
        Some("keep going") => "These figures alone do not put strike or swing first.",
        _ => "These figures cannot favour strike or delivery yet.",
    }
}

/// The reason for the advice where the job gives none.
pub fn usual_reason(practise_next: Option<&str>) -> &'static str {
    match practise_next {
        Some("strike first") => "The strike explains more of the week than the delivery does.",
        Some("delivery first") => "The delivery explains more of the week than the strike does.",
        Some("keep going") => "Neither strike nor delivery stands out.",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-1.25, 2), "\u{2212}1.25");
        assert_eq!(length(9.144, Units::Yards), "10.0\u{a0}yd"); // [source: NIST SP 811]
        assert_eq!(certainty(0.999), "almost certain (99\u{a0}%)");
        assert_eq!(certainty(0.6), "likely (60\u{a0}%)");
        assert_eq!(miss_words("short-left"), "short and left");
        assert_eq!(capitalised(&plain_word("fairway-wood")), "Fairway wood");
    }

    #[test]
    fn an_interval_that_takes_in_zero_claims_no_loss() {
        let mut club = ClubWeek { club_id: "driver".into(), ..ClubWeek::default() };
        club.tally.judged = 20;
        club.carry_lost = Some(Estimate { mean: 1.0, low: -0.5, high: 2.5 });
        let sentence = carry_lost_sentence(&club, Units::Metres);
        assert!(sentence.starts_with("No clear carry loss"), "{sentence}");
        assert!(sentence.contains("\u{2212}0.5 to 2.5\u{a0}m"), "{sentence}");
    }

    #[test]
    fn what_was_not_judged_is_not_claimed() {
        let unjudged = Tally { shots: 8, ..Tally::default() };
        assert!(misread_sentence(unjudged).contains("cannot be told"));
        let club = ClubWeek { tally: unjudged, ..ClubWeek::default() };
        assert!(carry_lost_sentence(&club, Units::Yards).starts_with("No number for the strike"));
    }

    #[test]
    fn every_miss_of_the_tally_is_named() {
        let tally = Tally {
            shots: 30,
            misses: 9,
            strike: 3,
            delivery: 2,
            either: 1,
            both_needed: 1,
            neither: 1,
            unclear: 1,
            ..Tally::default()
        };
        let sentence = misses_sentence(tally, Some(0.85));
        let counts: i64 = sentence
            .split_once(": ")
            .expect("a colon")
            .1
            .split("; ")
            .filter_map(|part| part.split(' ').next().and_then(|word| word.parse::<i64>().ok()))
            .sum();
        assert_eq!(counts, tally.misses, "{sentence}");
        let one = Tally { shots: 9, misses: 1, strike: 1, ..Tally::default() };
        assert!(misses_sentence(one, Some(0.7)).contains("1 caused by the strike, likely (70\u{a0}%);"));
        assert!(sentence.contains("3 caused by the strike, on average very likely (85\u{a0}%)"), "{sentence}");
    }
}
