"""How often trends of dies say what is not so, over kinds of noise: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.trend_simulation [DIES] [--jobs N]

Draws dies without wear and dies that wear, runs the real functions and compares with the truth.
"""

from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np

from app.statistics.breaks import regrinds
from app.statistics.trends import trend
from tests.by_hand import options, spread

SCATTER_MM = 0.004
NOISES = ("independent", "likeness 0.3", "likeness 0.6", "daily shifts", "heavy tails", "calibration step")
TRAYS_A_DAY = 4


@dataclass(frozen=True)
class Told:
    """Shares of dies: `worn` without wear, `changed` without a change; `held`: intervals that hold the true rate."""

    worn: float
    changed: float
    held: float
    told: float


def noise(kind: str, trays: int, rng: np.random.Generator) -> np.ndarray:
    """Scatter of trays about their line (trays,), mm."""
    match kind:
        case "likeness 0.3" | "likeness 0.6":
            share = float(kind.split()[1])
            off = rng.normal(0.0, 1.0, trays)
            for k in range(1, trays):
                off[k] = share * off[k - 1] + np.sqrt(1.0 - share**2) * off[k]
        case "daily shifts":
            days = rng.normal(0.0, 0.7, trays // TRAYS_A_DAY + 1)
            off = days[np.arange(trays) // TRAYS_A_DAY] + rng.normal(0.0, 0.7, trays)
        case "heavy tails":
            off = rng.standard_t(3.0, trays) / np.sqrt(3.0)
        case _:
            off = rng.normal(0.0, 1.0, trays)
    return SCATTER_MM * off


def simulate(kind: str, trays: int, dies: int, rate: float = 2e-7) -> Told:
    """Draw dies with one kind of noise."""
    worn = changed = held = told = 0
    strokes = np.linspace(0.0, 400_000.0, trays)
    for die in range(dies):
        rng = np.random.default_rng([NOISES.index(kind), trays, die])
        off = noise(kind, trays, rng)
        factors = None
        if kind == "calibration step":
            later = np.arange(trays) >= int(rng.integers(trays // 3, 2 * trays // 3 + 1))
            off = off + np.where(later, 3.0 * SCATTER_MM, 0.0)
            factors = [f"calibration {int(one)}" for one in later]
        changed += bool(regrinds(strokes, off, die, factors))
        still, wearing = trend(strokes, off, factors=factors), trend(strokes, off + rate * strokes, factors=factors)
        if still is not None and wearing is not None:
            told += 1
            worn += not still.slope_ci[0] <= 0.0 <= still.slope_ci[1]
            held += wearing.slope_ci[0] <= rate <= wearing.slope_ci[1]
    return Told(worn / dies, changed / dies, held / max(told, 1), told / dies)


def main() -> None:
    """Print the table."""
    _, dies, jobs = options(__doc__, 1000)
    print(f"| noise | trays | wear told of none | change told of none | intervals that hold |\n|{'---|' * 5}")
    rows = list(product(NOISES, (14, 40, 100)))
    for (kind, trays), found in zip(rows, spread(partial(_row, dies=dies), rows, jobs), strict=True):
        print(f"| {kind} | {trays} | {found.worn:.3f} | {found.changed:.3f} | {found.held:.3f} |", flush=True)


def _row(row: tuple[str, int], dies: int) -> Told:
    return simulate(*row, dies)


if __name__ == "__main__":
    main()
