//! One shot in the joint fit: its misfit, and what it says of habits and head once its own delivery is eliminated.

use impact::{
    DELIVERY_UNKNOWNS, Delivery, Dual, Hand, HeadProfile, NUISANCES, Scalar, strike, strike_with_derivatives,
};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use crate::beliefs::{GLOBALS, SHARED};
use crate::reading::{FACE, LAUNCH, LOFT, Reading, SPEED, SPIN, TOE, UP};

pub(crate) type DeliveryVector = SVector<f64, DELIVERY_UNKNOWNS>;
pub(crate) type DeliveryMatrix = SMatrix<f64, DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>;
pub(crate) type SharedVector = SVector<f64, SHARED>;
pub(crate) type SharedMatrix = SMatrix<f64, SHARED, SHARED>;
type CrossMatrix = SMatrix<f64, DELIVERY_UNKNOWNS, SHARED>;

/// Position of the bulge's curvature among the head's numbers.
const BULGE: usize = 6;

/// What surrounds a shot: the habits of its session, head and offsets, the precision of one shot about the habits.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Surroundings<'a> {
    pub head: &'a HeadProfile,
    pub habits: &'a [f64; DELIVERY_UNKNOWNS],
    pub globals: &'a [f64; GLOBALS],
    pub precision: &'a [f64; DELIVERY_UNKNOWNS],
}

impl Surroundings<'_> {
    fn nuisances(&self) -> [f64; NUISANCES] {
        std::array::from_fn(|position| self.globals[position])
    }
}

/// A shot's quadratic in (habits of its session, globals) after elimination, and how its own delivery follows theirs.
#[derive(Debug, Clone)]
pub(crate) struct ShotBlock {
    /// Half gradient of the eliminated misfit.
    pub gradient: SharedVector,
    /// Half curvature of it.
    pub curvature: SharedMatrix,
    /// Step of the delivery when nothing else moves.
    own_step: DeliveryVector,
    /// Change of the delivery by a change of habits and globals.
    response: CrossMatrix,
    /// Covariance of the delivery given habits and globals.
    pub covariance: DeliveryMatrix,
}

impl ShotBlock {
    /// The delivery's own step when a share of it is taken, beside a step of habits and globals that is taken whole.
    pub fn step(&self, shared: &SharedVector, share: f64) -> DeliveryVector {
        self.own_step * share + self.response * shared
    }

    /// Change of the delivery by a change of the session's habits.
    pub fn response_to_habits(&self) -> DeliveryMatrix {
        self.response.fixed_columns::<DELIVERY_UNKNOWNS>(0).into()
    }
}

/// Launch residual of one quantity under the offsets: what the model with its constant error says, minus what was observed.
fn residual<S: Scalar>(launch: &[S; LAUNCH], quantity: usize, observed: f64, globals: &[f64; GLOBALS]) -> S {
    let offsets = &globals[NUISANCES..];
    let modelled = match quantity {
        0 => launch[0],
        SPIN => launch[SPIN] * (1.0 + offsets[2]),
        1 => launch[1] + offsets[0],
        2 => launch[2] + offsets[1],
        _ => launch[4] + offsets[3],
    };
    let difference = modelled - S::constant(observed);
    if quantity == 4 {
        let wrapped = wrapped_degrees(difference.value());
        let turns = wrapped - difference.value();
        return difference + turns;
    }
    difference
}

/// Azimuth of the normal at the strike point: bulge turns it toward the side of the strike, roll leans it, and a leaning face turns
/// further round the vertical.
fn face_at_strike<S: Scalar>(delivery: &[S; DELIVERY_UNKNOWNS], bulge: S, head: &HeadProfile, hand: Hand) -> S {
    let roll = head.roll_radius_m.map_or(0.0, |radius| 1.0 / radius);
    let within = |sine: S| {
        // Beyond the curvature of the face there is no strike point; the collision says so itself.
        if sine.value().abs() < 0.99 { sine } else { S::constant(0.99_f64.copysign(sine.value())) }
    };
    let along = within(delivery[TOE] * 1e-3 * bulge).asin();
    let up = within(delivery[UP] * (1e-3 * roll)).asin();
    let (sin_along, cos_along) = along.sin_cos();
    let elevation = delivery[LOFT] * 1f64.to_radians() + up;
    delivery[FACE] + sin_along.atan2(cos_along * elevation.cos()) * hand.sign().to_degrees()
}

fn wrapped_degrees(angle: f64) -> f64 {
    angle - 360.0 * (angle / 360.0).round()
}

