"""The equations of `impact_model` and `flight_model` once more for thousands of shots at a time, as posterior draws need them.

A second way through the same physics: the collision by its components, the flight by Runge-Kutta of order 4 with short steps.
test_verdict.py holds both ways against each other before it uses them.
"""

import numpy

from flight_model import GRAVITY, RPM, Air, Ball
from impact_model import BALL_MASS_KG, BALL_RADIUS_M

# Order of the unknowns of a shot; the head's are those that a profile gives a deviation for.
SPEED, ATTACK, PATH, FACE, LOFT, TOE, UP = range(7)
RESTITUTION, FALLOFF, INERTIA, CG_NORMAL, CG_UP, CG_TOE, BULGE, FRICTION = range(7, 15)
UNKNOWNS = 15
BALL_INERTIA_FACTOR = 0.4


def stack(*components):
    return numpy.stack(numpy.broadcast_arrays(*components), axis=-1)


def dot(left, right):
    return numpy.einsum("...i,...i->...", left, right)


def face_axes(loft_deg, face_deg):
    """n, u, t in axes of the ground (down the line, right, up), for a right-hander."""
    loft, face = numpy.radians(loft_deg), numpy.radians(face_deg)
    normal = stack(numpy.cos(loft) * numpy.cos(face), numpy.cos(loft) * numpy.sin(face), numpy.sin(loft))
    above = stack(-numpy.sin(loft) * numpy.cos(face), -numpy.sin(loft) * numpy.sin(face), numpy.cos(loft))
    toward_toe = stack(-numpy.sin(face), numpy.cos(face), 0.0 * face)
    return normal, above, toward_toe


def surface(distance, curvature):
    """Angle and sagitta; the series of the sagitta is for faces that are flat or nearly so."""
    angle = numpy.arcsin(distance * curvature)
    flat = numpy.abs(curvature) < 1e-6
    sagitta = numpy.where(flat, 0.5 * curvature * distance**2, (1.0 - numpy.cos(angle)) / numpy.where(flat, 1.0, curvature))
    return angle, sagitta


def normal_at_strike(unknowns, profile):
    """The normal at the strike point in face axes, and how far that point lies behind the face centre's plane."""
    beta, bulge_sagitta = surface(unknowns[..., TOE] / 1000.0, unknowns[..., BULGE])
    roll = 1.0 / profile["roll_radius_m"] if "roll_radius_m" in profile else 0.0
    gamma, roll_sagitta = surface(unknowns[..., UP] / 1000.0, numpy.full_like(beta, roll))
    return stack(numpy.cos(gamma) * numpy.cos(beta), numpy.sin(gamma) * numpy.cos(beta), numpy.sin(beta)), bulge_sagitta + roll_sagitta


def face_azimuth_at_strike(unknowns, profile, hand):
    """Azimuth in degrees of the outward normal where the ball was struck."""
    axes = face_axes(unknowns[..., LOFT], hand * unknowns[..., FACE])
    local, _ = normal_at_strike(unknowns, profile)
    outward = sum(local[..., place, None] * axis for place, axis in enumerate(axes))
    return hand * numpy.degrees(numpy.arctan2(outward[..., 1], outward[..., 0]))


def launches(unknowns, profile, hand):
    """Ball speed, elevation, azimuth, spin and tilt for each row of unknowns."""
    ball_mass, radius = profile.get("ball_mass_kg", BALL_MASS_KG), profile.get("ball_radius_m", BALL_RADIUS_M)
    toe, up = unknowns[..., TOE] / 1000.0, unknowns[..., UP] / 1000.0
    axes = face_axes(unknowns[..., LOFT], hand * unknowns[..., FACE])
    attack, path = numpy.radians(unknowns[..., ATTACK]), numpy.radians(hand * unknowns[..., PATH])
    travel = stack(numpy.cos(attack) * numpy.cos(path), numpy.cos(attack) * numpy.sin(path), numpy.sin(attack))
    velocity = unknowns[..., SPEED, None] * stack(*[dot(axis, travel) for axis in axes])
    normal, depth = normal_at_strike(unknowns, profile)
    arm = stack(-depth - unknowns[..., CG_NORMAL], up - unknowns[..., CG_UP], toe - unknowns[..., CG_TOE])
    inverse_inertia = numpy.linalg.inv(numpy.array(profile["inertia_kg_m2"])) / unknowns[..., INERTIA, None, None]
    # Column i: what a unit impulse along axis i does to the velocity of the contact point, by turning the head.
    turning = stack(*[numpy.cross(numpy.einsum("...ij,...j->...i", inverse_inertia, numpy.cross(arm, unit)), arm) for unit in numpy.eye(3)])
    rolling = (numpy.eye(3) - normal[..., :, None] * normal[..., None, :]) / (BALL_INERTIA_FACTOR * ball_mass)
    mobility = (1.0 / ball_mass + 1.0 / profile["mass_kg"]) * numpy.eye(3) + turning + rolling
    approach = dot(velocity, normal)
    restitution = unknowns[..., RESTITUTION] * (1.0 - unknowns[..., FALLOFF] * (toe**2 + up**2))
    wanted = velocity + (restitution * approach)[..., None] * normal
    impulse = numpy.linalg.solve(mobility, wanted[..., None])[..., 0]
    along = dot(impulse, normal)
    across = impulse - along[..., None] * normal
    size = numpy.sqrt(dot(across, across))
    friction = unknowns[..., FRICTION]
    push = normal + (friction / numpy.maximum(size, 1e-300))[..., None] * across
    sliding = ((1.0 + restitution) * approach / dot(normal, numpy.einsum("...ij,...j->...i", mobility, push)))[..., None] * push
    impulse = numpy.where((size > friction * along)[..., None], sliding, impulse)
    spin = -numpy.cross(normal, impulse) / (BALL_INERTIA_FACTOR * ball_mass * radius)
    ball_velocity = sum(impulse[..., place, None] * axis for place, axis in enumerate(axes)) / ball_mass
    turn = sum(spin[..., place, None] * axis for place, axis in enumerate(axes))
    speed = numpy.sqrt(dot(ball_velocity, ball_velocity))
    elevation = numpy.arcsin(ball_velocity[..., 2] / speed)
    azimuth = numpy.arctan2(ball_velocity[..., 1], ball_velocity[..., 0])
    _, above, right = face_axes(numpy.degrees(elevation), numpy.degrees(azimuth))
    tilt = numpy.arctan2(-dot(turn, above), dot(turn, right))
    return stack(
        speed, numpy.degrees(elevation), hand * numpy.degrees(azimuth), numpy.sqrt(dot(turn, turn)) / RPM, hand * numpy.degrees(tilt)
    )


