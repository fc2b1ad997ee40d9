"""The collision of a free rigid head with a ball that rolls at separation or slides at the Coulomb limit, in numpy.

Everything is done in face axes {n outward normal at the face centre, u up the face, t toward the toe}; only velocity on the
way in and the ball on the way out pass through axes of the ground: x down the target line, y to the right, z up. A
left-handed shot is the mirror image of a right-handed one.
"""

import dataclasses
import math

import numpy

RPM = 2.0 * math.pi / 60.0
# Limits of the R&A/USGA Equipment Rules, used where a profile names no ball of its own.
BALL_MASS_KG = 0.04593
BALL_RADIUS_M = 0.021335


@dataclasses.dataclass(frozen=True)
class Head:
    mass: float
    cg: tuple
    inertia: tuple
    restitution: float
    falloff: float
    bulge_curvature: float
    roll_curvature: float
    friction: float
    ball_mass: float = BALL_MASS_KG
    ball_radius: float = BALL_RADIUS_M
    ball_inertia_factor: float = 0.4


def head_from_profile(profile):
    """A [[head]] of config/heads.toml. A face without a radius is flat."""
    return Head(
        mass=profile["mass_kg"],
        cg=tuple(profile["cg_m"]),
        inertia=tuple(map(tuple, profile["inertia_kg_m2"])),
        restitution=profile["restitution"],
        falloff=profile["restitution_falloff_per_m2"],
        bulge_curvature=1.0 / profile["bulge_radius_m"] if "bulge_radius_m" in profile else 0.0,
        roll_curvature=1.0 / profile["roll_radius_m"] if "roll_radius_m" in profile else 0.0,
        friction=profile["friction"],
        ball_mass=profile.get("ball_mass_kg", BALL_MASS_KG),
        ball_radius=profile.get("ball_radius_m", BALL_RADIUS_M),
    )


@dataclasses.dataclass(frozen=True)
class Collision:
    """What one collision did; vectors in face axes."""

    impulse: numpy.ndarray
    ball_velocity: numpy.ndarray
    ball_spin: numpy.ndarray
    normal: numpy.ndarray
    arm: numpy.ndarray
    approach: float
    restitution: float
    slid: bool


def cross_matrix(vector):
    return numpy.array([[0.0, -vector[2], vector[1]], [vector[2], 0.0, -vector[0]], [-vector[1], vector[0], 0.0]])


def bend(distance, curvature):
    """Angle of the surface and its sagitta at a distance from the centre."""
    if curvature == 0.0:
        return 0.0, 0.0
    angle = math.asin(distance * curvature)
    return angle, (1.0 - math.cos(angle)) / curvature


def collide(head, velocity, toe, up):
    """`velocity` of the whole head in face axes, strike in metres; None where the face recedes from the ball."""
    beta, bulge_sagitta = bend(toe, head.bulge_curvature)
    gamma, roll_sagitta = bend(up, head.roll_curvature)
    normal = numpy.array([math.cos(gamma) * math.cos(beta), math.sin(gamma) * math.cos(beta), math.sin(beta)])
    arm = numpy.array([-(bulge_sagitta + roll_sagitta), up, toe]) - numpy.array(head.cg)
    approach = float(velocity @ normal)
    if approach <= 0.0:
        return None
    restitution = head.restitution * (1.0 - head.falloff * (toe**2 + up**2))
    ball_inertia = head.ball_inertia_factor * head.ball_mass * head.ball_radius**2
    arm_cross = cross_matrix(arm)
    mobility = (
        (1.0 / head.ball_mass + 1.0 / head.mass) * numpy.eye(3)
        - arm_cross @ numpy.linalg.inv(numpy.array(head.inertia)) @ arm_cross
        + head.ball_radius**2 / ball_inertia * (numpy.eye(3) - numpy.outer(normal, normal))
    )
    # The ball moves against the face with -velocity before, and after it without slip and at restitution times the approach.
    impulse = numpy.linalg.solve(mobility, restitution * approach * normal + velocity)
    along = float(impulse @ normal)
    tangential = impulse - along * normal
    slid = bool(numpy.linalg.norm(tangential) > head.friction * along)
    if slid:
        direction = normal + head.friction * tangential / numpy.linalg.norm(tangential)
        impulse = (1.0 + restitution) * approach / float(normal @ mobility @ direction) * direction
    return Collision(
        impulse=impulse,
        ball_velocity=impulse / head.ball_mass,
        ball_spin=-head.ball_radius * numpy.cross(normal, impulse) / ball_inertia,
        normal=normal,
        arm=arm,
        approach=approach,
        restitution=restitution,
        slid=slid,
    )


def direction(elevation_deg, azimuth_deg):
    """Forward, upward and rightward unit vectors of a direction, in axes of the ground."""
    elevation, azimuth = math.radians(elevation_deg), math.radians(azimuth_deg)
    forward = numpy.array([math.cos(elevation) * math.cos(azimuth), math.cos(elevation) * math.sin(azimuth), math.sin(elevation)])
    above = numpy.array([-math.sin(elevation) * math.cos(azimuth), -math.sin(elevation) * math.sin(azimuth), math.cos(elevation)])
    right = numpy.array([-math.sin(azimuth), math.cos(azimuth), 0.0])
    return forward, above, right


def strike(head, club_speed, attack_deg, path_deg, face_deg, loft_deg, toe_mm, up_mm, hand):
    """(ball speed, launch elevation, launch azimuth, spin rate, spin tilt) as a device would tell them, or None for no contact."""
    mirror = 1.0 if hand > 0 else -1.0
    # Rows are the face axes: a vector of the ground times this is the vector in face axes.
    face_axes = numpy.array(direction(loft_deg, mirror * face_deg))
    velocity = club_speed * (face_axes @ direction(attack_deg, mirror * path_deg)[0])
    hit = collide(head, velocity, toe_mm / 1000.0, up_mm / 1000.0)
    if hit is None:
        return None
    ball_velocity = face_axes.T @ hit.ball_velocity
    ball_spin = face_axes.T @ hit.ball_spin
    speed = float(numpy.linalg.norm(ball_velocity))
    elevation = math.degrees(math.asin(ball_velocity[2] / speed))
    azimuth = math.degrees(math.atan2(ball_velocity[1], ball_velocity[0]))
    _, above, right = direction(elevation, azimuth)
    # Back spin turns about an axis to the right; a positive tilt lowers its right end.
    spin = float(numpy.linalg.norm(ball_spin))
    tilt = math.degrees(math.atan2(float(-(ball_spin @ above)), float(ball_spin @ right))) if spin > 0.0 else 0.0
    return speed, elevation, mirror * azimuth, spin / RPM, mirror * tilt
