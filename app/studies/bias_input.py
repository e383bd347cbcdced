"""Readings of reference pieces, from a table `piece,reference,reference_u,taken_at,value`."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.studies.gauge_input import number_in
from vision.errors import Unusable
from vision.formats import Row, read_rows

Array = NDArray[np.float64]

COLUMNS = ("piece", "reference", "reference_u", "taken_at", "value")
A_DAY_S = 86400.0


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of reference pieces, in the units of the table.

    Attributes
    ----------
    pieces
        Names, in the order in which they first appear.
    reference, reference_u
        (pieces,) their values and the standard uncertainty of these (0 where the table gives none).
    piece, value
        (readings,) which piece was read, and what.
    sitting
        (readings,) in which sitting: readings of one `taken_at`; all 0 where the table gives no times.
    days
        (sittings,) when, in days since the first, in order.
    """

    pieces: tuple[str, ...]
    reference: Array
    reference_u: Array
    piece: NDArray[np.int64]
    value: Array
    sitting: NDArray[np.int64]
    days: Array

    @property
    def several_sittings(self) -> bool:
        """Whether a piece was read in more than one sitting: else nothing tells sittings from pieces."""
        return len(np.unique(self.piece * len(self.days) + self.sitting)) > len(self.pieces)


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """What is independent of each other, (n,) each: `piece`, `sitting`, `off` from the piece's reference value."""

    piece: NDArray[np.int64]
    sitting: NDArray[np.int64]
    off: Array


def units_of(readings: Readings) -> Units:
    """Readings as they are, or their means over a sitting where there were several."""
    off = readings.value - readings.reference[readings.piece]
    if not readings.several_sittings:
        return Units(readings.piece, readings.sitting, off)
    found, at = np.unique(np.stack([readings.piece, readings.sitting], axis=1), axis=0, return_inverse=True)
    return Units(found[:, 0], found[:, 1], np.bincount(at.ravel(), off) / np.bincount(at.ravel()))


def read_readings(path: Path) -> Readings:
    """Read a table of readings; `reference_u` may be left empty, `taken_at` in all lines or in none.

    Parameters
    ----------
    path
        A CSV file with the columns that the bias study reads.

    Returns
    -------
    Readings
        Values in the unit of the table, pieces by number, times in days since the first.

    Raises
    ------
    Unusable
        The table can't be read, a cell is not what its column holds, one piece has two reference values, some lines
        have a time and others none, or no piece was read twice.
    """
    references: dict[str, tuple[float, float]] = {}
    pieces: list[str] = []
    values: list[float] = []
    times: list[float | None] = []
    for row in read_rows(path, COLUMNS):
        name = row.cells["piece"]
        if not name:
            raise Unusable(path, f"line {row.line}, piece", "a name or a number; the cell is empty")
        u = number_in(path, row, "reference_u") if row.cells["reference_u"] else 0.0
        if u < 0.0:
            raise Unusable(path, f"line {row.line}, reference_u", "a standard uncertainty, 0 or more", f"{u:g}")
        said = (number_in(path, row, "reference"), u)
        if references.setdefault(name, said) != said:
            raise Unusable(
                path, f"line {row.line}", f"one reference value and uncertainty for piece {name}, as in its first line"
            )
        pieces.append(name)
        values.append(number_in(path, row, "value"))
        times.append(_time(path, row))
    names = tuple(references)
    if len(values) == len(names):
        raise Unusable(path, "", "at least one piece read twice; without repeats no bias can be told from scatter")
    if None in times and any(time is not None for time in times):
        raise Unusable(path, "taken_at", "a time in every line, or in none")
    known = np.array([0.0 if time is None else time for time in times])
    days, sitting = np.unique(known, return_inverse=True)
    return Readings(
        pieces=names,
        reference=np.array([references[name][0] for name in names]),
        reference_u=np.array([references[name][1] for name in names]),
        piece=np.array([names.index(name) for name in pieces], dtype=np.int64),
        value=np.array(values),
        sitting=sitting.astype(np.int64),
        days=(days - days[0]) / A_DAY_S,
    )


def _time(path: Path, row: Row) -> float | None:
    text = row.cells["taken_at"]
    if not text:
        return None
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise Unusable(path, f"line {row.line}, taken_at", "a date or time as 2026-11-02T06:00", repr(text)) from None
    return (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()
