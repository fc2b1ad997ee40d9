//! The book of balls: the shipped one, and what is refused or warned about.

use flight::{BallBook, BallProfile, Conditions, fly_with_tolerance};

use crate::flight_values::launch;

const SHIPPED: &str = include_str!("../../../../config/balls.toml");

pub fn shipped_book() -> BallBook {
    toml::from_str(SHIPPED).unwrap()
}

const GOOD: &str = "[[ball]]\nname = \"a\"\nmass_kg = 0.0459\nradius_m = 0.02134\nspin_decay = 2e-5\n\
    [ball.spin_ratio]\ndrag_base = 0.24\ndrag_slope = 0.18\nlift_factor = 0.54\nlift_exponent = 0.4\n";

fn refusal(text: &str) -> String {
    toml::from_str::<BallBook>(text).unwrap_err().to_string()
}

#[test]
fn the_shipped_standard_ball_is_the_default_ball() {
    let book = shipped_book();
    assert_eq!(book.find("standard").unwrap().profile, BallProfile::default());
    assert_eq!(book.warnings(), Vec::<String>::new());
    assert_eq!(book.find("none such"), None);
}

#[test]
fn the_table_of_1976_flies_as_computed_elsewhere() {
    // [derived, a second implementation with the same table: carry 212.0958 m, peak 25.4933 m, 6.2625 s, descent 37.601].
    let book = shipped_book();
    let ball = &book.find("table-1976").unwrap().profile;
    let shot = launch(67.06, 12.0, 0.0, 2700.0, 0.0);
    let conditions = Conditions { gravity: 9.81, ..Conditions::default() };
    let landing = fly_with_tolerance(ball, &shot, &conditions, 1e-10).unwrap();
    assert!((landing.carry_m - 212.0958).abs() < 1e-4, "{landing:?}");
    assert!((landing.peak_height_m - 25.4933).abs() < 1e-4, "{landing:?}");
    assert!((landing.flight_time_s - 6.2625).abs() < 1e-4, "{landing:?}");
    assert!((landing.descent_deg - 37.601).abs() < 1e-3, "{landing:?}");
}

#[test]
fn impossible_balls_are_refused_with_a_hint() {
    for (wrong, told, hint) in [
        (GOOD.replace("mass_kg = 0.0459", "mass_kg = 45.9"), "mass_kg is 45.9", "hint: kilograms"),
        (
            GOOD.replace("radius_m = 0.02134", "radius_m = 0.04267"),
            "radius_m is 0.04267",
            "hint: metres, and the radius",
        ),
        (GOOD.replace("drag_base = 0.24", "drag_base = -0.24"), "drag_base is -0.24", "hint: a golf ball"),
        (GOOD.replace("lift_factor = 0.54", "lift_factor = nan"), "lift_factor is NaN", "hint: the lift coefficient"),
        (GOOD.replace("spin_decay = 2e-5", "spin_decay = -1.0"), "spin_decay is -1", "hint: the c of"),
        (GOOD.replace("spin_decay", "drag_scale = 0.0\nspin_decay"), "drag_scale is 0", "hint: a factor"),
        (GOOD.split("[ball.spin_ratio]").next().unwrap().to_owned(), "has no drag and lift", "hint: add a"),
        (GOOD.replace("name = \"a\"", "name = \" \""), "has no name", "hint: give it"),
        (format!("{GOOD}{GOOD}"), "appears twice", "hint: rename"),
        (String::new(), "holds no ball", "hint: add a [[ball]]"),
    ] {
        let message = refusal(&wrong);
        assert!(message.contains(told) && message.contains(hint), "{told}: {message}");
    }
    let twice_wrong = refusal(&GOOD.replace("0.0459", "1.0").replace("0.02134", "1.0"));
    assert!(twice_wrong.contains("mass_kg") && twice_wrong.contains("radius_m"), "{twice_wrong}");
    assert!(refusal(&GOOD.replace("drag_slope", "drag_slop")).contains("drag_slop"));
}

#[test]
fn malformed_tables_are_refused_with_a_hint() {
    let written = |speeds: &str, drag: &str| {
        let body = GOOD.split("[ball.spin_ratio]").next().unwrap();
        format!(
            "{body}[ball.table]\nspeeds_mps = {speeds}\nspins_rpm = [2000, 3000]\ndrag = {drag}\nlift = [[0.1, 0.1], [0.2, 0.2]]\n"
        )
    };
    let good = "[[0.3, 0.3], [0.4, 0.4]]";
    assert!(toml::from_str::<BallBook>(&written("[10, 20]", good)).is_ok());
    for (text, told) in [
        (written("[20, 10]", good), "strictly increasing"),
        (written("[-1, 10]", good), "none negative"),
        (written("[10, 20]", "[[0.3, 0.3]]"), "2 rows of 2"),
        (written("[10, 20]", "[[0.3, 0.3], [0.4]]"), "2 rows of 2"),
        (written("[10, 20]", "[[0.3, 0.3], [0.4, -0.4]]"), "not negative"),
        (written("[10, 20]", "[[30, 30], [40, 40]]"), "beyond 3"),
    ] {
        let message = refusal(&text);
        assert!(message.contains(told) && message.contains("hint:"), "{told}: {message}");
    }
    let both = written("[10, 20]", good)
        + GOOD.split_once("lift_exponent").unwrap().0.split_once("5\n").unwrap().1
        + "lift_exponent = 0.4\n";
    assert!(refusal(&both).contains("both a law and a table"), "{}", refusal(&both));
}

#[test]
fn balls_beyond_the_rules_are_warned_about() {
    let warnings = |text: &str| toml::from_str::<BallBook>(text).unwrap().warnings().join("\n");
    assert_eq!(warnings(GOOD), "");
    assert!(warnings(&GOOD.replace("0.0459", "0.0465")).contains("weighs 0.0465 kg"));
    assert!(warnings(&GOOD.replace("0.02134", "0.0205")).contains("radius is 0.0205 m"));
    // Less than two thirds of the drag: no legal ball.
    assert!(warnings(&GOOD.replace("0.24", "0.15").replace("0.18", "0.1")).contains("176 mph"));
}
