"""What holds for all tests."""

import gc
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import LoadFileScheduling

from tests.shell import Ran, Run

# Files of tests run side by side and fill all cores: libraries that share out their work only wait for each other.
# Read when NumPy and OpenCV are loaded, here and in the programs that tests start.
for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(threads, "1")

# No timed assertion: on a busy machine an example may take its time.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

# Rooms whose files take longest go first, so that no core is left with a long one at the end.
LONGEST_FIRST = ("pages", "watch", "run", "calibrate", "truth", "studies", "synthetic_images", "store")


# What collecting makes stays to the end: collecting garbage meanwhile, and in it afterwards, finds nothing.
gc.disable()


def pytest_collection_finish() -> None:
    """From here on there is garbage to collect, beside all that stays."""
    gc.freeze()
    gc.enable()


def pytest_xdist_auto_num_workers() -> int:
    """One more process than cores: tests of the pages and the watch wait for browsers and servers half their time."""
    return len(os.sched_getaffinity(0)) + 1


# Tests of the pages that start servers of their own, or none: they share nothing with the others of that room.
PAGES_APART = ("test_studies", "test_login", "test_new_part", "test_routes", "test_die_reports")


class FilesAndPages(LoadFileScheduling):
    """Each file of tests goes to one process whole; so do those of the pages that share a server, and their others."""

    def _split_scope(self, nodeid: str) -> str:
        file = str(super()._split_scope(nodeid))
        if "tests/pages/" not in file:
            return file
        return "pages apart" if Path(file).stem in PAGES_APART else "pages"


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> FilesAndPages:
    """Share tests out so."""
    return FilesAndPages(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Sort by room; within a room the order stays."""
    tests = config.rootpath / "tests"
    places = {room: place for place, room in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(item.path.relative_to(tests).parts[0], len(places)))


@pytest.fixture(autouse=True)
def rights_of_new_files() -> Iterator[None]:
    """What a works sets for the process that writes into it holds for one test only."""
    before = os.umask(0o022)
    os.umask(before)
    yield
    os.umask(before)


@pytest.fixture(autouse=True)
def main_module() -> Iterator[None]:
    """A page run in this process takes the main module's place, from which processes that tests start begin."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Call brightbowl as a shell would."""
    from app.cli.main import main

    def call(*words: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["brightbowl", *map(str, words)])
        code = 0
        try:
            main()
        except SystemExit as leave:
            code = int(leave.code or 0)
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return call


@pytest.fixture
def quick_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes that judge, there at once."""
    from tests.run.quick_workers import fork_workers

    fork_workers(monkeypatch)
