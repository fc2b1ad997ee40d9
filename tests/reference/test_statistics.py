"""The statistics of practice against SciPy, statsmodels and a posterior on a grid."""

import numpy
import pytest
import statsmodels.api
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

import program
from agreement import agree, notices
from session_statistics import SessionPosterior


def needs(function):
    return pytest.mark.skipif(not program.has_function(function), reason=f"this build has no {function}()")


def test_student_t_quantile(random):
    questions = [(random.uniform(0.001, 0.999), float(numpy.exp(random.uniform(0.0, 7.0)))) for _ in range(1000)]
    ours = numpy.array([stats.t.ppf(*question) for question in questions])
    answers = program.call("student_t_quantile", questions)
    agree("Student's t quantile", ours, answers, 1e-8 * (1.0 + numpy.abs(ours)), lambda row: questions[row])
    normal = [stats.norm.ppf(share) for share, _ in questions]
    notices("the normal instead of Student's t", normal, answers, 1e-8)


@needs("wilson")
def test_wilson(random):
    questions = []
    for _ in range(1000):
        count = int(random.integers(1, 400))
        questions.append((float(random.integers(0, count + 1)), float(count), random.choice([0.8, 0.9, 0.95, 0.99])))
    answers = program.call("wilson", questions)
    ours = [proportion_confint(hits, count, alpha=1.0 - level, method="wilson") for hits, count, level in questions]
    for place, end in enumerate(("low", "high")):
        agree(f"Wilson, {end}", [bounds[place] for bounds in ours], [answer[end] for answer in answers], 1e-9, lambda row: questions[row])
    exact = [proportion_confint(hits, count, alpha=1.0 - level, method="beta")[1] for hits, count, level in questions]
    notices("Clopper and Pearson's interval instead", exact, [answer["high"] for answer in answers], 1e-9)


def drawn_sessions(random, sessions, fewest, most, tau, sigma, slope_per_day=0.0):
    """Values by session and the days of the sessions, a few days apart."""
    days = numpy.cumsum(random.integers(2, 6, sessions)).astype(float)
    values = []
    for day in days:
        level = 5.0 + slope_per_day * day + tau * random.normal()
        values.append(level + sigma * random.normal(size=int(random.integers(fewest, most + 1))))
    return values, days


def as_rows(values, days, current, deviation=0.0):
    return [
        {
            "value": float(value),
            "deviation": deviation,
            "session": float(number),
            "day": float(days[number]),
            "current": float(number in current),
        }
        for number, session in enumerate(values)
        for value in session
    ]


def shares_of(values, current):
    counts = numpy.array([len(session) if number in current else 0 for number, session in enumerate(values)], dtype=float)
    return counts / counts.sum()


def test_the_posterior_used_here_gives_the_textbook_interval_of_one_session(random):
    """One session of exact values: Student's t with n - 1 degrees of freedom, whatever the prior of what differs between sessions."""
    values = 4.0 + 3.0 * random.normal(size=12)
    _, low, high, spread = SessionPosterior([values], numpy.ones((1, 1))).level_of([1.0])
    expected = stats.t.interval(0.9, 11, values.mean(), values.std(ddof=1) / numpy.sqrt(12.0))
    assert (low, high) == pytest.approx(expected, abs=1e-3 * spread)


