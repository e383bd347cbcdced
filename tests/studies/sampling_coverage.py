"""How well figures of people's verdicts hold: coverage and broken promises over simulated lots, rounds and people.

    python -m tests.studies.sampling_coverage round [MANY] [--jobs N]   # the lot of 8000 through the real store
    python -m tests.studies.sampling_coverage rates [MANY] [--jobs N]   # weighted rates over lots and designs
    python -m tests.studies.sampling_coverage kappa [MANY] [--jobs N]   # kappa and AC1, n 20 to 1000, bad 1 to 30 %

Prints the tables of docs/benchmarks/sampling.md. Each kind draws from a fixed start.
"""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from itertools import product
from pathlib import Path

import numpy as np
from sqlalchemy import select

from app.statistics.kappa_ends import HIGH, LOW, ac1_of, ac1_value, kappa_of
from app.statistics.weighted import Cells, weighted_share
from app.store.database import schema
from app.store.database.connection import Store
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.samples import Choice, samples_of
from app.store.results.recall import Which, recall_results
from app.studies.agreement import MAJORITY, study_agreement
from app.studies.columns import columns_of
from app.studies.lot import Lot
from app.studies.samples import Sample, answers_of
from app.studies.tuning import Task
from app.studies.tuning_sample import Promise
from app.studies.tuning_study import Question, truth_of, tune_columns
from app.works.folder import new_works
from tests.by_hand import print_one_of, spread
from tests.studies.rounds import ISSUE, LIMITS, LOT, draw_truth, file_lot, judge_round
from vision.records import Verdict

HALVES: Mapping[Verdict, float] = {"pass": 0.5, "review": 0.25, "reject": 0.25}
MISSED, ALARMS = ISSUE.missed / ISSUE.bad, ISSUE.false_alarms / (ISSUE.pieces - ISSUE.bad)
DRAWS = 600
ALL_CAN = np.ones((1, 4), dtype=np.bool_)


@dataclass(frozen=True)
class Rounds:
    """Some rounds of the lot, by number, drawn in one way."""

    words: str
    shares: Mapping[Verdict, float] | None
    first: int


@dataclass(frozen=True)
class Told:
    """Of one round: rates told, whether their intervals hold, and whether a promise was given, and broken."""

    missed: float
    holds: bool
    alarms: float
    alarms_hold: bool
    promised: bool
    broken: bool


WAYS: dict[str, Mapping[Verdict, float] | None] = {"half passed": HALVES, "at random": None}
TOGETHER = 5
"""Rounds that one process draws of its own store."""


def rounds_of_the_lot(rounds: int, jobs: int) -> None:
    """The lot of 8000, 412 bad: rounds of 400 drawn by the program, judged by a perfect inspector."""
    print(
        "| drawn | figures | missed: mean told | interval holds | false alarms: mean told | holds | promises | broken |"
    )
    print("|---" * 8 + "|")
    parts = [Rounds(*way, first) for way in WAYS.items() for first in range(0, rounds, TOGETHER)]
    found = list(zip(parts, spread(some_rounds, parts, jobs), strict=True))
    for words, name in product(WAYS, ("before", "now")):
        rows = [one for part, told in found if part.words == words for one in told[name]]
        values = np.array([[getattr(one, key) for key in Told.__dataclass_fields__] for one in rows], dtype=np.float64)
        missed, holds, alarms, holds_too, promised, broken = values.T
        print(
            f"| {words} | {name} | {missed.mean():.1%} | {holds.mean():.1%} | {alarms.mean():.1%} "
            f"| {holds_too.mean():.1%} | {int(promised.sum())} of {len(rows)} | {int(broken.sum())} |",
            flush=True,
        )


def some_rounds(part: Rounds) -> dict[str, list[Told]]:
    """Rounds through a store of their own, with the design (`now`) and taken for a random sample (`before`)."""
    with tempfile.TemporaryDirectory() as folder:
        works = new_works(Path(folder) / "works", "Aldermoor Flatware Works")
        with closing(works.open()) as store:
            return _rounds(store, part)


