//! The page: one self-contained HTML file, without scripts and without anything fetched.

use askama::Template;
use chrono_tz::Tz;

use crate::coach_week::{ClubWeek, CoachWeek, PlayerWeek, ZONES};
use crate::player_line::{PlayerLine, table_rows};
use crate::{DigestError, Units, calendar, data_tables, figure_face, figure_finish, figure_trend, gate, wording};

/// A table behind a figure: texts only, the first cell of each row names the row.
pub struct DataTable {
    /// What it holds.
    pub caption: String,
    /// Column headings.
    pub headings: Vec<&'static str>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<String>>,
}

/// A figure with its heading, text and table.
struct FigureView {
    heading: &'static str,
    svg: String,
    text: String,
    table: DataTable,
}

struct RosterCell {
    heading: &'static str,
    text: String,
}

struct PracticeView {
    heading: &'static str,
    meaning: &'static str,
    why: String,
    gains: String,
    gate: String,
    so_far: String,
    cautions: bool,
}

struct ClubView {
    name: String,
    carry_lost: String,
    misread: String,
    misses: String,
    basis: String,
    reference: String,
    figures: Vec<FigureView>,
    no_trend: &'static str,
    misses_table: Option<DataTable>,
    untold: Vec<(String, String)>,
    practice: PracticeView,
}

struct PlayerView {
    anchor: String,
    name: String,
    hand: &'static str,
    clubs: Vec<ClubView>,
}

#[derive(Template)]
#[template(path = "week.html")]
struct Page<'a> {
    style: &'a str,
    title: String,
    site: &'a str,
    span: String,
    week_name: String,
    coach: String,
    written_at: String,
    zone: &'a str,
    unit_words: &'static str,
    empty: bool,
    missing: String,
    roster: Vec<Vec<RosterCell>>,
    players: Vec<PlayerView>,
}

/// Renders a week as one HTML file.
///
/// Fails only where the week or its zone is outside the calendar, which [`gather`](crate::gather) has ruled out.
pub fn try_render(week: &CoachWeek) -> Result<String, DigestError> {
    let monday = calendar::date(week.week)?;
    let zone = calendar::zone(&week.zone)?;
    let coach = week.coach_shown.clone().unwrap_or_else(|| "whole site".to_owned());
    let mut players = Vec::new();
    for (position, player) in week.players.iter().enumerate() {
        if !player.clubs.is_empty() {
            players.push(player_view(player, position + 1, week.units, zone)?);
        }
    }
    let mut roster = Vec::new();
    for line in table_rows(week) {
        let cells = PlayerLine::HEADINGS.into_iter().zip(line.page_cells());
        roster.push(cells.map(|(heading, text)| RosterCell { heading, text }).collect());
    }
    let page = Page {
        style: include_str!("../templates/week.css"),
        title: format!("{}: strike and swing, {}", week.site_name, calendar::week_span(monday)),
        site: &week.site_name,
        span: calendar::week_span(monday),
        week_name: calendar::week_name(monday),
        coach,
        written_at: calendar::written_at(week.generated_at_micros, zone),
        zone: &week.zone,
        unit_words: week.units.words(),
        empty: week.shots() == 0,
        missing: week.missing_datasets.join(", "),
        roster,
        players,
    };
    page.render().map_err(|error| DigestError::Page { message: error.to_string() })
}

/// Renders a week as one HTML file. A week that cannot be rendered yields a page that says why.
pub fn render(week: &CoachWeek) -> String {
    try_render(week).unwrap_or_else(|error| {
        let message = error.to_string().replace('&', "&amp;").replace('<', "&lt;");
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/><title>No summary</title></head><body><h1>No summary</h1><p>{message}</p></body></html>\n"
        )
    })
}

