"""Faces of path-traced trays against their exact truth."""

from pathlib import Path

import pytest
from shapely.geometry import Polygon

from tests.truth.polished_score import score_piece, table, told, truth_of, view_of
from vision.face.raster import scored_shape
from vision.face.score import score_face
from vision.formats import shipped_judge
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station

TRAYS = Path(__file__).parents[3] / "shared" / "trays"
needs_trays = pytest.mark.skipif(not TRAYS.is_dir(), reason="rendered trays are not beside the project")


def scores(family: str, tray: str):
    folder = TRAYS / family
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    pictures = read_frames(read_shot(folder / tray), station)
    shape = scored_shape(part, part.surface)
    assert isinstance(shape, Polygon)
    out = []
    for piece in truth_of(folder / tray):
        score = score_face(view_of(pictures, part, piece, float(station.homography[0, 0])), shipped_judge())
        assert score.faults == ()
        # Nothing here is larger than a pit, dried drops apart: a hard shadow under lamps at 15 degrees is no mark.
        assert not any(finding.kind == "mark" for finding in score.findings)
        assert score.scored_area_cm2 == pytest.approx(shape.area / 100, rel=0.002)
        out.append(score_piece(piece, told(score, swept=False), shape))
    return out


@needs_trays
def test_plain_defects_are_found_and_read_right():
    # the judge never saw these trays (docs/benchmarks/judge.md)
    seen = [piece for tray in ("P-01", "P-02", "P-03") for piece in scores("polished", tray)]
    figures = table(seen)
    assert figures["scratches_found"] == 1.0
    # all but one of 22, which the dome alone shows
    assert figures["pits_found"] >= 0.95
    assert figures["parts"] == 1.0
    assert figures["length_error_mm"] <= 0.2
    assert figures["diameter_error_mm"] <= 0.03
    assert figures["end_error_90_mm"] <= 0.3
    assert figures["disturbers_counted"] == 0.0
    assert figures["false_clean"] == 0.0
    # one of nine pieces has one: the edge of a hard shadow under lamps at 15 degrees
    assert figures["false_a_piece"] <= 0.12


@needs_trays
def test_faint_defects_are_found_as_often_as_stated():
    figures = table(scores("polished-faint", "F-02"))
    assert figures["scratches_found"] >= 0.4
    assert figures["pits_found"] >= 0.4
