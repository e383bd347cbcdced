"""How well figures hold when people err, drift, and name kinds of defect: coverage over simulated rounds.

    python -m tests.studies.people_coverage latent [MANY] [--jobs N]   # rates corrected for people's own misses
    python -m tests.studies.people_coverage time [MANY] [--jobs N]     # trends of people's verdicts
    python -m tests.studies.people_coverage kinds [MANY] [--jobs N]    # agreement by kind of defect and by limit

Prints tables of docs/benchmarks/sampling.md. Each row draws from a fixed start.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np

from app.studies.agreement import study_agreement
from app.studies.camera_and_people import Answers, PieceKey, Weighting
from app.studies.characteristics import study_limits
from app.studies.corrected import corrected
from app.studies.over_time import drifts
from tests.by_hand import print_one_of, spread

KINDS = ("scratch", "pit", "nick")
LIMIT_OF = {"scratch": "scratch_count", "pit": "pit_count", "nick": "outline_in_mm.bowl"}


@dataclass(frozen=True)
class Crowd:
    """A lot of 8000 pieces and who judges it: the camera first, then people; a row of errors for each judge.

    `alike`: share of the bad pieces whose marks are so faint that each judge misses them four times as often (at most
    0.9), all judges alike; `halves`: a round half of passed and half of flagged pieces, instead of at random.
    """

    bad: float = 0.1
    missed: tuple[float, ...] = (0.2, 0.1, 0.12)
    alarms: tuple[float, ...] = (0.02, 0.02, 0.01)
    alike: float = 0.0
    pieces: int = 1000
    halves: bool = False


CROWDS = {
    "two people, at random": Crowd(),
    "two people, 200 pieces": Crowd(pieces=200),
    "two people, half flagged": Crowd(halves=True),
    "two people, 2 % bad": Crowd(bad=0.02),
    "two people, 2 % bad, half flagged": Crowd(bad=0.02, halves=True),
    "four people": Crowd(missed=(0.2, 0.1, 0.12, 0.2, 0.05), alarms=(0.02, 0.02, 0.01, 0.04, 0.01), pieces=400),
    "two people, faint marks missed by all": Crowd(alike=0.15),
}
LOT = 8000


def lot(crowd: Crowd, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Whether each piece is bad (pieces,), and what each judge would say of it, 1 for reject (pieces, judges)."""
    bad = rng.permutation(LOT) < round(crowd.bad * LOT)
    faint = rng.random(LOT) < crowd.alike
    missed = np.where(faint[:, None], np.minimum(4 * np.array(crowd.missed), 0.9), np.array(crowd.missed))
    rejects = np.where(bad[:, None], 1 - missed, np.array(crowd.alarms))
    return bad, (rng.random(rejects.shape) < rejects).astype(np.int8)


