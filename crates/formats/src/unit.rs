//! Units as UCUM codes, and their conversion into the units of our columns.

/// What a unit measures; only units of one dimension convert into each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Dimension {
    Speed,
    Length,
    Angle,
    RotationRate,
    Temperature,
    Pressure,
    Fraction,
    Time,
}

/// One unit: value in the base unit of its dimension = `(value + shift) * numerator / denominator`.
/// The factor stays a fraction, so that a unit converts into itself without rounding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Unit {
    pub code: &'static str,
    dimension: Dimension,
    numerator: f64,
    denominator: f64,
    shift: f64,
}

const fn unit(code: &'static str, dimension: Dimension, numerator: f64, denominator: f64) -> Unit {
    Unit { code, dimension, numerator, denominator, shift: 0.0 }
}

// Factors: NIST SP 811 (2008), appendix B.8; exact but for mercury and the pound-force, which SP 811 gives to seven digits.
const UNITS: [Unit; 48] = [
    unit("m/s", Dimension::Speed, 1.0, 1.0),
    unit("km/h", Dimension::Speed, 1.0, 3.6),
    unit("[mi_i]/h", Dimension::Speed, 0.44704, 1.0),
    unit("[ft_i]/s", Dimension::Speed, 0.3048, 1.0),
    unit("[kn_i]", Dimension::Speed, 1852.0, 3600.0),
    unit("cm/s", Dimension::Speed, 1.0, 100.0),
    unit("m/min", Dimension::Speed, 1.0, 60.0),
    unit("[ft_i]/min", Dimension::Speed, 0.3048, 60.0),
    unit("[yd_i]/s", Dimension::Speed, 0.9144, 1.0),
    unit("m", Dimension::Length, 1.0, 1.0),
    unit("cm", Dimension::Length, 1.0, 100.0),
    unit("mm", Dimension::Length, 1.0, 1000.0),
    unit("[in_i]", Dimension::Length, 0.0254, 1.0),
    unit("[ft_i]", Dimension::Length, 0.3048, 1.0),
    unit("[yd_i]", Dimension::Length, 0.9144, 1.0),
    unit("[mi_i]", Dimension::Length, 1609.344, 1.0),
    unit("dm", Dimension::Length, 1.0, 10.0),
    unit("km", Dimension::Length, 1000.0, 1.0),
    unit("um", Dimension::Length, 1.0, 1e6),
    unit("deg", Dimension::Angle, 1.0, 1.0),
    unit("rad", Dimension::Angle, 180.0, std::f64::consts::PI),
    unit("mrad", Dimension::Angle, 0.18, std::f64::consts::PI),
    unit("gon", Dimension::Angle, 0.9, 1.0),
    unit("'", Dimension::Angle, 1.0, 60.0),
    unit("''", Dimension::Angle, 1.0, 3600.0),
    unit("/min", Dimension::RotationRate, 1.0, 1.0),
    unit("/s", Dimension::RotationRate, 60.0, 1.0),
    unit("Hz", Dimension::RotationRate, 60.0, 1.0),
    unit("{rev}/min", Dimension::RotationRate, 1.0, 1.0),
    unit("{rev}/s", Dimension::RotationRate, 60.0, 1.0),
    unit("deg/s", Dimension::RotationRate, 1.0, 6.0),
    unit("rad/s", Dimension::RotationRate, 30.0, std::f64::consts::PI),
    unit("Cel", Dimension::Temperature, 1.0, 1.0),
    Unit { shift: -273.15, ..unit("K", Dimension::Temperature, 1.0, 1.0) },
    Unit { shift: -32.0, ..unit("[degF]", Dimension::Temperature, 5.0, 9.0) },
    unit("hPa", Dimension::Pressure, 1.0, 1.0),
    unit("Pa", Dimension::Pressure, 1.0, 100.0),
    unit("kPa", Dimension::Pressure, 10.0, 1.0),
    unit("mbar", Dimension::Pressure, 1.0, 1.0),
    unit("bar", Dimension::Pressure, 1000.0, 1.0),
    unit("mm[Hg]", Dimension::Pressure, 1.333_224, 1.0),
    unit("[psi]", Dimension::Pressure, 68.947_57, 1.0),
    unit("[in_i'Hg]", Dimension::Pressure, 33.863_89, 1.0),
    unit("%", Dimension::Fraction, 1.0, 100.0),
    unit("1", Dimension::Fraction, 1.0, 1.0),
    unit("s", Dimension::Time, 1.0, 1.0),
    unit("ms", Dimension::Time, 1.0, 1000.0),
    unit("us", Dimension::Time, 1.0, 1e6),
];

