"""Verdicts on counts against the truth, by a normal distribution as before and by the exact one: the table of the docs.

    .venv/bin/python -m tests.decide.count_simulation [PIECES] [--jobs N]

Draws pieces whose marks are there and inside the rules with the chances that are stated of them, judges them by the
real functions, and counts what was passed or rejected against what is there.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.special import ndtr

from tests.by_hand import options, spread
from vision.decide.guard import PASS, REJECT, outcomes_of
from vision.decide.marks import Marks, Unreported, Weighed, WeighedMarks
from vision.decide.spreads import Divisor, Shares, sums_of

COVERAGE = 0.95
# By case: marks a piece on average, their chances drawn between, and the limit
CASES = {
    "limit 0, faint marks": (0.7, (0.0, 0.2), 0.0),
    "limit 0, marks of any chance": (0.7, (0.0, 1.0), 0.0),
    "limit 2, nearly halves": (5.0, (0.3, 0.6), 2.0),
    "limit 2, marks of any chance": (3.0, (0.0, 1.0), 2.0),
}


@dataclass(frozen=True)
class Judged:
    """Shares: of the pieces that pass those that are bad, of the rejected those that are good, and for review."""

    passed_bad: float
    rejected_good: float
    reviewed: float
    worst: float


def simulate(case: str, pieces: int) -> tuple[Judged, Judged]:
    """Judge drawn pieces before and after."""
    mean, (low, high), limit = CASES[case]
    rng = np.random.default_rng([2616, list(CASES).index(case)])
    number = rng.poisson(mean, pieces)
    piece = np.repeat(np.arange(pieces), number)
    chance = rng.uniform(low, high, len(piece))
    ones = np.ones(len(piece))
    true = np.bincount(piece, rng.random(len(piece)) < chance, pieces)
    marks = Marks("scratch", piece.astype(np.int64), piece.astype(np.int64), ones, ones, ones, ones, chance, ones, ones)
    weighed = Weighed(chance, chance, chance, ones, 0.0 * ones, 0.0)
    none = Unreported(np.zeros((pieces, 0)), np.zeros(0))
    counted, over = WeighedMarks(marks, weighed, none), Divisor(np.ones(pieces), np.zeros(pieces))
    spread = sums_of(counted, Shares(ones, 0.0 * ones, np.zeros(0)), over, counts_only=True)
    bounds = (np.full(pieces, -np.inf), np.full(pieces, limit))
    after = outcomes_of(spread, *bounds, COVERAGE)
    value = np.bincount(piece, chance >= 0.5, pieces)
    u = np.sqrt(np.bincount(piece, chance * (1.0 - chance), pieces))
    with np.errstate(divide="ignore", invalid="ignore"):
        conforms = np.where(u > 0.0, ndtr((limit - value) / u), value <= limit)
    before = np.where(conforms >= COVERAGE, PASS, np.where(1.0 - conforms > COVERAGE, REJECT, 1))
    conformance = spread.at_most(bounds[1])
    return _judged(before, true > limit, conformance), _judged(after, true > limit, conformance)


def _judged(codes: np.ndarray, bad: np.ndarray, conformance: np.ndarray) -> Judged:
    passed, rejected = codes == PASS, codes == REJECT
    return Judged(
        float(bad[passed].mean()) if passed.any() else 0.0,
        float((~bad)[rejected].mean()) if rejected.any() else 0.0,
        float((~passed & ~rejected).mean()),
        float((1.0 - conformance)[passed].max(initial=0.0)),
    )


def main() -> None:
    """Print the table."""
    _, pieces, jobs = options(__doc__, 100_000)
    print(f"| marks | judged by | passed and bad | worst that passes | rejected and good | for review |\n|{'---|' * 6}")
    for case, both in zip(CASES, spread(partial(simulate, pieces=pieces), CASES, jobs), strict=True):
        for by, found in zip(("a normal", "exact chances"), both, strict=True):
            shares = (found.passed_bad, found.worst, found.rejected_good, found.reviewed)
            print(f"| {case} | {by} | {' | '.join(f'{share:.3f}' for share in shares)} |", flush=True)


if __name__ == "__main__":
    main()
