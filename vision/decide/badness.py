"""How bad a reason is, so that the worst comes first: one figure for every measure, whatever its unit and limit."""

from vision.decide.guard import quantile
from vision.decide.measures import MEASURES
from vision.records import Reason

_USUAL_COVERAGE = 0.95  # its guard band is the smallest step of a measured value that means something


def badness(reason: Reason) -> float:
    """How bad a reason is among those of its class and outcome, from 0 to 1.

    Of a reject by its excess e over the limit in tolerances, as e / (1 + e): a tolerance is the way from what the
    drawing has to the limit, and no less than the smallest step that means something (one, of a count; the guard band,
    of what is measured), so that a limit of 0 ranks as any other. Of a review by its chance of not keeping the limit;
    a missing value is as bad as one that surely does not.

    Parameters
    ----------
    reason
        A limit that was not passed.

    Returns
    -------
    float
        0 to 1, larger is worse.

    Examples
    --------
    >>> one, thirty = (
    ...     Reason("scratch_count", None, count, 0.3, None, 0.0, "major", "reject") for count in (1, 30)
    ... )
    >>> round(badness(one), 2), round(badness(thirty), 2)
    (0.5, 0.97)
    """
    if reason.outcome == "review":
        return 1.0 if reason.conformance is None else 1.0 - reason.conformance
    excess = max(0.0, _excess(reason))
    return excess / (1.0 + excess)


def _excess(reason: Reason) -> float:
    """How far the value lies beyond its limit, in tolerances; 0 where nothing is known."""
    if reason.value is None:
        return 0.0
    known = MEASURES.get(reason.measure)
    middle = known.as_drawn if known else None
    if reason.min is not None and reason.max is not None:
        middle = 0.5 * (reason.min + reason.max)
    whole = known is not None and known.unit == "" and known.decimals == 0
    step = 1.0 if whole else max(quantile(_USUAL_COVERAGE) * (reason.uncertainty or 0.0), 1e-9)
    beyond = [
        side * (reason.value - bound) / max(step, abs(bound) if middle is None else abs(bound - middle))
        for bound, side in ((reason.max, 1.0), (reason.min, -1.0))
        if bound is not None
    ]
    return max(beyond, default=0.0)
