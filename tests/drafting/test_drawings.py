"""Drawings as they come: each is read to the outline that made it, or refused with what to do; none wrongly."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from scipy.optimize import least_squares

from app.cli.part import command
from tests.drafting.drawings import DRAWINGS, Made
from vision.errors import Unusable
from vision.formats.part import read_part
from vision.records.inputs import Array

WITHIN_MM = 0.002


def call(drawing: Path, out: Path, *options: str) -> tuple[int, str]:
    """The command as a script calls it: what it said, and the error a person would read."""
    result = CliRunner().invoke(command, [str(drawing), "--out", str(out), "--part", "P-1", *options])
    if isinstance(result.exception, Unusable):
        return 2, str(result.exception)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output


class Ring:
    """A closed curve that tells how far points lie from it."""

    def __init__(self, loop: Array) -> None:
        self.loop = loop
        self.tree = shapely.STRtree(shapely.linestrings(np.stack([loop, np.roll(loop, -1, axis=0)], axis=1)))

    def off_mm(self, points: Array) -> Array:
        _, distance = self.tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
        return np.asarray(distance)


def apart_mm(one: Array, other: Array) -> float:
    """Largest distance of either closed curve's points from the other."""
    return max(float(Ring(a).off_mm(b[:: max(1, len(b) // 2000)]).max()) for a, b in ((one, other), (other, one)))


def laid_onto(truth: Array, outline: Array) -> tuple[Array, Array]:
    """The truth by the motion, turned and then moved, never mirrored, that brings it best on the outline read.

    By a search that knows nothing of long axes: the best of starts 10 degrees apart, then least squares.
    """
    ring, some = Ring(outline), truth[:: max(1, len(truth) // 200)]

    def misfit(motion: Array) -> Array:
        return ring.off_mm(moved(some, motion))

    own, middle = (np.array(shapely.Polygon(loop).centroid.coords[0]) for loop in (truth, outline))
    starts = []
    for turn in np.radians(np.arange(0.0, 360.0, 10.0)):
        at = moved(own[None], np.array([turn, 0.0, 0.0]))[0]
        starts.append(np.array([turn, *(middle - at)]))
    best = min(starts, key=lambda one: float((misfit(one) ** 2).sum()))
    found = least_squares(misfit, best, x_scale=[1e-2, 1.0, 1.0], xtol=1e-13, ftol=1e-13, gtol=1e-13).x
    return moved(truth, found), found


def moved(points: Array, motion: Array) -> Array:
    c, s = np.cos(motion[0]), np.sin(motion[0])
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + motion[1:])


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_is_read_to_the_outline_that_made_it_or_refused(tmp_path: Path, name: str) -> None:
    drawing = tmp_path / ("drawing.svg" if name.startswith("SVG") else "drawing.dxf")
    made: Made = DRAWINGS[name](drawing)
    if made.refused:
        code, said = call(drawing, tmp_path / "refused")
        assert code == 2
        assert "\n" not in said
        for piece in made.refused:
            assert piece in said
        assert not (tmp_path / "refused").exists()
    if made.refused and not made.options:
        return
    code, said = call(drawing, tmp_path / "part", *made.options)
    assert code == 0, said
    for piece in made.told:
        assert piece in said
    part = read_part(tmp_path / "part" / "part.toml")
    truth, motion = laid_onto(made.truth, part.outline)
    assert apart_mm(truth, part.outline) < WITHIN_MM
    assert len(part.holes) == len(made.holes)
    for hole, drawn in zip(part.holes, made.holes, strict=True):
        assert apart_mm(moved(drawn, motion), hole) < WITHIN_MM
    x, y = part.outline.T
    assert x.min() == pytest.approx(0.0, abs=1e-6)
    assert np.ptp(x) > np.ptp(y)
    widest = x[int(np.argmax(y))]
    assert widest < 0.5 * x.max()  # the bowl's, or the wider, end first
