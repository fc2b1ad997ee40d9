"""verdict() against a posterior written from the method page and left to SciPy: reconstruction, split, carry lost, causes, misread curves."""

import math

import numpy
import pytest

import program
from agreement import agree, notices
from counterfactuals import CAUSES, EVERYTHING, GROUPS, STRIKE, place_of, split, weigh
from flight_model import fly
from impact_model import head_from_profile, strike
from many_shots import FACE, PATH, SPEED, TOE, UP, landings, launches
from verdict_model import LAUNCH_FIELDS, Shot
from verdict_questions import ABILITIES, drawn_evidence, with_what_was_learned

PROFILES = program.head_profiles()
HEADS = ["published-driver", "modern-driver", "older-driver", "fairway-wood", "iron-mid"]
STRIKE_FIELDS = ["strike_toe_mm", "strike_up_mm", "strike_toe_sd_mm", "strike_up_sd_mm"]


def judged(questions, told_field="carry_strike_m"):
    """(shot, answer) for the questions in which the program tells the field: by default all of the verdict."""
    return [
        (Shot(evidence, PROFILES[head]), answer)
        for (evidence, head), answer in zip(questions, program.verdicts(questions))
        if answer[told_field] is not None
    ]


def drawn_questions(random, heads, abilities, each):
    return [(drawn_evidence(random, PROFILES[head], ability), head) for head in heads for ability in abilities for _ in range(each)]


def told(pairs, field):
    return [answer[field] for _, answer in pairs]


def describe(pairs):
    return lambda row: pairs[row][0].evidence


def test_both_ways_through_the_physics_agree(random):
    for profile in PROFILES.values():
        head = head_from_profile(profile)
        unknowns = numpy.array(
            [
                [
                    *(random.uniform(20.0, 50.0), *random.uniform(-8.0, 8.0, 3)),
                    profile["loft_deg"] + random.uniform(-8.0, 8.0),
                    *random.uniform(-25.0, 25.0, 2),
                    *(head.restitution, head.falloff, 1.0, *head.cg, head.bulge_curvature, head.friction),
                ]
                for _ in range(20)
            ]
        )
        for hand in (1.0, -1.0):
            many = launches(unknowns, profile, hand)
            single = numpy.array([strike(head, *row[:7], hand) for row in unknowns])
            assert numpy.abs(many - single).max() < 1e-8
            flown = landings(many)
            alone = [fly(*launch, tolerance=1e-9) for launch in single]
            assert numpy.abs(flown - [[landing.carry_m, landing.lateral_m] for landing in alone]).max() < 1e-3


def settled(pairs):
    """The shots whose strike one peak tells: it was read, or is inferred so narrowly that the program asks for no other place."""
    return [(shot, answer) for shot, answer in pairs if "strike_sd_mm" in shot.evidence or shot.deviation(TOE) < 2.0]


def check_the_others_across_the_face(what, pairs):
    """Where the launch hardly settles the strike the program tells the mean over the whole face. Its places lie 3 to 5 mm apart
    and its answer is an approximation: within 0.3 deviations of the same over a finer range, and as wide within a quarter."""
    kept = {id(shot) for shot, _ in settled(pairs)}
    others = [pair for pair in pairs if id(pair[0]) not in kept][:4]
    for shot, answer in others:
        here = shot.across_the_face()
        for field in ("strike_toe_mm", "strike_up_mm"):
            deviation = here[field.replace("_mm", "_sd_mm")]
            agree(f"{what} across the face, {field}", [here[field]], [answer[field]], 0.3 * deviation, describe([(shot, answer)]))
            told_sd = answer[field.replace("_mm", "_sd_mm")]
            assert 0.75 < told_sd / deviation < 1.33, (what, field, told_sd, deviation, shot.evidence)
    return len(others)


