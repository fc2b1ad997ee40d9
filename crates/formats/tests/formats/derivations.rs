//! Quantities that a device gives only in parts.

use shot::Quantity;

use crate::{load_text, parse, rules, small_head, sound};

const FORMAT: &str = "[measures]\nclub_speed_mps = { field = \"v\", unit = \"m/s\", measured = true }\n\
    path_deg = { field = \"p\", unit = \"deg\", sign = \"inverted\", measured = true }\n\
    [derived.spin]\nbackSpin = { field = \"b\", unit = \"/min\" }\nsideSpin = { field = \"s\", unit = \"/min\", sign = \"inverted\" }\n\
    measured = true\nstandardDeviation = 50.0\ntiltStandardDeviation = 1.5\n\
    [derived.face]\nfaceToPath = { field = \"f\", unit = \"rad\" }\nmeasured = true\nfaceReference = \"strike-point\"\n\
    [derived.speed]\nratio = { field = \"r\", unit = \"1\" }\ngives = \"ball_speed_mps\"\nmeasured = false\n";

fn pack() -> formats::PackSet {
    sound(&(small_head("\"t\", \"v\", \"p\", \"b\", \"s\", \"f\", \"r\"", "") + FORMAT))
}

#[test]
fn parts_make_wholes() {
    let file = parse(&pack(), b"t,v,p,b,s,f,r\n1776006429,40,2.5,4000,3000,0.1,1.45\n");
    assert_eq!(rules(&file), []);
    // [derived: 3-4-5 triangle, atan(3/4) = 36.869 897 645 844 02 deg; 0.1 rad = 5.729 577 951 308 232 deg; 40 x 1.45 = 58]
    let expected = [
        (Quantity::SpinRpm, 5000.0),
        (Quantity::SpinTiltDeg, -36.869_897_645_844_02),
        (Quantity::PathDeg, -2.5),
        (Quantity::FaceDeg, 3.229_577_951_308_232),
        (Quantity::BallSpeedMps, 58.0),
    ];
    for (quantity, value) in expected {
        let found = file.shots[0].measures.get(quantity).expect("derived");
        assert!((found - value).abs() < 1e-9, "{}: {found}", quantity.name());
    }
}

#[test]
fn what_lacks_a_part_is_missing() {
    let file = parse(&pack(), b"t,v,p,b,s,f,r\n1776006429,,,4000,,0.1,1.45\n1776006430,40,1,1,1,0,0\n");
    assert_eq!(rules(&file), [(3, "out-of-range")], "a ratio of zero");
    for quantity in [Quantity::SpinRpm, Quantity::SpinTiltDeg, Quantity::FaceDeg, Quantity::BallSpeedMps] {
        assert_eq!(file.shots[0].measures.get(quantity), None, "{}", quantity.name());
    }
}

#[test]
fn derived_quantities_stand_among_the_devices() {
    let set = pack();
    let devices = set.packs()[0].devices();
    let row = |name: &str| devices.iter().find(|row| row.quantity == name).expect("listed");
    assert_eq!(row("spin_rpm").standard_deviation, Some(50.0));
    assert_eq!(row("spin_tilt_deg").standard_deviation, Some(1.5));
    assert_eq!(row("face_deg").face_reference.as_deref(), Some("strike-point"));
    assert!(!row("ball_speed_mps").measured);
    assert_eq!(devices.len(), 6);
}

