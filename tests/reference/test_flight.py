"""flight() against SciPy's order-8 Runge-Kutta at 1e-11: carry within 1 cm, time within 0.01 s, over the whole box of launches."""

import numpy
import pytest

import program
from agreement import agree, notices
from flight_model import Air, Ball, TableBall, fly
from verdict_questions import drawn_evidence

WITHOUT_LIFT = {"lift": lambda spin_parameter: 0.0}
# How far each field of a landing may be off. Carry and time are the promise; the others follow from it.
FIELDS = {
    "carry_m": 0.01,
    "lateral_m": 0.01,
    "peak_height_m": 0.01,
    "descent_deg": 0.05,
    "flight_time_s": 0.01,
    "landing_speed_mps": 0.01,
    "landing_spin_rpm": 0.5,
}


def test_closed_forms_hold_for_the_integrator_used_here():
    """[derived] Vacuum; quadratic drag by exact hodograph quadrature; linear drag and lift, exact. Earth at 9.81 m/s2."""
    earth = Air(gravity=9.81)
    vacuum = fly(67.0, 12.0, 0.0, 0.0, 0.0, air=Air(density=0.0, gravity=9.81))
    assert vacuum.carry_m == pytest.approx(186.120366031, abs=1e-8)
    assert vacuum.flight_time_s == pytest.approx(2.83997620485, abs=1e-10)
    assert vacuum.peak_height_m == pytest.approx(9.8902762651, abs=1e-9)
    rough = Ball(drag=lambda spin_parameter: 0.25, **WITHOUT_LIFT)
    dragged = fly(67.0, 12.0, 0.0, 0.0, 0.0, ball=rough, air=earth)
    assert dragged.carry_m == pytest.approx(121.220515403, abs=1e-8)
    assert dragged.flight_time_s == pytest.approx(2.51118906147, abs=1e-10)
    assert dragged.peak_height_m == pytest.approx(7.80269376715, abs=1e-9)
    assert fly(60.0, 30.0, 0.0, 0.0, 0.0, ball=rough, air=earth).carry_m == pytest.approx(165.702320497, abs=1e-8)

    def linear(velocity):
        return numpy.array([-(0.25 * velocity[0] + 0.15 * velocity[2]), 0.0, -(0.25 * velocity[2] - 0.15 * velocity[0])])

    assert fly(70.0, 12.0, 0.0, 0.0, 0.0, air=earth, force=linear).carry_m == pytest.approx(207.583023934, abs=1e-8)


def test_worked_flights_of_the_design_hold_for_the_integrator_used_here():
    """[derived, order-8 Runge-Kutta at 1e-11]"""
    first = fly(67.06, 12.0, 0.0, 2700.0, 0.0)
    assert [first.carry_m, first.flight_time_s, first.peak_height_m, first.descent_deg] == pytest.approx(
        [221.705108, 6.964359, 32.619364, 41.162454], abs=6e-7
    )
    assert first.landing_spin_rpm == pytest.approx(2167.557, abs=6e-4)
    tilted = fly(67.06, 12.0, 0.0, 2700.0, 10.0)
    assert [tilted.carry_m, tilted.lateral_m] == pytest.approx([220.541649, 20.604381], abs=6e-7)
    turned = fly(60.0, 12.0, 3.0, 3000.0, -8.0, air=Air(density=1.1))
    assert [turned.carry_m, turned.lateral_m] == pytest.approx([200.494680, -2.203995], abs=6e-7)
    assert fly(30.0, 25.0, 0.0, 6000.0, 0.0).carry_m == pytest.approx(74.807795, abs=6e-7)


def drawn_launches(random, count):
    """The box: 10-95 m/s, up to 60 degrees, 30 to either side, 12,000 rpm, tilt 60, air 0.85-1.35; every fourth one nearly level."""
    return [
        (
            random.uniform(10.0, 95.0),
            random.uniform(0.0, 60.0) if row % 4 else random.uniform(0.0, 4.0),
            random.uniform(-30.0, 30.0),
            random.uniform(0.0, 12000.0),
            random.uniform(-60.0, 60.0),
            random.uniform(0.85, 1.35),
        )
        for row in range(count)
    ]


def corners():
    """Every corner of the box, where an integrator is likeliest to stumble."""
    return [
        (speed, elevation, azimuth, spin, tilt, density)
        for speed in (10.0, 95.0)
        for elevation in (0.5, 60.0)
        for azimuth in (-30.0, 30.0)
        for spin in (0.0, 12000.0)
        for tilt in (-60.0, 60.0)
        for density in (0.85, 1.35)
    ]


def check(what, questions):
    answers = program.call("flight", questions)
    ours = [fly(*question[:5], air=Air(density=question[5])) for question in questions]
    for field, tolerance in FIELDS.items():
        agree(
            f"{what}, {field}",
            [getattr(landing, field) for landing in ours],
            [answer[field] for answer in answers],
            tolerance,
            lambda row: questions[row],
        )
    return answers


