//! One shot in the joint fit: its misfit, and what it says of habits and head once its own delivery is eliminated.

use impact::{
    DELIVERY_UNKNOWNS, Delivery, Dual, Hand, HeadProfile, NUISANCES, Scalar, strike, strike_with_derivatives,
};
use nalgebra::{Cholesky, Const, SMatrix, SVector};

use crate::beliefs::{GLOBALS, SHARED};
use crate::reading::{ATTACK, FACE, LAUNCH, LOFT, PATH, Reading, SPEED, SPIN, TOE, UP};

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
    pub precision: &'a DeliveryMatrix,
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
    modelled - observed
}

/// An observed tilt, turned by whole turns to where the modelled one is.
fn nearest_turn(observed: f64, modelled: f64, quantity: usize) -> f64 {
    if quantity == 4 { observed - 360.0 * ((observed - modelled) / 360.0).round() } else { observed }
}

/// Azimuth of the normal at the strike point: bulge turns it toward the side of the strike, roll leans it, and a leaning face turns
/// further round the vertical.
fn face_at_strike<S: Scalar>(delivery: &[S; DELIVERY_UNKNOWNS], bulge: S, head: &HeadProfile, hand: Hand) -> S {
    let roll = head.roll_radius_m.map_or(0.0, |radius| 1.0 / radius);
    let within = |sine: S| {
        // Beyond the curvature of the face there is no strike point; the collision says so itself.
        let least = S::choose((-sine).below(S::constant(0.99)), sine, S::constant(-0.99));
        S::choose(sine.below(S::constant(0.99)), least, S::constant(0.99))
    };
    let along = within(delivery[TOE] * 1e-3 * bulge).asin();
    let up = within(delivery[UP] * (1e-3 * roll)).asin();
    let (sin_along, cos_along) = along.sin_cos();
    let elevation = delivery[LOFT] * 1f64.to_radians() + up;
    delivery[FACE] + sin_along.atan2(cos_along * elevation.cos()) * hand.sign().to_degrees()
}

/// How far a delivery lies from the habits of its session.
fn off_habit(reading: &Reading, delivery: &[f64; DELIVERY_UNKNOWNS], around: &Surroundings<'_>) -> DeliveryVector {
    DeliveryVector::from_fn(|position, _| delivery[position] - reading.origin(position) - around.habits[position])
}

/// Squared misfit of a shot: launch, measured delivery and habits together. `None` where head and ball do not meet.
pub(crate) fn misfit(reading: &Reading, delivery: &[f64; DELIVERY_UNKNOWNS], around: &Surroundings<'_>) -> Option<f64> {
    let parameters = around.head.parameters(&around.nuisances());
    let launch = strike(&parameters, &Delivery::from_array(*delivery), reading.hand)?.to_array();
    let mut sum = 0.0;
    for quantity in 0..LAUNCH {
        if let Some((observed, weight)) = reading.launch[quantity] {
            let observed = nearest_turn(observed, launch[quantity], quantity);
            sum += weight * residual(&launch, quantity, observed, around.globals).powi(2);
        }
    }
    for position in 0..DELIVERY_UNKNOWNS {
        if let Some((observed, weight)) = reading.delivery[position] {
            sum += weight * (delivery[position] - observed).powi(2);
        }
    }
    let off_habit = off_habit(reading, delivery, around);
    sum += off_habit.dot(&(around.precision * off_habit));
    if let Some((observed, weight)) = reading.face_at_strike {
        let azimuth = face_at_strike(delivery, around.globals[BULGE], around.head, reading.hand);
        sum += weight * (azimuth - observed).powi(2);
    }
    sum.is_finite().then_some(sum)
}

type GlobalsVector = SVector<f64, GLOBALS>;

/// Half gradient of a shot's misfit by delivery and by globals.
type Gradient = (DeliveryVector, GlobalsVector);

/// Half gradient and half curvature of what launch and measured delivery say.
struct Sums {
    delivery_gradient: DeliveryVector,
    globals_gradient: GlobalsVector,
    delivery_curvature: DeliveryMatrix,
    cross: SMatrix<f64, DELIVERY_UNKNOWNS, GLOBALS>,
    globals_curvature: SMatrix<f64, GLOBALS, GLOBALS>,
}

