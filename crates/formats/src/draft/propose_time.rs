//! How the instant of a shot is read: one column, date and time apart, a count since 1970, or a date that stands outside the records.

use chrono::{NaiveDate, NaiveDateTime};

use super::moments::{DayOrder, Moment, MomentKind, moment_of};
use super::plan::{Ground, Place, TimePlan};
use super::propose_numbers::Family;
use super::table::{Column, Table};
use super::vocabulary::{Concept, Concepts};

/// One column that is a date, a time of day, or both.
struct Candidate {
    place: Place,
    moment: Moment,
    points: u32,
    example: String,
    texts: Vec<String>,
}

/// Proposes how the time is read; the error says what lacks.
pub(super) fn propose(table: &Table, name_date: Option<(&str, &str)>, family: Family) -> Result<TimePlan, String> {
    let mut candidates = Vec::new();
    for column in table.columns.iter().filter(|column| !column.twin) {
        candidates.extend(candidate(column, Place::Field(column.name.clone()), table.rows));
    }
    candidates.sort_by_key(|candidate| std::cmp::Reverse(candidate.points));
    let best = |kinds: &[MomentKind]| candidates.iter().find(|candidate| kinds.contains(&candidate.moment.kind));
    let full = best(&[MomentKind::Full, MomentKind::EpochSeconds, MomentKind::EpochMilliseconds]);
    let clock = best(&[MomentKind::Clock]);
    let date = best(&[MomentKind::Date]);
    // A single full time that never changes is when the export was made, not when a shot was struck.
    if let Some(found) = full.filter(|found| found.points >= 60 || clock.is_none()) {
        return Ok(whole(found, family));
    }
    let Some(clock) = clock else {
        return Err(match date {
            Some(date) => {
                format!("\"{}\" gives the day of a shot, but no column gives its time of day", date.place.shown())
            }
            None => "no column holds the time of a shot".to_owned(),
        });
    };
    if let Some(date) = date {
        return Ok(joined(date, clock, family, table));
    }
    for (key, value) in &table.preamble {
        let column = Column { name: key.clone(), texts: vec![Some(value.clone())], ..Column::default() };
        if let Some(date) =
            candidate(&column, Place::Preamble(key.clone()), 1).filter(|found| found.moment.kind == MomentKind::Date)
        {
            return Ok(joined(&date, clock, family, table));
        }
    }
    if let Some((capture, text)) = name_date
        && let Some(moment) = moment_of(&[text, text]).filter(|moment| moment.kind == MomentKind::Date)
    {
        let place = Place::FileName(capture.to_owned());
        let texts = vec![text.to_owned()];
        return Ok(joined(
            &Candidate { place, moment, points: 60, example: text.to_owned(), texts },
            clock,
            family,
            table,
        ));
    }
    Err(format!("\"{}\" gives the time of day, but nothing gives the day", clock.place.shown()))
}

fn candidate(column: &Column, place: Place, rows: usize) -> Option<Candidate> {
    let texts: Vec<&str> = column.filled().collect();
    // A column that is mostly empty is no time of a shot.
    if texts.len() * 10 < rows * 7 {
        return None;
    }
    let moment = moment_of(&texts)?;
    let concepts = Concepts::of(&column.name);
    let named = concepts.has(Concept::Time) || concepts.has(Concept::Date);
    let rising = texts.windows(2).filter(|pair| pair[0] <= pair[1]).count() * 10 >= texts.len().saturating_sub(1) * 8;
    let bare = moment.formats.iter().any(|format| !format.contains([':', '-', '/', '.', ' ']));
    let is_epoch = matches!(moment.kind, MomentKind::EpochSeconds | MomentKind::EpochMilliseconds);
    if (bare || is_epoch) && !named && !(is_epoch && rising && texts.len() > 2) {
        return None;
    }
    let constant = texts.len() > 2 && texts.iter().all(|text| *text == texts[0]);
    let mut points = 75 + 15 * u32::from(named) + (5 * moment.read / moment.tried.max(1)) as u32;
    if constant && moment.kind != MomentKind::Date {
        points -= 40;
    }
    if concepts.has(Concept::Flight) {
        return None;
    }
    let texts = texts.iter().map(|text| (*text).to_owned()).collect();
    Some(Candidate { place, moment, points, example: column.filled().next().unwrap_or_default().to_owned(), texts })
}

