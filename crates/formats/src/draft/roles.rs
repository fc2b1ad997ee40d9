//! What a column can be for us, and which words speak for it.

use shot::Quantity;

use super::vocabulary::Concept::{
    self, Across, Against, Aim, Air, Along, Angle, Attack, Axis, Back, Ball, Carry, Club, Descent, Deviation, Distance,
    Down, Duration, Face, Flight, From, Heel, High, Horizontal, Humidity, Land, Lateral, Launch, Left, LetterP,
    LetterT, LetterV, Loft, Low, Off, Path, Peak, Pressure, Rate, Ratio, Right, Side, Speed, Spin, Static, Strike,
    Temperature, Time, Toe, Total, Vertical, Wind,
};
use super::vocabulary::Concepts;

/// A number that a column can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum NumberRole {
    /// One of our quantities as it is.
    Direct(Quantity),
    BackSpin,
    SideSpin,
    FaceToPath,
    /// Ball speed over club speed.
    SpeedRatio,
}

impl NumberRole {
    /// UCUM code of the unit we keep it in.
    pub fn unit(self) -> &'static str {
        match self {
            NumberRole::Direct(quantity) => quantity.unit(),
            NumberRole::BackSpin | NumberRole::SideSpin => "/min",
            NumberRole::FaceToPath => "deg",
            NumberRole::SpeedRatio => "1",
        }
    }

    /// Name for people and for format.toml.
    pub fn name(self) -> &'static str {
        match self {
            NumberRole::Direct(quantity) => quantity.name(),
            NumberRole::BackSpin => "derived.spin backSpin",
            NumberRole::SideSpin => "derived.spin sideSpin",
            NumberRole::FaceToPath => "derived.face faceToPath",
            NumberRole::SpeedRatio => "derived.speed ratio",
        }
    }

    /// What can be at all, in our unit.
    pub fn limits(self) -> (f64, f64) {
        match self {
            NumberRole::Direct(quantity) => quantity.limits(),
            NumberRole::BackSpin => (-5_000.0, 15_000.0),
            NumberRole::SideSpin => (-8_000.0, 8_000.0),
            NumberRole::FaceToPath => (-60.0, 60.0),
            NumberRole::SpeedRatio => (0.2, 1.7),
        }
    }

    /// What a session of an academy usually holds, in our unit: the middle and the spread (as a factor for what is above zero, as a
    /// deviation for what has two sides) of a row's size. Common practice, no source; only used to choose among units.
    pub fn usual(self) -> Usual {
        let size = |middle: f64, factor: f64| Usual::Size { middle, factor };
        match self {
            NumberRole::Direct(quantity) => match quantity {
                Quantity::BallSpeedMps => size(54.0, 1.4),
                Quantity::ClubSpeedMps => size(38.0, 1.25),
                Quantity::SpinRpm => size(4_000.0, 1.9),
                Quantity::CarryM => size(150.0, 1.5),
                Quantity::RestDistanceM => size(165.0, 1.5),
                Quantity::PeakHeightM => size(25.0, 1.5),
                Quantity::LateralM => Usual::Sides { spread: 12.0 },
                Quantity::StrikeToeMm | Quantity::StrikeUpMm => Usual::Sides { spread: 9.0 },
                Quantity::StrikeSdMm => size(2.0, 2.0),
                Quantity::FlightTimeS => size(5.5, 1.4),
                Quantity::TemperatureC => Usual::Middle { middle: 20.0, spread: 8.0 },
                Quantity::PressureHpa => Usual::Middle { middle: 1_000.0, spread: 40.0 },
                Quantity::HumidityPct => Usual::Middle { middle: 50.0, spread: 20.0 },
                Quantity::LaunchElevationDeg | Quantity::DeliveredLoftDeg | Quantity::DescentDeg => size(18.0, 1.8),
                _ => Usual::Sides { spread: 4.0 },
            },
            NumberRole::BackSpin => size(4_000.0, 1.9),
            NumberRole::SideSpin => Usual::Sides { spread: 500.0 },
            NumberRole::FaceToPath => Usual::Sides { spread: 3.0 },
            NumberRole::SpeedRatio => size(1.4, 1.1),
        }
    }

    /// Whether the number has two sides, so that its sign needs a convention.
    pub fn is_sided(self) -> bool {
        use Quantity as Q;
        matches!(
            self,
            NumberRole::SideSpin
                | NumberRole::FaceToPath
                | NumberRole::Direct(
                    Q::LaunchAzimuthDeg
                        | Q::SpinTiltDeg
                        | Q::StrikeToeMm
                        | Q::StrikeUpMm
                        | Q::AttackDeg
                        | Q::FaceDeg
                        | Q::PathDeg
                        | Q::LateralM
                        | Q::AimDeg
                        | Q::WindAlongMps
                        | Q::WindAcrossMps
                )
        )
    }

    /// What our positive means, for sided numbers.
    pub fn positive(self) -> &'static str {
        match self {
            NumberRole::Direct(Quantity::StrikeToeMm) => "toward the toe",
            NumberRole::Direct(Quantity::StrikeUpMm) => "toward the crown",
            NumberRole::Direct(Quantity::AttackDeg) => "upward",
            NumberRole::Direct(Quantity::SpinTiltDeg) | NumberRole::SideSpin => "curving right",
            NumberRole::Direct(Quantity::WindAlongMps) => "tail wind",
            NumberRole::FaceToPath => "face right of the path",
            _ => "right",
        }
    }
}