/// Packs that derive by the rarer formulas: measures, derived tables, cells of a, b, c, results.
/// [derived: 3-4-5 triangle, its small angle 36.869 897 645 844 02 deg; 20-21-29 triangle, atan(20/21) = 43.602 818 972 703 82 deg]
#[test]
fn each_formula_gives_its_quantities() {
    let part = |key: &str, field: &str, unit: &str| format!("{key} = {{ field = \"{field}\", unit = \"{unit}\" }}\n");
    let read = |quantity: &str, field: &str, unit: &str| {
        let reference = if quantity == "face_deg" { ", faceReference = \"face-centre\"" } else { "" };
        format!("[measures]\n{quantity} = {{ field = \"{field}\", unit = \"{unit}\", measured = true{reference} }}\n")
    };
    let cases = [
        (
            format!(
                "[derived.spin]\n{}{}measured = false\n",
                part("backSpin", "a", "/min"),
                part("spinTilt", "b", "deg")
            ),
            "4000,36.86989764584402,",
            vec![(Quantity::SpinRpm, 5000.0), (Quantity::SpinTiltDeg, 36.869_897_645_844_02)],
        ),
        (
            format!(
                "[derived.spin]\n{}{}measured = false\n",
                part("spinRate", "a", "/min"),
                part("sideSpin", "b", "/min")
            ),
            "5000,-3000,",
            vec![(Quantity::SpinRpm, 5000.0), (Quantity::SpinTiltDeg, -36.869_897_645_844_02)],
        ),
        (
            format!(
                "{}[derived.path]\n{}measured = true\n",
                read("face_deg", "a", "deg"),
                part("faceToPath", "b", "deg")
            ),
            "1.5,4,",
            vec![(Quantity::PathDeg, -2.5)],
        ),
        (
            format!(
                "{}[derived.loft]\n{}measured = true\n",
                read("attack_deg", "a", "deg"),
                part("spinLoft", "b", "deg")
            ),
            "-4.5,30,",
            vec![(Quantity::DeliveredLoftDeg, 25.5)],
        ),
        (
            format!("{}[derived.carry]\n{}measured = true\n", read("lateral_m", "a", "m"), part("alongLine", "b", "m")),
            "-90,120,",
            vec![(Quantity::CarryM, 150.0)],
        ),
        (
            format!(
                "{}[derived.lateral]\n{}measured = true\n",
                read("carry_m", "a", "m"),
                part("landingAzimuth", "b", "deg")
            ),
            "150,-36.86989764584402,",
            vec![(Quantity::LateralM, -90.0)],
        ),
        (
            format!(
                "[derived.launch]\n{}{}{}measured = true\n",
                part("along", "a", "m/s"),
                part("across", "b", "m/s"),
                part("up", "c", "m/s")
            ),
            "16.8,12.6,20",
            // [derived: hypot(16.8, 12.6) = 21, hypot(21, 20) = 29]
            vec![
                (Quantity::BallSpeedMps, 29.0),
                (Quantity::LaunchAzimuthDeg, 36.869_897_645_844_02),
                (Quantity::LaunchElevationDeg, 43.602_818_972_703_82),
            ],
        ),
    ];
    for (tables, cells, expected) in cases {
        let set = sound(&(small_head("\"t\", \"a\", \"b\", \"c\"", "") + &tables));
        let file = parse(&set, format!("t,a,b,c\n1776006429,{cells}\n").as_bytes());
        assert_eq!(rules(&file), [], "{tables}");
        for (quantity, value) in expected {
            let found = file.shots[0].measures.get(quantity).expect("derived");
            assert!((found - value).abs() < 1e-9, "{}: {found}", quantity.name());
            assert!(set.packs()[0].devices().iter().any(|row| row.quantity == quantity.name()), "{}", quantity.name());
        }
    }
}

#[test]
fn derivations_that_cannot_serve_are_faults() {
    let head = || small_head("\"t\", \"a\", \"b\"", "");
    let part = "{ field = \"a\", unit = \"deg\" }";
    let rate = "{ field = \"a\", unit = \"/min\" }";
    let cases = [
        (format!("[derived.spin]\nbackSpin = {rate}\nmeasured = true\n"), "these parts make no spin"),
        (
            format!("[derived.spin]\nbackSpin = {rate}\nspinRate = {rate}\nmeasured = true\n"),
            "these parts make no spin",
        ),
        (format!("[derived.path]\nfaceToPath = {part}\nmeasured = true\n"), "deriving this needs face_deg"),
        (format!("[derived.loft]\nspinLoft = {part}\nmeasured = true\n"), "deriving this needs attack_deg"),
        (
            format!(
                "[measures]\ncarry_m = {{ field = \"a\", unit = \"m\", measured = true }}\nlateral_m = {{ field = \"b\", unit = \"m\", measured = true }}\n\
                 [derived.lateral]\nlandingAzimuth = {part}\nmeasured = true\n"
            ),
            "lateral_m is both derived and read directly",
        ),
        (
            "[derived.carry]\nalongLine = { field = \"a\", unit = \"m\", playerFrame = true }\nmeasured = true\n"
                .to_owned(),
            "deriving this needs lateral_m",
        ),
        (
            format!(
                "[derived.spin]\nbackSpin = {{ field = \"a\", unit = \"/min\", playerFrame = true }}\nsideSpin = {rate}\nmeasured = true\n"
            ),
            "this part has no side, so playerFrame has no effect",
        ),
    ];
    for (tables, expected) in cases {
        let (_, faults) = load_text(&(head() + &tables));
        assert!(faults.iter().any(|fault| fault.message == expected), "{expected}: {faults:?}");
    }
}
