//! The long run: `tests/proof/study` sets its size and takes its table.

use impact::HeadProfile;

use crate::capability::Capability;
use crate::run::{Sample, study};
use crate::table::table;
use crate::world::World;

fn from_environment<T: std::str::FromStr>(name: &str, otherwise: T) -> T {
    std::env::var(name)
        .ok()
        .map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{name}: not a number: {text}")))
}

#[test]
#[ignore = "takes minutes; tests/proof/study runs it"]
fn the_whole_table() {
    let sample = Sample {
        pairs: from_environment("STRIKEMILL_STUDY_PAIRS", 8),
        shots: from_environment("STRIKEMILL_STUDY_SHOTS", 12),
        seed: from_environment("STRIKEMILL_STUDY_SEED", 20_261_201),
    };
    let only = std::env::var("STRIKEMILL_STUDY_CLUBS").unwrap_or_default();
    // What would be told of clubs that hide the strike, if the tool did not hold back.
    let reveal = from_environment("STRIKEMILL_STUDY_REVEAL", 0) != 0;
    let heads: Vec<_> = crate::heads::all()
        .into_iter()
        .filter(|head| only.is_empty() || only.split(',').any(|name| name == head.name))
        .map(|head| HeadProfile { reveals_strike: head.reveals_strike || reveal, ..head })
        .collect();
    let mut text = String::new();
    for world in [World::AS_STATED, World::STRESS] {
        let cells = study(&world, &heads, &Capability::ALL, sample, crate::LEARNER);
        let title = format!(
            "World {}, players known by {}. {} pairs of players, {} shots each; seed {}.",
            world.name,
            crate::KNOWN,
            sample.pairs,
            sample.shots,
            sample.seed
        );
        text.extend([title, "\n\n".to_owned(), table(&cells), "\n".to_owned()]);
    }
    println!("{text}");
    if let Ok(path) = std::env::var("STRIKEMILL_STUDY_INTO") {
        std::fs::write(&path, text).unwrap_or_else(|error| panic!("{path}: {error}"));
    }
}
