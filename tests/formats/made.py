"""Small files that are right, for tests to spoil one thing in each."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from vision.errors import Unusable
from vision.formats.part import read_part
from vision.records.inputs import Array

ROWS, COLUMNS = 24, 32

STATION = """
format = 1
station = "ST-1"

[scale]
mm_per_px = 0.05

[uncertainty]
outline_mm = 0.010
scale_relative = 0.0002
"""

PART = """
format = 1
part = "TS-135"
name = "Teaspoon 135"
nominal = "outline.csv"

[[zone]]
name = "bowl"
x_mm = [0.0, 46.0]
datum = true

[[zone]]
name = "handle"
x_mm = [46.0, 135.0]
bend = true

[surface]
x_mm = [0.0, 44.0]
inset_mm = 1.5
"""

ONE_ZONE = """
format = 1
part = "TS-135"
name = "Teaspoon 135"
nominal = "outline.dxf"

[[zone]]
name = "all"
x_mm = [-500.0, 500.0]
"""

LIMITS = """
format = 1
part = "TS-135"
revision = 3
status = "released"

[guard]
coverage = 0.95

[count]
scratch_min_length_mm = 0.5
scratch_min_snr = 6.0
pit_min_diameter_mm = 0.15
pit_min_snr = 6.0

[[limit]]
measure = "outline_out_mm"
zone = "bowl"
max = 0.15
class = "major"

[[limit]]
measure = "length_mm"
min = 134.8
max = 135.2
class = "minor"
"""


def shot_table(**changes: Any) -> dict[str, Any]:
    """A right `shot.json` of two frames, some keys changed; a key changed to None is left out."""
    table = {
        "format": 1,
        "tray": "T-000123",
        "lot": "L-2611-07",
        "part": "TS-135",
        "station": "ST-1",
        "taken_at": "2026-11-02T06:00:00+00:00",
        "frames": [
            {"file": "back.png", "light": "back"},
            {"file": "low-090.png", "light": "low", "azimuth_deg": 90.0},
        ],
        **changes,
    }
    return {key: value for key, value in table.items() if value is not None}


def write_shot(folder: Path, table: dict[str, Any] | None = None) -> Path:
    """A shot's folder with the two frames of `shot_table`, and `shot.json`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("back.png", "low-090.png"):
        cv2.imwrite(str(folder / name), np.full((ROWS, COLUMNS), 200, np.uint8))
    (folder / "shot.json").write_text(json.dumps(table or shot_table()))
    return folder


def oval(length_mm: float = 135.0, width_mm: float = 24.0, points: int = 200) -> list[tuple[float, float]]:
    """An oval from x = 0 to its length, counter-clockwise from its right end."""
    angles = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    return [
        (float(x), float(y))
        for x, y in zip(0.5 * length_mm * (1.0 + np.cos(angles)), 0.5 * width_mm * np.sin(angles), strict=True)
    ]


def write_part(folder: Path, text: str = PART) -> Path:
    """part.toml with an oval drawn as CSV beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [f"{x!r},{y!r}" for x, y in oval()]
    (folder / "outline.csv").write_text("x_mm,y_mm\n" + "\n".join(lines) + "\n")
    path = folder / "part.toml"
    path.write_text(text)
    return path


def one_line(fault: Unusable, *pieces: str) -> None:
    """The fault reads as one line that holds every one of the given pieces."""
    text = str(fault)
    assert "\n" not in text
    for piece in pieces:
        assert piece in text


def area(loop: Array) -> float:
    """Signed: positive for counter-clockwise."""
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def refused_part(path: Path, *said: str) -> None:
    """Reading the part fails, in one line that holds every one of the given pieces."""
    with pytest.raises(Unusable) as caught:
        read_part(path)
    one_line(caught.value, *said)
