"""A lot whose truth is known, in a real store, with blind rounds that people judge: for tests and simulations."""

from dataclasses import dataclass

import numpy as np

from app.store.database.connection import Store, now
from app.store.people.blind_rounds import Blind
from app.store.people.verdicts import NewVerdict, give_in
from app.store.results.filing import ToFile, file_result
from app.studies.camera_and_people import PieceKey
from tests.store.made import PART, STATION
from vision.decide.verdicts import rejudge
from vision.records.inputs import CountRule, Limit, Limits
from vision.records.judged import JudgedPiece, TrayResult
from vision.records.measured import Pose

LOT, PIECES_A_TRAY = "L-2611-07", 40
LIMITS = Limits("TS-135", 3, "released", 0.95, (Limit("outline_out_mm", "major", max=0.15),), CountRule())


@dataclass(frozen=True, slots=True)
class Shares:
    """A lot: its pieces, the bad ones, and of these and of the good ones how many the camera errs on."""

    pieces: int
    bad: int
    missed: int
    false_alarms: int


ISSUE = Shares(8000, 412, 109, 106)
"""26.5 % of the bad pieces missed, 1.4 % false alarms."""


@dataclass(frozen=True, slots=True)
class Truth:
    """Of every piece whether it is bad, and its deviation, mm; in one order."""

    bad: np.ndarray
    value_mm: np.ndarray


def draw_truth(rng: np.random.Generator, shares: Shares) -> Truth:
    """A lot in random order; the camera passes 0.13 mm and less. Missed pieces look like good ones."""
    good = shares.pieces - shares.bad
    values = np.concatenate(
        [
            rng.uniform(0.02, 0.125, shares.missed),
            rng.uniform(0.18, 0.4, shares.bad - shares.missed),
            rng.uniform(0.18, 0.3, shares.false_alarms),
            rng.uniform(0.0, 0.125, good - shares.false_alarms),
        ]
    )
    order = rng.permutation(shares.pieces)
    return Truth((np.arange(shares.pieces) < shares.bad)[order], values[order])


def file_lot(store: Store, truth: Truth, lot: str = LOT) -> dict[PieceKey, bool]:
    """File a lot tray by tray; whether each piece is bad."""
    bad: dict[PieceKey, bool] = {}
    for start in range(0, len(truth.bad), PIECES_A_TRAY):
        tray, pieces = f"{lot}-T-{start // PIECES_A_TRAY:04}", []
        for number, value in enumerate(truth.value_mm[start : start + PIECES_A_TRAY].tolist(), 1):
            pieces.append(rejudge(_piece(number, value), LIMITS))
            bad[PieceKey(tray, number)] = bool(truth.bad[start + number - 1])
        taken_at = f"2026-11-02T06:00:00.{start:06}+00:00"
        result = TrayResult("brightbowl 0.1.0", tray, lot, "TS-135", "ST-1", taken_at, 3, tuple(pieces), ())
        file_result(store, ToFile(result, (), PART, STATION, LIMITS))
    return bad


def _piece(number: int, value_mm: float) -> JudgedPiece:
    return JudgedPiece(
        number, "review", (), None, Pose((1490.0, 400.0), 3.0, 0.009), {"outline_out_mm": {"bowl": value_mm}},
        {"outline_out_mm": {"bowl": 0.011}}, (), (),
    )  # fmt: skip


def judge_round(store: Store, blind: Blind, bad: dict[int, bool], inspector: str = "R. Hale") -> None:
    """A perfect inspector's verdicts on all pieces of a round; `bad` by the piece's id."""
    with store.write() as connection:
        for piece_id, judgement_id in blind.pieces:
            said = "reject" if bad[piece_id] else "accept"
            uid = f"{blind.name} {inspector} {piece_id}"
            give_in(
                connection,
                NewVerdict(
                    uid, piece_id, judgement_id, inspector, "declared", said, (), "", now(), None, blind.id, 1
                ),
            )  # fmt: skip
