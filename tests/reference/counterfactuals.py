"""What a reconstructed shot would have been with a centred strike, the intended delivery or the usual speed."""

import itertools
import math

import numpy

from air_model import moist_air_density
from flight_model import Air, Ball, fly
from many_shots import ATTACK, FACE, LOFT, PATH, SPEED, TOE, UP, landings
from verdict_model import BAY, LIMITS

STRIKE, DELIVERY, SWING_SPEED, REST = "strike", "delivery", "speed", "rest"
GROUPS = (STRIKE, DELIVERY, SWING_SPEED, REST)
MEMBERS = {STRIKE: [TOE, UP], DELIVERY: [PATH, FACE, ATTACK, LOFT], SWING_SPEED: [SPEED]}
EVERYTHING = frozenset(GROUPS)
CORRIDOR_SHARE = 0.07
CARRY_TOLERANCE = 0.08
# Ratio of measured to modelled carry: of an unknown ball and device, of a known one, and from shot to shot [common practice, no source].
UNKNOWN_RATIO_SD = 0.05
KNOWN_RATIO_SD = 0.01
SHOT_RATIO_SD = 0.015
CAUSES = ("strike", "delivery", "either", "both_needed", "neither")


def reference_values(shot):
    """The unknowns of the shot that was meant: middle of the face, stock delivery, usual speed."""
    return {**{place: float(shot.reference[place]) for place in (SPEED, ATTACK, PATH, FACE, LOFT)}, TOE: 0.0, UP: 0.0}


def switched(shot, unknowns, actual):
    """Every group outside `actual` set to what was meant; the head stays the one it is."""
    mixed = numpy.array(unknowns)
    meant = reference_values(shot)
    for group, places in MEMBERS.items():
        if group not in actual:
            for place in places:
                mixed[..., place] = meant[place]
    return mixed


def conditions(shot):
    known = shot.evidence
    ball = Ball(drag_scale=known.get("ball_drag_scale", 1.0), lift_scale=known.get("ball_lift_scale", 1.0))
    air = Air(known.get("air_density", 1.225), known.get("wind_along_mps", 0.0), known.get("wind_across_mps", 0.0))
    return ball, air


def standard_conditions(shot):
    """20 C, 1013.25 hPa, 50 %, calm."""
    return conditions(shot)[0], Air(moist_air_density(20.0, 1013.25, 50.0))


def flown(launch, ball, air):
    landing = fly(*launch, ball=ball, air=air, tolerance=1e-9)
    return numpy.array([landing.carry_m, landing.lateral_m])


def flight_rest(shot):
    """What a measured landing tells beside the launch: the ratio to modelled carries that all flights of the shot get, and what is
    left for this shot alone. The ratio is believed to be the usual one of ball and device, and scatters from shot to shot."""
    known = shot.evidence
    if not any(known.get(field) for field in ("carry_sd_m", "lateral_sd_m", "usual_carry_ratio")):
        return 1.0, numpy.zeros(2)
    place = flown(shot.launch, *conditions(shot))
    ratio, deviation = 1.0, UNKNOWN_RATIO_SD
    if "usual_carry_ratio" in known:
        ratio, deviation = known["usual_carry_ratio"], known.get("usual_carry_ratio_sd", KNOWN_RATIO_SD)
    elif "ball_drag_scale" in known or "ball_lift_scale" in known:
        deviation = KNOWN_RATIO_SD
    left = numpy.zeros(2)
    if known.get("carry_sd_m"):
        seen = known["carry_m"] / place[0]
        noise = math.hypot(known["carry_sd_m"] / place[0], SHOT_RATIO_SD)
        ratio += deviation**2 / (deviation**2 + noise**2) * (seen - ratio)
        left[0] = known["carry_m"] - ratio * place[0]
    if known.get("lateral_sd_m"):
        carry = known["carry_m"] if known.get("carry_sd_m") else ratio * place[0]
        straight = known["lateral_m"] - carry * math.sin(math.radians(known.get("bay_direction_offset_deg", 0.0)))
        left[1] = straight - ratio * place[1]
    return ratio, left


