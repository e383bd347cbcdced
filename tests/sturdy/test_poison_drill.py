"""A small poison drill; the whole one (200 trays, every kind, twenty deaths) is a program beside it."""

from pathlib import Path

import pytest

from tests.sturdy.poison_drill import drill
from tests.watch.poison import KINDS


@pytest.mark.long
def test_deaths_among_good_trays_and_poison_lose_nothing_and_file_nothing_twice(tmp_path: Path) -> None:
    kinds = list(KINDS)[::6]
    came = drill(tmp_path, 20, kinds, 4, 23)
    assert came.filed == tuple(f"T-{number:03}" for number in range(20))
    assert (came.twice, came.aside_twice, came.code) == (0, 0, 0)
    assert len(came.aside) == len(kinds)
    assert all(why.isprintable() and why for why in came.aside.values())
    assert len(came.deaths) == 4
