"""Counts that were multiplied after the sensor still follow the light; counts that were bent do not."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from synthetic_images.outlines.defects import Defects
from synthetic_images.outlines.families import FINE_MM_PER_PX, back_frame, fine_size_px, size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.optics import Backlight
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.view import plain_view
from synthetic_images.spoons import PATTERNS
from tests.altered.bench import files_of
from vision.pipeline import measure_tray
from vision.records.inputs import HalfAngle, Part, Picture, Station, TrayPictures

PATTERN = PATTERNS["TS-135"]


@lru_cache(maxsize=2)
def dim(lit: float) -> tuple[np.ndarray, Part, Station]:
    """A spoon before a light of so much of full scale, as the sensor counts it."""
    rng = np.random.default_rng(3)
    view = plain_view(fine_size_px(PATTERN, 1), FINE_MM_PER_PX)
    made = Scene(PATTERN, view, rows(PATTERN, size_mm(view), [Defects()], rng), backlight=Backlight(lit=lit))
    part, station, _ = files_of(PATTERN, made)
    return back_frame(made, rng), part, replace(station, backlight=HalfAngle(0.0, 0.0))


def told(lit: float, factor: float, power: float) -> list[str]:
    counts, part, station = dim(lit)
    mapped = np.clip(np.rint(factor * 255 * (counts / 255) ** power), 0, 255).astype(np.uint8)
    measured = measure_tray(TrayPictures(Picture("back", None, mapped, 255.0, "back.png")), part, station)
    return [finding.kind for finding in measured.findings]


@pytest.mark.parametrize(("lit", "factor"), [(0.44, 1.25), (0.44, 1.5), (0.44, 1.9), (0.86, 0.9)])
def test_a_digital_gain_is_no_bent_response(lit: float, factor: float) -> None:
    assert told(lit, factor, 1.0) == []


@pytest.mark.parametrize(
    ("lit", "factor", "power"), [(0.44, 1.5, 0.8), (0.44, 1.5, 1.25), (0.86, 1.0, 0.9), (0.86, 1.0, 1.1)]
)
def test_counts_that_were_bent_are_told_with_a_gain_or_without(lit: float, factor: float, power: float) -> None:
    assert told(lit, factor, power) == ["response"]