fn because(found: &Candidate) -> String {
    format!("{} of {} texts of \"{}\" are read", found.moment.read, found.moment.tried, found.place.shown())
}

fn whole(found: &Candidate, family: Family) -> TimePlan {
    let mut moment = found.moment.clone();
    prefer_order(&mut moment, &found.texts, family);
    let epoch = match moment.kind {
        MomentKind::EpochSeconds => Some("s"),
        MomentKind::EpochMilliseconds => Some("ms"),
        _ => None,
    };
    TimePlan {
        parts: vec![found.place.clone()],
        offset: epoch.is_some() || moment.has_offset(),
        epoch,
        order: moment.order,
        swapped: moment.swapped,
        formats: moment.formats,
        ground: Ground {
            confidence: found.points.min(99),
            because: vec![because(found)],
            example: found.example.clone(),
        },
    }
}

/// A column that says the offset from UTC, such as +02:00.
fn offset_column(table: &Table) -> Option<(&Column, &'static str)> {
    table.columns.iter().filter(|column| !column.twin).find_map(|column| {
        let is_offset = |text: &str| {
            let digits = text.strip_prefix(['+', '-']).unwrap_or_default();
            let plain = digits.len() == 5 && digits.as_bytes()[2] == b':' || digits.len() == 4 && !digits.contains(':');
            plain && digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b':')
        };
        let all = column.always && column.filled().next().is_some() && column.filled().all(is_offset);
        let colon = column.filled().all(|text| text.contains(':'));
        // Four digits with a sign can be many things; a colon leaves no doubt.
        (all && colon).then_some((column, "%:z"))
    })
}

fn joined(date: &Candidate, clock: &Candidate, family: Family, table: &Table) -> TimePlan {
    let mut plan = without_offset(date, clock, family);
    if let Some((column, format)) = offset_column(table) {
        plan.parts.push(Place::Field(column.name.clone()));
        plan.offset = true;
        let lengthen = |formats: &mut Vec<String>| {
            for text in formats {
                text.push(' ');
                text.push_str(format);
            }
        };
        lengthen(&mut plan.formats);
        plan.swapped.iter_mut().for_each(lengthen);
        plan.ground.because.push(format!("\"{}\" gives the offset from UTC", column.name));
    }
    plan
}

fn without_offset(date: &Candidate, clock: &Candidate, family: Family) -> TimePlan {
    let mut day = date.moment.clone();
    let family = if clock.moment.formats[0].contains("%p") { Family::Imperial } else { family };
    prefer_order(&mut day, &date.texts, family);
    let join = |dates: &[String]| {
        let mut formats = Vec::new();
        for date in dates {
            for clock in &clock.moment.formats {
                formats.push(format!("{date} {clock}"));
            }
        }
        formats
    };
    TimePlan {
        parts: vec![date.place.clone(), clock.place.clone()],
        formats: join(&day.formats),
        epoch: None,
        order: day.order,
        swapped: day.swapped.as_deref().map(join),
        offset: false,
        ground: Ground {
            confidence: date.points.min(clock.points).min(99),
            because: vec![because(date), because(clock)],
            example: format!("{} {}", date.example, clock.example),
        },
    }
}

