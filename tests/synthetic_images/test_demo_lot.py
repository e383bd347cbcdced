"""The demo lot: what the judging command is given, and what it should find."""

import json
import tomllib

import pytest

from synthetic_images.demo import render_demo
from vision.errors import Unusable
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.shot import find_shots, read_shot
from vision.formats.station import read_station

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    return render_demo(tmp_path_factory.mktemp("demo"), trays=3)


def test_every_line_has_all_that_judging_needs(works):
    for line in works.lines:
        part = read_part(line.part_file)
        assert part.part == line.part
        limits = read_limits(line.limits_file, part)
        station = read_station(line.station_file)
        shots = [read_shot(folder) for folder in find_shots([line.shots])]
        assert [shot.part for shot in shots] == [line.part]
        assert {shot.station for shot in shots} == {station.station}
        # A limit on a measure that can't be taken would send every piece to review.
        lit = {frame.light for shot in shots for frame in shot.frames} > {"back"}
        assert any(limit.measure == "scratch_count" for limit in limits.limits) == lit


def test_lots_dies_and_strokes_are_told(works):
    for line in works.lines:
        shot = read_shot(find_shots([line.shots])[0])
        assert shot.lot is not None
        assert shot.lot.startswith("L-2611-")
        assert shot.process["die"] in ("D1", "D2", "D3", "D4", "D5", "D6")
        assert shot.process["strokes"] > 0


def test_the_crowded_tray_and_the_marked_face_are_there(works):
    crowded, _, _, faces = (json.loads(next(line.shots.glob("*/truth.json")).read_text()) for line in works.lines)
    assert {"touching", "foreign", "unlike", "cut_off"} == {finding["kind"] for finding in crowded["tray_findings"]}
    assert faces[0]["kind"] != "clean"


def test_die_wear_shows_in_the_outline(works):
    dessert = works.lines[1]
    truth = json.loads(next(dessert.shots.glob("*/truth.json")).read_text())
    shot = read_shot(find_shots([dessert.shots])[0])
    grown = [piece["measures"]["outline_rms_mm"]["bowl"] for piece in truth["pieces"] if not piece["findings"]]
    for value in grown:
        # The stated wear a stroke; pieces scatter by 0.004 mm about it (five of them: one in two million).
        assert value == pytest.approx(4.5e-7 * float(shot.process["strokes"]), abs=0.02)


def test_the_part_with_a_hole_has_hole_limits(works):
    limits = tomllib.loads(works.lines[1].limits_file.read_text())
    assert {"hole_offset_mm", "hole_diameter_error_mm"} <= {row["measure"] for row in limits["limit"]}


def test_fewer_trays_than_lines_are_refused(tmp_path):
    with pytest.raises(Unusable, match="3 or more"):
        render_demo(tmp_path / "none", trays=2)
    assert not (tmp_path / "none").exists()
