"""A lot in figures: what became of its pieces, why some did not pass, where and when, and what goes to packing."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from app.statistics import Chart, Estimate, share_chart, wilson
from app.studies.camera_and_people import PersonVerdict, PieceKey
from app.studies.escapes import NOBODY_LOOKED, Escapes, PassedBlind, escapes_of
from vision.records import Verdict

Fate = Literal["passed", "accepted", "rejected", "sorted out", "waiting"]
"""Passed by the camera; flagged, then accepted or rejected by a person; rejected by the camera alone; flagged for
review and not yet seen by anybody."""

PACKED: tuple[Fate, ...] = ("passed", "accepted")
GROUPS_AT_MOST = 5
POINTS_AT_MOST = 100
"""Points of the chart over time: as many as can be told apart on it. A lot of more trays has several in a point."""
DIE, STROKES = "die", "strokes"
"""Process values: strokes are counted on one die, and those of two are never put together."""


@dataclass(frozen=True, slots=True)
class LotTray:
    """A tray of the lot."""

    tray: str
    station: str
    taken_at: str | None
    limits_revision: int
    software: str
    filed_at: str
    process: Mapping[str, str | float]


@dataclass(frozen=True, slots=True)
class LotPiece:
    """A piece: the camera's verdict, its first reason (or fault), and the digest of the judgement.

    `beyond`: how far that reason's value lies beyond its limit, in the measure's own unit; negative within it, where a
    guard band sends pieces to review; 0 for a fault.
    """

    piece_id: int
    tray: str
    piece: int
    verdict: Verdict
    reason: str | None
    digest: str
    beyond: float = 0.0

    @property
    def key(self) -> PieceKey:
        """Its place among the lot's trays."""
        return PieceKey(self.tray, self.piece)


@dataclass(frozen=True, slots=True)
class MeasureSum:
    """One measure over the lot: count, mean, mean square, extremes, mean standard uncertainty (None where unknown)."""

    measure: str
    zone: str
    count: int
    mean: float
    mean_square: float
    least: float
    most: float
    uncertainty: float | None

    @property
    def deviation(self) -> float | None:
        """Standard deviation over the pieces; None for a single one."""
        if self.count < 2:
            return None
        return sqrt(max(self.mean_square - self.mean**2, 0.0) * self.count / (self.count - 1))


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many pieces, and the share with its 95 % interval; `name` says which."""

    name: str
    count: int
    of: int
    share: Estimate


@dataclass(frozen=True, slots=True)
class Grouping:
    """Pieces not passed by the camera, group by group of one process value, station, or other thing."""

    name: str
    groups: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class LotYield:
    """Share of a lot's pieces that go to packing.

    `least` with all waiting pieces sorted out and `most` with all of them accepted; `ci` from the lower end of the one
    to the upper end of the other (Wilson, 95 %). Where nothing waits both are the same.
    """

    least: float
    most: float
    ci: tuple[float, float]
    waiting: int


@dataclass(frozen=True, slots=True, eq=False)
class OverTime:
    """Shares not passed in trays that follow each other: p chart, and each point's first tray, trays and pieces."""

    chart: Chart
    first_trays: tuple[str, ...]
    trays_each: tuple[int, ...]
    sizes: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LotFigures:
    """All of it; `reasons`: why the camera did not pass pieces, `named`: what people found wrong."""

    trays: int
    pieces: int
    fates: Mapping[Fate, int]
    first_pass: Estimate
    yielded: LotYield | None
    reasons: tuple[Share, ...]
    named: tuple[Share, ...]
    groupings: tuple[Grouping, ...]
    over_time: OverTime | None
    escapes: Escapes | None

    @property
    def to_packing(self) -> int:
        """Pieces that may be packed."""
        return sum(self.fates[fate] for fate in PACKED)


def lot_figures(
    trays: Sequence[LotTray],
    pieces: Sequence[LotPiece],
    fates: Mapping[PieceKey, Fate],
    passed_blind: PassedBlind = NOBODY_LOOKED,
    said: Iterable[PersonVerdict] = (),
) -> LotFigures:
    """Figures of a lot.

    Parameters
    ----------
    trays, pieces
        In order of time.
    fates
        Of every piece, see `fates_of`.
    passed_blind
        What people said, in blind rounds, of pieces that the camera passes.
    said
        What holds of what people said outside them.

    Returns
    -------
    LotFigures
        Counts, and shares with their 95 % intervals.
    """
    count = Counter(fates.values())
    counts: dict[Fate, int] = {
        fate: count[fate] for fate in ("passed", "accepted", "rejected", "sorted out", "waiting")
    }
    passed = sum(piece.verdict == "pass" for piece in pieces)
    packed = sum(counts[fate] for fate in PACKED)
    return LotFigures(
        trays=len(trays),
        pieces=len(pieces),
        fates=counts,
        first_pass=wilson(passed, len(pieces)),
        yielded=_yield(packed, counts["waiting"], len(pieces)),
        reasons=_shares(
            (piece.reason for piece in pieces if piece.reason is not None and piece.verdict != "pass"), len(pieces)
        ),
        named=_shares(_named_by_people(fates, said), len(pieces)),
        groupings=_groupings(trays, pieces),
        over_time=_over_time(trays, pieces),
        escapes=escapes_of(counts["passed"], packed, passed_blind),
    )


