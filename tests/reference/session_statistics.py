"""Values that scatter within sessions, and sessions that scatter about a line: the posterior on a fine grid.

value = x' beta + session (deviation tau) + shot and its reading (deviation s); beta flat; s flat in its logarithm; tau / s
half-Cauchy with scale 1/2. Restricted likelihood: beta integrated out (Patterson & Thompson 1971, Biometrika 58, 545).
"""

import numpy
from scipy.optimize import brentq
from scipy.stats import norm


class SessionPosterior:
    """`values` by session, in order; `design` one row a session; `reading_sd` the error that each value has of its own."""

    def __init__(self, values, design, reading_sd=0.0, grid=48):
        self.count = numpy.array([len(session) for session in values], dtype=float)
        self.means = numpy.array([numpy.mean(session) for session in values])
        self.design = numpy.asarray(design, dtype=float)
        within = sum(float(numpy.sum((numpy.asarray(session) - numpy.mean(session)) ** 2)) for session in values)
        free = self.count.sum() - len(values)
        middle = numpy.log(numpy.sqrt(within / free))
        width = 6.0 / numpy.sqrt(2.0 * free)
        logs = numpy.linspace(middle - width, middle + 1.5 * width, grid)
        # An angle whose tangent is the ratio over its scale: equal steps are equal shares of the half-Cauchy prior.
        angles = (numpy.arange(4 * grid) + 0.5) / (4 * grid) * (numpy.pi / 2.0)
        self.read, self.tau = [], []
        parts = []
        for log in logs:
            read = numpy.exp(log)
            if read <= reading_sd:
                continue
            for angle in angles:
                tau = 0.5 * numpy.tan(angle) * read
                parts.append(self.part(read, tau, within, free))
                self.read.append(read)
                self.tau.append(tau)
        weight = numpy.array([part[0] for part in parts])
        self.weight = numpy.exp(weight - weight.max())
        self.weight /= self.weight.sum()
        self.beta = [part[1] for part in parts]
        self.covariance = [part[2] for part in parts]
        self.read, self.tau = numpy.array(self.read), numpy.array(self.tau)
        self.shot = numpy.sqrt(self.read**2 - reading_sd**2)
        # What weighs nothing need not be mixed.
        self.kept = numpy.flatnonzero(self.weight > 1e-9)

    def part(self, read, tau, within, free):
        variance = tau**2 + read**2 / self.count
        information = self.design.T @ (self.design / variance[:, None])
        covariance = numpy.linalg.inv(information)
        beta = covariance @ (self.design.T @ (self.means / variance))
        left = self.means - self.design @ beta
        log = -free * numpy.log(read) - within / (2.0 * read**2) - 0.5 * numpy.log(variance).sum()
        return log - 0.5 * numpy.linalg.slogdet(information)[1] - 0.5 * float(left @ (left / variance)), beta, covariance

    def mixture(self, described):
        """Mean and the 5 and 95 % points of a mixture whose parts are given by (mean, variance) of (beta, covariance, tau, read)."""
        means, deviations = [], []
        for row in self.kept:
            mean, variance = described(self.beta[row], self.covariance[row], self.tau[row], self.read[row])
            means.append(mean)
            deviations.append(numpy.sqrt(variance))
        means, deviations = numpy.array(means), numpy.array(deviations)
        weight = self.weight[self.kept] / self.weight[self.kept].sum()
        middle = float(weight @ means)
        spread = float(numpy.sqrt(weight @ (deviations**2 + (means - middle) ** 2)))

        def quantile(share):
            below = lambda value: float(weight @ norm.cdf((value - means) / deviations)) - share
            return brentq(below, middle - 40.0 * spread, middle + 40.0 * spread, xtol=1e-10 * spread)

        return middle, quantile(0.05), quantile(0.95), spread

    def expectation(self, row, new_session=False):
        row = numpy.asarray(row, dtype=float)
        return self.mixture(lambda beta, covariance, tau, _: (row @ beta, row @ covariance @ row + (tau**2 if new_session else 0.0)))

    def level_of(self, shares):
        """The weighted mean of the sessions' own levels (best linear unbiased prediction and its error)."""
        shares = numpy.asarray(shares, dtype=float)

        def described(beta, covariance, tau, read):
            own = tau**2 / (tau**2 + read**2 / self.count)
            line = self.design @ beta
            toward = (shares * (1.0 - own)) @ self.design
            mean = shares @ (line + own * (self.means - line))
            return mean, shares**2 @ (tau**2 * (1.0 - own)) + toward @ covariance @ toward

        return self.mixture(described)

    def mean_of(self, values):
        return float(self.weight @ values)