@pytest.mark.parametrize("ability", sorted(ABILITIES))
def test_the_most_probable_strike(ability, random):
    pairs = judged(drawn_questions(random, HEADS, [ability], 6), "strike_toe_mm")
    assert len(pairs) >= 10
    others = check_the_others_across_the_face(ability, pairs)
    pairs = settled(pairs)
    assert others or len(pairs) >= 10
    if not pairs:
        return
    places = {"strike_toe_mm": TOE, "strike_up_mm": UP}
    for field in STRIKE_FIELDS:
        ours = [shot.mode[places[field]] if field in places else shot.deviation(places[field.replace("_sd", "")]) for shot, _ in pairs]
        agree(f"{ability}, {field}", ours, told(pairs, field), 2e-3, describe(pairs))
    face_to_path = [shot.mode[FACE] - shot.mode[PATH] for shot, _ in pairs]
    agree(f"{ability}, face_to_path_deg", face_to_path, told(pairs, "face_to_path_deg"), 1e-3, describe(pairs))
    readable = [pair for pair in pairs if pair[1]["curve_reading_deg"] is not None]
    # From a start known to a degree and a tilt known to three on, a reader could read the curve.
    for shot, answer in pairs:
        start, tilt = shot.launch_deviation()[[2, 4]]
        assert (answer["curve_reading_deg"] is not None) == (start <= 1.0 and tilt <= 3.0)
    if readable:
        readings = [shot.curve_reading() for shot, _ in readable]
        agree(f"{ability}, curve_reading_deg", readings, told(readable, "curve_reading_deg"), 1e-3, describe(readable))
    if "likely_spin_rpm" in pairs[0][1]:
        check_the_likely_launch(ability, pairs)
    bent = [
        Shot({**shot.evidence, "launch_elevation_deg": shot.evidence["launch_elevation_deg"] + 0.1}, shot.profile).mode[UP]
        for shot, _ in pairs[:6]
    ]
    notices(f"{ability}: start direction off by 0.1 degrees", bent, told(pairs[:6], "strike_up_mm"), 2e-3)


def check_the_likely_launch(ability, pairs):
    """What the ball most probably did, read or not, and how far that may be off."""
    deviations = numpy.array([shot.launch_deviation() for shot, _ in pairs])
    launched = numpy.array([shot.launch for shot, _ in pairs])
    for column, (field, deviation) in enumerate(LAUNCH_FIELDS):
        size = 10.0 if field == "spin_rpm" else 1.0
        agree(f"{ability}, likely {field}", launched[:, column], told(pairs, f"likely_{field}"), 2e-3 * size, describe(pairs))
        agree(f"{ability}, likely {deviation}", deviations[:, column], told(pairs, f"likely_{deviation}"), 2e-3 * size, describe(pairs))


def test_the_usual_speed_and_loft_follow_from_the_usual_launch(random):
    """The program takes one step from ball to club speed and four of Newton's for the loft; the exact solution is a little off."""
    questions = drawn_questions(random, ["modern-driver"], ["ball only", "delivery and strike"], 10)
    for evidence, head in questions:
        for field in ("reference_club_speed_mps", "reference_delivered_loft_deg"):
            evidence.pop(field, None)
        evidence["reference_ball_speed_mps"] = evidence["ball_speed_mps"] + random.normal(0.0, 1.0)
        evidence["reference_launch_elevation_deg"] = evidence["launch_elevation_deg"] + random.normal(0.0, 1.0)
    pairs = judged(questions)
    assert len(pairs) >= 10
    meant = [place_of(shot, frozenset())[0] for shot, _ in pairs]
    agree("carry of the usual launch", meant, told(pairs, "reference_carry_m"), 0.2, describe(pairs))


def test_the_split_over_all_orders(random):
    pairs = judged(drawn_questions(random, HEADS, ["whole delivery", "delivery and strike", "ball only"], 3))
    assert len(pairs) >= 15
    splits = [split(shot) for shot, _ in pairs]
    gains = {"tighter_strike_gain_m": [], "faster_club_gain_m": []}
    for (shot, _), (_, places) in zip(pairs, splits):
        tighter, faster = shot.mode.copy(), shot.mode.copy()
        tighter[[TOE, UP]] *= 0.75
        faster[SPEED] += 1.0
        gains["tighter_strike_gain_m"].append((place_of(shot, EVERYTHING, tighter) - places[EVERYTHING])[0])
        gains["faster_club_gain_m"].append((place_of(shot, EVERYTHING, faster) - places[EVERYTHING])[0])
    for field, ours in gains.items():
        agree(field, ours, told(pairs, field), 0.02, describe(pairs))
    actual = numpy.array([places[EVERYTHING] for _, places in splits])
    meant = numpy.array([places[frozenset()] for _, places in splits])
    for column, axis in enumerate(("carry", "lateral")):
        agree(f"{axis}_m", actual[:, column], told(pairs, f"{axis}_m"), 0.02, describe(pairs))
        agree(f"reference_{axis}_m", meant[:, column], told(pairs, f"reference_{axis}_m"), 0.02, describe(pairs))
        for group in GROUPS:
            ours = [parts[group][column] for parts, _ in splits]
            agree(f"{axis}_{group}_m", ours, told(pairs, f"{axis}_{group}_m"), 0.03, describe(pairs))
        # The plain counterfactual is no share of an order-free split.
        centred = [places[EVERYTHING] - places[EVERYTHING - {STRIKE}] for _, places in splits]
        notices("strike switched on last", numpy.array(centred)[:, column], told(pairs, f"{axis}_strike_m"), 0.03)
        sums = [sum(answer[f"{axis}_{group}_m"] for group in GROUPS) for _, answer in pairs]
        differences = [answer[f"{axis}_m"] - answer[f"reference_{axis}_m"] for _, answer in pairs]
        agree(f"{axis}: the parts sum", differences, sums, 1e-6, describe(pairs))


