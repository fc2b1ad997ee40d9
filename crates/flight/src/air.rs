//! How dense the air is.

/// Molar gas constant used by CIPM-2007, J/(mol K).
const GAS_CONSTANT: f64 = 8.314_472;
/// Molar mass of dry air with 400 ppm carbon dioxide, kg/mol.
const DRY_AIR_MOLAR_MASS: f64 = 28.965_46e-3;
/// Molar mass of water, kg/mol.
const WATER_MOLAR_MASS: f64 = 18.015_28e-3;
const ZERO_CELSIUS_K: f64 = 273.15;

/// What a weather station reports about the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistAir {
    /// Air temperature in degrees Celsius.
    pub temperature_c: f64,
    /// Pressure at the place itself, in hPa; not the pressure reduced to sea level that forecasts quote.
    pub pressure_hpa: f64,
    /// Relative humidity in per cent.
    pub humidity_pct: f64,
}

/// Density of moist air in kg/m^3 by the CIPM-2007 equation (Picard, Davis, Gläser & Fujii 2008, Metrologia 45, 149).
///
/// The equation is stated for 15 to 27 C and 600 to 1100 hPa; outside it degrades slowly. `None` outside -60 to 60 C,
/// 300 to 1200 hPa or 0 to 100 % humidity, or where a number is not finite.
pub fn air_density(air: &MoistAir) -> Option<f64> {
    let celsius = air.temperature_c;
    let inside = (-60.0..=60.0).contains(&celsius)
        && (300.0..=1200.0).contains(&air.pressure_hpa)
        && (0.0..=100.0).contains(&air.humidity_pct);
    if !inside {
        return None;
    }
    let kelvin = celsius + ZERO_CELSIUS_K;
    let pascal = air.pressure_hpa * 100.0;

    let saturation_pressure =
        (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47 - 6.343_164_5e3 / kelvin).exp();
    let enhancement = 1.000_62 + 3.14e-8 * pascal + 5.6e-7 * celsius * celsius;
    let water_fraction = air.humidity_pct / 100.0 * enhancement * saturation_pressure / pascal;

    let virial = 1.581_23e-6 - 2.933_1e-8 * celsius
        + 1.104_3e-10 * celsius * celsius
        + (5.707e-6 - 2.051e-8 * celsius) * water_fraction
        + (1.989_8e-4 - 2.376e-6 * celsius) * water_fraction * water_fraction;
    let pressure_per_kelvin = pascal / kelvin;
    let compressibility = 1.0 - pressure_per_kelvin * virial
        + pressure_per_kelvin * pressure_per_kelvin * (1.83e-11 - 0.765e-8 * water_fraction * water_fraction);

    Some(
        pascal * DRY_AIR_MOLAR_MASS / (compressibility * GAS_CONSTANT * kelvin)
            * (1.0 - water_fraction * (1.0 - WATER_MOLAR_MASS / DRY_AIR_MOLAR_MASS)),
    )
}

/// Density in kg/m^3 of the standard atmosphere (ISO 2533, US Standard Atmosphere 1976) at a height in metres above sea
/// level; for places of which nothing but the altitude is known.
///
/// `None` outside -500 to 11000 m (the lowest layer) or where the altitude is not finite.
pub fn standard_air_density(altitude_m: f64) -> Option<f64> {
    const EARTH_RADIUS_M: f64 = 6_356_766.0;
    const SEA_LEVEL_K: f64 = 288.15;
    const LAPSE_K_PER_M: f64 = 0.006_5;
    const SEA_LEVEL_DENSITY: f64 = 1.225;
    // g M / (R L) - 1 with the constants of the 1976 standard.
    const DENSITY_EXPONENT: f64 = 9.806_65 * 28.964_4e-3 / (8.314_32 * LAPSE_K_PER_M) - 1.0;

    if !(-500.0..=11_000.0).contains(&altitude_m) {
        return None;
    }
    let geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m);
    let temperature_ratio = 1.0 - LAPSE_K_PER_M * geopotential_m / SEA_LEVEL_K;
    Some(SEA_LEVEL_DENSITY * temperature_ratio.powf(DENSITY_EXPONENT))
}
