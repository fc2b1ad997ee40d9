//! A long day, timed for the reader of the output; nothing is asserted about time.

use linking::{LinkSettings, MarkFate, MarkMoment, ShotMoment, link};
use rand::Rng;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::SeedableRng;

#[test]
fn a_long_day_is_linked_whole() {
    let mut rng = ChaCha12Rng::seed_from_u64(7);
    let (mut shots, mut marks, mut now) = (Vec::new(), Vec::new(), 0.0);
    for _ in 0..2_000 {
        now += rng.random_range(15.0..60.0);
        shots.push(ShotMoment { seconds: now, player: None, club: None });
        let seconds = now + 97.0 + rng.random_range(-2.0..2.0);
        marks.push(MarkMoment { seconds, seconds_sd: 1.5, player: None, club: None });
    }
    let since = std::time::Instant::now();
    let linking = link(&shots, &marks, &LinkSettings::default());
    println!("2,000 shots and 2,000 marks: {:.2} s", since.elapsed().as_secs_f64());
    let linked = linking.fates.iter().filter(|fate| matches!(fate, MarkFate::Linked { .. })).count();
    assert!(linked > 1_960, "{linked} linked");
    assert!((linking.offset_s.expect("pairs") - 97.0).abs() < 0.5, "{:?}", linking.offset_s);
}
