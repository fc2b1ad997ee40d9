//! The functions of the room of learning: what many shots tell of a player's club, of the ball, of the bays.

use std::collections::BTreeMap;
use std::sync::Arc;

use ::flight::{BallBook, BallProfile, Conditions, Launch};
use ::impact::HeadProfile;
use ::learning::{BallModel, BayShot, LearningShot, MeasuredFlight, PlayerClubModel};
use ::verdict::Evidence;

use super::columns::Entry;
use super::list_answer::Told;
use super::list_definition::{Definition, Results, Rows, Scalar, ScalarKind, Word};
use super::verdict::{WORDS, read_words};

/// Longest list of shots of a player and club. The packs give 400; a fit grows with their number.
const MOST_SHOTS: usize = 2_000;
/// Longest list of flights of one ball, and of shots to compare bays by.
const MOST_FLIGHTS: usize = 20_000;
/// Every fit is worth a thread of its own.
const WORTH_THREADS: usize = 1;

const STRIKE_IDENTIFIED: Word =
    ("strike_identified", "whether the mean strike rests on measured strikes or full delivery");
const DIRECTION_IDENTIFIED: Word = ("direction_identified", "whether the direction offset rests on measured faces");
const REASON: Word = ("reason", "why nothing could be learned; null where something was");

pub(super) fn definitions(balls: &Arc<BallBook>) -> Vec<Definition> {
    vec![player_club(), ball(Arc::clone(balls)), bays()]
}

fn player_club() -> Definition {
    let mut numbers: Vec<Entry> = Evidence::NUMBERS.iter().map(|(name, meaning)| (*name, "", *meaning)).collect();
    let evidence_numbers = numbers.len();
    numbers.push(("session", "1", "number of the session, any numbering"));
    numbers.push(("age_days", "d", "age of the shot at the moment the model is made for"));
    Definition {
        name: "player_club_model",
        description: "Learns what all shots of one player with one club share: references, head, habits, offsets. Give shots \
                      from before the week that the model is for. Numbers that the shots do not identify are null; without \
                      enough shots only reason is there.",
        takes_list: true,
        numbers,
        texts: WORDS.to_vec(),
        scalars: vec![Scalar { name: "head", unit: "", meaning: "name of a head profile", kind: ScalarKind::Head }],
        results: Results {
            many: false,
            texts: vec![REASON],
            flags: vec![STRIKE_IDENTIFIED, DIRECTION_IDENTIFIED],
            numbers: PlayerClubModel::NUMBERS.to_vec(),
        },
        most_rows: MOST_SHOTS,
        worth_threads: WORTH_THREADS,
        compute: Box::new(move |rows, _, head| Ok(vec![learn(rows, evidence_numbers, head)?])),
    }
}

fn learn(rows: &Rows, evidence_numbers: usize, head: Option<&HeadProfile>) -> Result<Told, String> {
    let Some(head) = head else { return Ok(Told::default()) };
    let mut shots = Vec::with_capacity(rows.numbers.len());
    for (numbers, texts) in rows.each() {
        let (known, rest) = numbers.split_at(evidence_numbers);
        let mut evidence = Evidence::default();
        for (at, number) in known.iter().enumerate() {
            evidence.set_at(at, *number);
        }
        read_words(&mut evidence, "player_club_model", [texts[0], texts[1]])?;
        shots.push(LearningShot {
            evidence,
            session: whole(rest.first()),
            day: rest.get(1).copied().flatten().unwrap_or(0.0).clamp(0.0, 1e6) as i32,
        });
    }
    Ok(match ::learning::fit_player_club(&shots, head) {
        Ok(model) => Told {
            texts: vec![None],
            flags: vec![Some(model.strike_identified), Some(model.direction_identified)],
            numbers: (0..PlayerClubModel::NUMBERS.len()).map(|at| model.number_at(at)).collect(),
        },
        Err(reason) => Told { texts: vec![Some(reason.to_string())], ..Told::default() },
    })
}

