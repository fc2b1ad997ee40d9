//! Plays the sessions: from the timetable to shots with truth and observation.

use std::collections::BTreeMap;

use chrono::{DateTime, Duration, NaiveDateTime, TimeZone, Timelike, Utc};
use impact::HeadBook;
use rand::Rng;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::SeedableRng;
use shot::Intent;

use super::cast::Member;
use super::people::{self, VISITOR};
use super::practice::{self, Block};
use super::timetable::{Bay, Extra, Session, ZONE, sessions};
use super::weather::Weather;
use crate::{AcademyError, ClubInHand, Form, ModelError, Observed, Player, TrueBall, TrueShot, draw_shot};

/// One shot of the demo.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoShot {
    /// Number in the session, from 1, as the device counts.
    pub number: usize,
    /// Whom the device takes for the player.
    pub logged_as: &'static str,
    /// Who really swung.
    pub swung_by: &'static str,
    /// Club id.
    pub club_id: &'static str,
    /// What it was hit for.
    pub intent: Intent,
    /// When, in the bay's local time.
    pub local: NaiveDateTime,
    /// When.
    pub at: DateTime<Utc>,
    /// What really happened.
    pub truth: TrueShot,
    /// What the device saw.
    pub observed: Observed,
}

/// A session with its shots.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// The plan of it.
    pub session: Session,
    /// The air.
    pub weather: Weather,
    /// The shots that the device noticed, in the order of time.
    pub shots: Vec<DemoShot>,
    /// The shots that it did not notice, in the order of time; their number is 0.
    pub unseen: Vec<DemoShot>,
}

