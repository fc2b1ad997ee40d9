//! What makes a head profile unusable.

use std::fmt;

use crate::delivery::{Delivery, Hand};
use crate::head::HeadProfile;
use crate::strike::launch;

/// Why a head profile cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeadFault {
    /// Name of the profile; empty where the whole book is meant.
    pub profile: String,
    /// The key of `heads.toml` that is wrong, with the place in a list where that matters: `cg_sd_m[1]`.
    pub field: String,
    /// What is wrong with its value.
    pub problem: String,
    /// What to do about it.
    pub hint: &'static str,
}

impl HeadFault {
    /// The fault as one sentence, without the hint.
    pub fn sentence(&self) -> String {
        if self.profile.is_empty() {
            return format!("{} {}", self.field, self.problem);
        }
        format!("head `{}`: {} {}", self.profile, self.field, self.problem)
    }
}

impl fmt::Display for HeadFault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}\nhint: {}", self.sentence(), self.hint)
    }
}

impl std::error::Error for HeadFault {}

pub(crate) fn empty_book() -> HeadFault {
    HeadFault {
        profile: String::new(),
        field: "head".to_owned(),
        problem: "is missing: the book holds no head profile".to_owned(),
        hint: "write at least one [[head]]; the shipped config/heads.toml shows every key",
    }
}

pub(crate) fn nameless(place: usize) -> HeadFault {
    HeadFault {
        profile: String::new(),
        field: format!("head {place}:"),
        problem: "name is \"\", must hold at least one letter".to_owned(),
        hint: "rosters refer to a head by its name; give it a short one",
    }
}

pub(crate) fn named_twice(name: &str) -> HeadFault {
    HeadFault {
        profile: name.to_owned(),
        field: "name".to_owned(),
        problem: format!("is \"{name}\" twice in the book"),
        hint: "rename one of the two; rosters refer to a head by its name",
    }
}

/// The faults of one profile, in the order of its keys.
pub(crate) fn faults_of(head: &HeadProfile) -> Vec<HeadFault> {
    let mut faults = Faults { profile: &head.name, found: Vec::new() };
    masses_and_face(head, &mut faults);
    centre_of_gravity(head, &mut faults);
    inertia(head, &mut faults);
    deviations(head, &mut faults);
    typical_delivery(head, &mut faults);
    faults.found
}

struct Faults<'head> {
    profile: &'head str,
    found: Vec<HeadFault>,
}

impl Faults<'_> {
    fn add(&mut self, field: &str, problem: String, hint: &'static str) {
        self.found.push(HeadFault { profile: self.profile.to_owned(), field: field.to_owned(), problem, hint });
    }

    /// Demands `least < value <= most`.
    fn above(&mut self, field: &str, value: f64, least: f64, most: f64, hint: &'static str) {
        if !(value > least && value <= most) {
            self.add(field, format!("is {value}, must be above {least} and at most {most}"), hint);
        }
    }

    /// Demands `least <= value <= most`.
    fn between(&mut self, field: &str, value: f64, least: f64, most: f64, hint: &'static str) {
        if !(least..=most).contains(&value) {
            self.add(field, format!("is {value}, must lie between {least} and {most}"), hint);
        }
    }
}

fn masses_and_face(head: &HeadProfile, faults: &mut Faults<'_>) {
    faults.above("mass_kg", head.mass_kg, 0.0, 1.0, "give the head alone, in kilograms: 200 g is 0.200");
    faults.between(
        "restitution",
        head.restitution,
        0.0,
        1.0,
        "0 is a ball that sticks, 1 one that loses nothing; woods have about 0.8",
    );
    faults.between(
        "restitution_falloff_per_m2",
        head.restitution_falloff_per_m2,
        0.0,
        10_000.0,
        "restitution falls off from the face centre, in 1/m^2: 60 leaves 97.6 % of it 20 mm off",
    );
    // Beyond 60 mm no face exists, so a smaller radius would end inside the face.
    for (field, radius) in [("bulge_radius_m", head.bulge_radius_m), ("roll_radius_m", head.roll_radius_m)] {
        if let Some(radius) = radius {
            faults.above(
                field,
                radius,
                0.06,
                1000.0,
                "give the radius in metres, or leave the key out for a flat face",
            );
        }
    }
    faults.above("friction", head.friction, 0.0, 100.0, "the ratio of grip to pressure, about 0.2 to 0.5");
    faults.above("ball_mass_kg", head.ball_mass_kg, 0.0, 0.1, "in kilograms; leave the key out for 45.93 g");
    faults.above("ball_radius_m", head.ball_radius_m, 0.0, 0.05, "in metres; leave the key out for 21.335 mm");
    faults.above(
        "ball_inertia_factor",
        head.ball_inertia_factor,
        0.0,
        2.0 / 3.0,
        "0.4 is a uniform ball, 0.667 an empty shell; leave the key out for 0.4",
    );
}