LEARNS = pytest.mark.skipif(not program.function_takes("verdict", "habit_toe_mm"), reason="this build's verdict() learns nothing")


@LEARNS
@pytest.mark.parametrize("ability", ["ball and club speed", "whole delivery", "delivery, face where struck", "delivery and strike"])
def test_a_shot_of_a_player_head_ball_and_bay_that_were_learned(ability, random):
    plain = drawn_questions(random, ["modern-driver", "fairway-wood"], [ability], 8)
    questions = [(with_what_was_learned(random, evidence, PROFILES[head]), head) for evidence, head in plain]
    pairs = judged(questions)
    assert len(pairs) >= 10
    others = check_the_others_across_the_face(f"learned, {ability}", pairs)
    pairs = settled(pairs)
    assert others or len(pairs) >= 10
    if not pairs:
        return
    places = {"strike_toe_mm": TOE, "strike_up_mm": UP}
    for field in STRIKE_FIELDS:
        ours = [shot.mode[places[field]] if field in places else shot.deviation(places[field.replace("_sd", "")]) for shot, _ in pairs]
        agree(f"learned, {ability}, {field}", ours, told(pairs, field), 2e-3, describe(pairs))
    agree(
        f"learned, {ability}, curve_reading_deg",
        [shot.curve_reading() for shot, _ in pairs],
        told(pairs, "curve_reading_deg"),
        1e-3,
        describe(pairs),
    )
    agree(
        f"learned, {ability}, carry_m",
        [place_of(shot, EVERYTHING)[0] for shot, _ in pairs],
        told(pairs, "carry_m"),
        0.02,
        describe(pairs),
    )
    for left_out in ("habit_path_deg", "loft_offset_deg", "bay_direction_offset_deg", "head_cg_normal_sd_m"):
        if ability == "delivery and strike" or (left_out == "habit_path_deg" and ability != "ball and club speed"):
            continue
        # A bay that turns all readings of a shot alike says nothing of the strike.
        if left_out == "bay_direction_offset_deg" and ability == "whole delivery":
            continue
        bent = [
            Shot({field: value for field, value in shot.evidence.items() if field != left_out}, shot.profile).mode[TOE]
            for shot, _ in pairs[:4]
        ]
        notices(f"learned, {ability}, without {left_out}", bent, told(pairs[:4], "strike_toe_mm"), 2e-3)


@LEARNS
@pytest.mark.parametrize("ability", ["ball and club speed", "whole delivery", "delivery, face where struck", "delivery and strike"])
def test_a_bay_that_is_not_known_exactly(ability, random):
    """Where path or face was read and the habit is known, the program leaves out what the two together say of the bay; a bay
    known to 0.3 degrees makes that a tenth of the strike's deviation at most. Without such a reading nothing is left out."""
    plain = drawn_questions(random, ["modern-driver", "fairway-wood"], [ability], 6)
    pairs = judged([(with_what_was_learned(random, evidence, PROFILES[head], 0.3), head) for evidence, head in plain])
    assert len(pairs) >= 8
    others = check_the_others_across_the_face(f"bay, {ability}", pairs)
    pairs = settled(pairs)
    assert others or len(pairs) >= 8
    if not pairs:
        return
    share = 1e-3 if ability == "ball and club speed" else 0.1
    for field, place in (("strike_toe_mm", TOE), ("strike_up_mm", UP)):
        tolerance = [share * shot.deviation(place) for shot, _ in pairs]
        agree(f"bay, {ability}, {field}", [shot.mode[place] for shot, _ in pairs], told(pairs, field), tolerance, describe(pairs))


