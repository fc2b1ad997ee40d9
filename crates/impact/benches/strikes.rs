//! How many strikes a second one core computes: `cargo bench -p impact --bench strikes --profile dev`.

use std::hint::black_box;
use std::time::Instant;

use impact::{
    Delivery, Dual, Hand, HeadBook, HeadProfile, Lanes, Scalar, UNKNOWNS, strike, strike_along, strike_where,
    strike_with_derivatives,
};

/// Strikes of one head that a posterior might draw.
fn deliveries(count: usize) -> Vec<Delivery> {
    (0..count)
        .map(|index| {
            let wave = |factor: f64| (index as f64 * factor).sin();
            Delivery {
                club_speed_mps: 42.0 + 3.0 * wave(0.7),
                attack_deg: -1.0 + 2.0 * wave(1.1),
                path_deg: 3.0 * wave(1.3),
                face_deg: 2.0 * wave(1.7),
                delivered_loft_deg: 12.0 + 2.0 * wave(1.9),
                strike_toe_mm: 12.0 * wave(2.3),
                strike_up_mm: 8.0 * wave(2.9),
            }
        })
        .collect()
}

/// Runs `work` in many short slices for about two seconds and prints how many strikes a second the fastest slice made: other
/// programs on the same core slow most slices, hardly all of them.
fn measure(name: &str, strikes_per_round: usize, mut work: impl FnMut()) {
    let mut best = 0.0_f64;
    for _ in 0..200 {
        let start = Instant::now();
        let mut rounds = 0;
        while start.elapsed().as_secs_f64() < 0.01 {
            work();
            rounds += 1;
        }
        best = best.max((rounds * strikes_per_round) as f64 / start.elapsed().as_secs_f64());
    }
    println!("{name:<48} {best:>12.0} strikes/s {:>9.1} ns each", 1e9 / best);
}

fn measure_lanes<const N: usize>(head: &HeadProfile, deliveries: &[Delivery]) {
    let nuisances = head.nuisances();
    measure(&format!("{N} lanes"), deliveries.len(), || {
        for several in deliveries.chunks_exact(N) {
            let delivery = Delivery::from_array(std::array::from_fn(|number| {
                Lanes::<N>(std::array::from_fn(|lane| several[lane].to_array()[number]))
            }));
            let parameters = head.parameters(&nuisances.map(Lanes::constant));
            black_box(strike_where(&parameters, black_box(&delivery), Hand::Right));
        }
    });
}

fn main() {
    let book: HeadBook = toml::from_str(include_str!("../../../config/heads.toml")).expect("the shipped heads");
    let head = book.find("published-driver").expect("it is there");
    let deliveries = deliveries(1024);
    let nuisances = head.nuisances();
    measure("plain", deliveries.len(), || {
        for delivery in &deliveries {
            black_box(strike(&head.parameters(&nuisances), black_box(delivery), Hand::Right));
        }
    });
    measure_lanes::<2>(head, &deliveries);
    measure_lanes::<4>(head, &deliveries);
    measure_lanes::<8>(head, &deliveries);
    measure_lanes::<16>(head, &deliveries);
    measure("with the fifteen derivatives", deliveries.len(), || {
        for delivery in &deliveries {
            black_box(strike_with_derivatives(head, black_box(delivery), &nuisances, Hand::Right));
        }
    });
    measure("first and second derivative along one direction", deliveries.len(), || {
        for delivery in &deliveries {
            black_box(strike_along(head, black_box(delivery), &nuisances, &[1.0; UNKNOWNS], Hand::Right));
        }
    });
    measure("with the fifteen derivatives, by dual numbers", deliveries.len(), || {
        for delivery in &deliveries {
            let numbers = black_box(delivery).to_array();
            let inputs = std::array::from_fn(|index| Dual::<UNKNOWNS>::input(numbers[index], index));
            let unknown: [_; 8] = std::array::from_fn(|index| Dual::input(nuisances[index], 7 + index));
            black_box(strike(&head.parameters(&unknown), &Delivery::from_array(inputs), Hand::Right));
        }
    });
}
