"""Tables typed in a spreadsheet: comma, semicolon or tab, with or without a byte order mark."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from vision.errors import Unusable
from vision.formats.bounded import read_text


@dataclass(frozen=True, slots=True)
class Row:
    """One record of a table: the line it ends on (the heading is line 1) and its cells by column, trimmed."""

    line: int
    cells: dict[str, str]


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
            yield Row(reader.line_num, {name: cell.strip() for name, cell in zip(names, cells, strict=True)})
    except csv.Error as fault:
        raise Unusable(path, f"line {reader.line_num}", "a table of cells expected", str(fault)) from None