def _shares(names: Iterable[str], pieces: int) -> tuple[Share, ...]:
    """How many pieces bear each name, the commonest first; of equally common ones by name."""
    ranked = sorted(Counter(names).items(), key=lambda one: (-one[1], one[0]))
    return tuple(Share(name, count, pieces, wilson(count, pieces)) for name, count in ranked)


def _named_by_people(fates: Mapping[PieceKey, Fate], said: Iterable[PersonVerdict]) -> Iterator[str]:
    """What people named on each piece that they rejected, by the newest word on it; a piece may bear several names."""
    newest = {PieceKey(one.tray, one.piece): one for one in said}
    for key, one in newest.items():
        if fates.get(key) == "rejected":
            yield from sorted(set(one.defects))


@dataclass(frozen=True, slots=True, order=True)
class _Group:
    """A group of trays: numbers stand as they grow, by the group's lower end; words before them, by name."""

    least: float
    name: str


def _groupings(trays: Sequence[LotTray], pieces: Sequence[LotPiece]) -> tuple[Grouping, ...]:
    names = sorted({name for tray in trays for name in tray.process})
    found = [
        _grouping("station", {tray.tray: _words(tray.station) for tray in trays}, pieces),
        *(_grouping(words, _named(some, name), pieces) for name in names for words, some in _alike(trays, name)),
    ]
    return tuple(one for one in found if len(one.groups) > 1)


def _alike(trays: Sequence[LotTray], name: str) -> list[tuple[str, Sequence[LotTray]]]:
    """The trays among which a process value can be compared, and what it is called there."""
    dies = sorted({str(tray.process[DIE]) for tray in trays if DIE in tray.process})
    if name != STROKES or not dies:
        return [(name, trays)]
    return [(f"{STROKES}, die {die}", [tray for tray in trays if str(tray.process.get(DIE)) == die]) for die in dies]


def _words(name: str) -> _Group:
    return _Group(float("-inf"), name)


def _named(trays: Sequence[LotTray], name: str) -> dict[str, _Group]:
    """Each tray's group by a process value: words as they are, numbers in up to five groups of as many trays."""
    values = {tray.tray: tray.process[name] for tray in trays if name in tray.process}
    numbers = sorted({float(value) for value in values.values() if not isinstance(value, str)})
    if len(numbers) <= GROUPS_AT_MOST:
        return {
            tray: _words(value) if isinstance(value, str) else _Group(value, f"{value:g}")
            for tray, value in values.items()
        }
    edges = np.quantile(
        [float(value) for value in values.values() if not isinstance(value, str)],
        np.linspace(0.0, 1.0, GROUPS_AT_MOST + 1),
    )
    groups = {}
    for tray, value in values.items():
        if isinstance(value, str):
            groups[tray] = _words(value)
            continue
        at = int(np.clip(np.searchsorted(edges, value, side="right") - 1, 0, GROUPS_AT_MOST - 1))
        groups[tray] = _Group(float(edges[at]), f"{edges[at]:.6g} to {edges[at + 1]:.6g}")
    return groups


def _grouping(name: str, group_of: Mapping[str, _Group], pieces: Sequence[LotPiece]) -> Grouping:
    counts: dict[_Group, list[int]] = {}
    for piece in pieces:
        if piece.tray in group_of:
            one = counts.setdefault(group_of[piece.tray], [0, 0])
            one[0] += piece.verdict != "pass"
            one[1] += 1
    return Grouping(name, tuple(Share(g.name, counts[g][0], counts[g][1], wilson(*counts[g])) for g in sorted(counts)))


def _over_time(trays: Sequence[LotTray], pieces: Sequence[LotPiece]) -> OverTime | None:
    """One point a tray, or where they are many as many trays as it takes; None for fewer than two trays."""
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for piece in pieces:
        counts[piece.tray][0] += piece.verdict != "pass"
        counts[piece.tray][1] += 1
    slots = np.array_split(np.arange(len(trays)), max(1, min(POINTS_AT_MOST, len(trays))))
    named = [[trays[k].tray for k in slot] for slot in slots]
    named = [slot for slot in named if sum(counts[tray][1] for tray in slot)]
    bad = np.array([sum(counts[tray][0] for tray in slot) for slot in named], dtype=np.float64)
    sizes = np.array([sum(counts[tray][1] for tray in slot) for slot in named], dtype=np.float64)
    if len(named) < 2:
        return None
    firsts, each = tuple(slot[0] for slot in named), tuple(len(slot) for slot in named)
    return OverTime(share_chart(bad, sizes), firsts, each, tuple(int(size) for size in sizes))


def _yield(packed: int, waiting: int, pieces: int) -> LotYield | None:
    least, most = wilson(packed, pieces), wilson(packed + waiting, pieces)
    if least.value is None or most.value is None or least.ci is None or most.ci is None:
        return None
    return LotYield(least.value, most.value, (least.ci[0], most.ci[1]), waiting)
