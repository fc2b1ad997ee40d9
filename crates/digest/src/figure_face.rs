//! The face picture: every strike of the week on an outline of a club face.

use std::fmt::Write as _;

use shot::Hand;

use crate::coach_week::ClubWeek;
use crate::drawing::{Anchor, Drawing, Mark, Scale};
use crate::wording::{counted, number};

const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 250.0;
/// Millimetres shown each way from the face centre.
const ACROSS_MM: f64 = 62.0;
const UP_MM: f64 = 40.0;
/// Half width and half height of the centre zone, millimetres.
const CENTRE_ZONE_MM: (f64, f64) = (10.0, 8.0);

/// Outline of a wood's face in millimetres (toe, up): our own drawing, of no particular head.
const WOOD: OutlineMm = OutlineMm {
    start: (-50.0, -8.0),
    curves: &[
        [(-50.0, 12.0), (-34.0, 31.0), (-4.0, 32.0)],
        [(24.0, 32.5), (47.0, 22.0), (54.0, 5.0)],
        [(57.0, -8.0), (46.0, -22.0), (20.0, -26.0)],
        [(-8.0, -28.5), (-48.0, -26.0), (-50.0, -8.0)],
    ],
};

/// Outline of an iron's face: low at the heel, high at the toe.
const IRON: OutlineMm = OutlineMm {
    start: (-36.0, -14.0),
    curves: &[
        [(-37.0, -4.0), (-36.0, 2.0), (-33.0, 5.0)],
        [(-10.0, 13.0), (12.0, 24.0), (27.0, 33.0)],
        [(37.0, 36.0), (44.0, 22.0), (43.0, 4.0)],
        [(42.0, -14.0), (36.0, -23.0), (22.0, -24.0)],
        [(0.0, -25.0), (-35.0, -24.0), (-36.0, -14.0)],
    ],
};

struct OutlineMm {
    start: (f64, f64),
    curves: &'static [[(f64, f64); 3]],
}

/// Which mark stands for a source, and the words for it.
pub const SOURCES: [(&str, Mark, &str); 3] = [
    ("measured", Mark::Disc, "measured"),
    ("linked", Mark::Square, "linked"),
    ("inferred", Mark::Triangle, "inferred"),
];

/// Draws the face as somebody sees it who looks straight at it; `None` where no strike is known.
///
/// Seen so, a right-handed club has its toe at the left, a left-handed club at the right.
pub fn face_figure(club: &ClubWeek, hand: Hand, id: &str) -> Option<String> {
    let toe_direction = -(hand.sign() as f64);
    let across = Scale::new((-ACROSS_MM, ACROSS_MM), (8.0, WIDTH - 8.0));
    let upward = Scale::new((-UP_MM, UP_MM), (226.0, 4.0));
    let place = |(toe, up): (f64, f64)| (across.at(toe_direction * toe), upward.at(up));

    let mut drawing = Drawing::new(WIDTH, HEIGHT);
    // Where the roster does not have the club, its name has to do.
    let kind = club.club_kind.as_deref().unwrap_or(&club.club_id);
    let is_wood = ["driver", "wood", "hybrid"].iter().any(|word| kind.contains(word));
    let outline = if is_wood { &WOOD } else { &IRON };
    let curves: Vec<[(f64, f64); 3]> = outline.curves.iter().map(|curve| curve.map(place)).collect();
    drawing.outline("face", place(outline.start), &curves);
    let zone = CENTRE_ZONE_MM;
    drawing.rectangle("zone", place((-zone.0, -zone.1)), place(zone));

    let (mut drawn, mut beyond, mut centred) = (0_i64, 0_i64, 0_i64);
    let mut counts = [0_i64; SOURCES.len()];
    for shot in &club.shots {
        let (Some(toe), Some(up)) = (shot.toe_mm, shot.up_mm) else { continue };
        let known = SOURCES.iter().position(|(source, _, _)| Some(*source) == shot.strike_source.as_deref());
        let Some(kind) = known else { continue };
        drawn += 1;
        counts[kind] += 1;
        centred += i64::from(toe.abs() <= zone.0 && up.abs() <= zone.1);
        let held = (toe.clamp(-ACROSS_MM, ACROSS_MM), up.clamp(-UP_MM, UP_MM));
        beyond += i64::from(held != (toe, up));
        drawing.mark(SOURCES[kind].1, place(held));
    }
    if drawn == 0 {
        return None;
    }
    if let Some(pattern) = club.pattern {
        drawing.mark(Mark::Cross, place((pattern.mean_toe_mm, pattern.mean_up_mm)));
    }
    let (left, right) = if hand == Hand::Right { ("toe", "heel") } else { ("heel", "toe") };
    drawing.text("label", Anchor::Start, (8.0, 16.0), left);
    drawing.text("label", Anchor::End, (WIDTH - 8.0, 16.0), right);
    // A length to compare with, since the outline stands for no particular head.
    let bar = (across.at(0.0) - across.at(-10.0), 222.0);
    drawing.line("axis", (WIDTH - 8.0 - 2.0 * bar.0, bar.1), (WIDTH - 8.0, bar.1));
    drawing.text("note", Anchor::End, (WIDTH - 8.0, bar.1 - 5.0), "20 mm");
    drawing.text("note", Anchor::Start, (8.0, bar.1), "box = centre zone");
    let mut legend = Vec::new();
    for ((_, mark, words), count) in SOURCES.iter().zip(counts) {
        if count > 0 {
            legend.push((*mark, (*words).to_owned()));
        }
    }
    if club.pattern.is_some() {
        legend.push((Mark::Cross, "mean".to_owned()));
    }
    drawing.legend(2.0, 244.0, &legend);

    let mut description = format!(
        "Club face seen from the front, {left} at the left, {right} at the right. {}: {} measured, {} linked, {} inferred. {} in the centre zone.",
        counted(drawn, "strike", "strikes"),
        counts[0],
        counts[1],
        counts[2],
        centred
    );
    if let Some(pattern) = club.pattern {
        let mean = place_words(pattern.mean_toe_mm, pattern.mean_up_mm);
        let _ = write!(description, " The mean lies {mean}."); // a String takes everything
    }
    if beyond > 0 {
        let marks = counted(beyond, "mark", "marks");
        let _ = write!(description, " Held at the edge, since beyond the picture: {marks}.");
    }
    Some(drawing.finish(id, "Strikes of the week on the face", &description))
}

