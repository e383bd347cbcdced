"""A lot to study."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.studies.lots import LIMITS, Inspector, sample, verdict_lines, write_results
from vision.formats.limits import write_limits


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
