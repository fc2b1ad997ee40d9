//! Heads beyond the Equipment Rules, and heads for which the model has a limit.

use impact::{HeadBook, HeadKind, HeadProfile};

use crate::common::published_driver;

fn warnings_of(change: impl FnOnce(&mut HeadProfile)) -> Vec<String> {
    let mut head = published_driver();
    change(&mut head);
    let book = HeadBook { heads: vec![head] };
    assert_eq!(book.faults(), Vec::new(), "a warning is about a profile that works");
    book.warnings()
}

#[track_caller]
fn warns(change: impl FnOnce(&mut HeadProfile), sentence: &str) {
    let found = warnings_of(change);
    let expected = format!("head `published-driver`: {sentence}");
    assert!(found.contains(&expected), "{found:#?}");
}

#[test]
fn every_warning_names_profile_key_and_value() {
    // [source: R&A/USGA Equipment Rules]: inertia 5900 + 100 g cm^2, ball 45.93 g and 42.67 mm, ball speed ratio about 1.52.
    assert_eq!(warnings_of(|_| {}), Vec::<String>::new());
    warns(
        |head| head.restitution = 0.9,
        "mass_kg 0.204 and restitution 0.9 give a ball 1.551 times as fast as the club; the rules end near 1.52",
    );
    warns(|head| head.restitution = 0.85, "restitution is 0.85; the rules end near 0.83");
    warns(
        |head| head.inertia_kg_m2[1][1] = 6100e-7,
        "inertia_kg_m2 about the upward axis is 6.100e-4 kg m^2, beyond the rules' 5900 + 100 g cm^2",
    );
    warns(|head| head.ball_mass_kg = 0.047, "ball_mass_kg is 0.047; the rules allow 0.04593 kg");
    warns(|head| head.ball_radius_m = 0.0205, "ball_radius_m is 0.0205; the rules ask for 0.021335 m");
    warns(|head| head.friction = 1.3, "friction is 1.3; a clean dry face gives 0.2 to 0.5");
    warns(
        |head| head.restitution = 0.999,
        "restitution 0.999 would gain energy on a strike -60 mm toward the toe and -30 mm up, where no body of this mass_kg, cg_m \
         and inertia_kg_m2 gives more than 0.993; the model stops there",
    );
}

#[test]
fn figures_at_the_limits_are_not_warned_about() {
    assert_eq!(warnings_of(|head| head.inertia_kg_m2[1][1] = 6000e-7), Vec::<String>::new());
    assert_eq!(warnings_of(|head| head.restitution = 0.84), Vec::<String>::new());
    assert_eq!(warnings_of(|head| head.ball_mass_kg = 0.045_93), Vec::<String>::new());
    assert_eq!(warnings_of(|head| head.ball_radius_m = 0.021_335), Vec::<String>::new());
    // The limit of inertia is one of woods.
    let iron = |head: &mut HeadProfile| {
        head.kind = HeadKind::Iron;
        head.inertia_kg_m2[1][1] = 6100e-7;
    };
    assert_eq!(warnings_of(iron), Vec::<String>::new());
}