/// What is usual of a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Usual {
    Size { middle: f64, factor: f64 },
    Sides { spread: f64 },
    Middle { middle: f64, spread: f64 },
}

/// Words that speak for a role: all of `with`, none of `without`.
struct RuleOfWords {
    role: NumberRole,
    with: &'static [Concept],
    without: &'static [Concept],
    /// Confidence that the words alone give, 0 to 100.
    points: u32,
}

const fn rule(role: NumberRole, with: &'static [Concept], without: &'static [Concept], points: u32) -> RuleOfWords {
    RuleOfWords { role, with, without, points }
}

use NumberRole::Direct;
use Quantity as Q;

const RULES: &[RuleOfWords] = &[
    rule(Direct(Q::BallSpeedMps), &[Ball, Speed], &[Club, Spin, Wind], 85),
    rule(Direct(Q::BallSpeedMps), &[Ball, LetterV], &[Club, Spin], 65),
    rule(Direct(Q::BallSpeedMps), &[Launch, Speed], &[Club, Spin, Wind], 70),
    rule(Direct(Q::ClubSpeedMps), &[Club, Speed], &[Ball, Spin, Wind], 85),
    rule(Direct(Q::ClubSpeedMps), &[Path, Speed], &[Ball, Spin, Wind], 75),
    rule(Direct(Q::ClubSpeedMps), &[Club, LetterV], &[Ball, Spin], 65),
    rule(Direct(Q::LaunchElevationDeg), &[Launch, Vertical], &[Horizontal, Side, Spin, Speed], 88),
    rule(Direct(Q::LaunchElevationDeg), &[Launch, Angle], &[Horizontal, Side, Spin, Speed, Lateral], 80),
    rule(Direct(Q::LaunchElevationDeg), &[Ball, Vertical], &[Horizontal, Side, Spin, Speed], 75),
    rule(Direct(Q::LaunchElevationDeg), &[Launch], &[Horizontal, Side, Spin, Speed, Lateral, Time], 62),
    rule(
        Direct(Q::LaunchElevationDeg),
        &[Vertical],
        &[Horizontal, Club, Strike, Down, Path, Face, Attack, Spin, Speed, Peak],
        45,
    ),
    rule(Direct(Q::LaunchAzimuthDeg), &[Launch, Horizontal], &[Spin, Club, Path, Face, Speed], 88),
    rule(Direct(Q::LaunchAzimuthDeg), &[Launch, Side], &[Spin, Club, Path, Face, Speed], 82),
    rule(Direct(Q::LaunchAzimuthDeg), &[Ball, Horizontal], &[Spin, Club, Path, Face, Speed], 75),
    rule(Direct(Q::LaunchAzimuthDeg), &[Horizontal], &[Spin, Club, Path, Face, Speed, Strike, Wind, Off, Vertical], 50),
    rule(Direct(Q::LaunchAzimuthDeg), &[Ball, Side], &[Spin, Club, Path, Face, Speed, Distance, Carry], 70),
    rule(Direct(Q::SpinRpm), &[Spin, Rate], &[Back, Side, Axis, Loft], 88),
    rule(Direct(Q::SpinRpm), &[Spin, Total], &[Back, Side, Axis, Loft], 88),
    rule(Direct(Q::SpinRpm), &[Spin], &[Back, Side, Axis, Loft, Ratio, Angle, Horizontal], 78),
    rule(Direct(Q::SpinTiltDeg), &[Spin, Axis], &[Club, Back, Side], 90),
    rule(Direct(Q::SpinTiltDeg), &[Axis], &[Club, Face, Loft, Back, Side], 70),
    rule(NumberRole::BackSpin, &[Spin, Back], &[Side, Axis], 90),
    rule(NumberRole::SideSpin, &[Spin, Side], &[Back, Axis], 90),
    rule(NumberRole::SideSpin, &[Spin, Right], &[Back, Axis, Left], 80),
    rule(NumberRole::SideSpin, &[Spin, Left], &[Back, Axis, Right], 80),
    rule(Direct(Q::SpinTiltDeg), &[Ball, Axis], &[Club, Face, Back, Side], 80),
    rule(Direct(Q::AttackDeg), &[Attack], &[Ball], 90),
    rule(Direct(Q::AttackDeg), &[Club, Vertical], &[Ball, Strike, Speed, Face, Loft], 65),
    rule(Direct(Q::AttackDeg), &[Vertical, Down], &[Ball, Launch, Strike], 62),
    rule(Direct(Q::PathDeg), &[Club, Path], &[Face, Speed, Vertical, Time], 90),
    rule(Direct(Q::PathDeg), &[Path], &[Face, Speed, Ball, Vertical, Time], 72),
    rule(Direct(Q::FaceDeg), &[Face, Angle], &[Path, Strike, Toe, Heel, Loft, Speed], 88),
    rule(Direct(Q::FaceDeg), &[Face, Aim], &[Path, Strike, Toe, Heel, Loft], 85),
    rule(Direct(Q::FaceDeg), &[Face], &[Path, Strike, Toe, Heel, High, Low, Loft, Speed, Lateral], 75),
    // Of the head's direction and its path, the one that is not called a path is the face.
    rule(Direct(Q::PathDeg), &[Club, Horizontal], &[Ball, Strike, Face, Spin, Speed], 52),
    rule(Direct(Q::FaceDeg), &[Club, Horizontal], &[Ball, Strike, Path, Spin, Speed], 50),
    rule(
        Direct(Q::DeliveredLoftDeg),
        &[Club, Angle],
        &[Ball, Strike, Path, Face, Attack, Spin, Vertical, Horizontal],
        50,
    ),
    rule(NumberRole::FaceToPath, &[Face, Path], &[Strike, Speed], 90),
    rule(Direct(Q::DeliveredLoftDeg), &[Loft], &[Spin, Static, Launch], 75),
    rule(Direct(Q::StrikeToeMm), &[Strike, Toe], &[Vertical], 90),
    rule(Direct(Q::StrikeToeMm), &[Strike, Heel], &[Vertical], 90),
    rule(Direct(Q::StrikeToeMm), &[Strike, Horizontal], &[Speed, Launch, Ball], 82),
    rule(Direct(Q::StrikeToeMm), &[Face, Lateral], &[Speed], 70),
    rule(Direct(Q::StrikeToeMm), &[Strike, Lateral], &[Speed], 75),
    rule(Direct(Q::StrikeToeMm), &[Toe], &[], 72),
    rule(Direct(Q::StrikeToeMm), &[Heel], &[], 72),
    rule(Direct(Q::StrikeUpMm), &[Strike, High], &[Horizontal, Toe, Heel], 88),
    rule(Direct(Q::StrikeUpMm), &[Strike, Low], &[Horizontal, Toe, Heel], 88),
    rule(Direct(Q::StrikeUpMm), &[Strike, Vertical], &[Horizontal, Toe, Heel, Speed], 84),
    rule(Direct(Q::StrikeUpMm), &[Strike, Peak], &[Horizontal, Toe, Heel], 78),
    rule(Direct(Q::StrikeUpMm), &[High, Low], &[], 65),
    rule(Direct(Q::StrikeSdMm), &[Strike, Deviation], &[], 88),
    rule(Direct(Q::CarryM), &[Carry], &[Lateral, Side, Off, Total, Time, Angle], 85),
    rule(Direct(Q::CarryM), &[Flight, Distance], &[Lateral, Side, Off, Total], 80),
    rule(Direct(Q::CarryM), &[Distance], &[Lateral, Side, Off, Total, Strike], 55),
    rule(Direct(Q::LateralM), &[Carry, Side], &[Spin], 85),
    rule(Direct(Q::LateralM), &[Carry, Lateral], &[Spin], 88),
    rule(Direct(Q::LateralM), &[Flight, Side], &[Spin], 80),
    rule(Direct(Q::LateralM), &[Lateral], &[Strike, Face, Club, Spin], 72),
    rule(Direct(Q::LateralM), &[Off, Horizontal], &[Strike, Face, Club, Spin], 76),
    rule(Direct(Q::LateralM), &[Side, Distance], &[Spin, Total], 80),
    rule(Direct(Q::LateralM), &[Side], &[Spin, Launch, Strike, Face, Club, Ball, Wind], 55),
    rule(Direct(Q::PeakHeightM), &[Peak], &[Strike, Face, Club, Angle, Time, Launch], 78),
    rule(Direct(Q::CarryM), &[Land, Distance], &[Lateral, Side, Off, Total, Angle], 70),
    rule(Direct(Q::LateralM), &[Land, Right], &[Left, Spin, Angle], 62),
    rule(Direct(Q::DescentDeg), &[Descent], &[], 85),
    rule(Direct(Q::DescentDeg), &[Land, Angle], &[Launch], 85),
    rule(Direct(Q::FlightTimeS), &[Flight, Duration], &[], 88),
    rule(Direct(Q::FlightTimeS), &[Flight], &[Distance, Side, Lateral, Carry, Peak, Angle, Descent, Land, Total], 50),
    rule(Direct(Q::RestDistanceM), &[Total, Distance], &[Side, Lateral, Off], 88),
    rule(Direct(Q::RestDistanceM), &[Total, Carry], &[Side, Lateral, Off], 75),
    rule(Direct(Q::RestDistanceM), &[Total], &[Spin, Side, Lateral, Off, Time, Speed], 60),
    rule(Direct(Q::TemperatureC), &[Temperature], &[Ball, Club], 88),
    rule(Direct(Q::TemperatureC), &[Air, LetterT], &[Pressure, Humidity], 78),
    rule(Direct(Q::TemperatureC), &[Air], &[Pressure, Humidity, LetterP, LetterT, Temperature, Time, Wind], 42),
    rule(Direct(Q::PressureHpa), &[Pressure], &[], 85),
    rule(Direct(Q::PressureHpa), &[Air, LetterP], &[], 78),
    rule(Direct(Q::HumidityPct), &[Humidity], &[], 88),
    rule(Direct(Q::WindAlongMps), &[Wind, Along], &[Across], 85),
    rule(Direct(Q::WindAlongMps), &[Wind, Against], &[Across], 85),
    rule(Direct(Q::WindAcrossMps), &[Wind, Across], &[Along], 85),
    rule(Direct(Q::WindAcrossMps), &[Wind, Side], &[Along], 85),
    rule(Direct(Q::WindAcrossMps), &[Wind, From], &[Along, Against], 70),
    rule(Direct(Q::AimDeg), &[Aim], &[Face, Club], 70),
    rule(NumberRole::SpeedRatio, &[Ratio], &[], 80),
    rule(NumberRole::SpeedRatio, &[Ball, Club, Ratio], &[], 90),
];

