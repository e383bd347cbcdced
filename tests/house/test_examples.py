"""The examples in docstrings and in the docs are run, in a folder that holds one rendered tray."""

import ast
import doctest
import importlib
import re
from pathlib import Path

import pytest

from docs.run_blocks import blocks_of, run_blocks
from synthetic_images.spoons import PATTERNS
from synthetic_images.trays.shots import Order, render_shots
from tests.house.test_rooms import ROOT, dotted, modules

WITH_EXAMPLES = [
    dotted(path) for path in modules() if re.search(r"^ +>>> ", path.read_text(encoding="utf-8"), re.MULTILINE)
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As after `brightbowl render --out demo`."""
    folder = tmp_path_factory.mktemp("examples")
    list(render_shots(folder / "demo", Order("plain", PATTERNS["TS-135"], 1, 2611, "png")))
    return folder


@pytest.fixture(autouse=True)
def _in_folder(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)


def examples(name: str) -> list[doctest.DocTest]:
    module = importlib.import_module(name)
    given = {**vars(module), "Path": Path}
    return [test for test in doctest.DocTestFinder().find(module, globs=given) if test.examples]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_docstrings_say_what_happens(name: str) -> None:
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    said: list[str] = []
    for test in examples(name):
        runner.run(test, out=said.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(said)
    assert runner.tries > 0


def test_the_first_twenty_have_an_example() -> None:
    assert sum(len(examples(name)) for name in WITH_EXAMPLES) >= 20


def test_the_library_page_runs_as_it_stands() -> None:
    page = (ROOT / "docs" / "library.md").read_text(encoding="utf-8")
    blocks = blocks_of(page)
    assert len(blocks) > 3
    for block in blocks:
        ast.parse(block)
    told = run_blocks(blocks)
    assert "length_mm" in "".join(one.printed for one in told)
    assert any(one.pictures for one in told)
    assert all(path.stat().st_size > 0 for one in told for path in one.pictures)
