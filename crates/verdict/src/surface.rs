//! How a landing moves where its launch moves a little: curvature from a star of flights in the middle of all counterfactuals,
//! slopes from a few flights close to each of them.
//!
//! Only differences are read off, each from a launch that was flown.

use impact::Scalar;

use crate::case::{ALL_ACTUAL, BOTH, CENTRED, Flights, INTENDED};
use crate::landing::{Air, Place};
use crate::model::{AZIMUTH, ELEVATION, LAUNCH};

/// Speed, elevation, back spin, side spin, azimuth: a launch without the singular point that a tilt has where nothing spins.
const SHAPE: usize = 5;
/// The quantities that shape a flight; the azimuth only turns it, but for the wind.
const SHAPING: usize = SHAPE - 1;
/// How far the flights of the star stand off, about half of what counterfactuals differ by, and how far the close ones do.
const FAR: [f64; SHAPE] = [1.0, 1.0, 250.0, 250.0, 2.0];
const CLOSE: [f64; SHAPE] = [-0.5, 0.5, -125.0, -125.0, 1.0];

type Shape<S> = [S; SHAPE];
/// Of along and across.
type Pair = [f64; 2];

/// A launch, how far along its own start direction the ball went, and how far across.
#[derive(Debug, Clone, Copy)]
struct Flown {
    shape: Shape<f64>,
    told: Pair,
}

/// How far along its own start direction a ball goes, and how far across.
#[derive(Debug, Clone)]
pub struct Surface {
    /// Second derivatives of along and across by the shaping quantities.
    bend: [[Pair; SHAPING]; SHAPING],
    planes: Vec<Plane>,
}

/// Value and slopes at one coalition's launch.
#[derive(Debug, Clone, Copy)]
struct Plane {
    coalition: usize,
    centre: Flown,
    slopes: Shape<Pair>,
}

fn shape_of<S: Scalar>(launch: &[S; LAUNCH]) -> Shape<S> {
    let (side, back) = (launch[4] * 1f64.to_radians()).sin_cos();
    [launch[0], launch[ELEVATION], launch[3] * back, launch[3] * side, launch[AZIMUTH]]
}

fn launch_of(shape: &Shape<f64>) -> [f64; LAUNCH] {
    [shape[0], shape[1], shape[4], shape[2].hypot(shape[3]), shape[3].atan2(shape[2]).to_degrees()]
}

impl Flown {
    fn new(shape: Shape<f64>, place: Place) -> Flown {
        let (sine, cosine) = shape[4].to_radians().sin_cos();
        let down_the_line = (place.carry.powi(2) - place.lateral.powi(2)).max(0.0).sqrt();
        let along = down_the_line * cosine + place.lateral * sine;
        Flown { shape, told: [along, place.lateral * cosine - down_the_line * sine] }
    }
}

impl Surface {
    /// Flies what is missing around a shot's flights.
    pub fn around(air: &Air, flights: &Flights, missed: bool) -> Surface {
        let coalitions: &[usize] = if missed { &[ALL_ACTUAL, CENTRED, INTENDED, BOTH] } else { &[ALL_ACTUAL, CENTRED] };
        let mut middle = [0.0; SHAPE];
        for coalition in coalitions {
            let shape = shape_of(&flights.flown[*coalition].0);
            for quantity in 0..SHAPE {
                middle[quantity] += shape[quantity] / coalitions.len() as f64;
            }
        }
        // A star that reached below the ground would see the ball stay there.
        middle[1] = middle[1].max(2.0 * FAR[1]);

        // In calm air the azimuth only turns a flight, which the axes of along and across do too.
        let quantities = if air.is_calm() { SHAPING } else { SHAPE };
        let mut shapes = star(&middle).to_vec();
        for coalition in coalitions {
            let centre = shape_of(&flights.flown[*coalition].0);
            for quantity in 0..quantities {
                let mut shape = centre;
                shape[quantity] += CLOSE[quantity];
                shapes.push(shape);
            }
        }
        let launches: Vec<[f64; LAUNCH]> = shapes.iter().map(launch_of).collect();
        let mut places = vec![Place::default(); launches.len()];
        air.fly_all(&launches, &mut places);
        let flown: Vec<Flown> = shapes.into_iter().zip(places).map(|(shape, place)| Flown::new(shape, place)).collect();

        let mut surface = Surface { bend: bend_of(&flown[..STAR]), planes: Vec::with_capacity(coalitions.len()) };
        for (coalition, close) in coalitions.iter().zip(flown[STAR..].chunks(quantities)) {
            let (launch, place) = &flights.flown[*coalition];
            let centre = Flown::new(shape_of(launch), *place);
            let mut slopes = [[0.0; 2]; SHAPE];
            for quantity in 0..quantities {
                let step = CLOSE[quantity];
                for axis in 0..2 {
                    let half_bend = if quantity < SHAPING { 0.5 * surface.bend[quantity][quantity][axis] } else { 0.0 };
                    let slope = (close[quantity].told[axis] - centre.told[axis]) / step;
                    slopes[quantity][axis] = slope - half_bend * step;
                }
            }
            surface.planes.push(Plane { coalition: *coalition, centre, slopes });
        }
        surface
    }