impl Unit {
    /// The unit of a UCUM code, if we know it.
    pub fn parse(code: &str) -> Option<Unit> {
        UNITS.iter().find(|unit| unit.code == code).copied()
    }

    /// Whether values convert into `other`.
    pub fn converts_to(self, other: Unit) -> bool {
        self.dimension == other.dimension
    }

    /// `value` of this unit in the unit `other`; both must be of one dimension.
    pub fn convert(self, value: f64, other: Unit) -> f64 {
        if self.code == other.code {
            return value;
        }
        (value + self.shift) * self.numerator / self.denominator * other.denominator / other.numerator - other.shift
    }

    /// A difference, such as a standard deviation: scaled but never shifted.
    pub fn convert_difference(self, value: f64, other: Unit) -> f64 {
        Unit { shift: 0.0, ..self }.convert(value, Unit { shift: 0.0, ..other })
    }

    /// The codes of every unit that converts into `other`, for hints.
    pub fn codes_like(other: Unit) -> String {
        let codes: Vec<&str> = UNITS.iter().filter(|unit| unit.converts_to(other)).map(|unit| unit.code).collect();
        codes.join(", ")
    }

    /// Every code, for hints.
    pub fn all_codes() -> String {
        UNITS.map(|unit| unit.code).join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(value: f64, from: &str, to: &str) -> f64 {
        Unit::parse(from).expect("known").convert(value, Unit::parse(to).expect("known"))
    }

    #[test]
    fn factors_are_those_of_nist() {
        // [source: NIST SP 811 (2008) appendix B.8: mile per hour, yard, foot, inch, knot, inch of mercury; B.9 for degF]
        let cases = [
            (1.0, "[mi_i]/h", "m/s", 0.447_04),
            (1.0, "[yd_i]", "m", 0.914_4),
            (1.0, "[ft_i]", "m", 0.304_8),
            (1.0, "[in_i]", "mm", 25.4),
            (1.0, "[kn_i]", "m/s", 0.514_444_444_444_444_4),
            (29.92, "[in_i'Hg]", "hPa", 1_013.207_588_8),
            (212.0, "[degF]", "Cel", 100.0),
            (-40.0, "[degF]", "Cel", -40.0),
            (293.15, "K", "Cel", 20.0),
            (36.0, "km/h", "m/s", 10.0),
            // [derived: half a turn is pi rad; one turn a second is 60 a minute and 2 pi rad/s]
            (std::f64::consts::PI, "rad", "deg", 180.0),
            (std::f64::consts::TAU, "rad/s", "/min", 60.0),
            (180.0, "deg/s", "/min", 30.0),
            (100.0, "gon", "deg", 90.0),
            (std::f64::consts::PI * 1000.0, "mrad", "deg", 180.0),
            (1.0, "''", "deg", 1.0 / 3600.0),
            (2700.0, "{rev}/min", "/min", 2700.0),
            // [source: NIST SP 811 (2008) appendix B.8: mile, millimetre of mercury, pound-force per square inch]
            (1.0, "[mi_i]", "m", 1_609.344),
            (760.0, "mm[Hg]", "hPa", 1_013.250_24),
            (1.0, "[psi]", "hPa", 68.947_57),
            (0.45, "1", "%", 45.0),
            (250.0, "ms", "s", 0.25),
        ];
        for (value, from, to, expected) in cases {
            let found = convert(value, from, to);
            assert!((found - expected).abs() < 1e-9 * expected.abs().max(1.0), "{value} {from} = {found} {to}");
        }
    }

    #[test]
    fn differences_are_not_shifted() {
        let fahrenheit = Unit::parse("[degF]").expect("known");
        let celsius = Unit::parse("Cel").expect("known");
        assert!((fahrenheit.convert_difference(1.8, celsius) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn every_column_unit_is_known() {
        for quantity in shot::Quantity::all() {
            assert!(Unit::parse(quantity.unit()).is_some(), "{}", quantity.name());
        }
    }
}
