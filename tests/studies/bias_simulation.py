"""How often bias, linearity and drift are told of systems that have none, and intervals hold: docs/benchmarks.

    .venv/bin/python -m tests.studies.bias_simulation [STUDIES] [--jobs N]

Draws readings of five reference pieces whose values are known with an uncertainty of their own; sittings may differ, be
alike their predecessors, drift; the bias may bend over the range.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from app.studies.bias import study_bias
from app.studies.bias_input import Readings
from app.studies.gauge import GaugeTable, study_gauge
from app.studies.measuring_system import measuring_system
from tests.by_hand import options, spread

REFERENCE = np.array([20.0, 60.0, 100.0, 150.0, 210.0])
REPEAT, REFERENCE_U, SLOPE, OFFSET = 0.010, 0.004, 1e-4, -0.01


@dataclass(frozen=True)
class Truth:
    """How many sittings of so many readings of each piece, and what is in them (mm, mm a day)."""

    sittings: int
    readings: int
    between: float = 0.0
    likeness: float = 0.0
    drift: float = 0.0
    bend: float = 0.0


TRUTHS = {
    "one sitting of 10": Truth(1, 10),
    "3 sittings that differ": Truth(3, 3, 0.02),
    "10 sittings": Truth(10, 3),
    "10 sittings that differ": Truth(10, 3, 0.02),
    "20 sittings, alike by 0.6": Truth(20, 2, 0.02, 0.6),
    "20 sittings that drift": Truth(20, 2, 0.01, 0.0, 0.002),
    "10 sittings, bias that bends": Truth(10, 3, bend=0.05),
}


@dataclass(frozen=True)
class Told:
    """Shares of studies.

    `biased`: bias told at any piece of a system without; `sloped`, `drifts`, `outside`: told of one without; of one
    with an offset and a slope the intervals that `bias_held` at a piece, `mean_held`, `slope_held`, and `off_line`:
    pieces told not to lie on a line.
    """

    biased: float
    sloped: float
    drifts: float
    outside: float
    bias_held: float
    mean_held: float
    slope_held: float
    off_line: float


def drawn(truth: Truth, rng: np.random.Generator, offset: float, slope: float) -> Readings:
    """Readings of a study; the pieces' true values are off their reference values by what is not known of these."""
    off = rng.normal(0.0, truth.between, truth.sittings)
    for k in range(1, truth.sittings):
        off[k] = truth.likeness * off[k - 1] + np.sqrt(1 - truth.likeness**2) * off[k]
    days = np.arange(truth.sittings, dtype=np.float64)
    off = off + truth.drift * (days - days.mean())
    true = REFERENCE + rng.normal(0.0, REFERENCE_U, len(REFERENCE))
    sitting, piece = np.divmod(np.repeat(np.arange(truth.sittings * 5), truth.readings), 5)
    bias = offset + slope * REFERENCE + truth.bend * ((REFERENCE - 100.0) / 100.0) ** 2
    value = (true + bias)[piece] + off[sitting] + rng.normal(0.0, REPEAT, len(piece))
    names = tuple(f"R{k}" for k in range(5))
    return Readings(names, REFERENCE, np.full(5, REFERENCE_U), piece, value, sitting, days)


def simulate(name: str, studies: int) -> Told:
    """Draw studies of one kind."""
    truth = TRUTHS[name]
    counts = np.zeros(8)
    bias = OFFSET + SLOPE * REFERENCE + truth.bend * ((REFERENCE - 100.0) / 100.0) ** 2
    for study in range(studies):
        rng = np.random.default_rng([list(TRUTHS).index(name), study])
        none, some = (study_bias(drawn(truth, rng, *line)) for line in ((0.0, 0.0), (OFFSET, SLOPE)))
        assert none.linearity is not None
        assert some.linearity is not None
        ends = [one.bias.ci for one in some.pieces]
        counts += [
            any(one.significant for one in none.pieces),
            not _holds(none.linearity.slope.ci, 0.0),
            none.stability is not None and none.stability.drifts,
            none.stability is not None and bool(none.stability.outside.any()),
            np.mean([_holds(ci, value) for ci, value in zip(ends, bias.tolist(), strict=True)]),
            _holds(some.mean.ci, float(bias.mean())),
            _holds(some.linearity.slope.ci, SLOPE),
            some.linearity.line_p < 0.05,
        ]
    return Told(*(counts / studies).tolist())


def _holds(ci: tuple[float, float] | None, truth: float) -> bool:
    return ci is not None and ci[0] <= truth <= ci[1]


def percent_holds(studies: int, seed: int = 4) -> float:
    """Share of studies whose interval of the process's percent of the tolerance holds the true one (1 mm)."""
    truth, held = TRUTHS["10 sittings"], 0
    operator, part = 0.008, 0.1
    bias = OFFSET + SLOPE * REFERENCE
    off = np.abs(bias - bias.mean()).max()
    variance = REFERENCE_U**2 + (bias.mean() ** 2 + off**2) / 3 + REPEAT**2 + operator**2
    for study in range(studies):
        rng = np.random.default_rng([seed, study])
        values = rng.normal(0.0, part, (10, 1, 1)) + rng.normal(0.0, operator, (1, 6, 1))
        values = values + rng.normal(0.0, REPEAT, (10, 6, 3))
        crossed = study_gauge(GaugeTable(tuple("abcdefghij"), tuple("123456"), values))
        found = measuring_system(study_bias(drawn(truth, rng, OFFSET, SLOPE)), 1.0, 0.001, crossed).process
        assert found is not None
        held += _holds(found.ci, 400.0 * float(np.sqrt(variance)))
    return held / studies


def main() -> None:
    """Print the tables."""
    _, studies, jobs = options(__doc__, 1000)
    print("| readings | bias told of none | slope told | drift told | sitting off told | bias holds | mean | slope |")
    print("|---" * 8 + "|")
    for name, one in zip(TRUTHS, spread(partial(simulate, studies=studies), TRUTHS, jobs), strict=True):
        shares = (
            one.biased, one.sloped, one.drifts, one.outside, one.bias_held, one.mean_held, one.slope_held
        )  # fmt: skip
        print(f"| {name} | {' | '.join(f'{share:.3f}' for share in shares)} |", flush=True)
    print(f"\nPercent of the tolerance, process: interval holds in {percent_holds(min(studies, 1000)):.3f} of studies.")


if __name__ == "__main__":
    main()
