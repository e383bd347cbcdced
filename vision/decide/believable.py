"""Whether a stored verdict follows from what stands beside it: no result file is believed without."""

from collections.abc import Mapping

from vision.decide.counts import COUNTED_MEASURES
from vision.decide.verdicts import rejudge
from vision.records import JudgedPiece, Limits, Reason, Value

_WORSE = {"pass": 0, "review": 1, "reject": 2}
_SAME = 1e-9  # of counts formed anew, relative


def unfounded(piece: JudgedPiece) -> str:
    """What of a piece's verdict does not follow from its own reasons and measures.

    Parameters
    ----------
    piece
        A piece as judged, read from a file.

    Returns
    -------
    str
        In words; empty where all of it follows.
    """
    outcomes = [reason.outcome for reason in piece.reasons]
    follows = "reject" if "reject" in outcomes else "review" if outcomes or piece.fault else "pass"
    if piece.verdict != follows:
        return f"{follows} follows from its reasons, not {piece.verdict}"
    for reason in piece.reasons:
        if (reason.value, reason.uncertainty) != (
            _number(piece.measures, reason),
            _number(piece.uncertainties, reason),
        ):
            return f"the reason {reason.measure} has another value than the measure"
        if any(index >= len(piece.findings) for index in reason.findings):
            return f"the reason {reason.measure} names a finding that is not there"
        beyond = reason.value is not None and not (
            (reason.min is None or reason.value >= reason.min) and (reason.max is None or reason.value <= reason.max)
        )
        if reason.outcome == "reject" and not beyond and reason.measure not in COUNTED_MEASURES:
            return f"{reason.measure} rejects, and lies within its limits"
    return ""


def against_limits(piece: JudgedPiece, limits: Limits) -> str:
    """What of a piece's verdict and counts does not follow from its measures and findings under the limits it names.

    Parameters
    ----------
    piece
        A piece as judged, read from a file.
    limits
        Those that judged it.

    Returns
    -------
    str
        In words; empty where all of it follows, or where it was judged more strictly than they ask.
    """
    again = rejudge(piece, limits)
    if _WORSE[piece.verdict] < _WORSE[again.verdict]:
        return f"{again.verdict} follows from its measures and limits, not {piece.verdict}"
    for name in COUNTED_MEASURES:
        before, now = piece.measures.get(name), again.measures.get(name)
        if (
            isinstance(before, float | int)
            and isinstance(now, float | int)
            and abs(now - before) > _SAME * max(abs(now), 1.0)
        ):
            return f"{name} is {now:g} by its findings, not {before:g}"
    return ""


def _number(values: Mapping[str, Value], reason: Reason) -> float | None:
    found = values.get(reason.measure)
    if isinstance(found, Mapping):
        return found.get(reason.zone) if reason.zone is not None else None
    return found
