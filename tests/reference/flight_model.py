"""A golf ball's flight by the equations of its physics, flown by SciPy's order-8 Runge-Kutta with a landing event.

Axes: x down the target line, y to the right, z up (left-handed on purpose: nothing here is shared with the program).
Drag 1/2 rho C_D A v^2 against the velocity relative to the air; lift 1/2 rho C_L A v^2 along spin axis x relative velocity;
S = r omega / v; C_D = 0.24 + 0.18 S, C_L = 0.54 S^0.4, d omega/dt = -2e-5 omega v / r (Smits & Smith 1994, Science and
Golf II [memory]).
"""

import dataclasses
import math

import numpy
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator

GRAVITY = 9.80665
RPM = 2.0 * math.pi / 60.0
DEGREE = math.pi / 180.0


def default_drag(spin_parameter):
    return 0.24 + 0.18 * spin_parameter


def default_lift(spin_parameter):
    return 0.54 * spin_parameter**0.4


@dataclasses.dataclass(frozen=True)
class Ball:
    mass_kg: float = 0.04593
    radius_m: float = 0.021335
    drag: object = default_drag
    lift: object = default_lift
    spin_decay: float = 2e-5
    drag_scale: float = 1.0
    lift_scale: float = 1.0

    def coefficients(self, speed, spin):
        """Drag and lift coefficient at a speed in m/s and a spin rate in rad/s."""
        spin_parameter = self.radius_m * spin / speed
        return self.drag(spin_parameter), self.lift(spin_parameter)


class TableBall(Ball):
    """A ball with measured coefficients: linear between the table's speeds and spin rates, constant beyond its edges."""

    def __init__(self, profile):
        super().__init__(mass_kg=profile["mass_kg"], radius_m=profile["radius_m"], spin_decay=profile["spin_decay"])
        table = profile["table"]
        axes = (numpy.array(table["spins_rpm"], dtype=float), numpy.array(table["speeds_mps"], dtype=float))
        tables = numpy.stack([table["drag"], table["lift"]], axis=-1)
        object.__setattr__(self, "axes", axes)
        object.__setattr__(self, "table", RegularGridInterpolator(axes, tables))

    def coefficients(self, speed, spin):
        spins, speeds = self.axes
        drag, lift = self.table((min(max(spin / RPM, spins[0]), spins[-1]), min(max(speed, speeds[0]), speeds[-1])))
        return float(drag), float(lift)


@dataclasses.dataclass(frozen=True)
class Air:
    density: float = 1.225
    wind_along: float = 0.0
    wind_right: float = 0.0
    gravity: float = GRAVITY


@dataclasses.dataclass(frozen=True)
class Landing:
    carry_m: float
    lateral_m: float
    peak_height_m: float
    descent_deg: float
    flight_time_s: float
    landing_speed_mps: float
    landing_spin_rpm: float


def turned_for_lift(axis, velocity):
    """spin axis x velocity for x forward, y right, z up: a left-handed frame, so the product is taken the other way round."""
    return numpy.array(
        [
            axis[2] * velocity[1] - axis[1] * velocity[2],
            axis[0] * velocity[2] - axis[2] * velocity[0],
            axis[1] * velocity[0] - axis[0] * velocity[1],
        ]
    )


def launch_state(speed, elevation_deg, azimuth_deg, tilt_deg):
    """Velocity and unit spin axis: pure back spin turns about the axis to the right, a positive tilt lowers its right end."""
    elevation, azimuth, tilt = elevation_deg * DEGREE, azimuth_deg * DEGREE, tilt_deg * DEGREE
    forward = numpy.array([math.cos(elevation) * math.cos(azimuth), math.cos(elevation) * math.sin(azimuth), math.sin(elevation)])
    right = numpy.array([-math.sin(azimuth), math.cos(azimuth), 0.0])
    above = numpy.array([-math.sin(elevation) * math.cos(azimuth), -math.sin(elevation) * math.sin(azimuth), math.cos(elevation)])
    return speed * forward, math.cos(tilt) * right - math.sin(tilt) * above


def fly(speed, elevation_deg, azimuth_deg, spin_rpm, tilt_deg, ball=Ball(), air=Air(), force=None, tolerance=1e-11):
    """From the tee to the first landing at its level. `force` replaces drag and lift: acceleration from velocity (for closed forms)."""
    if elevation_deg < 0.0 or speed <= 0.0:
        return Landing(0.0, 0.0, 0.0, -elevation_deg, 0.0, speed, spin_rpm)
    velocity, axis = launch_state(speed, elevation_deg, azimuth_deg, tilt_deg)
    wind = numpy.array([air.wind_along, air.wind_right, 0.0])
    pressure = 0.5 * air.density * math.pi * ball.radius_m**2 / ball.mass_kg

    def motion(_time, state):
        relative = state[3:6] - wind
        spin = state[6]
        rate = numpy.empty(7)
        rate[0:3] = state[3:6]
        relative_speed = math.sqrt(relative @ relative)
        if force is not None:
            rate[3:6] = force(relative)
        else:
            drag, lift = ball.coefficients(relative_speed, spin)
            rate[3:6] = -pressure * ball.drag_scale * drag * relative_speed * relative
            turned = turned_for_lift(axis, relative)
            length = math.sqrt(turned @ turned)
            if length > 0.0 and spin > 0.0:
                rate[3:6] += pressure * ball.lift_scale * lift * relative_speed**2 * turned / length
        rate[5] -= air.gravity
        rate[6] = -ball.spin_decay * spin * relative_speed / ball.radius_m
        return rate

    def height(_time, state):
        return state[2]

    def climb(_time, state):
        return state[5]

    height.terminal, height.direction = True, -1.0
    climb.direction = -1.0
    start = numpy.concatenate([numpy.zeros(3), velocity, [spin_rpm * RPM]])
    # A first step far shorter than the shortest hop of interest, or the event would miss its landing.
    flown = solve_ivp(motion, (0.0, 120.0), start, method="DOP853", rtol=tolerance, atol=tolerance, events=(height, climb), first_step=1e-6)
    assert flown.status == 1, "the ball never came down"
    end = flown.y_events[0][0]
    peaks = flown.y_events[1][:, 2] if len(flown.y_events[1]) else numpy.array([0.0])
    across = math.hypot(end[3], end[4])
    return Landing(
        carry_m=math.hypot(end[0], end[1]),
        lateral_m=end[1],
        peak_height_m=float(peaks.max()),
        descent_deg=math.degrees(math.atan2(-end[5], across)),
        flight_time_s=float(flown.t_events[0][0]),
        landing_speed_mps=math.sqrt(end[3:6] @ end[3:6]),
        landing_spin_rpm=end[6] / RPM,
    )
