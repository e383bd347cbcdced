"""Marks that come back at one place of the drawing, piece after piece, tested against chance; and their likely origin.

Chance is a mark of its kind anywhere: along the outline for burrs and nicks, on the scored face for scratches and pits.
Where marks of a kind crowd anyway, the crowd around a place is the chance that it is held against.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
from scipy import stats
from scipy.spatial import cKDTree

EDGE_KINDS, FACE_KINDS = ("burr", "nick"), ("scratch", "pit")
REACH_MM = {"burr": 0.7, "nick": 0.7, "scratch": 1.0, "pit": 0.5}
"""How far apart marks of one origin may lie: what fitting and placing a mark leave (scratches by their middle)."""
AROUND = 8.0
"""The crowd around a place is counted this many times further out."""
FALSE_ALARM = 0.01
"""Chance, at most, of naming any place in a lot whose marks are all chance: shared by the kinds (Bonferroni)."""
LEAST_PIECES = 3
ONE_DIE = 0.01
"""A place belongs to one die when all dies alike would share it so unevenly by a chance below this."""
ALIKE = 0.2
"""All dies bear a place alike only where chance would share it as unevenly more often than this."""
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
    reach = REACH_MM[kind]
    at = np.array([[mark.x_mm, mark.y_mm] for mark in marks])
    tree = cKDTree(at)
    near, around = (tree.query_ball_point(at, far, return_length=True) for far in (reach, AROUND * reach))
    whole = ground.outline_mm if kind in EDGE_KINDS else ground.face_mm2
    window = 2 * reach if kind in EDGE_KINDS else pi * reach**2
    wider = AROUND if kind in EDGE_KINDS else AROUND**2
    even = min(1.0, window / max(whole, window))
    chance = np.clip(np.maximum(even, (around - near) / len(marks) / (wider - 1.0)), 0.0, 1.0)
    tests = tested * len(REACH_MM)
    # A place is looked at around each mark: of the others at least so many lie there too. Pieces are at most as many as
    # marks, so that a crowd whose marks alone can't beat the best one need not be looked at.
    least = np.minimum(1.0, tests * stats.binom.sf(near - 2, len(marks) - 1, chance))
    best, best_p, best_count = -1, FALSE_ALARM, 0
    for k in np.lexsort((-near, least)).tolist():
        if least[k] > best_p or (least[k] == best_p and near[k] <= best_count):
            break
        count = len({(marks[j].tray, marks[j].piece) for j in tree.query_ball_point(at[k], reach)})
        p = min(1.0, tests * float(stats.binom.sf(count - 2, len(marks) - 1, chance[k])))
        if count >= LEAST_PIECES and (p, -count) < (best_p, -best_count):
            best, best_p, best_count = k, p, count
    if best < 0:
        return None
    # The marks about the crowd's own middle, which is steadier than any one of them.
    middle = at[tree.query_ball_point(at[best], reach)].mean(axis=0)
    members = [marks[j] for j in sorted(tree.query_ball_point(middle, reach))]
    return (members or [marks[best]]), best_p


def _place(members: Sequence[Mark], p: float, pieces_by_die: Mapping[str, int]) -> Place:
    marked = {(mark.tray, mark.piece): mark.die for mark in members}
    by_die = Counter(marked.values())
    x, y = (float(np.mean([getattr(mark, axis) for mark in members])) for axis in ("x_mm", "y_mm"))
    die, origin = _origin(by_die, pieces_by_die)
    return Place(members[0].kind, x, y, tuple(sorted(marked)), dict(by_die), p, die, origin)


def _origin(by_die: Mapping[str, int], pieces_by_die: Mapping[str, int]) -> tuple[str | None, str]:
    """Whose place it is, and the likely origin in words; trays that name no die tell nothing of it."""
    dies = {die: pieces for die, pieces in pieces_by_die.items() if die != UNNAMED}
    bear = {die: by_die.get(die, 0) for die in dies}
    total, pieces = sum(bear.values()), sum(dies.values())
    if total == 0:
        return None, f"on {sum(by_die.values())} pieces whose trays name no die: the die, or a fixture"
    top = max(bear, key=lambda die: (bear[die] / max(dies[die], 1), die))
    share = f"on {bear[top]} of {dies[top]} pieces of"
    if len(dies) < 2:
        return None, f"{share} the only die seen: the die, or a fixture; compare with another die"
    uneven = min(1.0, float(stats.binom.sf(bear[top] - 1, total, dies[top] / pieces)) * len(dies))
    bearers, spared = ([die for die in dies if (bear[die] > 0) == bears] for bears in (True, False))
    if uneven < ONE_DIE:
        beside = "" if total == bear[top] else f" (and on {total - bear[top]} of other dies)"
        return top, f"{share} die {top}{beside}: the die {top} itself"
    if not spared and uneven >= ALIKE:
        return None, f"on {total} pieces of {len(dies)} dies alike: a fixture or a mould that all of them pass"
    missed = max(((1 - dies[die] / pieces) ** total * len(dies) for die in spared), default=1.0)
    if len(bearers) > 1 and missed < ONE_DIE:
        borne, clean = " and ".join(bearers), " and ".join(spared)
        return None, f"on {total} pieces of dies {borne}, on none of {clean}: something that only the former pass"
    return None, f"{share} die {top}, on {total - bear[top]} of others: too few to tell a die from a fixture"
