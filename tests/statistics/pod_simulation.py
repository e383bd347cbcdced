"""How often a stated a90/95 is false: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.pod_simulation [STUDIES]

Draws studies of planted marks, fits them by the real functions and compares with the truth.
"""

import sys
from dataclasses import dataclass

import numpy as np

from app.statistics.pod import detectability
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


def simulate(truth: Truth, studies: int, clusters: bool = False) -> Stated:
    """Draw studies; `clusters`: whether the fit is told which piece bears each mark."""
    a90, named, stated, false = true_a90(truth), 0, 0, 0
    for study in range(studies):
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


def main() -> None:
    """Print the table."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"| truth | clusters told | a90 named | a90/95 stated | stated and false |\n|{'---|' * 5}")
    for words, truth in (
        ("no ceiling", Truth()),
        ("ceiling 0.95", Truth(ceiling=0.95)),
        ("ceiling 0.88", Truth(ceiling=0.88)),
        ("pieces differ, 1.5 of log odds", Truth(between=1.5)),
    ):
        for clusters in (False, True):
            found = simulate(truth, studies // 4 if clusters else studies, clusters)
            print(f"| {words} | {clusters} | {found.named:.3f} | {found.stated:.3f} | {found.false:.3f} |", flush=True)


if __name__ == "__main__":
    main()
