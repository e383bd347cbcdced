"""A lot of judged pieces as columns, so that all of them can be judged again at once."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.studies.camera_and_people import PieceKey
from vision.decide import COUNTED_MEASURES, MEASURES, SCORED_AREA, Faces, faces_of, seen_of
from vision.records import JudgedPiece, Value, Verdict

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Codes = NDArray[np.int8]

VERDICTS: tuple[Verdict, ...] = ("pass", "review", "reject")
"""Verdicts by code: a greater code is worse."""


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One number a piece, each array (pieces,).

    `value` and standard uncertainty `u` are nan where missing; `present` is False where a piece has no such number at
    all (not this zone, or a zone's number where the piece has one for the whole).
    """

    value: Array
    u: Array
    present: Mask


@dataclass(frozen=True, slots=True, eq=False)
class PieceColumns:
    """Pieces as columns: what `vision.decide.verdicts.rejudge` reads of each.

    `measures`: measure -> zone -> column; a piece's number for the whole stands under zone None. Measures formed by
    counting rules are absent: they are formed anew from the `faces`. `faulty` (pieces,): could not be measured
    properly. `verdict` (pieces,): the code stored.
    """

    keys: tuple[PieceKey, ...]
    faulty: Mask
    verdict: Codes
    measures: Mapping[str, Mapping[str | None, Column]]
    faces: Faces

    def __len__(self) -> int:
        return len(self.keys)

    def zones(self, measure: str) -> tuple[str, ...]:
        """The zones in which any piece has this measure."""
        return tuple(zone for zone in self.measures.get(measure, {}) if zone is not None)


def columns_of(pieces: Iterable[tuple[PieceKey, JudgedPiece]]) -> PieceColumns:
    """Turn judged pieces into columns; the order of the pieces is kept.

    Parameters
    ----------
    pieces
        Each with its place on a tray.

    Returns
    -------
    PieceColumns
        Measures in their own units, nan where missing.
    """
    listed = list(pieces)
    judged = [piece for _, piece in listed]
    names = [name for name in MEASURES if name not in COUNTED_MEASURES]
    names += sorted({name for piece in judged for name in piece.measures} - set(MEASURES))
    measures = {name: _columns(judged, name) for name in names}
    area = measures[SCORED_AREA][None]
    return PieceColumns(
        keys=tuple(key for key, _ in listed),
        faulty=np.array([bool(piece.fault) for piece in judged], dtype=np.bool_),
        verdict=np.array([VERDICTS.index(piece.verdict) for piece in judged], dtype=np.int8),
        measures=measures,
        faces=faces_of(
            [piece.findings for piece in judged],
            np.stack([area.value, area.u], axis=1),
            tuple(piece.detection for piece in judged),
            tuple(seen_of(piece) for piece in judged),
        ),
    )


def _columns(pieces: list[JudgedPiece], name: str) -> dict[str | None, Column]:
    found: dict[str | None, Column] = {None: _empty(len(pieces))}
    later = name in MEASURES and MEASURES[name].later
    for i, piece in enumerate(pieces):
        if later and name not in piece.measures:
            continue
        uncertainties = _by_zone(piece.uncertainties.get(name))
        for zone, value in _by_zone(piece.measures.get(name)).items():
            if zone not in found:
                found[zone] = _empty(len(pieces))
            column = found[zone]
            u = uncertainties.get(zone)
            column.value[i] = np.nan if value is None else value
            column.u[i] = np.nan if u is None else u
            column.present[i] = True
    return found


def _by_zone(value: Value) -> Mapping[str | None, float | None]:
    if isinstance(value, Mapping):
        return {zone: one for zone, one in value.items()}  # noqa: C416 (widens the type of the keys)
    return {None: value}


def _empty(count: int) -> Column:
    return Column(np.full(count, np.nan), np.full(count, np.nan), np.zeros(count, dtype=np.bool_))