def landings(launched, ball=Ball(), air=Air(), step=0.2):
    """Carry and lateral of each row [speed, elevation, azimuth, spin, tilt]; Hermite's cubic finds the landing within a step."""
    launched = numpy.atleast_2d(launched)
    forward, above, right = face_axes(launched[:, 1], launched[:, 2])
    axis = numpy.cos(numpy.radians(launched[:, 4]))[:, None] * right - numpy.sin(numpy.radians(launched[:, 4]))[:, None] * above
    state = numpy.concatenate([numpy.zeros_like(forward), launched[:, :1] * forward, launched[:, 3:4] * RPM], axis=1)
    wind = numpy.array([air.wind_along, air.wind_right, 0.0])
    # The density may be one number or one a row.
    density = numpy.broadcast_to(numpy.asarray(air.density, dtype=float), len(launched))[:, None]
    pressure = 0.5 * density * numpy.pi * ball.radius_m**2 / ball.mass_kg

    def motion(state):
        relative = state[:, 3:6] - wind
        speed = numpy.sqrt(dot(relative, relative))
        spin = state[:, 6]
        spin_parameter = ball.radius_m * spin / speed
        # The frame is left-handed, so axis x velocity is written as velocity x axis.
        lift = numpy.cross(relative, axis)
        length = numpy.maximum(numpy.sqrt(dot(lift, lift)), 1e-300)
        rate = numpy.empty_like(state)
        rate[:, 0:3] = state[:, 3:6]
        rate[:, 3:6] = pressure * (
            -(ball.drag_scale * ball.drag(spin_parameter) * speed)[:, None] * relative
            + (ball.lift_scale * ball.lift(spin_parameter) * speed**2 / length)[:, None] * lift
        )
        rate[:, 5] -= GRAVITY
        rate[:, 6] = -ball.spin_decay * spin * speed / ball.radius_m
        return rate

    places = numpy.zeros((len(launched), 2))
    aloft = launched[:, 1] > 0.0
    for _ in range(int(60.0 / step)):
        first = motion(state)
        second = motion(state + 0.5 * step * first)
        third = motion(state + 0.5 * step * second)
        fourth = motion(state + step * third)
        ahead = state + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)
        down = aloft & (ahead[:, 2] <= 0.0)
        if down.any():
            places[down] = crossing(state[down], ahead[down], step)
            aloft &= ~down
            if not aloft.any():
                return places
        state = ahead
    raise AssertionError("a ball never came down")


def crossing(before, after, step):
    """Where Hermite's cubic through both ends meets the ground."""

    def along(place, share):
        rate = place + 3
        return (
            (1.0 + 2.0 * share) * (1.0 - share) ** 2 * before[:, place]
            + share * (1.0 - share) ** 2 * step * before[:, rate]
            + share**2 * (3.0 - 2.0 * share) * after[:, place]
            - share**2 * (1.0 - share) * step * after[:, rate]
        )

    low, high = numpy.zeros(len(before)), numpy.ones(len(before))
    for _ in range(50):
        middle = 0.5 * (low + high)
        above = along(2, middle) > 0.0
        low, high = numpy.where(above, middle, low), numpy.where(above, high, middle)
    down_line, right = along(0, high), along(1, high)
    return stack(numpy.hypot(down_line, right), right)
