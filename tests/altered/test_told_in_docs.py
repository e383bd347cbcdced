"""The table of how a value can mislead (docs/measures.md) and the bench of altered trays name each other."""

import re
from pathlib import Path

from tests.altered.backlit import BACKLIT
from tests.altered.faces import FACES
from tests.altered.mishaps import MISHAPS

ROOT = Path(__file__).parents[2]
NAMES = [one.name for one in (*BACKLIT, *FACES, *MISHAPS)]


def shown_by() -> list[list[str]]:
    """The last column of each row of the table: names of alterations, or files of tests."""
    text = (ROOT / "docs" / "measures.md").read_text(encoding="utf-8")
    table = text[text.index("| what happened | what follows | shown by |") :]
    rows = table[: table.index("\n\n")].splitlines()[2:]
    return [re.findall(r"[*`]([^*`]+)[*`]", row.split(" | ")[-1]) for row in rows]


def test_every_line_names_what_shows_it() -> None:
    rows = shown_by()
    assert all(rows)
    for name in (one for row in rows for one in row):
        assert (ROOT / name).is_file() if name.startswith("tests/") else name in NAMES, name


def test_every_alteration_stands_in_one_line() -> None:
    told = [one for row in shown_by() for one in row if not one.startswith("tests/")]
    assert sorted(told) == sorted(NAMES)
    assert len(set(NAMES)) == len(NAMES)