def drawn(crowd: Crowd, said: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, Answers]:
    """A round of the lot: places of its pieces, and the answers on them."""
    flagged = said[:, 0] == 1
    weighting = None
    if crowd.halves:
        sizes = np.array([(~flagged).sum(), flagged.sum()], dtype=np.float64)
        of_flagged = min(crowd.pieces // 2, int(flagged.sum()))
        rows = np.concatenate(
            [
                rng.choice(np.flatnonzero(~flagged), crowd.pieces - of_flagged, replace=False),
                rng.choice(np.flatnonzero(flagged), of_flagged, replace=False),
            ]
        )
        weighting = Weighting(flagged[rows].astype(np.int64), sizes, ("pass", "flagged"))
    else:
        rows = rng.choice(LOT, crowd.pieces, replace=False)
    return rows, Answers(
        pieces=tuple(PieceKey("T-1", int(k)) for k in rows),
        camera=tuple("reject" if one else "pass" for one in flagged[rows]),
        inspectors=tuple(f"P{k}" for k in range(said.shape[1] - 1)),
        rounds=said[rows][:, 1:, None],
        defects={},
        unknown=(),
        without_verdict=LOT - len(rows),
        weighting=weighting,
    )


def latent(name: str, many: int) -> np.ndarray:
    """Shares of rounds: told, and of these intervals that hold bad, missed, false alarms; mean of missed told."""
    crowd, counts = CROWDS[name], np.zeros(5)
    for k in range(many):
        rng = np.random.default_rng([31, list(CROWDS).index(name), k])
        bad, said = lot(crowd, rng)
        found = corrected(drawn(crowd, said, rng)[1])
        if found is None:
            continue
        truth = (bad.mean(), (said[bad, 0] == 0).mean(), (said[~bad, 0] == 1).mean())
        held = [
            one.ci is not None and one.ci[0] <= value <= one.ci[1]
            for one, value in zip((found.bad, found.missed, found.false_alarm), truth, strict=True)
        ]
        counts += [1, *held, found.missed.value or 0.0]
    return np.array([counts[0] / many, *(counts[1:] / max(counts[0], 1))])


def latent_table(many: int, jobs: int) -> None:
    """Print it."""
    print("| people | told | bad holds | missed holds | false alarms hold | missed told, mean (truth 20 %) |")
    print("|---" * 6 + "|")
    for name, row in zip(CROWDS, spread(partial(latent, many=many), CROWDS, jobs), strict=True):
        print(f"| {name} | {' | '.join(f'{share:.1%}' for share in row)} |", flush=True)


@dataclass(frozen=True)
class Said:
    """A verdict with its time."""

    inspector: str
    verdict: str
    given_at: str


@dataclass(frozen=True)
class Sittings:
    """Two people's sittings, 60 verdicts each: `last` share rejected at a sitting's end, of 0.3 at its beginning.

    `days`: how many sittings; `between`: how far a day's share lies from 0.3 (its pieces were drawn of the same lot, so
    that this is the person's).
    """

    days: int = 4
    last: float = 0.3
    between: float = 0.0


SITTINGS = {
    "steady, one sitting": Sittings(1),
    "steady, four days": Sittings(),
    "steady, twelve days": Sittings(12),
    "tired: 30 % falls to 20 % in a sitting": Sittings(4, 0.2),
    "tired: 30 % falls to 10 % in a sitting": Sittings(4, 0.1),
    "days of their own, 30 % +- 8": Sittings(12, 0.3, 0.08),
}


def over_time(name: str, many: int) -> np.ndarray:
    """Shares of studies that tell a trend (p below 0.05): on any axis, and in the sitting."""
    kind, told = SITTINGS[name], np.zeros(2)
    for k in range(many):
        rng = np.random.default_rng([32, list(SITTINGS).index(name), k])
        said = []
        for who in ("Ada", "Ben"):
            for day in range(kind.days):
                begin = datetime(2026, 11, 2, 6 + int(rng.integers(0, 8)), tzinfo=UTC) + timedelta(days=day)
                rate = np.clip(np.linspace(0.3, kind.last, 60) + rng.normal(0.0, kind.between), 0.02, 0.98)
                said += [
                    Said(who, "reject" if word else "accept", (begin + timedelta(minutes=m)).isoformat())
                    for m, word in enumerate(rng.random(60) < rate)
                ]
        found = {one.axis: one.p for one in drifts(said)}  # type: ignore[arg-type]
        told += [min(found.values()) < 0.05, found.get("place in the sitting", 1.0) < 0.05]
    return told / many


def time_table(many: int, jobs: int) -> None:
    """Print it."""
    print("| people | a trend told on any axis | in the sitting |\n|---|---|---|")
    for name, row in zip(SITTINGS, spread(partial(over_time, many=many), SITTINGS, jobs), strict=True):
        print(f"| {name} | {row[0]:.1%} | {row[1]:.1%} |", flush=True)


@dataclass(frozen=True)
class Named:
    """A round of so many pieces by people who name kinds of defect, some wrongly."""

    pieces: int
    halves: bool
    people: int


NAMED = {
    "3 people, 400 at random": Named(400, False, 3),
    "3 people, 400 half flagged": Named(400, True, 3),
    "2 people, 200 half flagged": Named(200, True, 2),
    "1 person, 1000 half flagged": Named(1000, True, 1),
}
SHARES, MISSED_OF, NAMED_RIGHT = (0.03, 0.04, 0.01), (0.3, 0.1, 0.2), 0.85


def kinds(name: str, many: int) -> np.ndarray:
    """Shares of intervals that hold, over the kinds and limits: missed by kind, false alarms by limit, both by pair."""
    row, held, told = NAMED[name], np.zeros(4), np.zeros(4)
    for k in range(many):
        rng = np.random.default_rng([33, list(NAMED).index(name), k])
        kind = rng.choice(4, LOT, p=[1 - sum(SHARES), *SHARES]) - 1
        bad = kind >= 0
        missed = np.where(bad, np.array(MISSED_OF)[kind], 1.0)
        people = rng.random((LOT, row.people)) < np.where(bad, 0.9, 0.02)[:, None]
        camera = (rng.random(LOT) >= missed) | (rng.random(LOT) < 0.01)
        said = np.concatenate([camera[:, None], people], axis=1).astype(np.int8)
        seen = np.where(
            rng.random((LOT, row.people)) < NAMED_RIGHT, kind[:, None], rng.integers(0, 3, (LOT, row.people))
        )
        seen = np.where(bad[:, None], seen, rng.integers(0, 3, (LOT, row.people)))
        why = np.where(bad & (rng.random(LOT) < 0.95), kind, rng.integers(0, 3, LOT))
        _, answers = drawn(Crowd(pieces=row.pieces, halves=row.halves), said, rng)
        whole = _with_kinds(_all(said), people, seen)
        part = _with_kinds(answers, people, seen)
        reasons = {
            PieceKey("T-1", i): frozenset([LIMIT_OF[KINDS[why[i]]]] if camera[i] else []) for i in range(LOT)
        }  # fmt: skip
        lot_kinds, of_kinds = study_agreement(whole).by_kind, study_agreement(part).by_kind
        lot_limits = {one.name: one for one in study_limits(whole, reasons)}
        of_limits = {one.name: one for one in study_limits(part, reasons)}
        pairs = [(0, of_kinds[one].missed, lot_kinds[one].missed) for one in of_kinds]
        for one, found in of_limits.items():
            pairs.append((1, found.false_alarm, lot_limits[one].false_alarm))
            if found.pair is not None and (truth := lot_limits[one].pair) is not None:
                pairs += [(2, found.pair.missed, truth.missed), (3, found.pair.kappa, truth.kappa)]
        for column, estimate, true in pairs:
            if estimate.ci is not None and true.value is not None:
                told[column] += 1
                held[column] += estimate.ci[0] - 1e-12 <= true.value <= estimate.ci[1] + 1e-12
    return held / np.maximum(told, 1)


def _all(said: np.ndarray) -> Answers:
    """Every piece of the lot, judged by everybody: the truth of what a round estimates."""
    return drawn(Crowd(pieces=LOT), said, np.random.default_rng(0))[1]


def _with_kinds(answers: Answers, people: np.ndarray, seen: np.ndarray) -> Answers:
    """The answers with the kinds that people name, pieces in the order of the answers."""
    rows = np.array([key.piece for key in answers.pieces])
    named = {
        (i, j): frozenset([KINDS[seen[row, j]]] if people[row, j] else [])
        for i, row in enumerate(rows.tolist())
        for j in range(people.shape[1])
    }
    return Answers(
        answers.pieces, answers.camera, answers.inspectors, answers.rounds, named, (), 0, answers.weighting
    )  # fmt: skip


def kinds_table(many: int, jobs: int) -> None:
    """Print it."""
    print("| round | missed by kind holds | false alarms by limit | missed by limit | kappa by limit |")
    print("|---" * 5 + "|")
    for name, row in zip(NAMED, spread(partial(kinds, many=many), NAMED, jobs), strict=True):
        print(f"| {name} | {' | '.join(f'{share:.1%}' for share in row)} |", flush=True)


TABLES = {"latent": (latent_table, 400), "time": (time_table, 1000), "kinds": (kinds_table, 100)}


if __name__ == "__main__":
    print_one_of(TABLES, __doc__)
