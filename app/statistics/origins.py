"""Whose marks at one place are: hypotheses held against each other by how well each foretells which pieces bear one.

Pieces of a struck die bear the mark with one unknown rate, all rates alike beforehand; pieces that nothing strikes bear
one by chance, at a rate about what marks elsewhere let expect (a beta distribution of that mean). The likelihood of
each hypothesis, its rates integrated out, times what it is given beforehand, over the sum of all: Kass and Raftery
1995, J. Am. Stat. Assoc. 90:773. Beforehand (common practice, no source): one die 0.4, shared by the dies; all dies
alike 0.3; every die at a rate of its own 0.1; two dies or more but not all 0.2, shared by how many, then by which.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import comb, exp, log

from scipy.special import betaln

ONE, ALL, OWN, SOME = 0.4, 0.3, 0.1, 0.2
LEAST_STRAY = 0.001
"""Of pieces that nothing strikes, the share beforehand that bears a mark at the place all the same, at least."""
TOLD = 0.97
"""Share of the whole from which a hypothesis is told."""
NEAR = 0.02
"""Share from which the next best is named beside it."""


@dataclass(frozen=True, slots=True)
class Origin:
    """A hypothesis: the dies that are struck, alike or each at its own rate, and its share of the whole."""

    dies: tuple[str, ...]
    alike: bool
    share: float


def origins(bear: Mapping[str, int], pieces: Mapping[str, int], stray: float) -> tuple[Origin, ...]:
    """All hypotheses, likeliest first.

    Only those dies can be the struck ones that bear the most: no die is spared that bears more than a struck one.

    Parameters
    ----------
    bear, pieces
        By die, how many pieces were looked at and how many of them bear a mark at the place.
    stray
        Share of pieces that would bear one there by chance.
    """
    ranked = sorted(pieces, key=lambda die: (-bear.get(die, 0) / max(pieces[die], 1), die))
    weighed: list[tuple[tuple[str, ...], bool, float]] = []
    count = len(ranked)
    everything = tuple(sorted(ranked))
    only = count == 1
    weighed.append((everything, True, log(1.0 if only else ALL) + _struck(everything, bear, pieces)))
    if not only:
        own = sum(_struck((die,), bear, pieces) for die in everything)
        weighed.append((everything, False, log(OWN) + own))
        for many in range(1, count):
            prior = log(ONE / count) if many == 1 else log(SOME / (count - 2) / comb(count, many))
            struck, spared = tuple(sorted(ranked[:many])), tuple(ranked[many:])
            log_likelihood = _struck(struck, bear, pieces) + _spared(spared, bear, pieces, max(stray, LEAST_STRAY))
            weighed.append((struck, True, prior + log_likelihood))
    best = max(one[2] for one in weighed)
    total = sum(exp(one[2] - best) for one in weighed)
    found = [Origin(struck, alike, exp(log_weight - best) / total) for struck, alike, log_weight in weighed]
    return tuple(sorted(found, key=lambda one: -one.share))


def _sums(dies: tuple[str, ...], bear: Mapping[str, int], pieces: Mapping[str, int]) -> tuple[int, int]:
    """Pieces of these dies that bear a mark, and that don't."""
    marked = sum(bear.get(die, 0) for die in dies)
    return marked, max(sum(pieces[die] for die in dies) - marked, 0)


def _struck(dies: tuple[str, ...], bear: Mapping[str, int], pieces: Mapping[str, int]) -> float:
    """Log likelihood of one rate, any rate alike beforehand."""
    marked, clean = _sums(dies, bear, pieces)
    return float(betaln(marked + 1.0, clean + 1.0))


def _spared(dies: tuple[str, ...], bear: Mapping[str, int], pieces: Mapping[str, int], stray: float) -> float:
    """Log likelihood of marks by chance: a beta distribution of the mean `stray`."""
    marked, clean = _sums(dies, bear, pieces)
    rest = 1.0 / min(stray, 0.5) - 1.0
    return float(betaln(marked + 1.0, clean + rest) - betaln(1.0, rest))