/// A stream of draws of its own for each purpose, so that adding a session does not change the others.
pub fn stream(seed: u64, purpose: &str) -> ChaCha12Rng {
    // FNV-1a, 64 bits: stable, and good enough to keep a few hundred labels apart.
    let mut label: u64 = 0xcbf2_9ce4_8422_2325;
    for byte in purpose.bytes() {
        label = (label ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    rng.set_stream(label);
    rng
}

/// Every person of the demo, the visitor included.
pub fn everyone() -> Vec<Member> {
    let mut everyone = people::players();
    everyone.extend(people::coaches());
    everyone.push(people::visitor());
    everyone
}

/// Every person of the demo by id, with clubs and ball.
pub type People = BTreeMap<&'static str, (Player, Member)>;

/// Gives everyone clubs and a ball.
pub fn equip(seed: u64, heads: &HeadBook) -> Result<People, AcademyError> {
    let mut people = People::new();
    for member in everyone() {
        people.insert(member.id, (player_of(&member, seed, heads)?, member));
    }
    Ok(people)
}

/// Plays the whole timetable.
pub fn record(seed: u64, people: &People) -> Result<Vec<Recorded>, AcademyError> {
    let mut practised: BTreeMap<&str, u32> = BTreeMap::new();
    let mut recorded = Vec::new();
    let mut further = stream(seed, "timetable of the further bays");
    for session in sessions(&mut stream(seed, "timetable"), &mut further) {
        let mut rng = stream(seed, &format!("session {}", session.path()));
        let mut unseen = stream(seed, &format!("unseen {}", session.path()));
        let mut played = play(session, people, &mut practised, &mut rng)?;
        overlook(&mut played, &mut unseen);
        recorded.push(played);
    }
    Ok(recorded)
}

fn player_of(member: &Member, seed: u64, heads: &HeadBook) -> Result<Player, AcademyError> {
    let mut rng = stream(seed, &format!("player {}", member.id));
    let ball = TrueBall::draw(&mut rng);
    let mut clubs = Vec::new();
    for club_id in member.clubs() {
        let name = member.profile_of(club_id);
        let profile = heads.find(name).ok_or_else(|| AcademyError::NoProfile {
            player: member.id.to_owned(),
            club: club_id.to_owned(),
            profile: name.to_owned(),
        })?;
        clubs.push(ClubInHand::draw(club_id, profile, member.habits_with(club_id), &mut rng));
    }
    let mut player =
        Player { alias: member.id.to_owned(), hand: member.hand, bias: member.bias, aim_deg: 0.0, ball, clubs };
    player.settle_stock_shape();
    Ok(player)
}

fn play(
    session: Session,
    people: &People,
    practised: &mut BTreeMap<&'static str, u32>,
    rng: &mut ChaCha12Rng,
) -> Result<Recorded, AcademyError> {
    let weather = Weather::draw(session.bay, rng);
    let device = session.bay.device();

    let mut forms = Vec::new();
    let mut per_player = Vec::new();
    for (position, id) in session.players.iter().enumerate() {
        let (_, member) = &people[id];
        forms.push(form_of(member, practised.get(id).copied(), rng));
        per_player.push(match session.extra {
            Extra::Demonstration => practice::demonstration(position),
            _ if member.id == VISITOR => practice::visit(position, rng),
            _ => practice::ordinary(position, member, drills_now(member, &session, practised), rng),
        });
    }
    let mut blocks = practice::taking_turns(per_player);
    let mut swung_by = session.players.clone();
    if session.extra == Extra::DemonstrationAsPlayer {
        swung_by.push(DEMONSTRATING_COACH);
        forms.push(Form::default());
        blocks.extend(practice::demonstration(swung_by.len() - 1));
    }

    let mut shots = Vec::new();
    let mut local = session.start + Duration::seconds(rng.random_range(20..180));
    for Block { player, club_id, intent, plans } in blocks {
        local += Duration::seconds(rng.random_range(15..60));
        let who = swung_by[player];
        let person = &people[who].0;
        let club = person.club(club_id).ok_or_else(|| no_shot(who, club_id))?;
        for plan in plans {
            let conditions = weather.at_the_shot(rng);
            let truth = draw_shot(person, club, &forms[player], &plan, &conditions, &ModelError::default(), rng)?;
            let observed = device.observe(&truth, rng);
            local = shown_by_the_clock(session.bay, local + Duration::milliseconds(rng.random_range(28_000..52_000)));
            shots.push(DemoShot {
                number: shots.len() + 1,
                // A coach who steps in does not log the player out.
                logged_as: session.players.get(player).copied().unwrap_or(session.players[0]),
                swung_by: who,
                club_id,
                intent,
                local,
                at: moment_of(local)?,
                truth,
                observed,
            });
        }
    }
    for shot in &shots {
        if shot.intent == Intent::Drill {
            practised.entry(shot.swung_by).or_insert(session.week);
        }
    }
    Ok(Recorded { session, weather, shots, unseen: Vec::new() })
}

/// Takes out the shots that the device does not notice; it counts only those that it does.
fn overlook(recorded: &mut Recorded, rng: &mut ChaCha12Rng) {
    let share = recorded.session.bay.unseen_share();
    let (mut seen, mut unseen) = (Vec::new(), Vec::new());
    for mut shot in std::mem::take(&mut recorded.shots) {
        if rng.random::<f64>() < share {
            unseen.push(DemoShot { number: 0, ..shot });
        } else {
            shot.number = seen.len() + 1;
            seen.push(shot);
        }
    }
    recorded.shots = seen;
    recorded.unseen = unseen;
}

/// Who demonstrates in a player's session.
const DEMONSTRATING_COACH: &str = "rowan";

fn no_shot(player: &str, club: &str) -> AcademyError {
    AcademyError::NoShot { player: player.to_owned(), club: club.to_owned() }
}

/// Whether the player works with the strike gate in this session: in bay 3, where the strike is seen.
fn drills_now(member: &Member, session: &Session, practised: &BTreeMap<&'static str, u32>) -> bool {
    let Some(gate) = member.strike_gate else { return false };
    let first = practised.get(member.id).copied().unwrap_or(gate.from_week);
    session.bay == Bay::Three && session.week >= gate.from_week && session.week < first + gate.weeks
}

fn form_of(member: &Member, practised: Option<u32>, rng: &mut ChaCha12Rng) -> Form {
    let mut form = Form::draw(&member.driver, rng);
    if let (Some(gate), Some(_)) = (member.strike_gate, practised) {
        form.strike_spread_left = gate.spread_left;
        form.strike_offset_left = gate.offset_left;
    }
    form
}

fn shown_by_the_clock(bay: Bay, local: NaiveDateTime) -> NaiveDateTime {
    if bay.shows_whole_seconds() { local.with_nanosecond(0).unwrap_or(local) } else { local }
}

fn moment_of(local: NaiveDateTime) -> Result<DateTime<Utc>, AcademyError> {
    let moment = ZONE.from_local_datetime(&local).single();
    moment
        .map(|at| at.with_timezone(&Utc))
        .ok_or_else(|| AcademyError::NoMoment { local: local.to_string(), zone: ZONE.name().to_owned() })
}