def place_of(shot, actual, unknowns=None, standard=False):
    """(carry, lateral) of the most probable shot with only some groups as they happened."""
    unknowns = shot.mode if unknowns is None else unknowns
    launch = shot.model(switched(shot, unknowns, actual))
    if REST in actual:
        launch = shot.with_error(launch, shot.model(shot.mode), shot.mode[BAY])
    place = flown(launch, *(standard_conditions(shot) if standard else conditions(shot)))
    ratio, left = flight_rest(shot)
    return ratio * place + (left if REST in actual else 0.0)


def split(shot):
    """Each group's part of actual minus meant, the mean over all twenty-four orders in which the groups can be switched on."""
    places = {frozenset(some): place_of(shot, frozenset(some)) for size in range(5) for some in itertools.combinations(GROUPS, size)}
    parts = dict.fromkeys(GROUPS, 0.0)
    for order in itertools.permutations(GROUPS):
        on = frozenset()
        for group in order:
            parts[group] = parts[group] + (places[on | {group}] - places[on]) / math.factorial(len(GROUPS))
            on = on | {group}
    return parts, places


def good(places, meant_carry, aim_deg):
    """Neither beside the corridor about the aim nor too short."""
    carry, lateral = places[..., 0], places[..., 1]
    off = lateral - carry * math.sin(math.radians(aim_deg))
    return (numpy.abs(off) <= CORRIDOR_SHARE * meant_carry) & (carry >= (1.0 - CARRY_TOLERANCE) * meant_carry)


def posterior(shot, random, count):
    """Draws of the unknowns (Laplace's approximation about the mode) and of what the model may be wrong by beside its share."""
    draws = random.multivariate_normal(shot.mode, shot.covariance, size=count, method="eigh")
    for place, (low, high) in LIMITS.items():
        draws[:, place] = numpy.clip(draws[:, place], low, high)
    return draws, random.standard_normal((count, 5))


def drawn_places(shot, draws, errors, actual):
    launch = shot.model(switched(shot, draws, actual))
    if REST in actual:
        launch = shot.with_error(launch, shot.model(draws), draws[:, BAY], errors)
    ratio, left = flight_rest(shot)
    return ratio * landings(launch, *conditions(shot)) + (left if REST in actual else 0.0)


def weigh(shot, random, count, every_class):
    """Mean and deviation of carry lost, of the move sideways, share of misread curves, and shares of the causes."""
    draws, errors = posterior(shot, random, count)
    actual = drawn_places(shot, draws, errors, EVERYTHING)
    centred = drawn_places(shot, draws, errors, EVERYTHING - {STRIKE})
    told = {"loss": centred[:, 0] - actual[:, 0], "sideways": centred[:, 1] - actual[:, 1]}
    face_to_path = draws[:, FACE] - draws[:, PATH]
    reading = shot.curve_reading()
    told["differs"] = numpy.mean((numpy.abs(face_to_path - reading) >= 1.5) | (face_to_path * reading < 0.0))
    if every_class:
        intended = drawn_places(shot, draws, errors, EVERYTHING - {DELIVERY})
        both = drawn_places(shot, draws, errors, EVERYTHING - {STRIKE, DELIVERY})
        meant = drawn_places(shot, draws, errors, frozenset())
        aim = shot.evidence.get("aim_deg", 0.0)
        by_strike, by_delivery, by_both = (good(places, meant[:, 0], aim) for places in (centred, intended, both))
        told["causes"] = {
            "strike": numpy.mean(by_strike & ~by_delivery),
            "delivery": numpy.mean(~by_strike & by_delivery),
            "either": numpy.mean(by_strike & by_delivery),
            "both_needed": numpy.mean(~by_strike & ~by_delivery & by_both),
            "neither": numpy.mean(~by_strike & ~by_delivery & ~by_both),
        }
    return told
