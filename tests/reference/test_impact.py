"""impact() against the rigid-body collision written in numpy, for every shipped head, both hands, sliding and not."""

import dataclasses

import numpy
import pytest

import program
from agreement import agree, notices
from impact_model import Head, collide, head_from_profile, strike

FIELDS = {"ball_speed_mps": 1e-10, "launch_elevation_deg": 1e-10, "launch_azimuth_deg": 1e-10, "spin_rpm": 1e-8, "spin_tilt_deg": 1e-9}
PROFILES = program.head_profiles()


def test_worked_collisions_of_the_design_hold_for_the_model_used_here():
    """[derived, two implementations] The published head (Proceedings (MDPI) 49(1), 47, 2020, Table 1)."""
    head = head_from_profile(PROFILES["published-driver"])
    for spot, expected in {
        (-20.0, 0.0): (64.2175, 7.9612, -4.1317, 2316.282, 9.7345),
        (0.0, 0.0): (65.8117, 7.9074, -0.0585, 2437.242, 1.7464),
        (20.0, 0.0): (64.5299, 7.9927, 4.0134, 2267.658, -6.2371),
        (40.0, 0.0): (60.6617, 8.1917, 8.0855, 1878.809, -15.8702),
        (0.0, 10.0): (65.1811, 10.0581, -0.0545, 2067.443, 1.8857),
        (0.0, -10.0): (65.4843, 5.7301, -0.1182, 2809.957, 3.0583),
    }.items():
        assert strike(head, 44.704, 0.0, 0.0, 0.0, 9.8, *spot, 1) == pytest.approx(expected, abs=6e-4)
    left = strike(head, 44.704, -1.0, 3.0, 1.0, 11.0, 12.0, -6.0, -1)
    assert left == pytest.approx((64.7798, 7.4390, -1.0237, 3091.232, -6.1436), abs=6e-4)


def test_textbook_collisions_hold_for_the_model_used_here():
    """[derived; Daish, The Physics of Ball Games; Cochran & Stobbs] A head that does not turn: central, and oblique in closed form."""
    heavy = tuple(tuple(1e6 * float(row == column) for column in range(3)) for row in range(3))
    head = Head(0.2, (0.0, 0.0, 0.0), heavy, 0.83, 0.0, 0.0, 0.0, 1e3)
    assert strike(head, 44.704, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1)[0] == pytest.approx(66.529761, abs=6e-7)
    for loft, expected in {10.0: (65.552075, 8.180476, 2328.988), 14.0: (64.618636, 11.428040, 3244.683)}.items():
        speed, elevation, _, spin, _ = strike(head, 44.704, 0.0, 0.0, 0.0, loft, 0.0, 0.0, 1)
        assert (speed, elevation) == pytest.approx(expected[:2], abs=6e-7)
        assert spin == pytest.approx(expected[2], abs=6e-4)


def test_the_model_used_here_conserves(random):
    """Momentum by construction; energy never grows for these heads, and the contact point obeys the law it was solved for."""
    for profile in PROFILES.values():
        head = head_from_profile(profile)
        for _ in range(40):
            velocity = random.uniform(20.0, 50.0) * numpy.array([1.0, random.uniform(-0.9, 0.3), random.uniform(-0.2, 0.2)])
            hit = collide(head, velocity, random.uniform(-0.03, 0.03), random.uniform(-0.015, 0.015))
            head_velocity = velocity - hit.impulse / head.mass
            head_turn = numpy.linalg.inv(numpy.array(head.inertia)) @ numpy.cross(hit.arm, -hit.impulse)
            on_ball = hit.ball_velocity + numpy.cross(hit.ball_spin, -head.ball_radius * hit.normal)
            slip = on_ball - (head_velocity + numpy.cross(head_turn, hit.arm))
            assert slip @ hit.normal == pytest.approx(hit.restitution * hit.approach, rel=1e-9)
            if not hit.slid:
                assert numpy.linalg.norm(slip - (slip @ hit.normal) * hit.normal) < 1e-9
            ball_inertia = head.ball_inertia_factor * head.ball_mass * head.ball_radius**2
            before = 0.5 * head.mass * velocity @ velocity
            after = (
                0.5 * head.mass * head_velocity @ head_velocity
                + 0.5 * head_turn @ numpy.array(head.inertia) @ head_turn
                + 0.5 * head.ball_mass * hit.ball_velocity @ hit.ball_velocity
                + 0.5 * ball_inertia * hit.ball_spin @ hit.ball_spin
            )
            assert after < before


def drawn_deliveries(random, profile, count):
    """Every fifth so far across the face that the ball slides on woods and irons alike."""
    deliveries = []
    for row in range(count):
        path = random.uniform(-20.0, 20.0) if row % 5 else random.choice([-1.0, 1.0]) * random.uniform(50.0, 75.0)
        deliveries.append(
            (
                random.uniform(5.0, 60.0),
                random.uniform(-15.0, 15.0),
                path,
                random.uniform(-20.0, 20.0) if row % 5 else random.uniform(-5.0, 5.0),
                profile["loft_deg"] + random.uniform(-12.0, 12.0),
                random.uniform(-40.0, 40.0),
                random.uniform(-25.0, 25.0),
                float(random.choice([-1.0, 1.0])),
            )
        )
    return deliveries


def struck(name, head, deliveries):
    """Both answers to the deliveries in which the face meets the ball; on which those are both have to agree."""
    answers = program.call("impact", [(*delivery, name) for delivery in deliveries])
    ours = [strike(head, *delivery) for delivery in deliveries]
    assert [answer is None for answer in answers] == [result is None for result in ours]
    met = [row for row, result in enumerate(ours) if result is not None]
    assert len(met) > 0.9 * len(deliveries)
    return [deliveries[row] for row in met], [ours[row] for row in met], [answers[row] for row in met]


def field_of(results, place):
    return [result[place] for result in results]


@pytest.mark.parametrize("name", sorted(PROFILES))
def test_random_deliveries(name, random):
    head = head_from_profile(PROFILES[name])
    deliveries, ours, answers = struck(name, head, drawn_deliveries(random, PROFILES[name], 500))
    for place, (field, tolerance) in enumerate(FIELDS.items()):
        told = [answer[field] for answer in answers]
        agree(f"{name}, {field}", field_of(ours, place), told, tolerance, lambda row: deliveries[row])
    bent_heads = {
        "friction": dataclasses.replace(head, friction=1e6),
        "another inertia": dataclasses.replace(head, inertia=tuple(tuple(1.001 * entry for entry in row) for row in head.inertia)),
        "another depth of the centre of gravity": dataclasses.replace(head, cg=(1.001 * head.cg[0], *head.cg[1:])),
    }
    if head.falloff:
        bent_heads["fall-off"] = dataclasses.replace(head, falloff=0.0)
    if head.bulge_curvature:
        bent_heads["bulge"] = dataclasses.replace(head, bulge_curvature=0.0)
        bent_heads["roll"] = dataclasses.replace(head, roll_curvature=0.0)
    for what, bent in bent_heads.items():
        speeds = field_of([strike(bent, *delivery) for delivery in deliveries], 0)
        notices(f"{name} without {what}", speeds, [answer["ball_speed_mps"] for answer in answers], FIELDS["ball_speed_mps"])


def test_a_face_that_recedes_strikes_nothing():
    assert program.call("impact", [(40.0, 0.0, 120.0, 0.0, 10.0, 0.0, 0.0, 1.0, "published-driver")]) == [None]
