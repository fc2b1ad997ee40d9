//! Quantities that a device gives only in parts.

use shot::Quantity;

use crate::{parse, rules, small_head, sound};

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
