"""Tables typed in a spreadsheet: comma, semicolon or tab, with or without a byte-order mark, decimal point or comma."""

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from vision.errors import Unusable


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: its number in the file (the heading is line 1) and its cells by column, trimmed."""

    line: int
    cells: dict[str, str]


def read_rows(path: Path, columns: Sequence[str]) -> Iterator[Row]:
    """Yield the filled lines of a table whose heading names exactly `columns`, in any order.

    Raises
    ------
    Unusable
        The file can't be read, isn't UTF-8 text, or its heading or a line does not fit.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise Unusable(path, "", "a table that can be read", fault.strerror or "") from fault
    except UnicodeDecodeError as fault:
        raise Unusable(path, f"byte {fault.start}", "UTF-8 text; save the table as CSV UTF-8") from fault
    lines = text.splitlines()
    heading = lines[0] if lines else ""
    delimiter = next((mark for mark in (";", "\t") if mark in heading), ",")
    reader = csv.reader(lines, delimiter=delimiter)
    found = [name.strip() for name in next(reader, [])]
    if sorted(found) != sorted(columns):
        raise Unusable(path, "line 1", f"the columns {','.join(columns)}", ",".join(found) or "an empty file")
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(found):
            raise Unusable(path, f"line {reader.line_num}", f"{len(found)} cells", str(len(cells)))
        yield Row(reader.line_num, {name: cell.strip() for name, cell in zip(found, cells, strict=True)})


def number(path: Path, row: Row, column: str) -> float:
    """A cell's finite number; a comma is taken for the decimal mark.

    Raises
    ------
    Unusable
        The cell holds no finite number.
    """
    text = row.cells[column]
    try:
        value = float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Unusable(path, f"line {row.line}, {column}", "a finite number", repr(text))
    return value
