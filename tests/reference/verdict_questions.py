"""Random shots with made-up players, told as devices of different ability would tell them."""

import numpy

from impact_model import head_from_profile, strike
from verdict_model import LEARNED_HEAD, head_beliefs

DELIVERY = ["club_speed_mps", "attack_deg", "path_deg", "face_deg", "delivered_loft_deg"]
# Which quantities a device measures. Names are ours; deviations below.
ABILITIES = {
    "ball only": [],
    "ball and club speed": ["club_speed_mps"],
    "ball and path": ["club_speed_mps", "path_deg", "attack_deg"],
    "whole delivery": DELIVERY,
    "delivery, face where struck": [*DELIVERY, "at strike"],
    "delivery and strike": [*DELIVERY, "strike"],
    "ball and strike": ["strike"],
    "no spin": [*DELIVERY, "without spin_rpm", "without spin_tilt_deg"],
    "no spin rate": [*DELIVERY, "strike", "without spin_rpm"],
    "no ball speed": [*DELIVERY, "without ball_speed_mps"],
    "no start direction": [*DELIVERY, "strike", "without launch_azimuth_deg"],
}
DEVIATIONS = {
    "ball_speed_mps": ("ball_speed_sd_mps", 0.3),
    "launch_elevation_deg": ("launch_elevation_sd_deg", 0.2),
    "launch_azimuth_deg": ("launch_azimuth_sd_deg", 0.3),
    "spin_rpm": ("spin_sd_rpm", 90.0),
    "spin_tilt_deg": ("spin_tilt_sd_deg", 1.0),
    "club_speed_mps": ("club_speed_sd_mps", 0.5),
    "attack_deg": ("attack_sd_deg", 0.7),
    "path_deg": ("path_sd_deg", 0.7),
    "face_deg": ("face_sd_deg", 0.6),
    "delivered_loft_deg": ("delivered_loft_sd_deg", 0.8),
}
STRIKE_SD_MM = 1.5


def drawn_evidence(random, profile, ability):
    """A shot of a player who misses path, face and middle by usual amounts; one reading in ten is far off."""
    abilities = ABILITIES[ability]
    hand = float(random.choice([-1.0, 1.0]))
    speed = profile["typical_club_speed_mps"] * random.uniform(0.8, 1.15)
    truth = {
        "club_speed_mps": speed * random.uniform(0.97, 1.03),
        "attack_deg": profile["typical_attack_deg"] + random.normal(0.0, 1.5),
        "path_deg": random.normal(0.0, 3.0),
        "face_deg": random.normal(0.0, 2.5),
        "delivered_loft_deg": profile["typical_delivered_loft_deg"] + random.normal(0.0, 1.5),
    }
    toe, up = random.normal(0.0, 12.0), random.normal(0.0, 6.0)
    told = strike(head_from_profile(profile), *truth.values(), toe, up, hand)
    launch = dict(zip(["ball_speed_mps", "launch_elevation_deg", "launch_azimuth_deg", "spin_rpm", "spin_tilt_deg"], told))
    evidence = {"hand": hand, "reference_club_speed_mps": speed, "air_density": random.uniform(1.0, 1.3)}
    if random.random() < 0.5:
        evidence |= {
            "reference_attack_deg": truth["attack_deg"] + random.normal(0.0, 1.0),
            "reference_delivered_loft_deg": truth["delivered_loft_deg"] + random.normal(0.0, 1.0),
            "stock_path_deg": random.normal(0.0, 2.0),
            "stock_face_deg": random.normal(0.0, 1.0),
            "aim_deg": random.normal(0.0, 1.0),
        }
    for name, value in {**launch, **truth}.items():
        deviation_name, deviation = DEVIATIONS[name]
        if name in truth and name not in abilities:
            continue
        if f"without {name}" in abilities:
            continue
        wrong = 3.0 if random.random() < 0.1 else 1.0
        evidence[name] = float(value + wrong * deviation * random.normal())
        evidence[deviation_name] = deviation
    if "at strike" in abilities:
        evidence["face_reference"] = "strike-point"
        bulge = profile.get("bulge_radius_m")
        # Near enough for a made-up reading; the models know better.
        evidence["face_deg"] += hand * float(numpy.degrees(toe / 1000.0 / bulge)) if bulge else 0.0
    if "strike" in abilities:
        evidence |= {
            "strike_toe_mm": toe + random.normal(0.0, STRIKE_SD_MM),
            "strike_up_mm": up + random.normal(0.0, STRIKE_SD_MM),
            "strike_sd_mm": STRIKE_SD_MM,
            "strike_source": "measured",
        }
    return evidence


def with_what_was_learned(random, evidence, profile, bay_sd=None):
    """The same shot with a head, habits, offsets, a ball and a bay that were learned from others."""
    means, deviations = head_beliefs(profile)
    learned = dict(evidence)
    for place, (value, deviation) in enumerate(LEARNED_HEAD):
        learned[value] = float(means[place] + 0.5 * deviations[place] * random.normal())
        learned[deviation] = float(0.6 * deviations[place])
    learned["head_restitution_falloff_per_m2"] = abs(learned["head_restitution_falloff_per_m2"]) + 20.0
    learned |= {
        "loft_offset_deg": random.normal(0.0, 0.3),
        "loft_offset_sd_deg": 0.15,
        "direction_offset_deg": random.normal(0.0, 0.3),
        "direction_offset_sd_deg": 0.2,
        "habit_club_speed_mps": learned["reference_club_speed_mps"] + random.normal(0.0, 0.5),
        "habit_club_speed_sd_mps": 0.8,
        "habit_attack_deg": profile["typical_attack_deg"] + random.normal(0.0, 1.0),
        "habit_attack_sd_deg": 1.2,
        "habit_path_deg": random.normal(0.0, 2.0),
        "habit_path_sd_deg": 1.8,
        "habit_face_deg": random.normal(0.0, 1.5),
        "habit_face_sd_deg": 1.7,
        "habit_loft_deg": profile["typical_delivered_loft_deg"] + random.normal(0.0, 1.0),
        "habit_loft_sd_deg": 1.3,
        "habit_toe_mm": random.normal(0.0, 5.0),
        "habit_toe_sd_mm": 9.0,
        "habit_up_mm": random.normal(0.0, 3.0),
        "habit_up_sd_mm": 6.0,
        "ball_drag_scale": random.uniform(0.94, 1.06),
        "ball_lift_scale": random.uniform(0.9, 1.1),
        "bay_direction_offset_deg": random.normal(0.0, 0.8),
    }
    if bay_sd:
        learned["bay_direction_offset_sd_deg"] = bay_sd
    return learned