/// Squared misfit of a shot: launch, measured delivery and habits together. `None` where head and ball do not meet.
pub(crate) fn misfit(reading: &Reading, delivery: &[f64; DELIVERY_UNKNOWNS], around: &Surroundings<'_>) -> Option<f64> {
    let parameters = around.head.parameters(&around.nuisances());
    let launch = strike(&parameters, &Delivery::from_array(*delivery), reading.hand)?.to_array();
    let mut sum = 0.0;
    for quantity in 0..LAUNCH {
        if let Some((observed, weight)) = reading.launch[quantity] {
            sum += weight * residual(&launch, quantity, observed, around.globals).powi(2);
        }
    }
    for position in 0..DELIVERY_UNKNOWNS {
        if let Some((observed, weight)) = reading.delivery[position] {
            sum += weight * (delivery[position] - observed).powi(2);
        }
        let off_habit = delivery[position] - reading.origin(position) - around.habits[position];
        sum += around.precision[position] * off_habit * off_habit;
    }
    if let Some((observed, weight)) = reading.face_at_strike {
        let azimuth = face_at_strike(delivery, around.globals[BULGE], around.head, reading.hand);
        sum += weight * (azimuth - observed).powi(2);
    }
    sum.is_finite().then_some(sum)
}

/// Gradients by delivery and by globals of one observation.
fn add_observation(
    sums: &mut Sums,
    value: f64,
    weight: f64,
    by_delivery: &DeliveryVector,
    by_globals: &SVector<f64, GLOBALS>,
) {
    sums.delivery_gradient += by_delivery * (weight * value);
    sums.globals_gradient += by_globals * (weight * value);
    sums.delivery_curvature += by_delivery * by_delivery.transpose() * weight;
    sums.cross += by_delivery * by_globals.transpose() * weight;
    sums.globals_curvature += by_globals * by_globals.transpose() * weight;
}

struct Sums {
    delivery_gradient: DeliveryVector,
    globals_gradient: SVector<f64, GLOBALS>,
    delivery_curvature: DeliveryMatrix,
    cross: SMatrix<f64, DELIVERY_UNKNOWNS, GLOBALS>,
    globals_curvature: SMatrix<f64, GLOBALS, GLOBALS>,
}

/// What the launch (and the face at the strike point) of one shot say of delivery and globals at one point.
fn look(reading: &Reading, delivery: &[f64; DELIVERY_UNKNOWNS], around: &Surroundings<'_>) -> Option<Sums> {
    let numbers = Delivery::from_array(*delivery);
    let launch = strike_with_derivatives(around.head, &numbers, &around.nuisances(), reading.hand)?.to_array();
    let mut sums = Sums {
        delivery_gradient: DeliveryVector::zeros(),
        globals_gradient: SVector::zeros(),
        delivery_curvature: DeliveryMatrix::zeros(),
        cross: SMatrix::zeros(),
        globals_curvature: SMatrix::zeros(),
    };
    for quantity in 0..LAUNCH {
        let Some((observed, weight)) = reading.launch[quantity] else { continue };
        let residual = residual(&launch, quantity, observed, around.globals);
        let (by_delivery, mut by_globals) = split(&residual);
        match quantity {
            1 => by_globals[NUISANCES] = 1.0,
            2 => by_globals[NUISANCES + 1] = 1.0,
            SPIN => by_globals[NUISANCES + 2] = launch[SPIN].value,
            4 => by_globals[NUISANCES + 3] = 1.0,
            _ => {}
        }
        add_observation(&mut sums, residual.value, weight, &by_delivery, &by_globals);
    }
    if let Some((observed, weight)) = reading.face_at_strike {
        let numbers: [Dual<{ impact::UNKNOWNS }>; DELIVERY_UNKNOWNS] =
            std::array::from_fn(|position| Dual::input(delivery[position], position));
        let bulge = Dual::input(around.globals[BULGE], DELIVERY_UNKNOWNS + BULGE);
        let residual = face_at_strike(&numbers, bulge, around.head, reading.hand) - observed;
        let (by_delivery, by_globals) = split(&residual);
        add_observation(&mut sums, residual.value, weight, &by_delivery, &by_globals);
    }
    Some(sums)
}

/// Linearises one shot and eliminates its delivery.
pub(crate) fn eliminate(
    reading: &Reading,
    delivery: &[f64; DELIVERY_UNKNOWNS],
    around: &Surroundings<'_>,
) -> Option<ShotBlock> {
    let mut sums = look(reading, delivery, around)?;
    let of_launch = (sums.delivery_gradient, sums.globals_gradient);
    let mut habit_gradient = DeliveryVector::zeros();
    for position in 0..DELIVERY_UNKNOWNS {
        if let Some((observed, weight)) = reading.delivery[position] {
            sums.delivery_gradient[position] += weight * (delivery[position] - observed);
            sums.delivery_curvature[(position, position)] += weight;
        }
        let precision = around.precision[position];
        let off_habit = delivery[position] - reading.origin(position) - around.habits[position];
        sums.delivery_gradient[position] += precision * off_habit;
        sums.delivery_curvature[(position, position)] += precision;
        habit_gradient[position] = -precision * off_habit;
    }
    let covariance = Cholesky::<f64, Const<DELIVERY_UNKNOWNS>>::new(sums.delivery_curvature)?.inverse();
    if let Some((by_delivery, by_globals)) = mean_gradient(reading, delivery, &covariance, around) {
        sums.delivery_gradient += by_delivery - of_launch.0;
        sums.globals_gradient += by_globals - of_launch.1;
    }
    Some(reduced(&sums, &habit_gradient, around.precision, covariance))
}

