"""How often intervals of capability hold the truth: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.capability_simulation [PROCESSES] [--jobs N]

Draws processes that are steady, whose trays differ, whose trays are alike their predecessors, skewed ones,
and ones with long tails.
"""

from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np

from app.statistics.capability import capability
from tests.by_hand import options, spread

KINDS = ("steady", "trays differ", "likeness 0.6", "exponential", "gamma of 4", "gamma of 10", "Student's of 5")
LOW, HIGH = -4.0, 4.5


@dataclass(frozen=True)
class Held:
    """Shares of processes: intervals that hold, of those told; Ppk told; the index most often told and false."""

    cpk: float
    pp: float
    ppk: float
    one_sided: float
    told: float
    false: float


def _drawn(kind: str, rng: np.random.Generator, count: int) -> np.ndarray:
    """Values of mean 0 and standard deviation 1."""
    match kind:
        case "exponential":
            return rng.exponential(1.0, count) - 1.0
        case "gamma of 4" | "gamma of 10":
            shape = float(kind.rsplit(" ", 1)[1])
            return (rng.gamma(shape, 1.0, count) - shape) / np.sqrt(shape)
        case "Student's of 5":
            return rng.standard_t(5, count) / np.sqrt(5 / 3)
    return rng.normal(0.0, 1.0, count)


def simulate(row: tuple[str, int, int], processes: int) -> Held:
    """Draw processes of a kind, so many trays of so many pieces."""
    kind, trays, pieces = row
    rng = np.random.default_rng([KINDS.index(kind), trays, pieces])
    between = 0.6 if kind in ("trays differ", "likeness 0.6") else 0.0
    share = 0.6 if kind == "likeness 0.6" else 0.0
    overall = np.hypot(1.0, between)
    truth = {"cpk": 4.0 / 3, "pp": (HIGH - LOW) / 6 / overall, "ppk": 4.0 / 3 / overall, "one_sided": 1.5 / overall}
    held, told, false = dict.fromkeys(truth, 0), dict.fromkeys(truth, 0), dict.fromkeys(truth, 0)
    group = np.arange(trays * pieces) // pieces
    for _ in range(processes):
        moved = rng.normal(0.0, between, trays)
        for k in range(1, trays):
            moved[k] = share * moved[k - 1] + np.sqrt(1 - share**2) * moved[k]
        values = moved[group] + _drawn(kind, rng, len(group))
        both, one = capability(values, group, LOW, HIGH), capability(values, group, None, HIGH)
        assert both is not None
        assert one is not None
        for name, estimate in {"cpk": both.cpk, "pp": both.pp, "ppk": both.ppk, "one_sided": one.ppk}.items():
            if estimate.ci is not None:
                holds = estimate.ci[0] <= truth[name] <= estimate.ci[1]
                told[name] += 1
                held[name] += holds
                false[name] += not holds
    shares = {name: held[name] / told[name] if told[name] else float("nan") for name in truth}
    return Held(**shares, told=told["ppk"] / processes, false=max(false.values()) / processes)


def main() -> None:
    """Print the table."""
    _, processes, jobs = options(__doc__, 1000)
    print("| process | trays | pieces a tray | Cpk holds | Pp | Ppk | Ppk of one limit | told | told and false |")
    print("|---" * 9 + "|")
    rows = list(product(KINDS, (12, 25, 60), (4, 16)))
    drawn = spread(partial(simulate, processes=processes), rows, jobs)
    for (kind, trays, pieces), one in zip(rows, drawn, strict=True):
        held = (one.cpk, one.pp, one.ppk, one.one_sided)
        shown = ["–" if np.isnan(share) else f"{share:.3f}" for share in held] + [f"{one.told:.3f}", f"{one.false:.3f}"]
        print(f"| {kind} | {trays} | {pieces} | {' | '.join(shown)} |", flush=True)


if __name__ == "__main__":
    main()
