"""Density of moist air: CIPM-2007 (Picard, Davis, Gläser & Fujii 2008, Metrologia 45, 149; constants [memory], checked below), and
the standard atmosphere (ISO 2533, US Standard Atmosphere 1976) up to 11 km."""

import math

MOLAR_GAS_CONSTANT = 8.314472
MOLAR_MASS_DRY_AIR = 28.96546e-3  # at a mole fraction of carbon dioxide of 0.0004
MOLAR_MASS_WATER = 18.01528e-3


def moist_air_density(temperature_c, pressure_hpa, humidity_pct, without=None):
    """kg/m3; `without` leaves one part of the equation out, to show that it matters."""
    kelvin, pressure = temperature_c + 273.15, pressure_hpa * 100.0
    saturation = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * temperature_c**2
    if without == "enhancement":
        enhancement = 1.0
    vapour = humidity_pct / 100.0 * enhancement * saturation / pressure
    if without == "vapour":
        vapour = 0.0
    compressibility = (
        1.0
        - pressure
        / kelvin
        * (
            1.58123e-6
            - 2.9331e-8 * temperature_c
            + 1.1043e-10 * temperature_c**2
            + (5.707e-6 - 2.051e-8 * temperature_c) * vapour
            + (1.9898e-4 - 2.376e-6 * temperature_c) * vapour**2
        )
        + (pressure / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    if without == "compressibility":
        compressibility = 1.0
    dry = pressure * MOLAR_MASS_DRY_AIR / (compressibility * MOLAR_GAS_CONSTANT * kelvin)
    return dry * (1.0 - vapour * (1.0 - MOLAR_MASS_WATER / MOLAR_MASS_DRY_AIR))


def standard_atmosphere(altitude_m):
    """Temperature in C, pressure in hPa and density in kg/m3 at a geometric altitude in the troposphere."""
    geopotential = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    kelvin = 288.15 - 0.0065 * geopotential
    exponent = 9.80665 / (287.05287 * 0.0065)
    pressure = 1013.25 * (kelvin / 288.15) ** exponent
    return kelvin - 273.15, pressure, pressure * 100.0 / (287.05287 * kelvin)