def _rounds(store: Store, part: Rounds) -> dict[str, list[Told]]:
    by_key = file_lot(store, draw_truth(np.random.default_rng(20), ISSUE))
    with store.read() as connection:
        query = select(schema.piece.c.id, schema.tray.c.tray, schema.piece.c.piece).join(schema.tray)
        bad = {row.id: by_key[row.tray, row.piece] for row in connection.execute(query)}
    lot = Lot(tuple(recall_results(store, Which(lot=LOT, part="TS-135"))))
    judged = {key: piece.verdict for key, piece in lot.pieces()}
    columns = columns_of(lot.pieces())
    is_bad = np.array([by_key[key] for key in columns.keys])
    value = columns.measures["outline_out_mm"]["bowl"].value
    question = Question("outline_out_mm", "bowl", None, "major", Task(Promise()))
    told: dict[str, list[Told]] = {"before": [], "now": []}
    for k in range(part.first, part.first + TOGETHER):
        drawn = draw_pieces(store, Draw(LOT, 400, k, part.shares))
        blind = make_blind(store, f"{part.words} {k}", k, 1, drawn, "R. Hale")
        judge_round(store, blind, bad)
        (now,) = samples_of(store, LOT, "TS-135", Choice(blind.name))
        for name, sample in (("before", Sample("", "table", now.verdicts)), ("now", now)):
            pair = study_agreement(answers_of(judged, [sample])).camera_vs[MAJORITY]
            study = tune_columns(columns, truth_of(columns, [sample]), LIMITS, question)
            setting, broken = study.tuning.recommended.setting, False
            if setting is not None:
                passes = value + 1.645 * 0.011 <= study.target.sign * setting
                broken = float(passes[is_bad].mean()) > 0.05
            told[name].append(
                Told(
                    pair.missed.value or 0.0,
                    _holds(pair.missed.ci, MISSED),
                    pair.false_alarm.value or 0.0,
                    _holds(pair.false_alarm.ci, ALARMS),
                    setting is not None,
                    broken,
                )
            )
    return told


def _holds(ci: tuple[float, float] | None, truth: float) -> bool:
    return ci is not None and ci[0] <= truth <= ci[1]


@dataclass(frozen=True)
class Design:
    """A lot and a round: shares of bad pieces, of these missed, of the good ones not passed; `passed` of the round."""

    lot: int
    bad: float
    missed: float
    alarms: float
    round: int
    passed: float


DESIGNS = [
    Design(*one)
    for one in product((2000, 20000), (0.01, 0.05, 0.3), (0.02, 0.1, 0.3), (0.005, 0.05), (100, 400), (0.5, 0.8))
]


def weighted_rates(lots: int, jobs: int) -> None:
    """Missed share and false alarms from strata of passed and flagged pieces, over lots and designs."""
    print("| lot | bad | missed | false alarms | round | passed | missed holds | false alarms hold |")
    print("|---" * 8 + "|")
    for one, told in zip(DESIGNS, spread(partial(_held, lots=lots), DESIGNS, jobs), strict=True):
        print(
            f"| {one.lot} | {one.bad:.0%} | {one.missed:.0%} | {one.alarms:.1%} | {one.round} | {one.passed:.0%} "
            f"| {told[0]:.1%} | {told[1]:.1%} |"
        )


def _held(one: Design, lots: int) -> np.ndarray:
    """(2,) share of rounds whose intervals hold the lot's missed share, and its false alarms."""
    rng = np.random.default_rng([8, DESIGNS.index(one)])
    n_bad = round(one.lot * one.bad)
    n_missed, n_alarms = round(n_bad * one.missed), round((one.lot - n_bad) * one.alarms)
    passed, flagged = one.lot - n_bad + n_missed - n_alarms, n_bad - n_missed + n_alarms
    of_passed = min(max(round(one.round * one.passed), one.round - flagged), passed)
    of_flagged = one.round - of_passed
    hits = np.zeros(2)
    for _ in range(lots):
        a = int(rng.hypergeometric(n_missed, passed - n_missed, of_passed))
        b = int(rng.hypergeometric(n_bad - n_missed, n_alarms, of_flagged))
        for k, (cells, truth) in enumerate(rates_of(a, of_passed, b, of_flagged, passed, flagged)):
            expected = n_missed / n_bad if truth == "missed" else n_alarms / (one.lot - n_bad)
            found = weighted_share(cells)
            hits[k] += found.ci is None or _holds(found.ci, expected)
    return hits / lots


