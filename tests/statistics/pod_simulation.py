"""How often a stated a90/95 is false: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.pod_simulation [STUDIES] [--jobs N]

Draws studies of planted marks, fits them by the real functions and compares with the truth.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np

from app.statistics.pod import detectability
from tests.by_hand import options, spread
from vision.errors import Unusable


@dataclass(frozen=True)
class Truth:
    """Log odds 9 + 6 ln(size), up to a ceiling; `between` the standard deviation of pieces' own log odds."""

    ceiling: float = 1.0
    between: float = 0.0
    marks: int = 240
    a_piece: int = 12


@dataclass(frozen=True)
class Stated:
    """Shares of studies: an a90 was named, an a90/95 was stated, and one was stated that is false."""

    named: float
    stated: float
    false: float


def true_a90(truth: Truth) -> float:
    """Size at which nine in ten are found, over all pieces; infinite where there is none."""
    normal = np.linspace(-4.0, 4.0, 201)
    weight = np.exp(-0.5 * normal**2)
    size = np.geomspace(0.05, 5.0, 4000)
    chance = truth.ceiling / (1 + np.exp(-(9 + 6 * np.log(size))[:, None] - normal * truth.between))
    mean = (chance * weight).sum(axis=1) / weight.sum()
    return float(size[np.argmax(mean >= 0.9)]) if mean.max() >= 0.9 else float("inf")


def simulate(truth: Truth, studies: int, clusters: bool = False, first: int = 0) -> Stated:
    """Draw studies, from the `first` on; `clusters`: whether the fit is told which piece bears each mark."""
    a90, named, stated, false = true_a90(truth), 0, 0, 0
    for study in range(first, first + studies):
        rng = np.random.default_rng([77, study])
        size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), truth.marks))
        piece = np.arange(truth.marks) // truth.a_piece
        own = rng.normal(0.0, truth.between, piece[-1] + 1)[piece]
        chance = truth.ceiling / (1 + np.exp(-(9 + 6 * np.log(size) + own)))
        hits = (rng.random(truth.marks) < chance).astype(np.float64)
        try:
            found = detectability(size, hits, np.ones(truth.marks), cluster=piece if clusters else None)
        except Unusable:
            continue
        named += found.a90 is not None
        stated += found.a90_95 is not None
        false += found.a90_95 is not None and found.a90_95 < a90
    return Stated(named / studies, stated / studies, false / studies)


TRUTHS = {
    "no ceiling": Truth(),
    "no ceiling, 120 marks": Truth(marks=120),
    "ceiling 0.95": Truth(ceiling=0.95),
    "ceiling 0.92": Truth(ceiling=0.92),
    "ceiling 0.88": Truth(ceiling=0.88),
    "ceiling 0.88, 600 marks": Truth(ceiling=0.88, marks=600),
    "pieces differ, 1.5 of log odds": Truth(between=1.5),
    "pieces differ, ceiling 0.88": Truth(ceiling=0.88, between=1.5),
}
PART = 20
"""Studies that one process draws at a time."""


@dataclass(frozen=True)
class Part:
    """Some studies of a row."""

    words: str
    clusters: bool
    first: int


def _part(part: Part) -> Stated:
    return simulate(TRUTHS[part.words], PART, part.clusters, part.first)


def main() -> None:
    """Print the table; half as many studies where the fit is told the clusters, whose bootstrap takes long."""
    _, studies, jobs = options(__doc__, 400)
    print(f"| truth | clusters told | a90 named | a90/95 stated | stated and false |\n|{'---|' * 5}")
    rows = list(product(TRUTHS, (False, True)))
    counts = {row: max(studies // (2 if row[1] else 1) // PART, 1) for row in rows}
    parts = [Part(*row, k * PART) for row in rows for k in range(counts[row])]
    found = iter(spread(_part, parts, jobs))
    for words, clusters in rows:
        of = [next(found) for _ in range(counts[words, clusters])]
        shares = (np.mean([getattr(one, name) for one in of]) for name in ("named", "stated", "false"))
        told = "yes" if clusters else "no"
        print(f"| {words} | {told} | {' | '.join(f'{share:.3f}' for share in shares)} |", flush=True)


if __name__ == "__main__":
    main()