/// Where day and month can be either, the texts of one export lie near each other, and who writes miles or PM writes the month first.
fn prefer_order(moment: &mut Moment, texts: &[String], family: Family) {
    let Some(swapped) = &moment.swapped else { return };
    let (here, there) =
        (span_days(texts, moment), span_days(texts, &Moment { formats: swapped.clone(), ..moment.clone() }));
    let wanted = if here > 28 && there <= 14 {
        Some(moment.order != DayOrder::DayFirst)
    } else if there > 28 && here <= 14 {
        Some(moment.order == DayOrder::DayFirst)
    } else {
        None
    };
    let month_first_habit =
        moment.formats[0].contains("%p") || (family == Family::Imperial && moment.formats[0].contains('/'));
    let day_first = wanted.unwrap_or(!month_first_habit);
    if day_first != (moment.order == DayOrder::DayFirst) {
        moment.turn();
    }
}

/// Days between the first and the last text, read by the first format.
fn span_days(texts: &[String], moment: &Moment) -> i64 {
    let read = |text: &String| match moment.kind {
        MomentKind::Date => NaiveDate::parse_from_str(text, &moment.formats[0]).ok(),
        _ => NaiveDateTime::parse_from_str(text, &moment.formats[0]).ok().map(|local| local.date()),
    };
    let days: Vec<NaiveDate> = texts.iter().filter_map(read).collect();
    match (days.iter().min(), days.iter().max()) {
        (Some(first), Some(last)) => last.signed_duration_since(*first).num_days(),
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(columns: &[(&str, &[&str])]) -> Table {
        let columns: Vec<Column> = columns
            .iter()
            .map(|(name, texts)| Column {
                name: (*name).to_owned(),
                texts: texts.iter().map(|text| Some((*text).to_owned())).collect(),
                ..Column::default()
            })
            .collect();
        let rows = columns.first().map_or(0, |column| column.texts.len());
        Table { columns, rows, ..Table::default() }
    }

    #[test]
    fn one_column_or_two_give_the_time() {
        let plan = |columns: &[(&str, &[&str])]| propose(&table(columns), Some(("day", "20260412")), Family::Unknown);
        let full = plan(&[("When", &["2026-04-12 15:07:09", "2026-04-12 15:08:00"])]).expect("a time");
        assert_eq!(full.formats, ["%Y-%m-%d %H:%M:%S"]);
        let apart =
            plan(&[("Day", &["4/3/2026", "4/3/2026"]), ("Clock", &["3:07:09 PM", "3:08:00 PM"])]).expect("a time");
        assert_eq!(apart.formats, ["%m/%d/%Y %I:%M:%S %p"]);
        assert_eq!(apart.swapped.as_deref(), Some(&["%d/%m/%Y %I:%M:%S %p".to_owned()][..]));
        let named = plan(&[("Clock", &["15:07:09", "15:08:00"])]).expect("a time");
        assert_eq!(
            (named.parts[0].clone(), named.formats[0].as_str()),
            (Place::FileName("day".into()), "%Y%m%d %H:%M:%S")
        );
        assert!(plan(&[("Day", &["4/3/2026", "4/3/2026"])]).expect_err("no clock").contains("time of day"));
        assert!(plan(&[("Speed", &["62.1", "63"])]).is_err());
    }

    #[test]
    fn days_of_one_export_lie_near_each_other() {
        let texts: &[&str] = &["03/04/2026 15:07", "12/04/2026 15:07", "11/04/2026 15:07"];
        let found = propose(&table(&[("When", texts)]), None, Family::Imperial).expect("a time");
        assert_eq!((found.order, found.swapped.is_some()), (DayOrder::DayFirst, true));
    }

    #[test]
    fn when_the_export_was_made_is_no_time_of_a_shot() {
        let found = propose(
            &table(&[
                ("Exported", &["2026-04-20 10:00:00", "2026-04-20 10:00:00", "2026-04-20 10:00:00"]),
                ("Time", &["2026-04-12 15:07:09", "2026-04-12 15:08:00", "2026-04-12 15:09:00"]),
            ]),
            None,
            Family::Unknown,
        );
        assert_eq!(found.expect("a time").parts, [Place::Field("Time".into())]);
    }
}