def rates_of(a: int, of_passed: int, b: int, of_flagged: int, passed: int, flagged: int) -> Iterator[tuple[Cells, str]]:
    sizes = np.array([passed, flagged], dtype=np.float64)
    yield (
        Cells(
            np.array([[a, 0, of_passed - a], [0, b, of_flagged - b]], dtype=np.float64),
            sizes,
            np.array([[True, False, True], [False, True, True]]),
        ),
        "missed",
    )
    yield (
        Cells(
            np.array([[0, of_passed - a, a], [of_flagged - b, 0, b]], dtype=np.float64),
            sizes,
            np.array([[False, True, True], [True, False, True]]),
        ),
        "false alarms",
    )


ERRORS = (
    (0.005, 0.0005, 0.005, 0.0005), (0.02, 0.002, 0.02, 0.002), (0.1, 0.01, 0.05, 0.005), (0.25, 0.02, 0.1, 0.01),
    (0.5, 0.05, 0.2, 0.02), (0.3, 0.0, 0.0, 0.0), (0.0, 0.02, 0.0, 0.0), (0.4, 0.002, 0.4, 0.002),
    (0.15, 0.05, 0.15, 0.05),
)  # fmt: skip
"""Of two judges: misses and false alarms of the first, and of the second; independent given the piece."""


def table_of(bad: float, errors: tuple[float, float, float, float]) -> np.ndarray:
    """(4,) shares of the cells, row by row, of two judges of pieces of which `bad` are."""
    miss_1, alarm_1, miss_2, alarm_2 = errors
    of_bad = np.outer([miss_1, 1 - miss_1], [miss_2, 1 - miss_2])
    of_good = np.outer([1 - alarm_1, alarm_1], [1 - alarm_2, alarm_2])
    return np.asarray(bad * of_bad + (1 - bad) * of_good).ravel()


def covered(shares: np.ndarray, pieces: int, studies: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """How often the intervals of kappa and of AC1 hold the truth; how often kappa is not defined, which counts as held.

    All tables at once, from fewer draws than the figures of a report.
    """
    tables, times = np.unique(rng.multinomial(pieces, shares, size=studies), axis=0, return_counts=True)
    truth = (float(kappa_of(shares)), ac1_value(Cells(shares[None], np.ones(1), ALL_CAN)))
    drawn = []
    for added in (LOW, HIGH):
        gammas = rng.standard_gamma((tables + added)[:, None, :], size=(len(tables), DRAWS, 4))
        drawn.append(gammas / gammas.sum(axis=2, keepdims=True))
    one_class = (tables[:, 1:].sum(axis=1) == 0) | (tables[:, :3].sum(axis=1) == 0)
    held = []
    for of, value in ((kappa_of, truth[0]), (ac1_of, truth[1])):
        low = np.quantile(np.nan_to_num(of(drawn[0]), nan=-1.0), 0.025, axis=1)
        high = np.quantile(np.nan_to_num(of(drawn[1]), nan=1.0), 0.975, axis=1)
        held.append((low <= value) & (value <= high + 1e-12))
    whole = times.sum()
    return times[held[0] | one_class].sum() / whole, times[held[1]].sum() / whole, times[one_class].sum() / whole


STUDIES = list(product((20, 50, 100, 200, 500, 1000), (0.01, 0.05, 0.1, 0.3)))


def kappas(studies: int, jobs: int) -> None:
    """Least and mean coverage over the judges, for each number of pieces and share of bad ones."""
    print("| pieces | bad | kappa: least | mean | AC1: least | mean | kappa not defined, at most |")
    print("|---" * 7 + "|")
    for (pieces, bad), rows in zip(STUDIES, spread(partial(_of_judges, studies=studies), STUDIES, jobs), strict=True):
        least, mean = rows.min(axis=0), rows.mean(axis=0)
        print(
            f"| {pieces} | {bad:.0%} | {least[0]:.1%} | {mean[0]:.1%} | {least[1]:.1%} | {mean[1]:.1%} "
            f"| {rows[:, 2].max():.0%} |",
            flush=True,
        )


def _of_judges(study: tuple[int, float], studies: int) -> np.ndarray:
    rng = np.random.default_rng([3, STUDIES.index(study)])
    pieces, bad = study
    return np.array([covered(table_of(bad, errors), pieces, studies, rng) for errors in ERRORS])


TABLES = {"round": (rounds_of_the_lot, 100), "rates": (weighted_rates, 400), "kappa": (kappas, 1500)}


if __name__ == "__main__":
    print_one_of(TABLES, __doc__)
