"""verdicts.csv: what people said of pieces."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from vision.errors import Unusable
from vision.formats.table import Row, read_rows

_DIGITS = 9  # of a piece or a round; more than anybody counts, fewer than any database holds
COLUMNS = ("tray", "piece", "inspector", "round", "verdict", "defects", "note", "given_at")


@dataclass(frozen=True, slots=True)
class PersonsVerdict:
    """One person's verdict on one piece in one round, counted from 1; `line` is where it stands in the file.

    `given_at` is ISO 8601, or None where it was not written down.
    """

    tray: str
    piece: int
    inspector: str
    round: int
    verdict: Literal["accept", "reject"]
    defects: tuple[str, ...]
    note: str
    given_at: str | None
    line: int


def read_verdicts(path: Path) -> tuple[PersonsVerdict, ...]:
    """Read people's verdicts in the order of the file, as a person or a spreadsheet wrote it.

    Parameters
    ----------
    path
        `verdicts.csv`.

    Returns
    -------
    tuple[PersonsVerdict, ...]
        One verdict a line, in the order of the file.

    Raises
    ------
    Unusable
        Naming the line at fault; both lines where an inspector judged a piece twice in one round.
    """
    lines: dict[tuple[str, int, str, int], int] = {}
    verdicts = []
    for row in read_rows(path, COLUMNS):
        one = _verdict(path, row)
        first = lines.setdefault((one.tray, one.piece, one.inspector, one.round), one.line)
        if first != one.line:
            expected = "one verdict of an inspector on a piece in a round expected; remove one"
            found = f"{one.inspector} on tray {one.tray}, piece {one.piece}, round {one.round} twice"
            raise Unusable(path, f"lines {first} and {one.line}", expected, found)
        verdicts.append(one)
    return tuple(verdicts)


def _verdict(path: Path, row: Row) -> PersonsVerdict:
    cells, line = row.cells, f"line {row.line}"
    for column in ("tray", "inspector"):
        if not cells[column]:
            raise Unusable(path, f"{line}, {column}", "a name expected", "nothing")
    verdict: Literal["accept", "reject"]
    if cells["verdict"] == "accept":
        verdict = "accept"
    elif cells["verdict"] == "reject":
        verdict = "reject"
    else:
        raise Unusable(path, f"{line}, verdict", "accept or reject expected", repr(cells["verdict"]))
    if cells["given_at"]:
        try:
            datetime.fromisoformat(cells["given_at"])
        except ValueError:
            expected = "a time after ISO 8601 expected, as 2026-11-02T06:00:00+00:00, or nothing"
            raise Unusable(path, f"{line}, given_at", expected, repr(cells["given_at"])) from None
    return PersonsVerdict(
        tray=cells["tray"],
        piece=_from_one(path, row, "piece"),
        inspector=cells["inspector"],
        round=_from_one(path, row, "round"),
        verdict=verdict,
        defects=tuple(kind.strip() for kind in cells["defects"].split(";") if kind.strip()),
        note=cells["note"],
        given_at=cells["given_at"] or None,
        line=row.line,
    )


def _from_one(path: Path, row: Row, column: str) -> int:
    """A whole number from 1; a spreadsheet may have made 2.0 or 2,0 of it."""
    text = row.cells[column]
    whole, _, rest = text.replace(",", ".").partition(".")
    counted = whole.isascii() and whole.isdecimal() and len(whole) <= _DIGITS and int(whole) > 0
    if not counted or rest.strip("0"):
        expected = f"a whole number from 1, of at most {_DIGITS} digits, expected"
        raise Unusable(path, f"line {row.line}, {column}", expected, repr(text))
    return int(whole)
