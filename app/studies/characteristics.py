"""Agreement and misses for each limit: what the camera stops by it against the kinds of defect that people name."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from app.statistics import Estimate
from app.studies.camera_and_people import ACCEPT, NO_VERDICT, REJECT, Answers, PieceKey, majority
from app.studies.pairs import Pair, compare, rate
from vision.decide import MEASURES
from vision.records import JudgedPiece


def kinds_of(measure: str) -> frozenset[str]:
    """Kinds of defect that a limit on a measure looks for: those that the measure rests on; none of one unknown."""
    return frozenset(MEASURES[measure].kinds) if measure in MEASURES else frozenset()


@dataclass(frozen=True, slots=True)
class LimitStudy:
    """One limit that the camera's reasons name, `name` with its zone after a point.

    `stopped`: judged pieces that it does not pass, `alone` those that no other limit stops. `false_alarm`: of the
    pieces that most people accept, those that it stops. `pair`: stopped by it or not against most people rejecting the
    piece and one of them naming a kind that it looks for; None where nobody names such a kind.
    """

    name: str
    stopped: int
    alone: int
    false_alarm: Estimate
    pair: Pair | None


def reasons_of(piece: JudgedPiece) -> frozenset[str]:
    """The limits that a piece does not pass, by name."""
    return frozenset(f"{one.measure}.{one.zone}" if one.zone else one.measure for one in piece.reasons)


def study_limits(said: Answers, reasons: Mapping[PieceKey, frozenset[str]]) -> tuple[LimitStudy, ...]:
    """Every limit that stops one of the judged pieces, or that looks for a kind that people name, by name."""
    by = [reasons[key] for key in said.pieces]
    counts = Counter(name for names in by for name in names)
    held = majority(said.first)
    found = []
    for name in sorted({name for names in reasons.values() for name in names}):
        stopped = np.array([name in names for names in by], dtype=np.bool_)
        named = _named(said, kinds_of(name.partition(".")[0]))
        pair = None
        if named.any():
            people = np.where(held == NO_VERDICT, NO_VERDICT, np.where(named & (held == REJECT), REJECT, ACCEPT))
            camera = np.where(stopped, REJECT, ACCEPT).astype(np.int8)
            pair = compare(said, camera, people.astype(np.int8), camera=True)
        found.append(
            LimitStudy(
                name=name,
                stopped=counts[name],
                alone=sum(names == {name} for names in by),
                false_alarm=rate(said, held == ACCEPT, stopped),
                pair=pair,
            )
        )
    return tuple(found)


def _named(said: Answers, kinds: frozenset[str]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(pieces,) whether somebody names one of these kinds."""
    found = np.zeros(len(said.pieces), dtype=np.bool_)
    for (row, _), words in said.defects.items():
        found[row] |= not kinds.isdisjoint(words)
    return found
