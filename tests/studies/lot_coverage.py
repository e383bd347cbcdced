"""How well a lot's figures hold: promises of the best of several measures, escapes, yield, and risks of decisions.

    python -m tests.studies.lot_coverage looks [MANY] [--jobs N]     # broken promises, the best of several measures
    python -m tests.studies.lot_coverage escapes [MANY] [--jobs N]   # this lot's bad pieces among the packed; its yield
    python -m tests.studies.lot_coverage risks [MANY] [--jobs N]     # consumer's and producer's risk

Prints tables of docs/benchmarks/sampling.md. Each row draws from a fixed start.
"""

from functools import partial
from itertools import product

import numpy as np
from scipy import stats

from app.studies.decision_risk import study_risk
from app.studies.escapes import PassedBlind, escapes_of
from app.studies.settings import Target
from app.studies.sweeps import Sweep
from app.studies.tuning import Task, recommend
from app.studies.tuning_sample import Promise, Sample
from tests.by_hand import print_one_of, spread
from tests.studies.lots import columns_of_lengths
from vision.records import Limit, Limits

LOOKS = tuple(product((1, 4, 8), (60, 200)))
BOUND = 0.10


def looks(row: tuple[int, int], many: int) -> np.ndarray:
    """Shares of lots with a promise, and of those broken: taken for one look, and with the number of looks told."""
    measures, n_bad = row
    given, broken = np.zeros(2), np.zeros(2)
    bad = np.arange(n_bad + 200) < n_bad
    for k in range(many):
        values = np.random.default_rng([41, *row, k]).normal(0.0, 1.0, (measures, len(bad))) + 2.5 * bad
        for column, told in enumerate((1, measures)):
            chosen = []
            for own in values:
                swept = Sweep(Target("outline_out_mm", None, "max"), own, np.full(len(bad), -np.inf), own)
                setting = recommend(Sample(swept, bad), Task(Promise(BOUND, 0.95, told))).setting
                if setting is not None:
                    chosen.append((float((own[~bad] > setting).mean()), setting))
            if chosen:
                given[column] += 1
                broken[column] += stats.norm.cdf(min(chosen)[1] - 2.5) > BOUND
    return np.concatenate([given / many, broken / np.maximum(given, 1)])


def looks_table(many: int, jobs: int) -> None:
    """Print it."""
    print("| measures tried | bad pieces | promised as one look | of these broken | looks told: promised | broken |")
    print("|---" * 6 + "|")
    for (measures, bad), row in zip(LOOKS, spread(partial(looks, many=many), LOOKS, jobs), strict=True):
        print(f"| {measures} | {bad} | {row[0]:.1%} | {row[2]:.1%} | {row[1]:.1%} | {row[3]:.1%} |", flush=True)


LOTS = tuple(product((200, 8000), (0.0, 0.005, 0.05), (30, 150)))


def escapes(row: tuple[int, float, int], many: int) -> float:
    """Share of lots whose interval holds their own number of bad pieces among the passed ones."""
    size, share, seen = row
    held = 0
    for k in range(many):
        rng = np.random.default_rng([42, LOTS.index(row), k])
        bad = int(rng.binomial(size, share))
        found = int(rng.hypergeometric(bad, size - bad, seen))
        told = escapes_of(size, size, PassedBlind(found, seen, found, seen))
        assert told is not None
        assert told.escaped.ci is not None
        held += told.escaped.ci[0] <= bad <= told.escaped.ci[1]
    return held / many


def escapes_table(many: int, jobs: int) -> None:
    """Print it."""
    print("| passed pieces | bad among them | judged blind | interval holds |\n|---|---|---|---|")
    for (size, share, seen), held in zip(LOTS, spread(partial(escapes, many=many), LOTS, jobs), strict=True):
        print(f"| {size} | {share:.1%} | {seen} | {held:.1%} |", flush=True)


LIMIT, U = 1.0, 0.08
RISKS = tuple(product(("normal", "skewed", "two heaps"), (100, 1000, 4000)))


def drawn(kind: str, pieces: int, rng: np.random.Generator) -> np.ndarray:
    """True values of a lot."""
    if kind == "normal":
        return rng.normal(0.7, 0.15, pieces)
    if kind == "skewed":
        return 0.4 + rng.gamma(2.0, 0.12, pieces)
    return np.where(rng.random(pieces) < 0.05, rng.normal(1.1, 0.05, pieces), rng.normal(0.6, 0.1, pieces))


def risks(row: tuple[str, int], many: int) -> np.ndarray:
    """Mean of what is told of bad pieces, consumer's and producer's risk, and of the truth; mean miss of each."""
    told, true = np.zeros((many, 3)), np.zeros((many, 3))
    limits = Limits("TS-135", 1, "draft", 0.95, (Limit("length_mm", "major", max=LIMIT),))
    guard = 1.645 * U
    for k in range(many):
        rng = np.random.default_rng([43, RISKS.index(row), k])
        value = drawn(*row, rng)
        seen = value + rng.normal(0.0, U, len(value))
        (one,) = study_risk(columns_of_lengths(seen, U), limits)
        told[k] = one.bad, one.now.consumer, one.now.producer
        bad = value > LIMIT
        true[k] = bad.mean(), (bad & (seen <= LIMIT - guard)).mean(), (~bad & (seen > LIMIT + guard)).mean()
    return np.concatenate([told.mean(axis=0), true.mean(axis=0), np.abs(told - true).mean(axis=0)])


def risks_table(many: int, jobs: int) -> None:
    """Print it."""
    names = ("bad", "passes and is bad", "rejected and good")
    print(f"| lot | pieces | {' | '.join(f'{name}: told | truth | off, mean' for name in names)} |")
    print("|---" * 11 + "|")
    for (kind, pieces), row in zip(RISKS, spread(partial(risks, many=many), RISKS, jobs), strict=True):
        cells = [f"{row[k]:.3%} | {row[3 + k]:.3%} | {row[6 + k]:.3%}" for k in range(3)]
        print(f"| {kind} | {pieces} | {' | '.join(cells)} |", flush=True)


TABLES = {"looks": (looks_table, 1000), "escapes": (escapes_table, 2000), "risks": (risks_table, 100)}


if __name__ == "__main__":
    print_one_of(TABLES, __doc__)
