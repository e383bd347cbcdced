"""How often intervals of capability hold the truth: the table of docs/benchmarks/statistics.md.

    .venv/bin/python -m tests.statistics.capability_simulation [PROCESSES] [--jobs N]

Draws processes that are steady, whose trays differ, whose trays are alike their predecessors, and skewed ones.
"""

from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np

from app.statistics.capability import capability
from tests.by_hand import options, spread

KINDS = ("steady", "trays differ", "likeness 0.6", "skewed")
LOW, HIGH = -4.0, 4.5


@dataclass(frozen=True)
class Held:
    """Shares of processes: intervals that hold, of those told; and intervals told, steady, not normal."""

    cpk: float
    pp: float
    ppk: float
    one_sided: float
    told: float
    steady: float
    not_normal: float


def simulate(row: tuple[str, int, int], processes: int) -> Held:
    """Draw processes of a kind, so many trays of so many pieces."""
    kind, trays, pieces = row
    rng = np.random.default_rng([KINDS.index(kind), trays, pieces])
    between = 0.0 if kind in ("steady", "skewed") else 0.6
    share = 0.6 if kind == "likeness 0.6" else 0.0
    overall = np.hypot(1.0, between)
    truth = {"cpk": 4.0 / 3, "pp": (HIGH - LOW) / 6 / overall, "ppk": 4.0 / 3 / overall, "one_sided": 1.5 / overall}
    held, told, counts = dict.fromkeys(truth, 0), dict.fromkeys(truth, 0), np.zeros(3)
    group = np.arange(trays * pieces) // pieces
    for _ in range(processes):
        moved = rng.normal(0.0, between, trays)
        for k in range(1, trays):
            moved[k] = share * moved[k - 1] + np.sqrt(1 - share**2) * moved[k]
        own = rng.exponential(1.0, len(group)) - 1.0 if kind == "skewed" else rng.normal(0.0, 1.0, len(group))
        values = moved[group] + own
        both, one = capability(values, group, LOW, HIGH), capability(values, group, None, HIGH)
        assert both is not None
        assert one is not None
        found = {"cpk": both.cpk, "pp": both.pp, "ppk": both.ppk, "one_sided": one.ppk}
        for name, estimate in found.items():
            told[name] += estimate.ci is not None
            held[name] += estimate.ci is not None and estimate.ci[0] <= truth[name] <= estimate.ci[1]
        not_normal = both.normal_p is not None and both.normal_p < 0.05
        counts += [both.pp.ci is not None, both.steady, not_normal]
    shares = {name: held[name] / told[name] if told[name] else float("nan") for name in truth}
    return Held(**shares, **dict(zip(("told", "steady", "not_normal"), (counts / processes).tolist(), strict=True)))


def main() -> None:
    """Print the table."""
    _, processes, jobs = options(__doc__, 1000)
    print("| process | trays | pieces a tray | Cpk holds | Pp | Ppk | Ppk of one limit | told | steady | not normal |")
    print("|---" * 10 + "|")
    rows = list(product(KINDS, (5, 8, 25, 60), (2, 8)))
    for (kind, trays, pieces), one in zip(
        rows, spread(partial(simulate, processes=processes), rows, jobs), strict=True
    ):
        held = (one.cpk, one.pp, one.ppk, one.one_sided, one.told, one.steady, one.not_normal)
        print(f"| {kind} | {trays} | {pieces} | {' | '.join(f'{share:.3f}' for share in held)} |", flush=True)


if __name__ == "__main__":
    main()
