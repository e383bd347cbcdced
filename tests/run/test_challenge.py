"""A challenge: what must be rejected is, or the station stops; kept, and demanded before a lot is released."""

import json
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.challenge import command
from app.run.challenge import known_bad, plant_bad
from app.store.stations.challenges import challenges
from app.works.folder import new_works, read_works
from tests.outline.blank import EGG, LIMITS, STATION, part, pictures
from vision.errors import Unusable
from vision.formats import update_station, write_limits
from vision.records.inputs import Limit

TOLERANT = replace(LIMITS, limits=(*LIMITS.limits, Limit("opening_area_mm2", "minor", max=9.0)))
PART = """format = 1
part = "TS-135"
name = "Blank"
nominal = "outline.csv"
[[zone]]
name = "body"
x_mm = [0.0, 40.0]
datum = true
"""


def test_what_is_planted_is_rejected() -> None:
    found = plant_bad(pictures(), part(), STATION, LIMITS, np.random.default_rng(3))
    assert (found.asked, found.pieces, found.missed) == (("slit",), 1, ())


def test_limits_that_let_it_through_fail_the_challenge() -> None:
    found = plant_bad(pictures(), part(), STATION, TOLERANT, np.random.default_rng(3))
    assert found.missed == ("piece 1: slit, pass",)


def test_a_known_bad_piece_must_be_rejected_as_it_is() -> None:
    bumpy = EGG.copy()
    bumpy[350:370] *= (1.0, 1.1)
    assert known_bad(pictures(outline=bumpy), part(), STATION, LIMITS).missed == ()
    assert known_bad(pictures(), part(), STATION, LIMITS).missed == ("piece 1: pass",)


def test_a_shot_of_which_nothing_passes_is_no_challenge() -> None:
    bumpy = EGG.copy()
    bumpy[350:370] *= (1.0, 1.1)
    with pytest.raises(Unusable, match="a piece passes as it came"):
        plant_bad(pictures(outline=bumpy), part(), STATION, LIMITS, np.random.default_rng(3))


def test_the_command_keeps_it_and_stops(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    works.part_file("TS-135").parent.mkdir()
    works.part_file("TS-135").write_text(PART)
    np.savetxt(works.part_file("TS-135").with_name("outline.csv"), EGG, "%.6f", ",", header="x_mm,y_mm", comments="")
    update_station(STATION, works.station_file("ST-1"), ())
    write_limits(LIMITS, works.limits_file("TS-135"))
    shot = tmp_path / "T-1"
    shot.mkdir()
    cv2.imwrite(str(shot / "back.png"), pictures().back.pixels)
    named = {"format": 1, "tray": "T-1", "lot": "L-1", "part": "TS-135", "station": "ST-1", "process": {}}
    named |= {"taken_at": "2026-11-02T06:00:00+00:00", "frames": [{"file": "back.png", "light": "back"}]}
    (shot / "shot.json").write_text(json.dumps(named))
    words = [str(shot), "--works", str(works.folder), "--seed", "3"]
    good = CliRunner().invoke(command, [*words, "--by", "R. Hale"])
    assert (good.exit_code, good.output) == (0, "ST-1: pass; 1 pieces with slit\n")
    known = CliRunner().invoke(command, [*words, "--known-bad"])
    assert known.exit_code == 3
    assert "not rejected: piece 1: pass" in known.output
    with closing(works.open()) as store:
        kept = challenges(store, "ST-1")
    assert [(one.verdict, one.by, one.asked) for one in kept] == [
        ("pass", "R. Hale", ("slit",)),
        ("stop", "", ("known bad",)),
    ]


def test_a_works_may_demand_one(tmp_path: Path) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    toml = works.folder / "works.toml"
    toml.write_text(toml.read_text() + "\n[release]\nchallenge_hours = 10\n")
    assert read_works(works.folder).challenge_hours == 10.0
    toml.write_text(toml.read_text().replace("= 10", "= 0"))
    with pytest.raises(Unusable, match="challenge_hours"):
        read_works(works.folder)
