"""The most probable shot behind one launch, from the method page: a posterior written down and left to SciPy's bounded least squares.

Unknowns: club speed, attack, path, face, loft, toe, height; of the head restitution, its fall-off, scale of the inertia, centre
of gravity (three), bulge, friction; and how far right the bay reads. What the design leaves open is taken from the words of
`strikemill query --functions` and of the verdict crate's documentation, and stands here as a constant with its meaning.
"""

import numpy
from scipy.optimize import brentq, least_squares, root

from many_shots import ATTACK, BULGE, FACE, FALLOFF, FRICTION, INERTIA, LOFT, PATH, RESTITUTION, SPEED, TOE, UNKNOWNS, UP
from many_shots import face_azimuth_at_strike, launches

BAY = UNKNOWNS
# Deviations about the reference of what nobody measured (--functions lists them as those of the habits).
OTHERWISE_SD = {ATTACK: 2.5, PATH: 4.0, FACE: 3.5, LOFT: 2.5, TOE: 12.0, UP: 8.0}
OTHERWISE_SPEED_SHARE_SD = 0.05
# Head profiles: curvature of a face without bulge, and friction, where the profile names no deviation of its own.
FLAT_CURVATURE_SD = 0.01
FRICTION_SD = 0.05
# Within these the collision has a meaning.
LIMITS = {
    SPEED: (2.0, 75.0),
    LOFT: (-5.0, 75.0),
    TOE: (-60.0, 60.0),
    UP: (-40.0, 40.0),
    RESTITUTION: (0.4, 0.95),
    FALLOFF: (0.0, 1000.0),
    INERTIA: (0.4, 2.5),
    BULGE: (0.0, 6.0),
    FRICTION: (0.02, 1.0),
}
LAUNCH_FIELDS = [
    ("ball_speed_mps", "ball_speed_sd_mps"),
    ("launch_elevation_deg", "launch_elevation_sd_deg"),
    ("launch_azimuth_deg", "launch_azimuth_sd_deg"),
    ("spin_rpm", "spin_sd_rpm"),
    ("spin_tilt_deg", "spin_tilt_sd_deg"),
]
DELIVERY_FIELDS = {
    SPEED: ("club_speed_mps", "club_speed_sd_mps", "habit_club_speed_mps", "habit_club_speed_sd_mps"),
    ATTACK: ("attack_deg", "attack_sd_deg", "habit_attack_deg", "habit_attack_sd_deg"),
    PATH: ("path_deg", "path_sd_deg", "habit_path_deg", "habit_path_sd_deg"),
    FACE: ("face_deg", "face_sd_deg", "habit_face_deg", "habit_face_sd_deg"),
    LOFT: ("delivered_loft_deg", "delivered_loft_sd_deg", "habit_loft_deg", "habit_loft_sd_deg"),
    TOE: ("strike_toe_mm", "strike_sd_mm", "habit_toe_mm", "habit_toe_sd_mm"),
    UP: ("strike_up_mm", "strike_sd_mm", "habit_up_mm", "habit_up_sd_mm"),
}
LEARNED_HEAD = [
    ("head_restitution", "head_restitution_sd"),
    ("head_restitution_falloff_per_m2", "head_restitution_falloff_sd_per_m2"),
    ("head_inertia_scale", "head_inertia_scale_sd"),
    ("head_cg_normal_m", "head_cg_normal_sd_m"),
    ("head_cg_up_m", "head_cg_up_sd_m"),
    ("head_cg_toe_m", "head_cg_toe_sd_m"),
    ("head_bulge_curvature_per_m", "head_bulge_curvature_sd_per_m"),
    ("head_friction", "head_friction_sd"),
]


def model_error_sd(ball_speed, spin):
    """How far the collision model may be off for one shot [common practice, no source]: 0.5 % of speed, 0.3 degrees, 5 % of spin
    but 60 rpm at least, 1 degree of tilt."""
    return numpy.array([0.005 * ball_speed, 0.3, 0.3, max(0.05 * spin, 60.0), 1.0])


def head_beliefs(profile):
    """Means and deviations of the eight figures of a head, in the order of the unknowns."""
    bulge = profile.get("bulge_radius_m")
    means = [profile["restitution"], profile["restitution_falloff_per_m2"], 1.0, *profile["cg_m"]]
    means += [1.0 / bulge if bulge else 0.0, profile["friction"]]
    deviations = [profile["restitution_sd"], profile["restitution_falloff_sd"], profile["inertia_scale_sd"], *profile["cg_sd_m"]]
    # d(1/R) = dR / R^2
    deviations += [profile["bulge_sd_m"] / bulge**2 if bulge else FLAT_CURVATURE_SD, profile.get("friction_sd", FRICTION_SD)]
    return numpy.array(means), numpy.array(deviations)