/// One observation at one point: residual, its inverse variance, its slopes by delivery and by globals.
struct Observation {
    residual: f64,
    weight: f64,
    by_delivery: DeliveryVector,
    by_globals: GlobalsVector,
}

/// Passes every observation of the launch (and of the face at the strike point) to `take`. `None` where head and ball do not meet.
fn observe(
    reading: &Reading,
    delivery: &[f64; DELIVERY_UNKNOWNS],
    around: &Surroundings<'_>,
    mut take: impl FnMut(usize, &Observation),
) -> Option<()> {
    let numbers = Delivery::from_array(*delivery);
    let launch = strike_with_derivatives(around.head, &numbers, &around.nuisances(), reading.hand)?.to_array();
    for quantity in 0..LAUNCH {
        let Some((observed, weight)) = reading.launch[quantity] else { continue };
        let observed = nearest_turn(observed, launch[quantity].value, quantity);
        let mut observation = Observation::of(&residual(&launch, quantity, observed, around.globals), weight);
        match quantity {
            1 => observation.by_globals[NUISANCES] = 1.0,
            2 => observation.by_globals[NUISANCES + 1] = 1.0,
            SPIN => observation.by_globals[NUISANCES + 2] = launch[SPIN].value,
            4 => observation.by_globals[NUISANCES + 3] = 1.0,
            _ => {}
        }
        take(quantity, &observation);
    }
    if let Some((observed, weight)) = reading.face_at_strike {
        let numbers: [Dual<{ impact::UNKNOWNS }>; DELIVERY_UNKNOWNS] =
            std::array::from_fn(|position| Dual::input(delivery[position], position));
        let bulge = Dual::input(around.globals[BULGE], DELIVERY_UNKNOWNS + BULGE);
        take(
            LAUNCH,
            &Observation::of(&(face_at_strike(&numbers, bulge, around.head, reading.hand) - observed), weight),
        );
    }
    Some(())
}

impl Observation {
    /// Slopes by delivery, then by globals.
    fn slopes(&self) -> SharedVector {
        let mut slopes = SharedVector::zeros();
        slopes.fixed_rows_mut::<DELIVERY_UNKNOWNS>(0).copy_from(&self.by_delivery);
        slopes.fixed_rows_mut::<GLOBALS>(DELIVERY_UNKNOWNS).copy_from(&self.by_globals);
        slopes
    }

    fn of(residual: &Dual<{ impact::UNKNOWNS }>, weight: f64) -> Observation {
        let mut by_globals = GlobalsVector::zeros();
        for position in 0..NUISANCES {
            by_globals[position] = residual.slopes[DELIVERY_UNKNOWNS + position];
        }
        Observation {
            residual: residual.value,
            weight,
            by_delivery: DeliveryVector::from_fn(|position, _| residual.slopes[position]),
            by_globals,
        }
    }
}

/// Linearises one shot and eliminates its delivery.
pub(crate) fn eliminate(
    reading: &Reading,
    delivery: &[f64; DELIVERY_UNKNOWNS],
    around: &Surroundings<'_>,
    bends: Option<&Bends>,
) -> Option<ShotBlock> {
    let mut sums = Sums {
        delivery_gradient: DeliveryVector::zeros(),
        globals_gradient: GlobalsVector::zeros(),
        delivery_curvature: DeliveryMatrix::zeros(),
        cross: SMatrix::zeros(),
        globals_curvature: SMatrix::zeros(),
    };
    let mut rows = [(0.0, SharedVector::zeros()); ROWS];
    observe(reading, delivery, around, |row, seen| {
        sums.delivery_gradient += seen.by_delivery * (seen.weight * seen.residual);
        sums.globals_gradient += seen.by_globals * (seen.weight * seen.residual);
        let weighted = seen.by_delivery * seen.weight;
        sums.delivery_curvature += weighted * seen.by_delivery.transpose();
        sums.cross += weighted * seen.by_globals.transpose();
        sums.globals_curvature += seen.by_globals * (seen.by_globals * seen.weight).transpose();
        rows[row] = (seen.weight, seen.slopes());
    })?;
    for position in 0..DELIVERY_UNKNOWNS {
        if let Some((observed, weight)) = reading.delivery[position] {
            sums.delivery_gradient[position] += weight * (delivery[position] - observed);
            sums.delivery_curvature[(position, position)] += weight;
        }
    }
    let pull = around.precision * off_habit(reading, delivery, around);
    sums.delivery_gradient += pull;
    sums.delivery_curvature += around.precision;
    let covariance = Cholesky::<f64, Const<DELIVERY_UNKNOWNS>>::new(sums.delivery_curvature)?.inverse();
    if let Some(bends) = bends {
        let (by_delivery, by_globals) = bends.gradient(&rows, &covariance);
        sums.delivery_gradient += by_delivery;
        sums.globals_gradient += by_globals;
    }
    Some(reduced(&sums, &pull, around.precision, &covariance))
}