/// Mean gradient of the launch's misfit over what the delivery may have been.
///
/// The best single guess of every delivery would bias the head: with the strike unmeasured it always pays to guess strikes nearer the
/// centre and a head that turns more. What counts is the likelihood with the deliveries integrated out; its gradient is the mean of the
/// gradients over the deliveries' posterior (Fisher's identity). Four points that match the posterior's covariance along strike toward
/// the toe and strike up the face stand for it; in the other directions the launch is nearly linear.
fn mean_gradient(
    reading: &Reading,
    delivery: &[f64; DELIVERY_UNKNOWNS],
    covariance: &DeliveryMatrix,
    around: &Surroundings<'_>,
) -> Option<(DeliveryVector, SVector<f64, GLOBALS>)> {
    let along = covariance.column(TOE) / covariance[(TOE, TOE)].sqrt();
    let left = covariance - along * along.transpose();
    let upward = left.column(UP) / left[(UP, UP)].sqrt();
    let mut by_delivery = DeliveryVector::zeros();
    let mut by_globals = SVector::<f64, GLOBALS>::zeros();
    for direction in [along, upward] {
        for side in [-std::f64::consts::SQRT_2, std::f64::consts::SQRT_2] {
            let point: [f64; DELIVERY_UNKNOWNS] =
                std::array::from_fn(|position| delivery[position] + side * direction[position]);
            let sums = look(reading, &point, around)?;
            by_delivery += sums.delivery_gradient * 0.25;
            by_globals += sums.globals_gradient * 0.25;
        }
    }
    Some((by_delivery, by_globals))
}

/// Schur complement of the delivery.
fn reduced(
    sums: &Sums,
    habit_gradient: &DeliveryVector,
    precision: &[f64; DELIVERY_UNKNOWNS],
    covariance: DeliveryMatrix,
) -> ShotBlock {
    let mut cross = CrossMatrix::zeros();
    let mut curvature = SharedMatrix::zeros();
    let mut gradient = SharedVector::zeros();
    for position in 0..DELIVERY_UNKNOWNS {
        cross[(position, position)] = -precision[position];
        curvature[(position, position)] = precision[position];
        gradient[position] = habit_gradient[position];
    }
    cross.fixed_view_mut::<DELIVERY_UNKNOWNS, GLOBALS>(0, DELIVERY_UNKNOWNS).copy_from(&sums.cross);
    curvature
        .fixed_view_mut::<GLOBALS, GLOBALS>(DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS)
        .copy_from(&sums.globals_curvature);
    gradient.fixed_rows_mut::<GLOBALS>(DELIVERY_UNKNOWNS).copy_from(&sums.globals_gradient);

    let response = -(covariance * cross);
    let own_step = -(covariance * sums.delivery_gradient);
    ShotBlock {
        gradient: gradient + cross.transpose() * own_step,
        curvature: curvature + cross.transpose() * response,
        own_step,
        response,
        covariance,
    }
}

fn split(number: &Dual<{ impact::UNKNOWNS }>) -> (DeliveryVector, SVector<f64, GLOBALS>) {
    let by_delivery = DeliveryVector::from_fn(|position, _| number.slopes[position]);
    let mut by_globals = SVector::<f64, GLOBALS>::zeros();
    for position in 0..NUISANCES {
        by_globals[position] = number.slopes[DELIVERY_UNKNOWNS + position];
    }
    (by_delivery, by_globals)
}

/// Keeps a delivery where the collision model has an answer.
pub(crate) fn keep_delivery_possible(delivery: &mut [f64; DELIVERY_UNKNOWNS]) {
    delivery[SPEED] = delivery[SPEED].clamp(2.0, 75.0);
    delivery[LOFT] = delivery[LOFT].clamp(-5.0, 75.0);
    delivery[TOE] = delivery[TOE].clamp(-60.0, 60.0);
    delivery[UP] = delivery[UP].clamp(-40.0, 40.0);
}

/// Keeps the head's numbers where they describe a head.
pub(crate) fn keep_globals_possible(globals: &mut [f64; GLOBALS]) {
    globals[0] = globals[0].clamp(0.4, 0.95);
    globals[1] = globals[1].max(0.0);
    globals[2] = globals[2].clamp(0.4, 2.5);
    globals[BULGE] = globals[BULGE].clamp(0.0, 6.0);
    globals[7] = globals[7].clamp(0.02, 1.0);
}
