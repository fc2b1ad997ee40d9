//! How many verdicts one core gives in a second, by the usual method and by ten thousand full draws.
//!
//! `cargo bench -p verdict --bench verdicts --profile dev`; the best of several rounds, so that neighbours on the machine
//! disturb less.

use std::hint::black_box;
use std::time::Instant;

use impact::{HeadBook, HeadProfile};
use verdict::{Judge, Settings};

#[path = "../tests/verdict/varied.rs"]
mod varied;

use varied::{Varied, varied_shots};

const ROUNDS: usize = 7;

fn heads() -> Vec<HeadProfile> {
    let book: HeadBook = toml::from_str(include_str!("../../../config/heads.toml")).expect("the shipped profiles");
    let woods = ["published-driver", "modern-driver", "older-driver", "fairway-wood"];
    woods.into_iter().map(|name| book.find(name).expect("a shipped profile").clone()).collect()
}

/// Verdicts a second, best of the rounds.
fn rate(judge: &Judge, shots: &[&Varied], rounds: usize) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..rounds {
        let start = Instant::now();
        for shot in shots {
            black_box(judge.judge(&shot.evidence, &shot.head));
        }
        best = best.min(start.elapsed().as_secs_f64());
    }
    shots.len() as f64 / best
}

fn main() {
    let shots = varied_shots(&heads(), 100, 3);
    let usual = Judge::new(Settings::default());
    let thorough = Judge::with_draws(Settings::default(), 10_000);
    let all: Vec<&Varied> = shots.iter().collect();
    let few: Vec<&Varied> = shots.iter().step_by(20).collect();
    println!("{:<22} {:>8} {:>14} {:>14}", "device", "shots", "verdicts/s", "10,000 draws");
    let mut names: Vec<&str> = shots.iter().map(|shot| shot.device).collect();
    names.dedup();
    for name in names {
        let of_device: Vec<&Varied> = shots.iter().filter(|shot| shot.device == name).collect();
        println!("{name:<22} {:>8} {:>14.0} {:>14}", of_device.len(), rate(&usual, &of_device, ROUNDS), "");
    }
    println!("{:<22} {:>8} {:>14.0} {:>14.1}", "all", all.len(), rate(&usual, &all, ROUNDS), rate(&thorough, &few, 1));
}
