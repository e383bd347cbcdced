"""What the first screen of a piece is turned to: the place in the picture that shows what decides."""

import dataclasses

import numpy as np
import pytest

from app.pages.evidence import Scene, evidence
from app.pages.upright_frames import UprightFrame
from app.report import Window
from tests.store.made import LIMITS, PART, made_piece
from vision.records.inputs import Part
from vision.records.judged import Reason

PX_PER_MM = 10.0
UPRIGHT = UprightFrame(((10.0, 0.0, 0.0), (0.0, -10.0, 200.0)), Window((0.0, 135.0), (-20.0, 20.0), PX_PER_MM), True)


def ring(x_mm: float, radius_mm: float) -> np.ndarray:
    """A round hole on the axis."""
    angle = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    return np.column_stack([x_mm + radius_mm * np.cos(angle), radius_mm * np.sin(angle)])


PUNCHED = dataclasses.replace(PART, holes=(ring(90.0, 1.0), ring(125.0, 2.5)))


def shown(measure: str, *places: tuple[float, float], part: Part = PART) -> tuple[dict[str, object], np.ndarray]:
    """What a reason of these places is shown by; the size of its place in mm."""
    reason = Reason(measure, None, 0.4, 0.01, None, 0.15, "major", "reject", 0.0, (), places)
    piece = dataclasses.replace(made_piece(1), reasons=(reason,), findings=(), counted=())
    told = evidence(reason, Scene(piece, LIMITS, part, UPRIGHT, ()))
    box = np.asarray(told["box"])
    return told, (box[2:] - box[:2]) / PX_PER_MM


@pytest.mark.parametrize("measure", ["hole_offset_mm", "hole_diameter_error_mm"])
def test_a_hole_is_shown_by_its_whole_rim_not_by_the_light_in_its_middle(measure: str) -> None:
    told, size_mm = shown(measure, (125.2, 0.1), part=PUNCHED)
    assert size_mm == pytest.approx([5.0, 5.0], abs=0.1)
    assert np.mean(told["box"][::2]) == pytest.approx(PX_PER_MM * 125.0, abs=1.0)  # type: ignore[index]


def test_a_stretch_that_was_not_seen_is_shown_with_what_hides_it_and_the_drawings_line() -> None:
    told, size_mm = shown("outline_unseen_mm", (60.0, 4.0), (70.0, 4.0))
    assert size_mm == pytest.approx([20.0, 10.0], abs=0.1)
    assert told["drawing"]
    told, _ = shown("outline_out_mm", (60.0, 4.0))
    assert not told["drawing"]
