"""Marks that come back at one place of the drawing, piece after piece, tested against chance; and their likely origin.

Chance is a mark of its kind anywhere: along the outline for burrs and nicks, on the scored face for scratches and pits.
Where marks of a kind crowd anyway, the crowd around a place is the chance that it is held against.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

EDGE_KINDS, FACE_KINDS = ("burr", "nick"), ("scratch", "pit")
REACH_MM = {"burr": 0.7, "nick": 0.7, "scratch": 1.0, "pit": 0.5}
"""How far apart marks of one origin may lie: what fitting and placing a mark leave (scratches by their middle)."""
AROUND = 8.0
"""The crowd around a place is counted this many times further out."""
FALSE_ALARM = 0.01
"""Chance of naming any place of a kind in a lot whose marks are all chance."""
LEAST_PIECES = 3
ONE_DIE = 0.01
"""A place belongs to one die when the others would share it so unevenly by a chance below this."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One finding on one piece: its kind, its place in the drawing (mm), and the piece's tray, number and die."""

    kind: str
    x_mm: float
    y_mm: float
    tray: str
    piece: int
    die: str


@dataclass(frozen=True, slots=True)
class Ground:
    """Where marks may lie: the outline's length and the scored face's area."""

    outline_mm: float
    face_mm2: float


@dataclass(frozen=True, slots=True)
class Place:
    """Marks of one kind at one place.

    `pieces`: (tray, piece) of those that bear one; `by_die`: how many of each die's; `p`: chance of as many anywhere in
    the lot; `die`: the die it belongs to, None where it is on several alike; `origin`: the likely origin in words.
    """

    kind: str
    x_mm: float
    y_mm: float
    pieces: tuple[tuple[str, int], ...]
    by_die: Mapping[str, int]
    p: float
    die: str | None
    origin: str


@dataclass(frozen=True, slots=True)
class SamePlace:
    """What was found in a lot or a history: places, strongest first, and how many marks of each kind lie anywhere."""

    places: tuple[Place, ...]
    elsewhere: Mapping[str, int]
    pieces: Mapping[str, int]

    @property
    def words(self) -> tuple[str, ...]:
        """What it comes to, a line for each kind of mark."""
        lines = [f"{place.kind} at ({place.x_mm:.1f}, {place.y_mm:.1f}) mm: {place.origin}" for place in self.places]
        lines += [
            f"{count} {kind}{'s' if kind != 'scratch' else 'es'} anywhere: handling"
            if count != 1
            else f"1 {kind} elsewhere: handling"
            for kind, count in self.elsewhere.items()
            if count
        ]
        return tuple(lines)


def same_place(marks: Sequence[Mark], pieces_by_die: Mapping[str, int], ground: Ground) -> SamePlace:
    """Find places where marks recur.

    Parameters
    ----------
    pieces_by_die
        How many pieces of each die were looked at, marked or not.
    """
    places: list[Place] = []
    elsewhere: dict[str, int] = {}
    for kind in (*EDGE_KINDS, *FACE_KINDS):
        left = [mark for mark in marks if mark.kind == kind]
        tested = len(left)
        while found := _strongest(left, tested, kind, ground):
            members, p = found
            places.append(_place(members, p, pieces_by_die))
            taken = {id(mark) for mark in members}
            left = [mark for mark in left if id(mark) not in taken]
        elsewhere[kind] = len(left)
    return SamePlace(tuple(sorted(places, key=lambda place: place.p)), elsewhere, dict(pieces_by_die))


def _strongest(marks: Sequence[Mark], tested: int, kind: str, ground: Ground) -> tuple[list[Mark], float] | None:
    """The crowd that chance explains least, where it explains it less than `FALSE_ALARM` of times."""
    if len(marks) < LEAST_PIECES:
        return None
    at = np.array([[mark.x_mm, mark.y_mm] for mark in marks])
    apart = np.hypot(at[:, None, 0] - at[None, :, 0], at[:, None, 1] - at[None, :, 1])
    reach = REACH_MM[kind]
    piece = [(mark.tray, mark.piece) for mark in marks]
    near = apart <= reach
    counts = np.array([len({piece[j] for j in np.flatnonzero(row)}) for row in near])
    whole = ground.outline_mm if kind in EDGE_KINDS else ground.face_mm2
    window = 2 * reach if kind in EDGE_KINDS else pi * reach**2
    wider = AROUND if kind in EDGE_KINDS else AROUND**2
    even = min(1.0, window / max(whole, window))
    crowd = ((apart <= AROUND * reach) & ~near).sum(axis=1) / len(marks) / (wider - 1.0)
    chance = np.clip(np.maximum(even, crowd), 0.0, 1.0)
    # A place is looked at around each mark: of the others at least so many lie there too.
    alone = stats.binom.sf(counts - 2, len(marks) - 1, chance)
    p = np.minimum(1.0, tested * alone)
    p[counts < LEAST_PIECES] = 1.0
    best = int(np.lexsort((-counts, p))[0])
    if p[best] > FALSE_ALARM:
        return None
    # The marks about the crowd's own middle, which is steadier than any one of them.
    middle = at[near[best]].mean(axis=0)
    members = [mark for mark, d in zip(marks, np.hypot(*(at - middle).T), strict=True) if d <= reach]
    return (members or [marks[best]]), float(p[best])


def _place(members: Sequence[Mark], p: float, pieces_by_die: Mapping[str, int]) -> Place:
    marked = {(mark.tray, mark.piece): mark.die for mark in members}
    by_die = Counter(marked.values())
    x, y = (float(np.mean([getattr(mark, axis) for mark in members])) for axis in ("x_mm", "y_mm"))
    die, origin = _origin(by_die, pieces_by_die)
    return Place(members[0].kind, x, y, tuple(sorted(marked)), dict(by_die), p, die, origin)


def _origin(by_die: Mapping[str, int], pieces_by_die: Mapping[str, int]) -> tuple[str | None, str]:
    """Whose place it is, and the likely origin in words."""
    total, pieces = sum(by_die.values()), sum(pieces_by_die.values())
    top = max(by_die, key=lambda die: (by_die[die] / max(pieces_by_die.get(die, 1), 1), die))
    share = f"{by_die[top]} of {pieces_by_die.get(top, by_die[top])} pieces"
    if len(pieces_by_die) < 2:
        return None, f"on {share} of the only die seen: the die, or a fixture; compare with another die"
    expected = pieces_by_die.get(top, 0) / max(pieces, 1)
    uneven = float(stats.binom.sf(by_die[top] - 1, total, expected)) * len(pieces_by_die)
    if uneven < ONE_DIE:
        others = total - by_die[top]
        beside = "" if others == 0 else f" (and on {others} of other dies)"
        return top, f"on {share} of die {top}{beside}: the die {top} itself"
    return None, f"on {total} pieces of {len(by_die)} dies alike: a fixture or a mould that all of them pass"
