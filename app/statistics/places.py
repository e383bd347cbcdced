"""Marks that come back at one place of the drawing, piece after piece, tested against chance; and their likely origin.

Chance is a mark of its kind anywhere: along the outline for burrs and nicks, on the scored face for scratches and pits.
Where marks of a kind crowd anyway, the crowd around a place is the chance that it is held against; a place is narrow,
handling's crowds are smooth. Whose a place is: `app.statistics.origins`.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
from scipy import stats
from scipy.spatial import cKDTree

from app.statistics.origins import NEAR, TOLD, Origin, origins

EDGE_KINDS, FACE_KINDS = ("burr", "nick"), ("scratch", "pit")
REACH_MM = {"burr": 0.7, "nick": 0.7, "scratch": 1.0, "pit": 0.5}
"""How far apart marks of one origin may lie: what fitting and placing a mark leave (scratches by their middle)."""
AROUND = 8.0
"""The crowd around a place is counted this many times further out."""
FALSE_ALARM = 0.01
"""Chance, at most, of naming any place in a lot whose marks are all chance: shared by the kinds (Bonferroni)."""
LEAST_PIECES = 3
NARROW = 4.0
"""Marks of one origin lie within the reach, those of handling as densely this many times further out."""
STEEPER = 1.5
"""How much denser than out to that handling's marks may lie within the reach: as in a crowd 2 mm wide at a tip."""
UNNAMED = "not named"
"""Stands for the die of trays that name none."""


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
    marks
        Marks of pieces by where they lie.
    pieces_by_die
        How many pieces of each die were looked at, marked or not.
    ground
        Where marks are to be expected by chance.

    Returns
    -------
    SamePlace
        Places, the most telling first, and how many marks of each kind lie elsewhere.
    """
    places: list[Place] = []
    elsewhere: dict[str, int] = {}
    for kind in (*EDGE_KINDS, *FACE_KINDS):
        left = [mark for mark in marks if mark.kind == kind]
        tested = len(left)
        while found := _strongest(left, tested, kind, ground):
            stray = found.chance * len(left) / max(sum(pieces_by_die.values()), 1)
            places.append(_place(found.members, found.p, pieces_by_die, stray))
            taken = {id(mark) for mark in found.members}
            left = [mark for mark in left if id(mark) not in taken]
        elsewhere[kind] = len(left)
    return SamePlace(tuple(sorted(places, key=lambda place: place.p)), elsewhere, dict(pieces_by_die))


@dataclass(frozen=True, slots=True)
class _Crowd:
    """Marks at one place, the chance `p` of as many anywhere, and the share of all marks that lie there by `chance`."""

    members: tuple[Mark, ...]
    p: float
    chance: float


def _strongest(marks: Sequence[Mark], tested: int, kind: str, ground: Ground) -> _Crowd | None:
    """The crowd that chance explains least, where it explains it less than `FALSE_ALARM` of times."""
    if len(marks) < LEAST_PIECES:
        return None
    reach = REACH_MM[kind]
    at = np.array([[mark.x_mm, mark.y_mm] for mark in marks])
    tree = cKDTree(at)
    near, around = (tree.query_ball_point(at, far, return_length=True) for far in (reach, AROUND * reach))
    size = ground.outline_mm if kind in EDGE_KINDS else ground.face_mm2
    window = 2 * reach if kind in EDGE_KINDS else pi * reach**2
    wider = AROUND if kind in EDGE_KINDS else AROUND**2
    even = min(1.0, window / max(size, window))
    chance = np.clip(np.maximum(even, (around - near) / len(marks) / (wider - 1.0)), 0.0, 1.0)
    tests = tested * len(REACH_MM)
    # Against a smooth crowd: of the marks out to a few times the reach so many within it, wherever in that stretch.
    aside = tree.query_ball_point(at, NARROW * reach, return_length=True)
    further = NARROW if kind in EDGE_KINDS else NARROW**2
    smooth = STEEPER / (STEEPER + further - 1.0)
    # A place is looked at around each mark: of the others at least so many lie there too. Pieces are at most as many as
    # marks, so that a crowd whose marks alone can't beat the best one need not be looked at.
    narrow = aside / near * stats.binom.sf(near - 1, aside, smooth)
    least = np.minimum(1.0, np.maximum(tests * stats.binom.sf(near - 2, len(marks) - 1, chance), narrow))
    best, best_p, best_count = -1, FALSE_ALARM, 0
    for k in np.lexsort((-near, least)).tolist():
        if least[k] > best_p or (least[k] == best_p and near[k] <= best_count):
            break
        count = len({(marks[j].tray, marks[j].piece) for j in tree.query_ball_point(at[k], reach)})
        alone = aside[k] - near[k] + count
        crowded = alone / count * float(stats.binom.sf(count - 1, alone, smooth))
        p = min(1.0, max(tests * float(stats.binom.sf(count - 2, len(marks) - 1, chance[k])), crowded))
        if count >= LEAST_PIECES and (p, -count) < (best_p, -best_count):
            best, best_p, best_count = k, p, count
    if best < 0:
        return None
    # The marks about the crowd's own middle, which is steadier than any one of them.
    middle = at[tree.query_ball_point(at[best], reach)].mean(axis=0)
    members = tuple(marks[j] for j in sorted(tree.query_ball_point(middle, reach)))
    return _Crowd(members or (marks[best],), best_p, float(chance[best]))


def _place(members: Sequence[Mark], p: float, pieces_by_die: Mapping[str, int], stray: float) -> Place:
    marked = {(mark.tray, mark.piece): mark.die for mark in members}
    by_die = Counter(marked.values())
    x, y = (float(np.mean([getattr(mark, axis) for mark in members])) for axis in ("x_mm", "y_mm"))
    die, origin = _origin(by_die, pieces_by_die, stray)
    return Place(members[0].kind, x, y, tuple(sorted(marked)), dict(by_die), p, die, origin)


def _origin(by_die: Mapping[str, int], pieces_by_die: Mapping[str, int], stray: float) -> tuple[str | None, str]:
    """Whose place it is, and the likely origin in words; trays that name no die tell nothing of it."""
    dies = {die: pieces for die, pieces in pieces_by_die.items() if die != UNNAMED}
    bear = {die: by_die.get(die, 0) for die in dies}
    if sum(bear.values()) == 0:
        return None, f"on {sum(by_die.values())} pieces whose trays name no die: the die, or a fixture"
    counts = ", ".join(f"{bear[die]} of {dies[die]} pieces of die {die}" for die in sorted(dies))
    if len(dies) < 2:
        return None, f"on {counts}, the only die seen: the die, or a fixture; compare with another die"
    best, second, *_ = origins(bear, dies, stray)
    if best.share < TOLD:
        likely = f"most likely {_words(best, len(dies))} ({best.share:.2f}), or {_words(second, len(dies))}"
        return None, f"on {counts}: too few to tell; {likely} ({second.share:.2f})"
    near = f" (next: {_words(second, len(dies))}, {second.share:.2f})" if second.share >= NEAR else ""
    return (best.dies[0] if len(best.dies) == 1 else None), f"on {counts}: {_words(best, len(dies))}{near}"


def _words(origin: Origin, dies: int) -> str:
    """A hypothesis in words."""
    if len(origin.dies) == 1:
        return f"the die {origin.dies[0]} itself"
    if len(origin.dies) < dies:
        return f"something that only dies {' and '.join(origin.dies)} pass"
    if origin.alike:
        return "a fixture or a mould that all of them pass"
    return "all dies, each at a rate of its own"
