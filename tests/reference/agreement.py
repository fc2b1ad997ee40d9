"""Compares two lists of numbers, says where they differ most, and proves each time that it would have noticed a difference."""

import math

import numpy


class Disagreement(AssertionError):
    """Two implementations differ by more than the stated tolerance."""


def compare(what, ours, theirs, tolerance, described):
    """Raises at the worst difference beyond `tolerance` (a number, or one a row); answers the worst difference."""
    ours = numpy.asarray(ours, dtype=float)
    theirs = numpy.asarray([math.nan if value is None else value for value in theirs], dtype=float)
    assert ours.shape == theirs.shape and ours.size, f"{what}: {ours.shape} against {theirs.shape}"
    tolerances = numpy.broadcast_to(numpy.asarray(tolerance, dtype=float), ours.shape)
    differences = numpy.abs(ours - theirs)
    # What is no number on either side never passes for agreement.
    ratios = numpy.where(numpy.isfinite(differences), differences / tolerances, math.inf)
    worst = int(numpy.argmax(ratios))
    if ratios[worst] > 1.0:
        raise Disagreement(
            f"{what}: here {ours[worst]!r}, the program {theirs[worst]!r}, tolerance {tolerances[worst]:g}, at {described(worst)}; "
            f"{int(numpy.sum(ratios > 1.0))} of {ours.size} differ"
        )
    return float(differences.max())


def agree(what, ours, theirs, tolerance, described=lambda row: f"row {row}"):
    """`compare`, then the same with one answer of the program off by twice the tolerance, which has to fail."""
    worst = compare(what, ours, theirs, tolerance, described)
    tolerances = numpy.broadcast_to(numpy.asarray(tolerance, dtype=float), (len(theirs),))
    for place in (0, len(theirs) // 2, len(theirs) - 1):
        bent = list(theirs)
        bent[place] = ours[place] + 2.0 * tolerances[place]
        try:
            compare(what, ours, bent, tolerance, described)
        except Disagreement:
            continue
        raise AssertionError(f"{what}: an answer off by {2.0 * tolerances[place]:g} would have passed")
    print(f"{what}: {len(theirs)} answers, worst difference {worst:.3g}, tolerance {numpy.max(tolerances):g}")
    return worst


def notices(what, ours, theirs, tolerance):
    """A reference that lacks something has to disagree; else the questions never touched what it lacks."""
    try:
        compare(what, ours, theirs, tolerance, lambda row: f"row {row}")
    except Disagreement:
        return
    raise AssertionError(f"{what}: nobody would notice")