fn player_view(player: &PlayerWeek, number: usize, units: Units, zone: Tz) -> Result<PlayerView, DigestError> {
    let anchor = format!("player-{number}");
    let mut clubs = Vec::with_capacity(player.clubs.len());
    for (position, club) in player.clubs.iter().enumerate() {
        clubs.push(club_view(player, club, &format!("{anchor}-club-{}", position + 1), units, zone)?);
    }
    let hand = if player.hand == shot::Hand::Right { "right-handed" } else { "left-handed" };
    Ok(PlayerView { anchor, name: player.shown_name.clone(), hand, clubs })
}

fn club_view(player: &PlayerWeek, club: &ClubWeek, id: &str, units: Units, zone: Tz) -> Result<ClubView, DigestError> {
    let mut figures = Vec::new();
    if let Some(svg) = figure_face::face_figure(club, player.hand, &format!("{id}-face")) {
        let table = data_tables::strikes(club, units, zone);
        figures.push(FigureView { heading: "Where the face met the ball", svg, text: face_text(club, units), table });
    }
    if let Some(svg) = figure_finish::finish_figure(club, units, &format!("{id}-finish")) {
        let table = data_tables::finishes(club, units, zone);
        let text = "Each line joins a landing point with the point that the same swing would have reached from the middle of the face. Where the device did not measure the landing, both are computed from the launch.";
        figures.push(FigureView { heading: "Where balls landed", svg, text: text.to_owned(), table });
    }
    let trend = figure_trend::trend_figure(&club.trend, units, &format!("{id}-trend"))?;
    let no_trend = if trend.is_none() && club.carry_lost.is_some() { figure_trend::NO_TREND } else { "" };
    if let Some(svg) = trend {
        let table = data_tables::trend(club, units)?;
        let text = "Weeks with too few judged shots are left out.";
        figures.push(FigureView { heading: "Week by week", svg, text: text.to_owned(), table });
    }
    let untold = club.untold.iter().map(|(reason, count)| (wording::capitalised(reason), count.to_string())).collect();
    Ok(ClubView {
        name: wording::capitalised(&wording::plain_word(&club.club_id)),
        carry_lost: wording::carry_lost_sentence(club, units),
        misread: wording::misread_sentence(club.tally),
        misses: wording::misses_sentence(club.tally, mean_strike_certainty(club)),
        basis: wording::basis_sentence(club.tally, club.sessions),
        reference: reference_text(club)?,
        figures,
        no_trend,
        misses_table: data_tables::misses(club, units, zone),
        untold,
        practice: practice_view(club, units),
    })
}