@needs("mean_by_sessions")
@pytest.mark.parametrize(("sessions", "tau", "reading_sd"), [(4, 0.0, 0.0), (6, 1.5, 0.0), (9, 0.7, 1.0), (15, 3.0, 0.5)])
def test_mean_by_sessions_against_the_posterior_on_a_grid(sessions, tau, reading_sd, random):
    values, days = drawn_sessions(random, sessions, 6, 20, tau, numpy.hypot(3.0, reading_sd))
    current = {sessions - 1, sessions - 2}
    answer = program.of_list("mean_by_sessions", as_rows(values, days, current, reading_sd), 0.0)
    ours = SessionPosterior(values, numpy.ones((sessions, 1)), reading_sd)
    mean, low, high, spread = ours.level_of(shares_of(values, current))
    level, level_low, level_high, level_spread = ours.expectation([1.0])
    _, next_low, next_high, next_spread = ours.expectation([1.0], new_session=True)
    fields = {
        "mean": (mean, 1e-3 * spread),
        "mean_low": (low, 1e-3 * spread),
        "mean_high": (high, 1e-3 * spread),
        "level": (level, 1e-3 * level_spread),
        "level_low": (level_low, 1e-3 * level_spread),
        "level_high": (level_high, 1e-3 * level_spread),
        "next_session_low": (next_low, 1e-3 * next_spread),
        "next_session_high": (next_high, 1e-3 * next_spread),
        "shot_deviation": (ours.mean_of(ours.shot), 2e-3),
        "session_deviation": (ours.mean_of(ours.tau), 2e-3 * (1.0 + tau)),
        "plain_mean": (float(numpy.mean(numpy.concatenate([values[number] for number in sorted(current)]))), 1e-9),
    }
    for field, (expected, tolerance) in fields.items():
        agree(f"{sessions} sessions, {field}", [expected], [answer[field]], tolerance)


def mixed_model(values, days, with_slope):
    """Restricted maximum likelihood by statsmodels: (result, sessions' effects)."""
    outcome = numpy.concatenate(values)
    groups = numpy.repeat(numpy.arange(len(values)), [len(session) for session in values])
    design = numpy.ones((len(outcome), 1)) if not with_slope else numpy.column_stack([numpy.ones(len(outcome)), days[groups] / 7.0])
    result = statsmodels.api.MixedLM(outcome, design, groups).fit(reml=True)
    assert result.converged
    return result


@needs("mean_by_sessions")
def test_mean_by_sessions_against_mixed_models_where_the_prior_is_negligible(random):
    values, days = drawn_sessions(random, 80, 20, 40, 2.0, 3.0)
    current = {79}
    answer = program.of_list("mean_by_sessions", as_rows(values, days, current), 0.0)
    result = mixed_model(values, days, with_slope=False)
    effect = float(result.random_effects[79].iloc[0])
    agree("level against MixedLM", [result.fe_params[0]], [answer["level"]], 0.02 * result.bse_fe[0])
    agree("mean against MixedLM", [result.fe_params[0] + effect], [answer["mean"]], 0.02)
    # A posterior mean of a deviation lies a little above the maximum; with eighty sessions by about one per cent.
    agree("session deviation against MixedLM", [numpy.sqrt(numpy.asarray(result.cov_re)[0, 0])], [answer["session_deviation"]], 0.05)
    agree("shot deviation against MixedLM", [numpy.sqrt(result.scale)], [answer["shot_deviation"]], 0.01)
    half_width = stats.norm.ppf(0.95) * result.bse_fe[0]
    agree("half width of the level", [half_width], [(answer["level_high"] - answer["level_low"]) / 2.0], 0.05 * half_width)


@needs("trend")
def test_trend(random):
    for sessions in (4, 8, 14):
        values, days = drawn_sessions(random, sessions, 6, 15, 1.0, 3.0, slope_per_day=-0.1)
        answer = program.of_list("trend", as_rows(values, days, {sessions - 1}), 0.0)
        weeks = (days - days.mean()) / 7.0
        ours = SessionPosterior(values, numpy.column_stack([numpy.ones(sessions), weeks]))
        slope, low, high, spread = ours.expectation([0.0, 1.0])
        agree(f"trend of {sessions}, per week", [slope], [answer["per_week"]], 1e-3 * spread)
        agree(f"trend of {sessions}, low", [low], [answer["per_week_low"]], 1e-3 * spread)
        agree(f"trend of {sessions}, high", [high], [answer["per_week_high"]], 1e-3 * spread)
    values, days = drawn_sessions(random, 80, 20, 40, 2.0, 3.0, slope_per_day=-0.02)
    answer = program.of_list("trend", as_rows(values, days, {79}), 0.0)
    result = mixed_model(values, days, with_slope=True)
    agree("trend against MixedLM", [result.fe_params[1]], [answer["per_week"]], 0.03 * result.bse_fe[1])