/// A place on the face in words: `6 mm toward the toe, 2 mm low`.
pub fn place_words(toe_mm: f64, up_mm: f64) -> String {
    let along = match toe_mm.round() {
        0.0 => "in the middle".to_owned(),
        toe if toe > 0.0 => format!("{}\u{a0}mm toward the toe", number(toe, 0)),
        heel => format!("{}\u{a0}mm toward the heel", number(-heel, 0)),
    };
    let upward = match up_mm.round() {
        0.0 => "level".to_owned(),
        up if up > 0.0 => format!("{}\u{a0}mm high", number(up, 0)),
        down => format!("{}\u{a0}mm low", number(-down, 0)),
    };
    format!("{along}, {upward}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach_week::JudgedShot;

    fn one_strike(toe: f64) -> ClubWeek {
        let shot = JudgedShot {
            toe_mm: Some(toe),
            up_mm: Some(0.0),
            strike_source: Some("measured".into()),
            ..JudgedShot::default()
        };
        ClubWeek { shots: vec![shot], ..ClubWeek::default() }
    }

    /// Horizontal place of the first disc.
    fn place(figure: &str) -> f64 {
        let rest = figure.split_once(r#"cx=""#).expect("a disc").1;
        rest.split_once('"').expect("an end").0.parse().expect("a number")
    }

    #[test]
    fn a_toe_strike_lies_on_the_side_that_says_toe() {
        // Looking straight at a right-handed club face, the toe is at the left. [from the geometry of a club held up]
        let right = face_figure(&one_strike(20.0), Hand::Right, "a").expect("a figure");
        assert!(place(&right) < WIDTH / 2.0);
        assert!(right.contains(r#"text-anchor="start" x="8" y="16">toe<"#));
        let left = face_figure(&one_strike(20.0), Hand::Left, "a").expect("a figure");
        assert!(place(&left) > WIDTH / 2.0);
        assert!(left.contains(r#"text-anchor="start" x="8" y="16">heel<"#));
    }

    #[test]
    fn places_read_well() {
        assert_eq!(place_words(6.4, -0.3), "6\u{a0}mm toward the toe, level");
        assert_eq!(place_words(-11.6, 2.0), "12\u{a0}mm toward the heel, 2\u{a0}mm high");
        assert_eq!(place_words(-0.2, -3.0), "in the middle, 3\u{a0}mm low");
    }

    #[test]
    fn a_strike_beyond_the_picture_is_held_at_its_edge_and_said() {
        let figure = face_figure(&one_strike(90.0), Hand::Right, "a").expect("a figure");
        assert!((place(&figure) - 8.0).abs() < 1e-9);
        assert!(figure.contains("beyond the picture: 1 mark."));
        assert_eq!(face_figure(&ClubWeek::default(), Hand::Right, "a"), None);
    }
}