def test_random_launches(random):
    questions = drawn_launches(random, 500)
    answers = check("random flight", questions)
    carries = [answer["carry_m"] for answer in answers]
    # A reference without one of the laws has to be told apart on the same launches.
    for what, ball in {
        "lift": Ball(**WITHOUT_LIFT),
        "growth of drag with spin": Ball(drag=lambda spin_parameter: 0.24),
        "spin decay": Ball(spin_decay=0.0),
    }.items():
        bent = [fly(*question[:5], ball=ball, air=Air(density=question[5]), tolerance=1e-7).carry_m for question in questions[:60]]
        notices(f"flight without {what}", bent, carries[:60], FIELDS["carry_m"])


def test_corners_of_the_box():
    check("corner", corners())


def test_a_ball_sent_into_the_ground_is_grounded(random):
    questions = [(speed, -abs(elevation) - 0.01, *rest) for speed, elevation, *rest in drawn_launches(random, 40)]
    answers = program.call("flight", questions)
    assert [answer["carry_m"] for answer in answers] == [0.0] * len(questions)
    assert [answer["flight_time_s"] for answer in answers] == [0.0] * len(questions)


@pytest.mark.skipif(not program.has_function("flight_in_wind"), reason="this build has no flight_in_wind()")
def test_random_launches_in_wind_with_other_balls(random):
    questions = [
        (
            *launch,
            speed * numpy.cos(heading),
            speed * numpy.sin(heading),
            random.uniform(0.7, 1.4),
            random.uniform(0.6, 1.5),
        )
        for launch, speed, heading in (
            (launch, random.uniform(0.0, 15.0), random.uniform(0.0, 2.0 * numpy.pi)) for launch in drawn_launches(random, 400)
        )
    ]
    answers = program.call("flight_in_wind", questions)

    def flown(asked, **instead):
        known = {"wind_along": asked[6], "wind_right": asked[7], "drag_scale": asked[8], "lift_scale": asked[9], **instead}
        ball = Ball(drag_scale=known["drag_scale"], lift_scale=known["lift_scale"])
        return fly(*asked[:5], ball=ball, air=Air(asked[5], known["wind_along"], known["wind_right"]))

    ours = [flown(asked) for asked in questions]
    for field, tolerance in FIELDS.items():
        agree(
            f"flight in wind, {field}",
            [getattr(landing, field) for landing in ours],
            [answer[field] for answer in answers],
            tolerance,
            lambda row: questions[row],
        )
    carries = [answer["carry_m"] for answer in answers[:40]]
    for instead in ({"wind_along": 0.0}, {"wind_right": 0.0}, {"drag_scale": 1.0}, {"lift_scale": 1.0}):
        notices(f"flight with {instead}", [flown(asked, **instead).carry_m for asked in questions[:40]], carries, FIELDS["carry_m"])


TABLE = program.ball_profiles().get("table-1976")


@pytest.mark.skipif(TABLE is None, reason="this build's home has no table of coefficients")
def test_a_ball_with_measured_coefficients(random):
    """Bearman & Harvey 1976 as the home's balls.toml has it. First the design's figures [derived, at 9.81 m/s2], then the carries of
    verdict(), which alone takes a ball by name, flown here from the launches that it tells."""
    ball = TableBall(TABLE)
    known = fly(67.06, 12.0, 0.0, 2700.0, 0.0, ball=ball, air=Air(gravity=9.81), tolerance=1e-8)
    assert [known.carry_m, known.peak_height_m, known.flight_time_s] == pytest.approx([212.0958, 25.4933, 6.2625], abs=1e-4)
    assert known.descent_deg == pytest.approx(37.601, abs=1e-3)
    profile = program.head_profiles()["modern-driver"]
    questions = [(drawn_evidence(random, profile, "delivery and strike"), "modern-driver") for _ in range(10)]
    answers = program.verdicts(questions, "table-1976")
    fields = ["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"]
    launches = [[answer[f"likely_{field}"] for field in fields] for answer in answers]
    airs = [Air(evidence["air_density"]) for evidence, _ in questions]
    ours = [fly(*launch, ball=ball, air=air, tolerance=1e-7) for launch, air in zip(launches, airs)]
    told = [answer["carry_m"] for answer in answers]
    agree("carry of the ball with a table", [landing.carry_m for landing in ours], told, 0.01, lambda row: questions[row])
    agree("lateral of it", [landing.lateral_m for landing in ours], [answer["lateral_m"] for answer in answers], 0.01)
    usual = [fly(*launch, air=air, tolerance=1e-7).carry_m for launch, air in zip(launches, airs)]
    notices("the standard ball instead", usual, told, 0.01)
