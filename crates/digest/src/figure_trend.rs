//! Carry lost to strike per shot, week by week.

use crate::coach_week::TrendPoint;
use crate::drawing::{Anchor, Drawing, Mark, Scale, range_of};
use crate::wording::{count_of, counted, number};
use crate::{DigestError, Units, calendar};

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 200.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 345.0;
const TOP: f64 = 24.0;
const BOTTOM: f64 = 160.0;
/// Fewer weeks or sessions make no trend.
const FEWEST_WEEKS: usize = 2;
const FEWEST_SESSIONS: i64 = 3;
/// Said where there is no trend.
pub const NO_TREND: &str =
    "Week by week: not enough yet. A trend needs two weeks with a number, and three sessions in them.";

/// Draws weekly means with their 90 % intervals; `None` for fewer than two weeks or three sessions.
pub fn trend_figure(points: &[TrendPoint], units: Units, id: &str) -> Result<Option<String>, DigestError> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Ok(None) };
    let sessions: i64 = points.iter().map(|point| point.sessions).sum();
    if points.len() < FEWEST_WEEKS || sessions < FEWEST_SESSIONS {
        return Ok(None);
    }
    let shown = |metres: f64| units.from_metres(metres);
    let ends = points.iter().flat_map(|point| [shown(point.carry_lost.low), shown(point.carry_lost.high)]);
    let Some((lowest, highest)) = range_of(ends) else { return Ok(None) };
    // Zero is always in the picture: a loss is only large or small against none.
    let vertical = Scale::new((lowest.min(0.0) * 1.04, highest.max(1.0) * 1.04), (BOTTOM, TOP));
    let horizontal = Scale::new((f64::from(first.week), f64::from(last.week)), (LEFT + 16.0, RIGHT - 16.0));

    let mut drawing = Drawing::new(WIDTH, HEIGHT);
    for tick in vertical.ticks(4) {
        let y = vertical.at(tick);
        drawing.line(if tick.abs() < 1e-9 { "axis" } else { "grid" }, (LEFT, y), (RIGHT, y));
        let decimals = usize::from((tick - tick.round()).abs() > 1e-9);
        drawing.text("note", Anchor::End, (LEFT - 5.0, y + 4.0), &number(tick, decimals));
    }
    let mut middles = Vec::with_capacity(points.len());
    for point in points {
        let x = horizontal.at(f64::from(point.week));
        let (low, high) = (vertical.at(shown(point.carry_lost.low)), vertical.at(shown(point.carry_lost.high)));
        drawing.line("bar", (x, low), (x, high));
        drawing.line("bar", (x - 4.0, low), (x + 4.0, low));
        drawing.line("bar", (x - 4.0, high), (x + 4.0, high));
        middles.push((x, vertical.at(shown(point.carry_lost.mean))));
    }
    drawing.polyline("trend", &middles);
    for middle in &middles {
        drawing.mark(Mark::Disc, *middle);
    }
    // Dates stand on the time axis, so neighbours of one gap may be close: four fit under a picture of phone width.
    let every = points.len().div_ceil(4);
    for (position, (point, (x, _))) in points.iter().zip(&middles).enumerate() {
        if (points.len() - 1 - position).is_multiple_of(every) {
            let date = calendar::short_date(calendar::date(point.week)?);
            drawing.text("note", Anchor::Middle, (*x, BOTTOM + 18.0), &date);
        }
    }
    drawing.text(
        "note",
        Anchor::Start,
        (4.0, 12.0),
        &format!("carry lost per shot, {}; bar = 90 % interval", units.symbol()),
    );
    drawing.text("note", Anchor::Middle, (f64::midpoint(LEFT, RIGHT), HEIGHT - 6.0), "week that starts on");

    let description = format!(
        "{}. Mean carry lost per shot {} {symbol} in the first and {} {symbol} in the last.",
        counted(count_of(points), "week", "weeks"),
        number(shown(first.carry_lost.mean), 1),
        number(shown(last.carry_lost.mean), 1),
        symbol = units.symbol()
    );
    Ok(Some(drawing.finish(id, "Carry lost to strike, week by week", &description)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach_week::Estimate;

    #[test]
    fn one_week_is_no_trend_and_zero_is_always_shown() {
        let point = |week: i32| TrendPoint {
            week,
            judged: 9,
            sessions: 2,
            carry_lost: Estimate { mean: 4.0, low: 3.0, high: 5.0 },
        };
        assert_eq!(trend_figure(&[point(20_773)], Units::Metres, "a").expect("dates"), None);
        let single = |week: i32| TrendPoint { sessions: 1, ..point(week) };
        let two_sessions = trend_figure(&[single(20_766), single(20_773)], Units::Metres, "a");
        assert_eq!(two_sessions.expect("dates"), None);
        let figure = trend_figure(&[point(20_766), point(20_773)], Units::Metres, "a").expect("dates").expect("two");
        assert!(figure.contains(">0</text>"), "{figure}");
        assert!(figure.contains("9 Nov") && figure.contains("16 Nov"), "{figure}");
    }
}