class Shot:
    """One shot's evidence (a dict of the SQL function's fields) and head profile, reconstructed."""

    def __init__(self, evidence, profile):
        self.evidence, self.profile = evidence, profile
        self.hand = -1.0 if evidence.get("hand", 1.0) < 0.0 else 1.0
        self.head_mean, self.head_sd = head_beliefs(profile)
        for place, (value, deviation) in enumerate(LEARNED_HEAD):
            if evidence.get(deviation):
                self.head_mean[place], self.head_sd[place] = evidence[value], evidence[deviation]
        self.offset = numpy.array([0.0, evidence.get("loft_offset_deg", 0.0), evidence.get("direction_offset_deg", 0.0), 0.0, 0.0])
        self.bay_mean = evidence.get("bay_direction_offset_deg", 0.0)
        self.bay_sd = evidence.get("bay_direction_offset_sd_deg", 0.0)
        self.reference = self.usual_shot()
        self.observe()
        self.find()

    def model(self, unknowns):
        """The modelled launch of unknowns, one row or many, in the true direction."""
        return launches(numpy.asarray(unknowns)[..., :UNKNOWNS], self.profile, self.hand) + self.offset

    def usual_shot(self):
        """The centred shot with the player's usual speed, attack and loft and the stock shape about the aim."""
        known, profile = self.evidence, self.profile
        aim = known.get("aim_deg", 0.0)
        usual = numpy.zeros(UNKNOWNS)
        usual[SPEED] = profile["typical_club_speed_mps"]
        usual[ATTACK] = known.get("reference_attack_deg", profile["typical_attack_deg"])
        usual[PATH] = aim + known.get("stock_path_deg", 0.0)
        usual[FACE] = aim + known.get("stock_face_deg", 0.0)
        usual[LOFT] = known.get("reference_delivered_loft_deg", profile["typical_delivered_loft_deg"])
        usual[RESTITUTION:] = self.head_mean

        def centred(place, value, quantity):
            moved = usual.copy()
            moved[place] = value
            return float(self.model(moved)[quantity])

        if "reference_delivered_loft_deg" not in known and "reference_launch_elevation_deg" in known:
            usual[LOFT] = brentq(lambda loft: centred(LOFT, loft, 1) - known["reference_launch_elevation_deg"], 1.0, 60.0)
        if "reference_club_speed_mps" in known:
            usual[SPEED] = known["reference_club_speed_mps"]
        else:
            speed = known.get("reference_ball_speed_mps", known["ball_speed_mps"])
            usual[SPEED] = brentq(lambda club: centred(SPEED, club, 0) - speed, 5.0, 90.0)
        return usual

    def model_error(self, ball_speed, spin):
        """How badly a constant offset is known is the model's error too, as far as one shot goes."""
        known = self.evidence
        offset_sd = [0.0, known.get("loft_offset_sd_deg", 0.0), known.get("direction_offset_sd_deg", 0.0), 0.0, 0.0]
        return numpy.hypot(model_error_sd(ball_speed, spin), offset_sd)

    def observe(self):
        """What was read, with deviations; and independent beliefs about what was not."""
        known = self.evidence
        self.rows = [row for row, (value, deviation) in enumerate(LAUNCH_FIELDS) if known.get(deviation) and value in known]
        self.reading = numpy.array([known[LAUNCH_FIELDS[row][0]] for row in self.rows])
        self.device_sd = numpy.array([known[LAUNCH_FIELDS[row][1]] for row in self.rows])
        self.mean = numpy.append(self.reference, self.bay_mean)
        self.prior_sd = numpy.zeros(UNKNOWNS + 1)
        self.prior_sd[RESTITUTION:UNKNOWNS] = self.head_sd
        self.prior_sd[BAY] = self.bay_sd
        # What was read of delivery and strike: place, reading, deviation.
        self.readings = []
        self.face_reading = None
        read_alone = set()
        aim = known.get("aim_deg", 0.0)
        for place, (value, deviation, habit, habit_sd) in DELIVERY_FIELDS.items():
            self.prior_sd[place] = OTHERWISE_SD.get(place, OTHERWISE_SPEED_SHARE_SD * self.reference[SPEED])
            if habit in known:
                self.mean[place] = known[habit] + (aim if place in (PATH, FACE) else 0.0)
                self.prior_sd[place] = known.get(habit_sd, self.prior_sd[place])
            if not (known.get(deviation) and value in known):
                continue
            if place == FACE and known.get("face_reference") == "strike-point":
                self.face_reading = known[value], known[deviation]
                continue
            self.readings.append((place, known[value], known[deviation]))
            # A strike hangs about the middle of the face whether or not the player is known; a delivery about nothing.
            if habit not in known and place not in (TOE, UP):
                read_alone.add(place)
        self.believed = [place for place in range(UNKNOWNS + 1) if self.prior_sd[place] > 0.0 and place not in read_alone]
        self.start = self.mean.copy()
        for place, reading, deviation in self.readings:
            reading -= self.bay_mean if place in (PATH, FACE) else 0.0
            weight = 1.0 if place in read_alone else self.prior_sd[place] ** 2 / (self.prior_sd[place] ** 2 + deviation**2)
            self.start[place] += weight * (reading - self.start[place])
        # The model's error goes by the size of what was read, or else by what is expected before the launch is looked at.
        expected = self.model(self.start)
        self.model_sd = self.model_error(known.get("ball_speed_mps", expected[0]), known.get("spin_rpm", expected[3]))
        self.sd = numpy.hypot(self.device_sd, self.model_sd[self.rows])
        self.free = [place for place in range(UNKNOWNS + 1) if self.prior_sd[place] > 0.0]

    def standardised(self, free):
        """Residuals of one row or many rows of the free unknowns, each in deviations."""
        unknowns = numpy.broadcast_to(self.mean, (*free.shape[:-1], UNKNOWNS + 1)).copy()
        unknowns[..., self.free] = free
        bay = unknowns[..., BAY]
        told = self.model(unknowns)
        told[..., 2] += bay
        parts = [((unknowns - self.mean) / numpy.where(self.prior_sd > 0.0, self.prior_sd, 1.0))[..., self.believed]]
        for place, reading, deviation in self.readings:
            read = unknowns[..., place] + (bay if place in (PATH, FACE) else 0.0)
            parts.append(((read - reading) / deviation)[..., None])
        parts.append((told[..., self.rows] - self.reading) / self.sd)
        if self.face_reading:
            at_strike = face_azimuth_at_strike(unknowns[..., :UNKNOWNS], self.profile, self.hand) + bay
            parts.append(((at_strike - self.face_reading[0]) / self.face_reading[1])[..., None])
        return numpy.concatenate(parts, axis=-1)

    def slopes(self, free):
        """Central differences, all points in one call; steps far below each deviation."""
        steps = 1e-4 * self.prior_sd[self.free]
        points = numpy.concatenate([free + numpy.diag(steps), free - numpy.diag(steps)])
        values = self.standardised(points)
        return ((values[: len(free)] - values[len(free) :]) / (2.0 * steps[:, None])).T

    def find(self):
        low = numpy.array([LIMITS.get(place, (-numpy.inf, numpy.inf))[0] for place in self.free])
        high = numpy.array([LIMITS.get(place, (-numpy.inf, numpy.inf))[1] for place in self.free])
        scale = self.prior_sd[self.free]
        start = numpy.clip(self.start[self.free], low + 1e-6 * scale, high - 1e-6 * scale)
        found = least_squares(
            self.standardised, start, self.slopes, bounds=(low, high), x_scale=scale, method="trf", ftol=1e-15, xtol=1e-13, gtol=1e-13
        )
        best = self.settle(found.x, low, high, scale)
        self.mode = self.mean.copy()
        self.mode[self.free] = best
        self.misfit = float(numpy.sum(self.standardised(best) ** 2))
        slopes = self.slopes(best)
        self.covariance = numpy.zeros((UNKNOWNS + 1, UNKNOWNS + 1))
        self.covariance[numpy.ix_(self.free, self.free)] = numpy.linalg.inv(slopes.T @ slopes)
        # The model's part of each residual goes by the ratio of the variances.
        self.share = numpy.zeros(5)
        modelled = self.model(self.mode)
        self.left_sd = self.model_sd.copy()
        total = self.sd**2
        self.share[self.rows] = self.model_sd[self.rows] ** 2 / total
        self.left_sd[self.rows] = self.model_sd[self.rows] * self.device_sd / numpy.sqrt(total)
        self.launch = self.with_error(modelled, modelled, self.mode[BAY])

    def settle(self, near, low, high, scale):
        """Bounded steps only creep up to a limit: what lies there is put onto it, and the others are found once more, until what is
        held wants beyond its limit and what moves lies within."""
        at_low, at_high = near - low < 1e-4 * scale, high - near < 1e-4 * scale
        for _ in range(8):
            near = numpy.where(at_low, low, numpy.where(at_high, high, near))
            near = self.solve_for(near, ~(at_low | at_high), scale)
            pull = self.slopes(near).T @ self.standardised(near)
            below, above = near < low, near > high
            released = (at_low & (pull < 0.0)) | (at_high & (pull > 0.0))
            if not (below | above | released).any():
                assert numpy.all(numpy.abs((pull * scale)[~(at_low | at_high)]) < 1e-4)
                self.held = [place for place, held in zip(self.free, at_low | at_high) if held]
                return near
            at_low, at_high = (at_low & ~released) | below, (at_high & ~released) | above
        raise AssertionError("the limits were not settled")

    def solve_for(self, near, moving, scale):
        """The most probable values of some unknowns, the others where they are."""

        def whole(part):
            every = near.copy()
            every[moving] = part
            return every

        def residuals(part):
            return self.standardised(whole(part))

        def slopes(part):
            return self.slopes(whole(part))[:, moving]

        tight = {"ftol": 1e-15, "xtol": 1e-15, "gtol": 1e-15}
        return whole(least_squares(residuals, near[moving], slopes, x_scale=scale[moving], method="lm", **tight).x)

    def across_the_face(self):
        """Means and deviations of toe and height where one peak does not tell them: the toe held at places across the face,
        everything else most probable there, each place by the mass about it (Laplace in all other unknowns)."""
        where = self.free.index(TOE)
        height = self.free.index(UP)
        others = numpy.array([place != where for place in range(len(self.free))])
        scale = self.prior_sd[self.free]
        places = numpy.arange(-44.0, 44.1, 4.0)
        found = []
        # From the peak outward, each solution starts from its neighbour's.
        for side in (places[places >= self.mode[TOE]], places[places < self.mode[TOE]][::-1]):
            near = self.mode[self.free].copy()
            for toe in side:
                near[where] = toe
                try:
                    near = self.solve_for(near, others, scale)
                except ValueError:
                    break
                slopes = self.slopes(near)[:, others]
                normal = slopes.T @ slopes
                log_mass = -0.5 * numpy.sum(self.standardised(near) ** 2) - 0.5 * numpy.linalg.slogdet(normal)[1]
                up = int(numpy.sum(others[:height]))
                found.append((log_mass, toe, near[height], numpy.linalg.inv(normal)[up, up]))
        log_mass, toe, up, up_variance = numpy.array(found).T
        weight = numpy.exp(log_mass - log_mass.max())
        weight /= weight.sum()
        toe_mean, up_mean = weight @ toe, weight @ up
        toe_sd = numpy.sqrt(weight @ (toe - toe_mean) ** 2)
        up_sd = numpy.sqrt(weight @ ((up - up_mean) ** 2 + up_variance))
        return {"strike_toe_mm": toe_mean, "strike_up_mm": up_mean, "strike_toe_sd_mm": toe_sd, "strike_up_sd_mm": up_sd}

    def with_error(self, switched, modelled, bay, draws=None):
        """A counterfactual launch with the error that the model makes on this shot, given what it says of the shot itself."""
        error = numpy.zeros_like(modelled)
        told = modelled.copy()
        told[..., 2] += bay
        error[..., self.rows] = self.share[self.rows] * (self.reading - told[..., self.rows])
        if draws is not None:
            error = error + self.left_sd * draws
        return switched + error

    def deviation(self, place):
        return float(numpy.sqrt(self.covariance[place, place]))

    def launch_deviation(self):
        """Deviations of what the ball did: the model's launch, drawn toward the reading by the model's share, and what is left open."""
        steps = 1e-4 * self.prior_sd
        points = numpy.concatenate([self.mode + numpy.diag(steps), self.mode - numpy.diag(steps)])
        modelled = self.model(points)
        told = modelled.copy()
        told[:, 2] += points[:, BAY]
        likely = modelled - self.share * told
        count = len(self.mode)
        slopes = (likely[:count] - likely[count:]) / (2.0 * numpy.where(steps > 0.0, steps, 1.0)[:, None])
        return numpy.sqrt(numpy.einsum("iq,ij,jq->q", slopes, self.covariance, slopes) + self.left_sd**2)

    def curve_reading(self):
        """Face to path of the centred delivery that starts and tilts as this launch did."""

        def missing(path_face):
            centred = self.mode.copy()
            centred[[TOE, UP]] = 0.0
            centred[[PATH, FACE]] = path_face
            return (self.model(centred) - self.launch)[[2, 4]]

        found = root(missing, self.mode[[PATH, FACE]], tol=1e-12)
        assert numpy.abs(missing(found.x)).max() < 1e-7, "no centred delivery starts and tilts so"
        return float(found.x[1] - found.x[0])
