"""How often a stated a90/95 is false: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.pod_simulation [STUDIES] [--jobs N]

Draws studies of planted marks, fits them by the real functions and compares with the truth.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.statistics.pod import detectability
from tests.by_hand import options, spread
from vision.errors import Unusable


@dataclass(frozen=True)
class Truth:
    """Log odds 9 + 6 ln(size), up to a ceiling, on pieces that bear `a_piece` marks each.

    `between`: standard deviation of pieces' own log odds, normal or of one bad piece in five (`shape`); `slopes`: that
    of the pieces' own slopes, as a share. `told`: whether the fit is told which piece bears each mark, as it always is
    in the product.
    """

    ceiling: float = 1.0
    between: float = 0.0
    marks: int = 240
    a_piece: int = 12
    shape: Literal["normal", "one in five"] = "normal"
    slopes: float = 0.0
    told: bool = True

    def own(self, rng: np.random.Generator, pieces: int) -> tuple[np.ndarray, np.ndarray]:
        """Each piece's own log odds, and its slope's factor."""
        if self.shape == "one in five":
            own = np.where(rng.random(pieces) < 0.2, -2.0, 0.5) * self.between
        else:
            own = rng.normal(0.0, self.between, pieces)
        return own, np.exp(rng.normal(0.0, self.slopes, pieces))

    def chance(self, size: np.ndarray, own: np.ndarray, factor: np.ndarray) -> np.ndarray:
        """Of a hit; slopes differ about the size found by half."""
        return np.asarray(self.ceiling / (1 + np.exp(-(factor * (9 + 6 * np.log(size)) + own))))


@dataclass(frozen=True)
class Stated:
    """Shares of studies: an a90 named, an a90/95 stated, one stated that is false; the curve said not to fit."""

    named: float
    stated: float
    false: float
    unfit: float


def true_a90(truth: Truth) -> float:
    """Size at which nine in ten are found, over all pieces; infinite where there is none."""
    own, factor = truth.own(np.random.default_rng(0), 20_000)
    size = np.geomspace(0.05, 5.0, 300)
    mean = np.array([truth.chance(np.full(len(own), one), own, factor).mean() for one in size])
    return float(np.exp(np.interp(0.9, mean, np.log(size)))) if mean.max() >= 0.9 else float("inf")


def simulate(truth: Truth, studies: int, first: int = 0) -> Stated:
    """Draw studies, from the `first` on."""
    a90, counts = true_a90(truth), np.zeros(4)
    for study in range(first, first + studies):
        rng = np.random.default_rng([77, study])
        size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), truth.marks))
        piece = np.arange(truth.marks) // truth.a_piece
        own, factor = truth.own(rng, piece[-1] + 1)
        hits = (rng.random(truth.marks) < truth.chance(size, own[piece], factor[piece])).astype(np.float64)
        try:
            found = detectability(size, hits, np.ones(truth.marks), piece=piece if truth.told else None)
        except Unusable:
            continue
        stated = found.a90_95 is not None
        false = found.a90_95 is not None and found.a90_95 < a90
        counts += [found.a90 is not None, stated, false, found.fit_p is not None and found.fit_p < 0.05]
    return Stated(*(counts / studies).tolist())


TRUTHS = {
    "no ceiling": Truth(),
    "no ceiling, 120 marks": Truth(marks=120),
    "ceiling 0.95": Truth(ceiling=0.95),
    "ceiling 0.92": Truth(ceiling=0.92),
    "ceiling 0.88": Truth(ceiling=0.88),
    "pieces differ by 1.5": Truth(between=1.5),
    "pieces differ by 1.5, 120 marks": Truth(between=1.5, marks=120),
    "pieces differ by 1.5, five of 24 marks": Truth(between=1.5, marks=120, a_piece=24),
    "one piece in five is bad, by 3.75": Truth(between=1.5, shape="one in five"),
    "slopes of pieces differ too": Truth(between=0.75, slopes=0.4),
    "pieces differ by 1.5, ceiling 0.88": Truth(ceiling=0.88, between=1.5),
    "no ceiling, pieces not told": Truth(told=False),
    "pieces differ by 1.5, not told": Truth(between=1.5, told=False),
}
PART = 20
"""Studies that one process draws at a time."""


def _part(part: tuple[str, int]) -> Stated:
    words, first = part
    return simulate(TRUTHS[words], PART, first)


def main() -> None:
    """Print the table."""
    _, studies, jobs = options(__doc__, 400)
    print(f"| truth | a90 named | a90/95 stated | stated and false | said not to fit |\n|{'---|' * 5}")
    many = max(studies // PART, 1)
    found = iter(spread(_part, [(words, k * PART) for words in TRUTHS for k in range(many)], jobs))
    for words in TRUTHS:
        of = [next(found) for _ in range(many)]
        shares = (np.mean([getattr(one, name) for one in of]) for name in ("named", "stated", "false", "unfit"))
        print(f"| {words} | {' | '.join(f'{share:.3f}' for share in shares)} |", flush=True)


if __name__ == "__main__":
    main()
