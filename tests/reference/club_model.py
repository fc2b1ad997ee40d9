"""What all shots of a player with one club share, as one least-squares problem: every delivery, every session, the player, the head.

Beliefs as the learning crate documents them [common practice, no source]; spreads of shots and sessions held at the beliefs, so
only questions in which the delivery and the strike are measured are answered alike.
"""

import numpy

from many_shots import FACE, PATH, SPEED, launches
from verdict_model import DELIVERY_FIELDS, LAUNCH_FIELDS, head_beliefs, model_error_sd

DELIVERY = 7
HEAD = 8
OFFSETS = 4
GLOBALS = HEAD + OFFSETS
# Elevation, azimuth in degrees; spin as a share; tilt in degrees.
OFFSET_SD = [0.5, 0.5, 0.025, 0.5]
HABIT_SD = [numpy.nan, 3.0, 4.0, 3.5, 3.0, 8.0, 5.0]
SHOT_SD = [numpy.nan, 1.1, 1.4, 1.4, 1.1, 9.0, 6.0]
SESSION_SD = [numpy.nan, 0.4, 0.4, 0.4, 0.4, 2.0, 1.2]
SPEED_SHARES = {"habit": 0.10, "shot": 0.015, "session": 0.008}


class ClubModel:
    """`shots` is a list of (evidence, session number)."""

    def __init__(self, shots, profile):
        self.profile = profile
        evidence = [known for known, _ in shots]
        self.session = numpy.array([session for _, session in shots])
        self.sessions = int(self.session.max()) + 1
        self.hand = evidence[0]["hand"]
        self.read = numpy.array([[known[value] for value, *_ in DELIVERY_FIELDS.values()] for known in evidence])
        self.read_sd = numpy.array([[known[deviation] for _, deviation, *_ in DELIVERY_FIELDS.values()] for known in evidence])
        self.launch = numpy.array([[known[value] for value, _ in LAUNCH_FIELDS] for known in evidence])
        device = numpy.array([[known[deviation] for _, deviation in LAUNCH_FIELDS] for known in evidence])
        model = numpy.array([model_error_sd(row[0], row[3]) for row in self.launch])
        self.launch_sd = numpy.hypot(device, model)
        head_mean, head_sd = head_beliefs(profile)
        self.global_mean = numpy.concatenate([head_mean, numpy.zeros(OFFSETS)])
        self.global_sd = numpy.concatenate([head_sd, OFFSET_SD])
        speed = float(numpy.median(self.read[:, SPEED]))
        typical = [speed, profile["typical_attack_deg"], 0.0, 0.0, profile["typical_delivered_loft_deg"], 0.0, 0.0]
        self.habit_mean = numpy.array(typical)
        self.habit_sd, self.shot_sd, self.session_sd = (
            numpy.array([speed * SPEED_SHARES[name], *deviations[1:]])
            for name, deviations in (("habit", HABIT_SD), ("shot", SHOT_SD), ("session", SESSION_SD))
        )
        self.solve()

    def parts(self, unknowns):
        shared = GLOBALS + DELIVERY
        by_session = unknowns[shared : shared + DELIVERY * self.sessions].reshape(self.sessions, DELIVERY)
        deliveries = unknowns[shared + DELIVERY * self.sessions :].reshape(-1, DELIVERY)
        return unknowns[:GLOBALS], unknowns[GLOBALS:shared], by_session, deliveries

    def told(self, deliveries, globals_of_each):
        """Launches with the constant offsets; one row of globals for each delivery."""
        launched = launches(numpy.concatenate([deliveries, globals_of_each[:, :HEAD]], axis=1), self.profile, self.hand)
        launched[:, 1] += globals_of_each[:, HEAD]
        launched[:, 2] += globals_of_each[:, HEAD + 1]
        launched[:, 3] *= 1.0 + globals_of_each[:, HEAD + 2]
        launched[:, 4] += globals_of_each[:, HEAD + 3]
        return launched

    def residuals(self, unknowns):
        shared, habits, by_session, deliveries = self.parts(unknowns)
        told = self.told(deliveries, numpy.tile(shared, (len(deliveries), 1)))
        return numpy.concatenate(
            [
                (shared - self.global_mean) / self.global_sd,
                (habits - self.habit_mean) / self.habit_sd,
                ((by_session - habits) / self.session_sd).ravel(),
                ((deliveries - by_session[self.session]) / self.shot_sd).ravel(),
                ((deliveries - self.read) / self.read_sd).ravel(),
                ((told - self.launch) / self.launch_sd).ravel(),
            ]
        )

    def slopes(self, unknowns):
        """Everything but the launch is linear; the launch by central differences, all shots at once."""
        shared, _, _, deliveries = self.parts(unknowns)
        count, sessions = len(deliveries), self.sessions
        habits_at, sessions_at = GLOBALS, GLOBALS + DELIVERY
        shots_at = sessions_at + DELIVERY * sessions
        rows = []

        def block(scale, entries, height):
            filled = numpy.zeros((height, len(unknowns)))
            for row, column, sign in entries:
                filled[row, column] = sign / scale[row]
            rows.append(filled)

        block(self.global_sd, [(place, place, 1.0) for place in range(GLOBALS)], GLOBALS)
        block(self.habit_sd, [(place, habits_at + place, 1.0) for place in range(DELIVERY)], DELIVERY)
        size = DELIVERY * sessions
        entries = [(row, sessions_at + row, 1.0) for row in range(size)]
        entries += [(row, habits_at + row % DELIVERY, -1.0) for row in range(size)]
        block(numpy.tile(self.session_sd, sessions), entries, size)
        size = DELIVERY * count
        entries = [(row, shots_at + row, 1.0) for row in range(size)]
        entries += [(row, sessions_at + DELIVERY * self.session[row // DELIVERY] + row % DELIVERY, -1.0) for row in range(size)]
        block(numpy.tile(self.shot_sd, count), entries, size)
        block(self.read_sd.ravel(), [(row, shots_at + row, 1.0) for row in range(size)], size)
        launched = numpy.zeros((5 * count, len(unknowns)))
        globals_of_each = numpy.tile(shared, (count, 1))
        for place in range(DELIVERY):
            step = 1e-4 * self.shot_sd[place]
            ahead, behind = deliveries.copy(), deliveries.copy()
            ahead[:, place] += step
            behind[:, place] -= step
            slope = (self.told(ahead, globals_of_each) - self.told(behind, globals_of_each)) / (2.0 * step) / self.launch_sd
            for shot in range(count):
                launched[5 * shot : 5 * shot + 5, shots_at + DELIVERY * shot + place] = slope[shot]
        for place in range(GLOBALS):
            step = 1e-4 * self.global_sd[place]
            ahead, behind = globals_of_each.copy(), globals_of_each.copy()
            ahead[:, place] += step
            behind[:, place] -= step
            slope = (self.told(deliveries, ahead) - self.told(deliveries, behind)) / (2.0 * step) / self.launch_sd
            launched[:, place] = slope.ravel()
        rows.append(launched)
        return numpy.concatenate(rows)

    def half_log_width(self, deliveries, globals_of_each):
        """Half the logarithm of the determinant of what is known of each delivery, one number a shot."""
        slopes = []
        for place in range(DELIVERY):
            step = numpy.zeros(DELIVERY)
            step[place] = 1e-3 * self.shot_sd[place]
            slope = self.told(deliveries + step, globals_of_each) - self.told(deliveries - step, globals_of_each)
            slopes.append(slope / (2.0 * step[place]) / self.launch_sd)
        slopes = numpy.stack(slopes, axis=-1)
        known = numpy.einsum("nqi,nqj->nij", slopes, slopes)
        known += numpy.eye(DELIVERY) * (1.0 / self.shot_sd**2 + 1.0 / self.read_sd**2)[:, None, :]
        return 0.5 * numpy.linalg.slogdet(known)[1]

    def pull_of_width(self, unknowns):
        """Gradient of `half_log_width` of all shots: with it the deliveries count as integrated out (Laplace) and not as guessed,
        which would favour a head that tells them sharply."""
        shared, _, _, deliveries = self.parts(unknowns)
        globals_of_each = numpy.tile(shared, (len(deliveries), 1))
        pull = numpy.zeros(len(unknowns))
        for place in range(GLOBALS):
            step = numpy.zeros(GLOBALS)
            step[place] = 1e-2 * self.global_sd[place]
            change = self.half_log_width(deliveries, globals_of_each + step) - self.half_log_width(deliveries, globals_of_each - step)
            pull[place] = change.sum() / (2.0 * step[place])
        by_delivery = pull[GLOBALS + DELIVERY * (1 + self.sessions) :].reshape(-1, DELIVERY)
        for place in range(DELIVERY):
            step = numpy.zeros(DELIVERY)
            step[place] = 1e-2 * self.shot_sd[place]
            change = self.half_log_width(deliveries + step, globals_of_each) - self.half_log_width(deliveries - step, globals_of_each)
            by_delivery[:, place] = change / (2.0 * step[place])
        return pull

    def solve(self):
        start = numpy.concatenate([self.global_mean, self.habit_mean, numpy.tile(self.habit_mean, self.sessions), self.read.ravel()])
        # Gauss and Newton's steps on the whole; that the gradient vanishes at the end makes it the most probable point.
        found, pull = start, 0.0
        for number in range(12):
            if number in (4, 6, 8):
                pull = self.pull_of_width(found)
            slopes = self.slopes(found)
            step = numpy.linalg.solve(slopes.T @ slopes, slopes.T @ self.residuals(found) + pull)
            found = found - step
        self.globals, self.habits, self.by_session, self.deliveries = self.parts(found)
        covariance = numpy.linalg.inv(slopes.T @ slopes)
        assert numpy.abs(step / numpy.sqrt(numpy.diag(covariance))).max() < 1e-3, "the steps did not settle"
        self.covariance = covariance[: GLOBALS + DELIVERY, : GLOBALS + DELIVERY]
        self.deviation = numpy.sqrt(numpy.diag(self.covariance))

    def gear(self, head, place, quantity, step=0.5):
        """Slope of a launch quantity by the strike position at the face centre of the usual delivery."""
        usual = numpy.tile(numpy.concatenate([self.habit_mean, head]), (2, 1))
        usual[:, PATH], usual[:, FACE] = 0.0, 0.0
        usual[0, place] += step
        usual[1, place] -= step
        told = launches(usual, self.profile, self.hand)
        return float(told[0, quantity] - told[1, quantity]) / (2.0 * step)

    def gain(self, place, quantity):
        """The learned slope against the profile's, with its deviation by the delta method."""
        profile = self.gear(self.global_mean[:HEAD], place, quantity)
        head = self.globals[:HEAD]
        gradient = []
        for figure in range(HEAD):
            step = numpy.zeros(HEAD)
            step[figure] = 1e-3 * self.global_sd[figure]
            gradient.append((self.gear(head + step, place, quantity) - self.gear(head - step, place, quantity)) / (2.0 * step[figure]))
        gradient = numpy.array(gradient)
        deviation = float(numpy.sqrt(gradient @ self.covariance[:HEAD, :HEAD] @ gradient))
        return self.gear(head, place, quantity) / profile, deviation / abs(profile)