    /// Carry and lateral of a launch near that of a coalition, but for a constant where the coalition was not flown around.
    pub fn at<S: Scalar>(&self, coalition: usize, launch: &[S; LAUNCH]) -> (S, S) {
        let shape = shape_of(launch);
        // The reference shot lies where both counterfactuals together do, but for the speed.
        let near = |coalition: usize| self.planes.iter().find(|plane| plane.coalition == coalition);
        let plane = near(coalition).or(near(BOTH)).unwrap_or(&self.planes[0]);
        let off: Shape<S> = std::array::from_fn(|quantity| shape[quantity] - plane.centre.shape[quantity]);
        let [along, across] = [0, 1].map(|axis| {
            let mut told = S::constant(plane.centre.told[axis]);
            for quantity in 0..SHAPE {
                let mut slope = S::constant(plane.slopes[quantity][axis]);
                if quantity < SHAPING {
                    for other in 0..SHAPING {
                        slope = slope + off[other] * (0.5 * self.bend[quantity][other][axis]);
                    }
                }
                told = told + off[quantity] * slope;
            }
            told
        });
        let (sine, cosine) = (launch[AZIMUTH] * 1f64.to_radians()).sin_cos();
        let carry = (along * along + across * across).sqrt();
        (carry, across * cosine + along * sine)
    }
}

/// How many flights tell the curvature: the middle, two for each quantity, one for each pair.
const STAR: usize = 1 + 2 * SHAPING + SHAPING * (SHAPING - 1) / 2;

/// The middle, each quantity more, each less, and each pair more.
fn star(middle: &Shape<f64>) -> [Shape<f64>; STAR] {
    let mut star = [*middle; STAR];
    let mut next = 1 + 2 * SHAPING;
    for quantity in 0..SHAPING {
        star[1 + quantity][quantity] += FAR[quantity];
        star[1 + SHAPING + quantity][quantity] -= FAR[quantity];
        for other in 0..quantity {
            star[next][quantity] += FAR[quantity];
            star[next][other] += FAR[other];
            next += 1;
        }
    }
    star
}

/// Second derivatives from the flights of a [`star`].
fn bend_of(flown: &[Flown]) -> [[Pair; SHAPING]; SHAPING] {
    let mut bend = [[[0.0; 2]; SHAPING]; SHAPING];
    for axis in 0..2 {
        let told = |number: usize| flown[number].told[axis];
        let mut next = 1 + 2 * SHAPING;
        for quantity in 0..SHAPING {
            let (above, below) = (told(1 + quantity), told(1 + SHAPING + quantity));
            bend[quantity][quantity][axis] = (above - 2.0 * told(0) + below) / FAR[quantity].powi(2);
            for other in 0..quantity {
                let mixed = (told(next) - above - told(1 + other) + told(0)) / (FAR[quantity] * FAR[other]);
                bend[quantity][other][axis] = mixed;
                bend[other][quantity][axis] = mixed;
                next += 1;
            }
        }
    }
    bend
}