/// Observations of a shot: the launch, and the face at the strike point.
const ROWS: usize = LAUNCH + 1;
/// Directions in which the launch bends; with speed it only grows.
const BENDING: [usize; 6] = [TOE, UP, LOFT, ATTACK, PATH, FACE];
/// Step of the differences between exact slopes, in degrees or mm: third derivatives are far too small to show.
const STEP: f64 = 0.01;

/// Second derivatives of a shot's observations: by each bending number of the delivery and by everything. They change so little that
/// a fit computes them a few times only.
#[derive(Debug, Clone)]
pub(crate) struct Bends([[SharedVector; BENDING.len()]; ROWS]);

impl Bends {
    pub fn of(reading: &Reading, delivery: &[f64; DELIVERY_UNKNOWNS], around: &Surroundings<'_>) -> Option<Bends> {
        let mut bends = Bends([[SharedVector::zeros(); BENDING.len()]; ROWS]);
        let mut middle = [SharedVector::zeros(); ROWS];
        observe(reading, delivery, around, |row, seen| middle[row] = seen.slopes())?;
        for (number, position) in BENDING.into_iter().enumerate() {
            // A left-hander's step is the mirror image, so that the whole fit is.
            let step = if position == PATH || position == FACE { STEP * reading.hand.sign() } else { STEP };
            let mut beside = *delivery;
            beside[position] += step;
            observe(reading, &beside, around, |row, seen| {
                bends.0[row][number] = (seen.slopes() - middle[row]) / step;
            })?;
        }
        Some(bends)
    }

    /// Mean gradient over what the delivery may have been, less the gradient at its most probable value, to second order.
    ///
    /// The best single guess of every delivery would bias the head: with the strike unmeasured it always pays to guess strikes
    /// nearer the centre and a head that turns more. What counts is the likelihood with the deliveries integrated out; its gradient is
    /// the mean of the gradients over the deliveries' posterior (Fisher's identity). With r a residual, J its slopes, H its second
    /// derivatives and C the posterior covariance of the delivery, the mean of r J lies above r J by J tr(C H) / 2 + H C J.
    fn gradient(&self, rows: &[(f64, SharedVector); ROWS], covariance: &DeliveryMatrix) -> Gradient {
        let mut sum = SharedVector::zeros();
        for (row, (weight, slopes)) in rows.iter().enumerate() {
            if *weight <= 0.0 {
                continue;
            }
            let moved = covariance * slopes.fixed_rows::<DELIVERY_UNKNOWNS>(0);
            let mut trace = 0.0;
            for (number, position) in BENDING.into_iter().enumerate() {
                let bend = &self.0[row][number];
                for other in BENDING {
                    trace += covariance[(position, other)] * bend[other];
                }
                sum += bend * (weight * moved[position]);
            }
            sum += slopes * (0.5 * weight * trace);
        }
        (sum.fixed_rows::<DELIVERY_UNKNOWNS>(0).into(), sum.fixed_rows::<GLOBALS>(DELIVERY_UNKNOWNS).into())
    }
}

/// Schur complement of the delivery.
fn reduced(sums: &Sums, pull: &DeliveryVector, precision: &DeliveryMatrix, covariance: &DeliveryMatrix) -> ShotBlock {
    let mut cross = CrossMatrix::zeros();
    let mut curvature = SharedMatrix::zeros();
    let mut gradient = SharedVector::zeros();
    cross.fixed_columns_mut::<DELIVERY_UNKNOWNS>(0).copy_from(&-precision);
    curvature.fixed_view_mut::<DELIVERY_UNKNOWNS, DELIVERY_UNKNOWNS>(0, 0).copy_from(precision);
    gradient.fixed_rows_mut::<DELIVERY_UNKNOWNS>(0).copy_from(&-pull);
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
        covariance: *covariance,
    }
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
