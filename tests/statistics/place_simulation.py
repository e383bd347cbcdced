"""How often the origin of a place is told, and told wrongly: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.place_simulation [LOTS] [--jobs N]

Draws lots of three dies with marks at one place and handling's nicks, runs the real search and compares.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from app.statistics.places import Ground, Mark, same_place
from tests.by_hand import options, spread

GROUND = Ground(300.0, 800.0)
DIES = ("D1", "D2", "D3")
A_DIE = 60
CROWD = "handling that crowds at the tip"
# By case: each die's rate of the mark, and what may be said of its origin
RATES = {
    "one die": ((0.3, 0.0, 0.0), "the die D1 itself"),
    "two dies alike": ((0.3, 0.3, 0.0), "only dies D1 and D2 pass"),
    "all alike": ((0.3, 0.3, 0.3), "all of them pass"),
    "all, twice as often on one": ((0.4, 0.2, 0.2), "each at a rate of its own"),
    CROWD: ((0.0, 0.0, 0.0), ""),
}
CASES = tuple(RATES)
HANDLING = 60
TIP_MM, TIP_SPREAD_MM = 150.0, 4.0


@dataclass(frozen=True)
class Told:
    """Shares of lots: the origin told as it is, and told wrongly (a place where there is none included)."""

    right: float
    wrong: float


def simulate(case: str, lots: int) -> Told:
    """Draw lots of one case."""
    rates, words = RATES[case]
    right = wrong = 0
    for lot in range(lots):
        rng = np.random.default_rng([CASES.index(case), lot])
        marks = []
        for die, rate in zip(DIES, rates, strict=True):
            struck = np.flatnonzero(rng.random(A_DIE) < rate).tolist()
            at = rng.normal(120.0, 0.15, len(struck)).tolist()
            marks += [Mark("nick", x, 0.0, f"{die}-{piece}", 1, die) for x, piece in zip(at, struck, strict=True)]
        for nick in range(HANDLING):
            x = rng.normal(TIP_MM, TIP_SPREAD_MM) if case == CROWD else rng.uniform(0.0, 300.0)
            marks.append(Mark("nick", float(x), 0.0, f"H-{nick}", 2, str(rng.choice(DIES))))
        places = same_place(marks, dict.fromkeys(DIES, A_DIE), GROUND).places
        told = [place.origin for place in places if "too few to tell" not in place.origin]
        right += bool(words) and len(told) == 1 and words in told[0]
        wrong += any(not words or words not in one.split(" (next")[0] for one in told)
    return Told(right / lots, wrong / lots)


def main() -> None:
    """Print the table."""
    _, lots, jobs = options(__doc__, 500)
    print(f"| marks | origin told as it is | told wrongly |\n|{'---|' * 3}")
    for case, found in zip(CASES, spread(partial(simulate, lots=lots), CASES, jobs), strict=True):
        print(f"| {case} | {found.right:.3f} | {found.wrong:.3f} |", flush=True)


if __name__ == "__main__":
    main()
