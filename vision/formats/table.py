"""Tables typed in a spreadsheet: comma, semicolon or tab, with or without a byte order mark."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.errors import Unusable
from vision.formats.bounded import read_text

# How a cell begins that a spreadsheet takes for a formula; a tab or a return is passed over before one.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Row:
    """One record of a table: the line it ends on (the heading is line 1) and its cells by column, trimmed."""

    line: int
    cells: dict[str, str]


def spreadsheet_cell(value: Any) -> Any:
    """A value as a spreadsheet may open it: text that it would take for a formula has an apostrophe before it.

    Numbers stay numbers, also as text. `read_rows` takes the apostrophe away again. After OWASP's page on CSV
    injection, from memory.

    Parameters
    ----------
    value
        What a cell is to hold, text or not.

    Returns
    -------
    Any
        The same, or text that begins with an apostrophe.

    Examples
    --------
    >>> spreadsheet_cell("=1+1"), spreadsheet_cell("-0.5"), spreadsheet_cell(-0.5), spreadsheet_cell("T-1")
    ("'=1+1", '-0.5', -0.5, 'T-1')
    """
    if not isinstance(value, str) or not value.startswith(_FORMULA):
        return value
    try:
        float(value)
    except ValueError:
        return f"'{value}"
    return value


def _as_meant(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from reckoning."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_FORMULA) else cell


def read_rows(path: Path, columns: Sequence[str]) -> Iterator[Row]:
    """Yield the filled records of a table whose heading names exactly `columns`, in any order.

    Parameters
    ----------
    path
        A table with commas, semicolons or tabs between its cells.
    columns
        The headings that it must have, no others.

    Yields
    ------
    Row
        A record with its line's number, one at a time.

    Raises
    ------
    Unusable
        Where the file can't be read, or its heading or a record does not fit.
    """
    text = read_text(path)
    heading = text.split("\n", 1)[0]
    delimiter = next((mark for mark in (";", "\t") if mark in heading), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        names = [name.strip() for name in next(reader, [])]
        if sorted(names) != sorted(columns):
            raise Unusable(path, "line 1", f"the columns {','.join(columns)} expected", ",".join(names) or "nothing")
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(names):
                expected = f"{len(names)} cells expected; put a cell that holds a {delimiter!r} in quotes"
                raise Unusable(path, f"line {reader.line_num}", expected, str(len(cells)))
            yield Row(reader.line_num, {name: _as_meant(cell.strip()) for name, cell in zip(names, cells, strict=True)})
    except csv.Error as fault:
        raise Unusable(path, f"line {reader.line_num}", "a table of cells expected", str(fault)) from None
