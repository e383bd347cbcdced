"""The commands of the studies as a shell calls them, and a lot to study."""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.cli import main as entry
from tests.studies.lots import LIMITS, Inspector, sample, verdict_lines, write_results
from vision.formats.limits import write_limits


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Call the command as a shell would."""

    def call(*words: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["brightbowl", *map(str, words)])
        code = 0
        try:
            entry.main()
        except SystemExit as leave:
            code = int(leave.code or 0)
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return call


@pytest.fixture(scope="session")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 60 trays with results, verdicts of three inspectors and limits."""
    return lot_of_files(tmp_path_factory.mktemp("lot"), 60)


def lot_of_files(folder: Path, trays: int) -> Path:
    """Write a lot of so many trays: `results`, `verdicts.csv`, `limits.toml`."""
    rng = np.random.default_rng(12)
    lot = sample(rng, trays)
    write_results(lot.trays, folder / "results")
    people = [Inspector("Ada", rounds=2), Inspector("Ben", 0.06, 0.02), Inspector("Cleo", 0.02, 0.06)]
    (folder / "verdicts.csv").write_text("\n".join(verdict_lines(rng, lot, people)) + "\n", encoding="utf-8")
    write_limits(LIMITS, folder / "limits.toml")
    return folder


def json_of(path: Path) -> dict[str, Any]:
    """What a file of JSON holds."""
    table: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return table
