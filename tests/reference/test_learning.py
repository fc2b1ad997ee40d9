"""What many shots tell, against the same questions put to numpy and SciPy: player and club, ball, bays."""

import numpy
import pytest
from scipy.optimize import least_squares

import program
from agreement import agree, notices
from club_model import ClubModel
from club_questions import drawn_club
from flight_model import Air, Ball
from many_shots import TOE, UP, landings

PROFILES = program.head_profiles()
SPIN, TILT = 3, 4
GLOBAL_FIELDS = [
    "head_restitution",
    "head_restitution_falloff_per_m2",
    "head_inertia_scale",
    "head_cg_normal_m",
    "head_cg_up_m",
    "head_cg_toe_m",
    "head_bulge_curvature_per_m",
    "head_friction",
    "loft_offset_deg",
    "direction_offset_deg",
]
HABIT_FIELDS = [
    "habit_club_speed_mps",
    "habit_attack_deg",
    "habit_path_deg",
    "habit_face_deg",
    "habit_loft_deg",
    "habit_toe_mm",
    "habit_up_mm",
]


def needs(function):
    return pytest.mark.skipif(not program.has_function(function), reason=f"this build has no {function}()")


def club_answer(shots, head):
    rows = [{**evidence, "session": float(session), "age_days": 1.0} for evidence, session in shots]
    return program.of_list("player_club_model", rows, head)


@needs("player_club_model")
@pytest.mark.parametrize("head", ["modern-driver", "fairway-wood"])
def test_player_and_club(head, random):
    """Spreads are estimated there and held at the beliefs here, and deliveries are integrated out there and estimated here: with
    everything measured, both should matter little against what the shots leave open."""
    shots, truth = drawn_club(random, PROFILES[head], sessions=5, each=12)
    answer = club_answer(shots, head)
    ours = ClubModel(shots, PROFILES[head])
    assert answer["reason"] is None and answer["strike_identified"] and answer["direction_identified"]
    for place, field in enumerate(GLOBAL_FIELDS):
        agree(f"{head}, {field}", [ours.globals[place]], [answer[field]], 0.5 * ours.deviation[place])
    for place, field in enumerate(HABIT_FIELDS):
        agree(f"{head}, {field}", [ours.habits[place]], [answer[field]], 0.5 * ours.deviation[len(ours.globals) + place])
    for name, place, quantity in (("lateral", TOE, TILT), ("vertical", UP, SPIN)):
        gain, deviation = ours.gain(place, quantity)
        agree(f"{head}, gear gain {name}", [gain], [answer[f"gear_gain_{name}"]], 0.5 * deviation)
        agree(f"{head}, deviation of gear gain {name}", [deviation], [answer[f"gear_gain_{name}_sd"]], 0.25 * deviation)
    # The told deviations stand alone, without their correlations, so they may be wider than the marginal ones, never narrower.
    for place, field in enumerate(GLOBAL_FIELDS[:8]):
        name = {
            "head_restitution_falloff_per_m2": "head_restitution_falloff_sd_per_m2",
            "head_bulge_curvature_per_m": "head_bulge_curvature_sd_per_m",
        }
        told = answer[name.get(field, field.replace("_m", "_sd_m") if field.endswith("_m") else f"{field}_sd")]
        assert 0.85 * ours.deviation[place] <= told <= 1.3 * ours.global_sd[place], field
    scores = [(answer[field] - truth["globals"][place]) / ours.deviation[place] for place, field in enumerate(GLOBAL_FIELDS)]
    print(f"{head}: told minus true in deviations {numpy.round(scores, 2)}")
    assert numpy.abs(scores).max() < 4.0
    profile = [ours.global_mean[place] for place in range(len(GLOBAL_FIELDS))]
    notices(
        "a model that stays at the profile",
        profile,
        [answer[field] for field in GLOBAL_FIELDS],
        0.5 * ours.deviation[: len(GLOBAL_FIELDS)],
    )


LAUNCH_SD = numpy.array([0.3, 0.2, 0.3, 90.0, 1.0])


def drawn_flights(random, ball, count, days):
    """Launches from driver to wedge, read with the usual errors, and carries read to a metre."""
    flights = []
    for number in range(count):
        speed = random.uniform(35.0, 72.0)
        elevation = 12.0 + (72.0 - speed) * 0.45 + random.normal()
        spin = 2600.0 + (72.0 - speed) * 160.0 + 300.0 * random.normal()
        launch = numpy.array([speed, elevation, random.normal(), spin, 4.0 * random.normal()])
        density = random.uniform(1.15, 1.28)
        [carry, _] = landings(launch, ball, Air(density))[0]
        flights.append((launch + LAUNCH_SD * random.normal(size=5), density, carry + random.normal(), number % days))
    return flights


