"""How often charts and checks alarm without a cause: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.chart_simulation [CHARTS] [--jobs N]

Draws clean counts and checks, runs the real charts, and counts points outside: by exact limits, as before by three
standard deviations, and of a station's checks how many it takes to a false stop.
"""

from functools import partial
from itertools import product

import numpy as np

from app.statistics.charts import rate_chart, share_chart
from tests.by_hand import options, spread
from vision.calibrate.false_stops import WEIGHT, ControlWidths, control_widths

COUNTS = tuple(product((0.3, 1.0, 2.0, 10.0), (8, 20, 60)))
"""Events a point, and points of a chart."""
BEFORE = ControlWidths(3.0, 2.962)
CHECKS = tuple(product((1, 3, 8), (BEFORE, None)))
"""Measures of a check, and limits: as before, and those that stand for so many measures."""


def counts(row: tuple[float, int], charts: int) -> np.ndarray:
    """Shares of points outside: u and p by exact limits, u by three deviations; of charts with a point outside."""
    mean, points = row
    sizes = np.tile([2.0, 3.0, 4.0, 6.0], points)[:points]
    outside = np.zeros(4)
    for k in range(charts):
        rng = np.random.default_rng([51, COUNTS.index(row), k])
        events = rng.poisson(mean * sizes / sizes.mean()).astype(np.float64)
        bad = rng.binomial((10 * sizes).astype(np.int64), min(mean / 10 / sizes.mean(), 1.0)).astype(np.float64)
        exact = rate_chart(events, sizes).outside
        rate = events.sum() / sizes.sum()
        reach = 3.0 * np.sqrt(rate / sizes)
        outside += [
            exact.mean(),
            share_chart(bad, 10 * sizes).outside.mean(),
            (np.abs(events / sizes - rate) > reach).mean(),
            exact.any(),
        ]
    return outside / charts


def checks(row: tuple[int, ControlWidths | None], runs: int) -> float:
    """Checks until a false stop, on average, both rules on so many measures."""
    measures, given = row
    widths = control_widths(measures) if given is None else given
    rng = np.random.default_rng([52, measures, given is None])
    edge = widths.mean * np.sqrt(WEIGHT / (2.0 - WEIGHT))
    level, went, total = np.zeros((runs, measures)), np.ones(runs, dtype=np.bool_), 0
    while went.any():
        value = rng.normal(0.0, 1.0, (runs, measures))
        level = WEIGHT * value + (1.0 - WEIGHT) * level
        total += int(went.sum())
        went &= ~((np.abs(value) > widths.single) | (np.abs(level) > edge)).any(axis=1)
    return total / runs


def main() -> None:
    """Print the tables."""
    _, charts, jobs = options(__doc__, 2000)
    print("| events a point | points | u: outside | p: outside | u by three deviations | charts with a point outside |")
    print("|---" * 6 + "|")
    for (mean, points), row in zip(COUNTS, spread(partial(counts, charts=charts), COUNTS, jobs), strict=True):
        print(f"| {mean:g} | {points} | {row[0]:.4f} | {row[1]:.4f} | {row[2]:.4f} | {row[3]:.3f} |", flush=True)
    print("\n| measures of a check | limits | checks to a false stop |\n|---|---|---|")
    for (measures, given), found in zip(CHECKS, spread(partial(checks, runs=charts), CHECKS, jobs), strict=True):
        print(f"| {measures} | {'as they stand' if given is None else '3 and 2.962'} | {found:.0f} |", flush=True)


if __name__ == "__main__":
    main()
