"""Whether a new judgement of a piece says anything worse than an earlier one, which a person has seen and accepted."""

import math
from collections.abc import Iterator, Sequence

from vision.decide.causes import SAME_PLACE_MM
from vision.decide.guard import quantile
from vision.decide.measures import MEASURES
from vision.records import BendFinding, EdgeFinding, Finding, JudgedPiece, Pit, Reason, Scratch, Speck

_RANK = {"pass": 0, "review": 1, "reject": 2}
_CLASS = {"minor": 0, "major": 1, "critical": 2}


def says_nothing_worse(new: JudgedPiece, old: JudgedPiece, coverage: float) -> bool:
    """Whether a person who accepted the piece as `old` has it has seen all that `new` holds against it.

    So it is when the verdict is the same or better, no reason and no fault is new, no value lies farther beyond its
    limit than it did by more than its guard band, and every finding that decides has one of its kind in its place.

    Parameters
    ----------
    new
        The later judgement.
    old
        The one that the person saw.
    coverage
        One-sided probability behind the guard bands, of the limits that `new` was judged by.

    Returns
    -------
    bool
        Whether nothing new speaks against the piece.
    """
    if new.verdict == "pass":
        return True
    if _RANK[new.verdict] > _RANK[old.verdict] or new.fault not in (None, old.fault):
        return False
    before = {(reason.measure, reason.zone): reason for reason in old.reasons}
    for reason in new.reasons:
        seen = before.get((reason.measure, reason.zone))
        if seen is None or _worse(reason, seen, coverage):
            return False
    known = list(_deciding(old))
    return all(any(_same_mark(one, other) for other in known) for one in _deciding(new))


def _worse(new: Reason, old: Reason, coverage: float) -> bool:
    if _RANK[new.outcome] > _RANK[old.outcome] or _CLASS[new.severity] > _CLASS[old.severity]:
        return True
    if new.value is None or old.value is None:
        return new.value is not old.value  # one that is missing now, or was then, was not seen
    return _beyond(new) > _beyond(old) + quantile(coverage) * (new.uncertainty or 0.0)


def _beyond(reason: Reason) -> float:
    """How far the value lies beyond its limit; negative within it."""
    assert reason.value is not None
    over = [] if reason.max is None else [reason.value - reason.max]
    under = [] if reason.min is None else [reason.min - reason.value]
    return max(over + under, default=0.0)


def _deciding(judged: JudgedPiece) -> Iterator[Finding]:
    """The findings that a piece's reasons rest on."""
    for finding, counts in zip(judged.findings, judged.counted, strict=True):
        if any(_rests_on(reason, finding, counts) for reason in judged.reasons):
            yield finding


def _rests_on(reason: Reason, finding: Finding, counts: bool) -> bool:
    known = MEASURES.get(reason.measure)
    if known is None or finding.kind not in known.kinds:
        return False
    if isinstance(finding, EdgeFinding):
        return reason.zone in (None, finding.zone)
    return counts or not isinstance(finding, Scratch | Pit | Speck)


def _same_mark(one: Finding, other: Finding) -> bool:
    if one.kind != other.kind:
        return False
    if isinstance(one, BendFinding) or isinstance(other, BendFinding):
        return True
    apart = min(math.dist(p, q) for p in _places(one) for q in _places(other))
    return apart <= SAME_PLACE_MM + 0.5 * max(_extent(one), _extent(other))


def _places(finding: Finding) -> Sequence[tuple[float, float]]:
    if isinstance(finding, Scratch):
        return finding.points_mm
    assert not isinstance(finding, BendFinding)
    return (finding.center_mm,)


def _extent(finding: Finding) -> float:
    return finding.extent_mm if isinstance(finding, EdgeFinding) else 0.0
