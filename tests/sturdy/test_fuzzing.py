"""A thousand mutated files of every format: read, or refused in a line; the bench by hand runs twenty times as many."""

from collections import Counter
from pathlib import Path

import pytest

from tests.sturdy.fuzzing import Became, run_input
from tests.sturdy.readers import Format, Place, formats_of, make_place


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    return make_place(tmp_path_factory.mktemp("fuzzed"))


@pytest.fixture(scope="module")
def formats(place: Place) -> list[Format]:
    return formats_of(place)


def test_every_good_file_is_read(formats: list[Format], tmp_path: Path) -> None:
    for one in formats:
        path = tmp_path / one.name.replace(":", "").replace(" ", "-") / one.file.name
        path.parent.mkdir()
        path.write_bytes(one.file.read_bytes())
        one.read(path)


def test_a_thousand_mutated_files_are_read_or_refused(formats: list[Format], tmp_path: Path) -> None:
    became: list[Became] = [run_input(number, formats, tmp_path) for number in range(1000)]
    assert [one for one in became if one.how not in ("read", "refused")] == []
    by_format = Counter(one.format for one in became)
    assert set(by_format) == {one.name for one in formats}
    # The bench tries more than the first rule of each format: some of what it makes is read.
    read = Counter(one.format for one in became if one.how == "read")
    assert sum(read.values()) > 80
    assert len(read) > 10
