//! Where balls landed, against where they would have landed from the middle of the face.

use crate::Units;
use crate::coach_week::ClubWeek;
use crate::drawing::{Anchor, Drawing, Mark, Scale, range_of};
use crate::wording::{count_of, counted, number};

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 350.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 278.0;

/// Landing points in the shown unit: across the line and carry, as struck and from the middle.
struct Pair {
    actual: (f64, f64),
    centred: (f64, f64),
}

/// Draws landing points seen from above, target line upward; `None` where no shot has both.
pub fn finish_figure(club: &ClubWeek, units: Units, id: &str) -> Option<String> {
    let mut pairs = Vec::new();
    for shot in &club.shots {
        if let (Some(lateral), Some(carry), Some(centred_lateral), Some(centred_carry)) =
            (shot.lateral_m, shot.carry_m, shot.centred_lateral_m, shot.centred_carry_m)
        {
            pairs.push(Pair {
                actual: (units.from_metres(lateral), units.from_metres(carry)),
                centred: (units.from_metres(centred_lateral), units.from_metres(centred_carry)),
            });
        }
    }
    let widest = range_of(pairs.iter().flat_map(|pair| [pair.actual.0.abs(), pair.centred.0.abs()]))?.1.max(5.0) * 1.08;
    let (shortest, longest) = range_of(pairs.iter().flat_map(|pair| [pair.actual.1, pair.centred.1]))?;
    let margin = ((longest - shortest) * 0.06).max(2.0);
    let across = Scale::new((-widest, widest), (LEFT, RIGHT));
    let along = Scale::new((shortest - margin, longest + margin), (BOTTOM, TOP));

    let mut drawing = Drawing::new(WIDTH, HEIGHT);
    for tick in along.ticks(5) {
        let y = along.at(tick);
        drawing.line("grid", (LEFT, y), (RIGHT, y));
        drawing.text("note", Anchor::End, (LEFT - 5.0, y + 4.0), &number(tick, 0));
    }
    for tick in across.ticks(5) {
        let x = across.at(tick);
        drawing.line("axis", (x, BOTTOM), (x, BOTTOM + 4.0));
        drawing.text("note", Anchor::Middle, (x, BOTTOM + 17.0), &number(tick.abs(), 0));
    }
    drawing.line("axis", (LEFT, BOTTOM), (RIGHT, BOTTOM));
    drawing.line("target", (across.at(0.0), BOTTOM), (across.at(0.0), TOP));
    let place = |(x, y): (f64, f64)| (across.at(x), along.at(y));
    for pair in &pairs {
        drawing.line("thread", place(pair.actual), place(pair.centred));
    }
    for pair in &pairs {
        drawing.mark(Mark::Diamond, place(pair.centred));
    }
    for pair in &pairs {
        drawing.mark(Mark::Disc, place(pair.actual));
    }
    let symbol = units.symbol();
    drawing.text("note", Anchor::Start, (LEFT + 4.0, TOP + 8.0), &format!("carry, {symbol}"));
    drawing.text("note", Anchor::Start, (LEFT, BOTTOM + 33.0), "left");
    drawing.text(
        "note",
        Anchor::Middle,
        (f64::midpoint(LEFT, RIGHT), BOTTOM + 33.0),
        &format!("across the target line, {symbol}"),
    );
    drawing.text("note", Anchor::End, (RIGHT, BOTTOM + 33.0), "right");
    drawing.legend(
        LEFT - 6.0,
        HEIGHT - 8.0,
        &[(Mark::Disc, "where it landed".into()), (Mark::Diamond, "from the middle".into())],
    );

    let count = pairs.len() as f64;
    let mean = |value: fn(&Pair) -> f64| pairs.iter().map(value).sum::<f64>() / count;
    let description = format!(
        "{} seen from above. Mean carry {} {symbol} as struck and {} {symbol} from the middle of the face. Mean distance from the target line {} {symbol} as struck and {} {symbol} from the middle.",
        counted(count_of(&pairs), "shot", "shots"),
        number(mean(|pair| pair.actual.1), 1),
        number(mean(|pair| pair.centred.1), 1),
        number(mean(|pair| pair.actual.0.abs()), 1),
        number(mean(|pair| pair.centred.0.abs()), 1),
    );
    Some(drawing.finish(id, "Where balls landed, and where they would have from the middle", &description))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach_week::JudgedShot;

    #[test]
    fn one_shot_without_spread_is_still_drawn() {
        let shot = JudgedShot {
            lateral_m: Some(0.0),
            carry_m: Some(182.88),
            centred_lateral_m: Some(0.0),
            centred_carry_m: Some(182.88),
            ..JudgedShot::default()
        };
        let club = ClubWeek { shots: vec![shot], ..ClubWeek::default() };
        let figure = finish_figure(&club, Units::Yards, "a").expect("a figure");
        assert!(figure.contains("Mean carry 200.0 yd")); // 182.88 m = 200 yd [source: NIST SP 811]
        assert_eq!(finish_figure(&ClubWeek::default(), Units::Yards, "a"), None);
    }
}
