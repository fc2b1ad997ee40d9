"""A made-up player with a head that lies off its profile, and shots whose delivery and strike were measured."""

import numpy

from club_model import DELIVERY, GLOBALS, HEAD
from many_shots import launches
from verdict_model import head_beliefs, model_error_sd
from verdict_questions import DEVIATIONS, STRIKE_SD_MM

NAMES = ["club_speed_mps", "attack_deg", "path_deg", "face_deg", "delivered_loft_deg"]
LAUNCHED = ["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"]


def drawn_club(random, profile, sessions, each):
    """[(evidence, session number)] and the truth behind them."""
    mean, deviation = head_beliefs(profile)
    head = mean + 0.8 * deviation * random.normal(size=HEAD)
    head[1] = max(head[1], 5.0)
    offsets = numpy.array([0.2, -0.2, 0.01, 0.2]) * random.normal(size=GLOBALS - HEAD)
    hand = float(random.choice([-1.0, 1.0]))
    habits = numpy.array(
        [profile["typical_club_speed_mps"], profile["typical_attack_deg"], 0.0, 0.0, profile["typical_delivered_loft_deg"], 0.0, 0.0]
    ) + numpy.array([2.0, 1.0, 1.5, 1.0, 1.0, 5.0, 3.0]) * random.normal(size=DELIVERY)
    shots = []
    for session in range(sessions):
        about = habits + numpy.array([0.3, 0.4, 0.4, 0.4, 0.4, 2.0, 1.2]) * random.normal(size=DELIVERY)
        for _ in range(each):
            delivery = about + numpy.array([0.6, 1.1, 1.4, 1.4, 1.1, 9.0, 6.0]) * random.normal(size=DELIVERY)
            told = launches(numpy.concatenate([delivery, head])[None, :], profile, hand)[0]
            told = told + [0.0, offsets[0], offsets[1], offsets[2] * told[3], offsets[3]]
            told = told + model_error_sd(told[0], told[3]) * random.normal(size=5)
            evidence = {"hand": hand}
            for name, value in zip(LAUNCHED + NAMES, [*told, *delivery[:5]]):
                deviation_name, size = DEVIATIONS[name]
                evidence[name] = float(value + size * random.normal())
                evidence[deviation_name] = size
            evidence["strike_toe_mm"] = float(delivery[5] + STRIKE_SD_MM * random.normal())
            evidence["strike_up_mm"] = float(delivery[6] + STRIKE_SD_MM * random.normal())
            evidence["strike_sd_mm"] = STRIKE_SD_MM
            shots.append((evidence, session))
    return shots, {"globals": numpy.concatenate([head, offsets]), "habits": habits}