def scales_by_least_squares(flights):
    """Drag and lift scale, each carry weighed by its own reading and what its launch may be off."""
    launched = numpy.array([launch for launch, *_ in flights])
    densities = numpy.array([density for _, density, *_ in flights])
    carries = numpy.array([carry for *_, carry, _ in flights])

    def modelled(launched, scales):
        ball = Ball(drag_scale=scales[0], lift_scale=scales[1])
        return landings(launched, ball, Air(densities))[:, 0]

    variance = numpy.full(len(flights), 1.0)
    for quantity in range(5):
        step = numpy.zeros(5)
        step[quantity] = LAUNCH_SD[quantity]
        variance += ((modelled(launched + step, [1.0, 1.0]) - modelled(launched - step, [1.0, 1.0])) / 2.0) ** 2
    found = least_squares(lambda scales: (modelled(launched, scales) - carries) / numpy.sqrt(variance), [1.0, 1.0], x_scale=0.05)
    covariance = numpy.linalg.inv(found.jac.T @ found.jac)
    return found.x, numpy.sqrt(numpy.diag(covariance)), covariance[0, 1] / numpy.sqrt(numpy.prod(numpy.diag(covariance)))


@needs("ball_model")
def test_ball(random):
    """Robust weights, days and the prior matter little for clean flights of many days."""
    truth = Ball(drag_scale=1.05, lift_scale=0.93)
    flights = drawn_flights(random, truth, 120, 12)
    rows = [
        {
            **dict(zip(["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"], map(float, launch))),
            **dict(
                zip(["ball_speed_sd_mps", "launch_elevation_sd_deg", "launch_azimuth_sd_deg", "spin_sd_rpm", "spin_tilt_sd_deg"], LAUNCH_SD)
            ),
            "air_density": density,
            "carry_m": float(carry),
            "carry_sd_m": 1.0,
            "day": float(day),
        }
        for launch, density, carry, day in flights
    ]
    answer = program.of_list("ball_model", rows, "standard")
    scales, deviations, correlation = scales_by_least_squares(flights)
    told = [answer["ball_drag_scale"], answer["ball_lift_scale"]]
    agree("scales of drag and lift", scales, told, 0.6 * deviations)
    agree("correlation of the scales", [correlation], [answer["scale_correlation"]], 0.15)
    assert numpy.all(numpy.abs(numpy.array(told) - [1.05, 0.93]) < 4.0 * deviations)
    notices("a ball that stays as it was", [1.0, 1.0], told, 0.6 * deviations)


@needs("bay_offsets")
def test_bays(random):
    """Two-way layout: direction = player + bay + shot. With many shots the weighted least squares of numpy is the answer."""
    offsets = {"a": 0.0, "b": 0.8, "c": -0.6}
    habits = {f"player {number}": random.normal(0.0, 2.0) for number in range(6)}
    rows, design, outcome = [], [], []
    for number, (player, habit) in enumerate(habits.items()):
        for visit, bay in enumerate(random.permutation(list(offsets))):
            for _ in range(60):
                direction = habit + offsets[bay] + 2.0 * random.normal()
                rows.append(
                    {"bay": str(bay), "player": player, "session": float(10 * number + visit), "launch_azimuth_deg": float(direction)}
                )
                design.append([float(bay == "b"), float(bay == "c"), *(float(player == name) for name in habits)])
                outcome.append(direction)
    answer = {entry["bay"]: entry for entry in program.of_list("bay_offsets", rows, "a")}
    design, outcome = numpy.array(design), numpy.array(outcome)
    fitted = numpy.linalg.lstsq(design, outcome, rcond=None)[0]
    deviation = 2.0 * numpy.sqrt(numpy.diag(numpy.linalg.inv(design.T @ design)))[0]
    told = [answer[bay]["direction_offset_deg"] for bay in ("b", "c")]
    assert answer["a"]["direction_offset_deg"] == pytest.approx(0.0, abs=1e-6)
    assert all(answer[bay]["identified"] for bay in offsets)
    # Sessions may move a player's direction too, for all that is known there: the prior and they cost a little.
    agree("offsets of the bays", fitted[:2], told, 1.5 * deviation)
    notices("bays that are all straight", [0.0, 0.0], told, 1.5 * deviation)
    assert all(0.8 * deviation <= answer[bay]["direction_offset_sd_deg"] for bay in ("b", "c"))