/// Roles that the words of a header speak for, the likeliest first, with the points the words give.
pub(super) fn number_roles(concepts: Concepts) -> Vec<(NumberRole, u32)> {
    let mut found: Vec<(NumberRole, u32)> = Vec::new();
    for rule in RULES {
        let all = rule.with.iter().all(|concept| concepts.has(*concept));
        let none = !rule.without.iter().any(|concept| concepts.has(*concept) && !rule.with.contains(concept));
        if all && none {
            match found.iter_mut().find(|(role, _)| *role == rule.role) {
                Some((_, points)) => *points = (*points).max(rule.points),
                None => found.push((rule.role, rule.points)),
            }
        }
    }
    found.sort_by_key(|(_, points)| std::cmp::Reverse(*points));
    found
}

/// Whether the header names the side that our convention calls negative, and not the other.
pub(super) fn names_negative_side(role: NumberRole, concepts: Concepts) -> bool {
    let only = |negative: Concept, positive: Concept| concepts.has(negative) && !concepts.has(positive);
    match role {
        NumberRole::Direct(Quantity::StrikeToeMm) => only(Heel, Toe),
        NumberRole::Direct(Quantity::StrikeUpMm) => only(Low, High) && !concepts.has(Vertical),
        NumberRole::Direct(Quantity::AttackDeg) => only(Down, Vertical),
        // A wind against the shot is no tail wind.
        NumberRole::Direct(Quantity::WindAlongMps) => concepts.has(Against),
        // What blows from the left blows to the right.
        NumberRole::Direct(Quantity::WindAcrossMps) if concepts.has(From) => only(Right, Left),
        other => other.is_sided() && only(Left, Right),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_lead_to_the_likeliest_quantity() {
        let cases = [
            ("Ball Speed", "ball_speed_mps"),
            ("Ballgeschwindigkeit", "ball_speed_mps"),
            ("vitesse de balle", "ball_speed_mps"),
            ("velocidad de la bola", "ball_speed_mps"),
            ("Clubhead Speed", "club_speed_mps"),
            ("Schlägerkopfgeschwindigkeit", "club_speed_mps"),
            ("Launch Angle", "launch_elevation_deg"),
            ("Abflugwinkel", "launch_elevation_deg"),
            ("Launch Direction", "launch_azimuth_deg"),
            ("Abflugrichtung", "launch_azimuth_deg"),
            ("Spin Rate", "spin_rpm"),
            ("Spin Axis", "spin_tilt_deg"),
            ("Spinachse", "spin_tilt_deg"),
            ("Backspin", "derived.spin backSpin"),
            ("Side Spin", "derived.spin sideSpin"),
            ("Attack Angle", "attack_deg"),
            ("Eintreffwinkel", "attack_deg"),
            ("Club Path", "path_deg"),
            ("Schwungbahn", "path_deg"),
            ("Face Angle", "face_deg"),
            ("Face to Path", "derived.face faceToPath"),
            ("Dynamic Loft", "delivered_loft_deg"),
            ("Impact Toe/Heel", "strike_toe_mm"),
            ("Treffpunkt hoch/tief", "strike_up_mm"),
            ("Carry", "carry_m"),
            ("Carry Side", "lateral_m"),
            ("Total Distance", "rest_distance_m"),
            ("Gesamtlänge", "rest_distance_m"),
            ("Apex Height", "peak_height_m"),
            ("Landing Angle", "descent_deg"),
            ("Hang Time", "flight_time_s"),
            ("Lufttemperatur", "temperature_c"),
            ("Luftdruck", "pressure_hpa"),
            ("Ratio ball/club", "derived.speed ratio"),
        ];
        for (header, expected) in cases {
            let found = number_roles(Concepts::of(header));
            assert_eq!(found.first().map(|(role, _)| role.name()), Some(expected), "{header}: {found:?}");
        }
        for header in ["Player", "Notes", "", "Serial", "Date"] {
            assert!(number_roles(Concepts::of(header)).is_empty(), "{header}");
        }
    }

    #[test]
    fn the_heel_is_our_negative_side() {
        let role = Direct(Quantity::StrikeToeMm);
        assert!(names_negative_side(role, Concepts::of("Impact heel")));
        assert!(!names_negative_side(role, Concepts::of("Impact heel/toe")));
    }
}