const FLIGHT: [Entry; 17] = [
    ("ball_speed_mps", "m/s", "measured speed of the ball after impact"),
    ("launch_elevation_deg", "deg", "measured vertical start direction"),
    ("launch_azimuth_deg", "deg", "measured horizontal start direction, positive = right"),
    ("spin_rpm", "/min", "measured spin rate"),
    ("spin_tilt_deg", "deg", "measured tilt of the spin axis, positive = curves right; null = 0"),
    ("ball_speed_sd_mps", "m/s", "deviation of ball_speed_mps"),
    ("launch_elevation_sd_deg", "deg", "deviation of launch_elevation_deg"),
    ("launch_azimuth_sd_deg", "deg", "deviation of launch_azimuth_deg"),
    ("spin_sd_rpm", "/min", "deviation of spin_rpm"),
    ("spin_tilt_sd_deg", "deg", "deviation of spin_tilt_deg"),
    ("air_density", "kg/m3", "density of the air; null = 1.225"),
    ("wind_along_mps", "m/s", "tail wind positive; null = calm"),
    ("wind_across_mps", "m/s", "wind to the right positive; null = calm"),
    ("carry_m", "m", "measured carry"),
    ("carry_sd_m", "m", "deviation of carry_m"),
    ("day", "d", "number of the day: its flights share what is wrong of wind and air"),
    ("lateral_m", "m", "measured lateral distance at landing, positive = right; null = not measured"),
];

fn ball(balls: Arc<BallBook>) -> Definition {
    let mut numbers = FLIGHT.to_vec();
    numbers.push(("lateral_sd_m", "m", "deviation of lateral_m"));
    Definition {
        name: "ball_model",
        description: "Scales drag and lift of one kind of ball to carries that were measured outdoors. Flights without a \
                      measured launch or carry are passed over; without enough flights and days only reason is there.",
        takes_list: true,
        numbers,
        texts: Vec::new(),
        scalars: vec![Scalar {
            name: "ball",
            unit: "",
            meaning: "name of the ball profile that is scaled; null or an unknown name = the standard ball",
            kind: ScalarKind::Text,
        }],
        results: Results {
            many: false,
            texts: vec![REASON],
            flags: vec![
                ("drag_identified", "whether the data say more of the drag scale alone than the prior does"),
                ("lift_identified", "whether the data say more of the lift scale alone than the prior does"),
            ],
            numbers: BallModel::NUMBERS.to_vec(),
        },
        most_rows: MOST_FLIGHTS,
        worth_threads: WORTH_THREADS,
        compute: Box::new(move |rows, scalars, _| Ok(vec![scale_ball(rows, &ball_of(&balls, scalars.text(0)))])),
    }
}

/// The profile of a name; a ball that the book does not have is the standard one.
pub(super) fn ball_of(balls: &BallBook, name: Option<&str>) -> BallProfile {
    let named = name.and_then(|name| balls.find(name));
    named.map_or_else(BallProfile::default, |ball| ball.profile.clone())
}

fn scale_ball(rows: &Rows, ball: &BallProfile) -> Told {
    let flights: Vec<MeasuredFlight> = rows.numbers.iter().filter_map(|numbers| measured_flight(numbers)).collect();
    match ::learning::fit_ball(&flights, ball) {
        Ok(model) => Told {
            texts: vec![None],
            flags: vec![Some(model.drag_identified), Some(model.lift_identified)],
            numbers: (0..BallModel::NUMBERS.len()).map(|at| model.number_at(at)).collect(),
        },
        Err(reason) => Told { texts: vec![Some(reason.to_string())], ..Told::default() },
    }
}

fn measured_flight(numbers: &[Option<f64>]) -> Option<MeasuredFlight> {
    let at = |position: usize| numbers.get(position).copied().flatten();
    let calm = Conditions::default();
    Some(MeasuredFlight {
        launch: Launch {
            ball_speed_mps: at(0)?,
            elevation_deg: at(1)?,
            azimuth_deg: at(2)?,
            spin_rpm: at(3)?,
            spin_tilt_deg: at(4).unwrap_or(0.0),
        },
        // A tilt that nobody measured may be anything a full swing gives (common practice, no source).
        launch_sd: [at(5)?, at(6)?, at(7)?, at(8)?, at(9).unwrap_or(10.0)],
        conditions: Conditions {
            air_density: at(10).unwrap_or(calm.air_density),
            wind_along_mps: at(11).unwrap_or(0.0),
            wind_across_mps: at(12).unwrap_or(0.0),
            ..calm
        },
        carry_m: at(13)?,
        carry_sd_m: at(14)?,
        lateral_m: at(16).zip(at(17)),
        day: at(15)?.clamp(-1e8, 1e8) as i32,
    })
}