@LEARNS
def test_standard_air_and_measured_landings(random):
    questions = drawn_questions(random, ["modern-driver", "iron-mid"], ["delivery and strike"], 8)
    for number, (evidence, head) in enumerate(questions):
        shot = Shot(evidence, PROFILES[head])
        carry, lateral = place_of(shot, EVERYTHING)
        evidence |= {"wind_along_mps": random.normal(0.0, 3.0), "wind_across_mps": random.normal(0.0, 3.0)}
        evidence |= {"carry_m": carry * random.normal(1.0, 0.04), "carry_sd_m": 1.5}
        if number % 2:
            evidence |= {"lateral_m": lateral + random.normal(0.0, 3.0), "lateral_sd_m": 1.0}
        if number % 3 == 0:
            evidence |= {"usual_carry_ratio": random.uniform(0.95, 1.05), "usual_carry_ratio_sd": 0.012}
    pairs = judged(questions)
    assert len(pairs) >= 12
    here = numpy.array([place_of(shot, EVERYTHING) for shot, _ in pairs])
    standard = numpy.array([place_of(shot, EVERYTHING, standard=True) for shot, _ in pairs])
    meant = [place_of(shot, frozenset())[0] for shot, _ in pairs]
    meant_standard = [place_of(shot, frozenset(), standard=True)[0] for shot, _ in pairs]
    agree("measured landing, carry_m", here[:, 0], told(pairs, "carry_m"), 0.02, describe(pairs))
    agree("measured landing, lateral_m", here[:, 1], told(pairs, "lateral_m"), 0.02, describe(pairs))
    agree("measured landing, reference_carry_m", meant, told(pairs, "reference_carry_m"), 0.02, describe(pairs))
    agree("carry_std_m", standard[:, 0], told(pairs, "carry_std_m"), 0.02, describe(pairs))
    agree("lateral_std_m", standard[:, 1], told(pairs, "lateral_std_m"), 0.02, describe(pairs))
    agree("reference_carry_std_m", meant_standard, told(pairs, "reference_carry_std_m"), 0.02, describe(pairs))
    notices("standard air like any other", here[:, 0], told(pairs, "carry_std_m"), 0.02)


DRAWS = 20000


def test_carry_lost_and_causes_against_posterior_draws(random):
    questions = drawn_questions(random, ["modern-driver", "fairway-wood"], ["whole delivery", "delivery and strike", "ball only"], 5)
    pairs = judged(questions)
    missed = [pair for pair in pairs if pair[1]["miss"] != "none"][:5]
    hit = [pair for pair in pairs if pair[1]["miss"] == "none"][:3]
    assert len(missed) == 5 and len(hit) == 3
    pairs = missed + hit
    weighed = [weigh(shot, random, DRAWS, answer["miss"] != "none") for shot, answer in pairs]
    spread = numpy.array([drawn["loss"].std(ddof=1) for drawn in weighed])
    losses = [drawn["loss"].mean() for drawn in weighed]
    agree("carry_lost_to_strike_m", losses, told(pairs, "carry_lost_to_strike_m"), 0.05 + 0.1 * spread, describe(pairs))
    agree("carry_lost_to_strike_sd_m", spread, told(pairs, "carry_lost_to_strike_sd_m"), 0.05 + 0.1 * spread, describe(pairs))
    sideways = [drawn["sideways"].mean() for drawn in weighed]
    moved = [answer["centred_lateral_m"] - answer["lateral_m"] for _, answer in pairs]
    agree("centred_lateral_m", sideways, moved, [0.05 + 0.1 * drawn["sideways"].std() for drawn in weighed], describe(pairs))
    for _, answer in pairs:
        assert answer["centred_carry_m"] - answer["carry_m"] == pytest.approx(answer["carry_lost_to_strike_m"], abs=1e-9)
    for cause in CAUSES:
        shares = [drawn["causes"][cause] for drawn in weighed[:5]]
        agree(f"probability_{cause}", shares, told(missed, f"probability_{cause}"), 0.03, describe(pairs))
    for drawn, (shot, answer) in zip(weighed, pairs):
        acted_on = abs(shot.curve_reading()) >= 1.5
        if "misread_probability" in answer:
            agree("misread_probability", [drawn["differs"]], [answer["misread_probability"]], 0.03)
        if abs(drawn["differs"] - 0.8) > 0.03 and abs(abs(shot.curve_reading()) - 1.5) > 0.01:
            assert answer["misread"] == (acted_on and drawn["differs"] >= 0.8)


def test_the_named_cause_is_the_likeliest_and_likely_enough(random):
    questions = drawn_questions(random, ["modern-driver", "fairway-wood"], ["whole delivery", "delivery and strike"], 25)
    missed = [answer for answer in program.verdicts(questions) if answer["miss"] != "none" and answer["cause_probability"] is not None]
    assert len(missed) >= 20
    for answer in missed:
        shares = {cause: answer[f"probability_{cause}"] for cause in CAUSES}
        assert math.isclose(sum(shares.values()), 1.0, abs_tol=1e-9)
        likeliest = max(shares, key=shares.get)
        assert answer["cause_probability"] == pytest.approx(shares[likeliest])
        assert answer["cause"] == (likeliest.replace("_", " ") if shares[likeliest] >= 0.6 else "cannot tell")
