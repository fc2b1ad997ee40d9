"""air_density() against CIPM-2007 written from its equation, and beside the standard atmosphere."""

import numpy
import pytest

import program
from agreement import agree, notices
from air_model import moist_air_density, standard_atmosphere


@pytest.mark.parametrize(
    ("temperature", "pressure", "humidity", "density", "digits"),
    [(20.0, 1013.25, 50.0, 1.199314, 5e-7), (15.0, 1013.25, 0.0, 1.225521, 5e-7), (20.0, 840.0, 30.0, 0.9953873, 5e-8)],
)
def test_the_worked_values_of_the_design_hold_here_too(temperature, pressure, humidity, density, digits):
    """[derived]"""
    assert abs(moist_air_density(temperature, pressure, humidity) - density) <= digits


@pytest.mark.parametrize(("altitude", "density"), [(0.0, 1.2250), (1000.0, 1.1117), (2000.0, 1.0066), (3000.0, 0.9093)])
def test_the_standard_atmosphere_here_is_the_published_one(altitude, density):
    """US Standard Atmosphere 1976, tables over geometric altitude, four decimals."""
    assert abs(standard_atmosphere(altitude)[2] - density) <= 6e-5


def test_moist_air(random):
    questions = [(random.uniform(-20.0, 45.0), random.uniform(600.0, 1080.0), random.uniform(0.0, 100.0)) for _ in range(2000)]
    answers = program.call("air_density", questions)
    ours = [moist_air_density(*question) for question in questions]
    # The equation itself is good to 22 parts in a million; the rounding of its constants to less than one.
    agree("density of moist air, kg/m3", ours, answers, 1e-6, lambda row: questions[row])
    for part in ("vapour", "enhancement", "compressibility"):
        notices(f"air without {part}", [moist_air_density(*question, without=part) for question in questions], answers, 1e-6)


def test_dry_air_beside_the_standard_atmosphere():
    """Another gas constant and no compressibility: the two differ by 0.05 %, never more."""
    altitudes = numpy.linspace(0.0, 4000.0, 41)
    standard = [standard_atmosphere(altitude) for altitude in altitudes]
    answers = program.call("air_density", [(temperature, pressure, 0.0) for temperature, pressure, _ in standard])
    agree("density of the standard atmosphere, kg/m3", [density for _, _, density in standard], answers, 6e-4)


def test_what_no_air_is_has_no_density():
    questions = [
        (-61.0, 1000.0, 50.0),
        (61.0, 1000.0, 50.0),
        (20.0, 299.0, 50.0),
        (20.0, 1201.0, 50.0),
        (20.0, 1000.0, -1.0),
        (20.0, 1000.0, 101.0),
    ]
    assert program.call("air_density", questions) == [None] * len(questions)