const BAY_SHOT: [Entry; 4] = [
    ("session", "1", "number of the session"),
    ("launch_azimuth_deg", "deg", "measured start direction about the aim, positive = right"),
    ("path_deg", "deg", "measured path about the aim"),
    ("face_deg", "deg", "measured face about the aim"),
];

const BAY_OFFSET: [Entry; 9] = [
    ("shots", "1", "shots with a start direction in this bay"),
    ("crossing_players", "1", "players and clubs with shots here and in another bay that this one compares with"),
    ("component", "1", "bays that crossing players connect share a number; offsets compare only among them"),
    ("direction_offset_deg", "deg", "how far the bay's start directions read too far right; to be subtracted"),
    ("direction_offset_sd_deg", "deg", "deviation of direction_offset_deg"),
    ("path_offset_deg", "deg", "the same from readings of the path alone"),
    ("path_offset_sd_deg", "deg", "deviation of path_offset_deg"),
    ("face_offset_deg", "deg", "the same from readings of the face alone"),
    ("face_offset_sd_deg", "deg", "deviation of face_offset_deg"),
];

fn bays() -> Definition {
    Definition {
        name: "bay_offsets",
        description: "Finds bays whose readings of direction are turned, from players who cross from bay to bay. The answer is \
                      a list with one entry a bay: take it apart with unnest().",
        takes_list: true,
        numbers: BAY_SHOT.to_vec(),
        texts: vec![("bay", "the bay"), ("player", "player and club: what has a direction of its own")],
        scalars: vec![Scalar {
            name: "reference_bay",
            unit: "",
            meaning: "a bay whose alignment was checked; null or an unknown bay = none",
            kind: ScalarKind::Text,
        }],
        results: Results {
            many: true,
            texts: vec![("bay", "the bay")],
            flags: vec![("identified", "whether the offset rests on the reference bay or on players who cross")],
            numbers: BAY_OFFSET.to_vec(),
        },
        most_rows: MOST_FLIGHTS,
        worth_threads: WORTH_THREADS,
        compute: Box::new(|rows, scalars, _| Ok(compare_bays(rows, scalars.text(0)))),
    }
}

fn compare_bays(rows: &Rows, reference: Option<&str>) -> Vec<Told> {
    let bays = numbered(rows, 0);
    let players = numbered(rows, 1);
    let mut shots = Vec::with_capacity(rows.numbers.len());
    for (numbers, texts) in rows.each() {
        let number_of = |names: &BTreeMap<String, u32>, at: usize| {
            texts.get(at).copied().flatten().and_then(|name| names.get(name).copied())
        };
        let (Some(bay), Some(player)) = (number_of(&bays, 0), number_of(&players, 1)) else { continue };
        shots.push(BayShot {
            bay,
            player,
            session: whole(numbers.first()),
            launch_azimuth_deg: numbers[1],
            path_deg: numbers[2],
            face_deg: numbers[3],
        });
    }
    let offsets = ::learning::fit_bay_offsets(&shots, reference.and_then(|bay| bays.get(bay).copied()));
    let mut told = Vec::with_capacity(offsets.bays.len());
    for offset in &offsets.bays {
        let name = bays.iter().find(|(_, number)| **number == offset.bay).map(|(name, _)| name.clone());
        let (path, face) = (offset.path_offset_deg, offset.face_offset_deg);
        told.push(Told {
            texts: vec![name],
            flags: vec![Some(offset.identified)],
            numbers: vec![
                Some(offset.shots as f64),
                Some(offset.crossing_players as f64),
                Some(offset.component as f64),
                Some(offset.direction_offset_deg),
                Some(offset.direction_offset_sd_deg),
                path.map(|(mean, _)| mean),
                path.map(|(_, sd)| sd),
                face.map(|(mean, _)| mean),
                face.map(|(_, sd)| sd),
            ],
        });
    }
    told
}

/// The texts of a field, numbered in the order of their names.
fn numbered(rows: &Rows, field: usize) -> BTreeMap<String, u32> {
    let mut names: BTreeMap<String, u32> = BTreeMap::new();
    for texts in &rows.texts {
        if let Some(name) = &texts[field] {
            names.insert(name.clone(), 0);
        }
    }
    for (number, entry) in (0..).zip(names.values_mut()) {
        *entry = number;
    }
    names
}

/// A whole number that only tells things apart.
fn whole(number: Option<&Option<f64>>) -> u32 {
    number.copied().flatten().unwrap_or(0.0).clamp(0.0, f64::from(u32::MAX)) as u32
}