/// Mean probability of the misses that the strike caused.
fn mean_strike_certainty(club: &ClubWeek) -> Option<f64> {
    let by_strike = club.shots.iter().filter(|shot| shot.is_miss() && shot.cause.as_deref() == Some("strike"));
    let known: Vec<f64> = by_strike.filter_map(|shot| shot.cause_probability).collect();
    (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
}

fn face_text(club: &ClubWeek, units: Units) -> String {
    let mut sentences = Vec::new();
    if let Some(pattern) = club.pattern {
        let place = figure_face::place_words(pattern.mean_toe_mm, pattern.mean_up_mm);
        let along = wording::number(pattern.spread_toe_mm, 0);
        sentences.push(format!("The mean strike lies {place}; strikes scatter by {along}\u{a0}mm along the face."));
    } else {
        sentences.push("The mean and scatter of the strikes cannot be told well enough to state.".to_owned());
    }
    if let Some(share) = club.centre_share {
        let percent = wording::number(share * 100.0, 0);
        sentences.push(format!("{percent}\u{a0}% lie in the centre zone (10\u{a0}mm along, 8\u{a0}mm up or down)."));
    }
    let mut zones = Vec::new();
    for (zone, lost) in ZONES.iter().zip(club.lost_by_zone) {
        if let Some(metres) = lost.filter(|metres| units.from_metres(*metres).abs() >= 0.05) {
            zones.push(format!("{zone} {}", wording::length(metres, units)));
        }
    }
    // The mean speaks of the player, the total of these very shots; a total beside "too few shots" would only confuse.
    if !zones.is_empty() && club.carry_lost.is_some() {
        let total = club.carry_lost_total.map(|total| format!(" {};", wording::estimate(total, units)));
        sentences.push(format!("Carry lost over the week:{} by zone {}.", total.unwrap_or_default(), zones.join(", ")));
    }
    sentences.join(" ")
}

fn reference_text(club: &ClubWeek) -> Result<String, DigestError> {
    let mut parts = Vec::new();
    if let Some(day) = club.model_as_of {
        let date = calendar::long_date(calendar::date(day)?);
        parts.push(format!("Compared with the player's own shots before {date}."));
    }
    if let Some(version) = &club.method_version {
        parts.push(format!("Method {version}."));
    }
    if club.revision > 0 {
        parts.push(format!("Recomputed after late or corrected shots: revision {}.", club.revision));
    }
    Ok(parts.join(" "))
}

fn practice_view(club: &ClubWeek, units: Units) -> PracticeView {
    let advice = club.practise_next.as_deref();
    let advised = matches!(advice, Some("strike first" | "delivery first"));
    PracticeView {
        heading: wording::practice_heading(advice),
        meaning: wording::practice_meaning(advice),
        why: club.practise_why.as_deref().map_or_else(|| wording::usual_reason(advice).to_owned(), sentence),
        gains: wording::gains_sentence(club, units).unwrap_or_default(),
        so_far: club
            .practice_so_far
            .as_deref()
            .map_or_else(String::new, |why| format!("Strike practice so far: {}.", why.trim())),
        gate: if advice == Some("strike first") { gate_text(club) + height_text(club) } else { String::new() },
        cautions: advised,
    }
}

/// A text of the data as a sentence of its own.
fn sentence(text: &str) -> String {
    let text = wording::capitalised(text.trim());
    if text.is_empty() || text.ends_with(['.', '!', '?']) { text } else { format!("{text}.") }
}

fn gate_text(club: &ClubWeek) -> String {
    let Some(gate) = club.gate else {
        return "Gate: the scatter of the strikes is not known well enough to size it. Start with one soft post or tee 15\u{a0}mm beyond the toe and one 15\u{a0}mm inside the heel of the centred clubhead; after 8 clean swings of 10, twice, move each post 1 to 2\u{a0}mm inward, but never nearer than 5\u{a0}mm a side."
            .to_owned();
    };
    let narrower = if gate.clearance_mm > gate::LEAST_CLEARANCE_MM {
        "After 8 clean swings of 10, twice, move each post 1 to 2\u{a0}mm inward, but never nearer than 5\u{a0}mm a side."
    } else {
        "This is the narrowest gate; keep it, and never go under 5\u{a0}mm a side."
    };
    format!(
        "Gate: stand the clubhead centred behind the ball and set one soft post or tee beyond the toe and one inside the heel, each {}\u{a0}mm away from the head. From this week's strikes, about {} of 10 swings should pass. {narrower}",
        wording::number(gate.clearance_mm, 0),
        wording::number(gate.pass_share * 10.0, 0),
    )
}

/// A gate guides toe and heel only; what to do where the loss is one of height.
fn height_text(club: &ClubWeek) -> &'static str {
    let lost = |zone: &str| {
        let position = ZONES.iter().position(|known| *known == zone);
        position.and_then(|position| club.lost_by_zone[position]).unwrap_or(0.0)
    };
    let (low, high) = (lost("low"), lost("high"));
    if low + high <= lost("toe") + lost("heel") {
        return "";
    }
    if low >= high {
        " Most of the loss comes from strikes low on the face, which a gate does not guide: look at tee height, ball position and where the swing bottoms out first."
    } else {
        " Most of the loss comes from strikes high on the face, which a gate does not guide: look at tee height and ball position first."
    }
}