fn centre_of_gravity(head: &HeadProfile, faults: &mut Faults<'_>) {
    let [normal, up, toe] = head.cg_m;
    if normal > 0.0 {
        let hint = "behind the face is negative: the first of cg_m points out of the face";
        faults.add("cg_m[0]", format!("is {normal}, in front of the face"), hint);
    }
    for (field, distance) in [("cg_m[0]", normal), ("cg_m[1]", up), ("cg_m[2]", toe)] {
        faults.between(field, distance, -0.15, 0.15, "cg_m is in metres from the face centre: 42 mm is 0.042");
    }
}

fn inertia(head: &HeadProfile, faults: &mut Faults<'_>) {
    const FIELD: &str = "inertia_kg_m2";
    const PRODUCTS: &str = "nine numbers in rows, each product of inertia the same on either side of the diagonal";
    const BODY: &str = "check the unit (1 g cm^2 = 1e-7 kg m^2), the order n, u, t and the signs of the products";
    let rows = &head.inertia_kg_m2;
    let entries = || rows.iter().flatten();
    if let Some(entry) = entries().find(|entry| !entry.is_finite()) {
        return faults.add(FIELD, format!("holds {entry}, not a finite number"), PRODUCTS);
    }
    let largest = entries().fold(0.0_f64, |largest, entry| largest.max(entry.abs()));
    for (row, column) in [(0, 1), (0, 2), (1, 2)] {
        let (above, below) = (rows[row][column], rows[column][row]);
        if (above - below).abs() > 1e-9 * largest {
            return faults.add(FIELD, format!("is not symmetric: {above} against {below}"), PRODUCTS);
        }
    }
    let tensor = head.symmetric_inertia();
    if smallest_minor(&tensor, 1.0) <= 0.0 {
        return faults.add(FIELD, format!("{rows:?} is not positive definite, which every body's is"), BODY);
    }
    // Half the trace less the tensor holds the body's second moments of mass, which are never negative on any axis: no
    // principal moment exceeds the sum of the other two. A flat plate just meets it, so rounding is let through.
    let half_trace = 0.5 * (tensor[0] + tensor[1] + tensor[2]);
    let [nn, uu, tt, nu, nt, ut] = tensor;
    let second_moments = [half_trace - nn, half_trace - uu, half_trace - tt, -nu, -nt, -ut];
    if smallest_minor(&second_moments, half_trace) < -1e-9 {
        let problem = format!("{rows:?} has a moment that exceeds the sum of the other two, which no body has");
        return faults.add(FIELD, problem, BODY);
    }
    if largest > 1e-2 {
        faults.add(FIELD, format!("holds {largest}, far too large for a club head: not kg m^2?"), BODY);
    }
}

/// The smallest of the seven principal minors, with every entry divided by `unit`; a symmetric matrix is positive (semi-)definite
/// exactly where all are positive (or 0).
fn smallest_minor(matrix: &[f64; 6], unit: f64) -> f64 {
    let [nn, uu, tt, nu, nt, ut] = matrix.map(|entry| entry / unit);
    let pairs = [nn * uu - nu * nu, nn * tt - nt * nt, uu * tt - ut * ut];
    let whole = tt * pairs[0] - nn * ut * ut - uu * nt * nt + 2.0 * nu * nt * ut;
    [nn, uu, tt, whole].into_iter().chain(pairs).fold(f64::INFINITY, f64::min)
}

fn deviations(head: &HeadProfile, faults: &mut Faults<'_>) {
    let hint =
        "say how far a head of the kind may lie from this figure, at one standard deviation; a tiny one means known";
    for (field, deviation) in [
        ("restitution_sd", head.restitution_sd),
        ("restitution_falloff_sd", head.restitution_falloff_sd),
        ("inertia_scale_sd", head.inertia_scale_sd),
        ("cg_sd_m[0]", head.cg_sd_m[0]),
        ("cg_sd_m[1]", head.cg_sd_m[1]),
        ("cg_sd_m[2]", head.cg_sd_m[2]),
        ("bulge_sd_m", head.bulge_sd_m),
        ("friction_sd", head.friction_sd),
    ] {
        faults.above(field, deviation, 0.0, 10_000.0, hint);
    }
}

fn typical_delivery(head: &HeadProfile, faults: &mut Faults<'_>) {
    faults.above(
        "typical_club_speed_mps",
        head.typical_club_speed_mps,
        0.0,
        100.0,
        "in metres a second: 100 miles an hour are 44.7",
    );
    for (field, angle) in [
        ("loft_deg", head.loft_deg),
        ("typical_attack_deg", head.typical_attack_deg),
        ("typical_delivered_loft_deg", head.typical_delivered_loft_deg),
    ] {
        faults.between(field, angle, -30.0, 80.0, "in degrees, upward positive");
    }
    let delivery = Delivery {
        club_speed_mps: head.typical_club_speed_mps,
        attack_deg: head.typical_attack_deg,
        path_deg: 0.0,
        face_deg: 0.0,
        delivered_loft_deg: head.typical_delivered_loft_deg,
        strike_toe_mm: 0.0,
        strike_up_mm: 0.0,
    };
    if faults.found.is_empty() && launch(head, &delivery, Hand::Right).is_none() {
        let problem = format!("is {}, with which the head does not meet the ball", head.typical_delivered_loft_deg);
        faults.add(
            "typical_delivered_loft_deg",
            problem,
            "compare typical_attack_deg and the loft with a shipped profile",
        );
    }
}
