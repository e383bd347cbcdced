"""The table of a gauge study: read from `part,operator,trial,value` and checked to be crossed and balanced."""

import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from app.studies.gauge import GaugeTable
from vision.errors import Unusable
from vision.formats import Row, read_rows

NAMED_AT_MOST = 5
"""How many missing cells a message names before it only counts the rest; enough to see the pattern."""


def read_gauge_table(path: Path) -> GaugeTable:
    """Read a crossed, balanced gauge study; parts, operators and trials in the order in which they first appear.

    Parameters
    ----------
    path
        A CSV file with part, operator, trial and value.

    Returns
    -------
    GaugeTable
        Values (parts, operators, trials), in the unit of the table.

    Raises
    ------
    Unusable
        The table can't be read, a measurement stands twice, the study is unbalanced or incomplete (what is missing is
        named), or it has fewer than 2 parts or 2 trials.
    """
    values: dict[tuple[str, str, str], tuple[float, int]] = {}
    for row in read_rows(path, ("part", "operator", "trial", "value")):
        for column in ("part", "operator", "trial"):
            if not row.cells[column]:
                raise Unusable(path, f"line {row.line}, {column}", "a name or a number; the cell is empty")
        key = (row.cells["part"], row.cells["operator"], row.cells["trial"])
        if key in values:
            raise Unusable(
                path,
                f"lines {values[key][1]} and {row.line}",
                f"one value for part {key[0]}, operator {key[1]}, trial {key[2]}; delete one of the two",
            )
        values[key] = (number_in(path, row, "value"), row.line)
    return balanced(path, {key: value for key, (value, _) in values.items()})


def balanced(where: Path | str, values: Mapping[tuple[str, str, str], float]) -> GaugeTable:
    """A table from values by (part, operator, trial), each in the order in which they first appear.

    Parameters
    ----------
    where
        File, or words for errors.
    values
        By part, operator and trial, in any one unit.

    Returns
    -------
    GaugeTable
        Values (parts, operators, trials).

    Raises
    ------
    Unusable
        A combination is missing (it is named), or there are fewer than 2 parts or 2 trials.
    """
    parts, operators, trials = (tuple(dict.fromkeys(key[i] for key in values)) for i in range(3))
    missing = [(p, o, t) for p in parts for o in operators for t in trials if (p, o, t) not in values]
    if missing:
        named = "; ".join(f"part {p}, operator {o}, trial {t}" for p, o, t in missing[:NAMED_AT_MOST])
        rest = f" and {len(missing) - NAMED_AT_MOST} more" if len(missing) > NAMED_AT_MOST else ""
        raise Unusable(
            where, "", f"every operator measures every part in every trial; missing: {named}{rest}; add these lines"
        )
    for name, found in (("parts", parts), ("trials", trials)):
        if len(found) < 2:
            raise Unusable(where, "", f"at least 2 {name}", str(len(found)))
    grid = [[[values[p, o, t] for t in trials] for o in operators] for p in parts]
    return GaugeTable(parts, operators, np.array(grid, dtype=np.float64))


def number_in(path: Path, row: Row, column: str) -> float:
    """A finite number in a table's cell; a lone comma is taken for the decimal mark.

    Raises
    ------
    Unusable
        The cell holds none.
    """
    text = row.cells[column]
    try:
        value = float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Unusable(path, f"line {row.line}, {column}", "a finite number", repr(text))
    return value
