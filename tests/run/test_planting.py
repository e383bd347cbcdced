"""Marks planted into frames: as asked for under each light, found by the rules of the figures; the command."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from shapely.geometry import Point

from app.cli.pod import command
from app.run.planting import Planted, false_findings, is_found, plant, sow
from app.studies.pod_study import study_pod
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.shots import Order, render_shots
from tests.face.scenes import CENTER_PX, MM_PER_PX, part, pictures, view
from vision.errors import Unusable
from vision.face.raster import scored_shape
from vision.records.inputs import Picture
from vision.records.measured import Pit, Scratch

WIDE = Planted("pit", ((0.0, 0.0),), 1.0, 0.5)
GROOVE = Planted("scratch", ((-3.0, 0.0), (3.0, 0.0)), 6.0, 0.5)


def even(light: str, azimuth_deg: float | None = None) -> Picture:
    return Picture(light, azimuth_deg, np.full((460, 560), 100, np.uint8), 255.0)  # type: ignore[arg-type]


def planted(picture: Picture, mark: Planted, blur_px: float = 0.75) -> np.ndarray:
    seen = view(pictures(np.random.default_rng(1)))
    return plant(picture, [mark], seen, blur_px).pixels.astype(float)


def test_a_wide_pit_has_the_contrast_and_the_area_asked_for() -> None:
    pixels = planted(even("low", 90.0), WIDE)
    u, v = CENTER_PX.astype(int)
    added = 50.0 * np.exp(-100.0 / 255.0 / 0.5)
    assert pixels[v, u] == pytest.approx(100.0 + added, abs=1.0)
    assert (pixels - 100.0).sum() / added * MM_PER_PX**2 == pytest.approx(np.pi / 4.0, rel=0.04)
    assert (pixels[:100] == 100.0).all()


def test_a_mark_fades_towards_the_light_s_own_reflection() -> None:
    u, v = CENTER_PX.astype(int)
    dark, bright = even("low", 90.0), replace(even("low", 90.0), pixels=np.full((460, 560), 200, np.uint8))
    shares = [
        planted(picture, replace(WIDE, contrast=0.2))[v, u] / picture.pixels[0, 0] - 1.0 for picture in (dark, bright)
    ]
    assert shares[1] / shares[0] == pytest.approx(np.exp(-100.0 / 255.0 / 0.5), abs=0.05)


def test_the_dome_shows_it_dark_and_weakly() -> None:
    u, v = CENTER_PX.astype(int)
    assert planted(even("dome"), replace(WIDE, contrast=1.0))[v, u] == pytest.approx(97.0, abs=0.5)


@pytest.mark.parametrize(("azimuth_deg", "share"), [(90.0, 1.0), (0.0, 0.0), (45.0, 0.5), (270.0, 1.0)])
def test_a_groove_shows_by_the_square_of_the_sine(azimuth_deg: float, share: float) -> None:
    light = planted(even("low", azimuth_deg), GROOVE) - 100.0
    across = planted(even("low", 90.0), GROOVE) - 100.0
    assert light.sum() == pytest.approx(share * across.sum(), rel=0.03, abs=40.0)


def test_blur_spreads_a_groove_and_keeps_what_it_adds() -> None:
    plain = replace(GROOVE, contrast=2.0)
    sharp, soft = (planted(even("low", 90.0), plain, blur) - 100.0 for blur in (0.5, 1.5))
    assert soft.max() < 0.6 * sharp.max()
    assert soft.sum() == pytest.approx(sharp.sum(), rel=0.05)


def test_marks_lie_inside_and_apart_and_the_same_seed_plants_the_same() -> None:
    seen = view(pictures(np.random.default_rng(1)))
    first, again = (sow(seen, 6, np.random.default_rng(5)) for _ in range(2))
    assert first.marks == again.marks
    area = scored_shape(part(), part().surface)  # type: ignore[arg-type]
    places = [Point(np.mean(mark.points_mm, axis=0)) for mark in first.marks]
    assert len(places) >= 3
    assert all(area.contains(place) for place in places)
    # What was planted changes frames only where it lies, and never the backlit one.
    assert first.inputs.pictures.back is seen.pictures.back
    assert seen.pictures.low[0].pixels is not first.inputs.pictures.low[0].pixels


def test_what_is_found_follows_the_rules_of_the_figures() -> None:
    half = Scratch(((0.0, 0.0), (1.0, 0.0)), ((-3.0, 0.3), (0.1, 0.3)), 3.1, 0.1, 9.0)
    less = Scratch(((0.0, 0.0), (1.0, 0.0)), ((-3.0, 0.3), (-0.9, 0.3)), 2.1, 0.1, 9.0)
    far = Scratch(((0.0, 0.0), (1.0, 0.0)), ((-3.0, 0.6), (3.0, 0.6)), 6.0, 0.1, 9.0)
    assert [is_found(GROOVE, [one]) for one in (half, less, far)] == [True, False, False]
    small = Planted("pit", ((1.0, 1.0),), 0.2, 0.5)
    assert is_found(small, [Pit((0.0, 0.0), (1.2, 1.2), 0.2, 9.0)])
    assert not is_found(small, [Pit((0.0, 0.0), (1.3, 1.3), 0.2, 9.0), half])


def test_plain_marks_are_found_and_faint_ones_less_often() -> None:
    seen = view(pictures(np.random.default_rng(2)))
    assert false_findings([seen]) == [0]
    rng = np.random.default_rng(3)
    marks = [mark for _ in range(7) for mark in sow(seen, 6, rng).marks]
    plain = [mark.found for mark in marks if mark.contrast > 0.5 and (mark.kind == "scratch" or mark.size_mm > 0.25)]
    hidden = [mark.found for mark in marks if mark.contrast < 0.05]
    assert len(plain) >= 5
    assert np.mean(plain) > 0.8
    assert np.mean(hidden) < np.mean(plain)
    study = study_pod(marks, [0], [0] * len(marks))
    assert {(one.kind, one.against) for one in study.curves} == {
        (kind, against) for kind in ("scratch", "pit") for against in ("contrast", "size_mm")
    }


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("faces")
    list(render_shots(folder, Order("faces", TEASPOON, 1, 23)))
    list(render_shots(folder / "backlit", Order("plain", TEASPOON, 1, 23)))
    return folder


def call(works: Path, shots: Path, out: Path, *words: str) -> object:
    files = ["--part", str(works / "part.toml"), "--station", str(works / "station.toml"), "--out", str(out)]
    return CliRunner().invoke(command, [str(shots), *files, *words], catch_exceptions=True)


@pytest.mark.long
def test_the_command_states_what_a_station_sees(works: Path, tmp_path: Path) -> None:
    done = call(works, works / "faces-23-00", tmp_path / "pod", "--planted", "24")
    assert done.exit_code == 0, done.output  # type: ignore[attr-defined]
    table = json.loads((tmp_path / "pod" / "pod.json").read_text())
    assert (table["planted"], len(table["curves"])) == (24, 4)
    page = (tmp_path / "pod" / "pod.html").read_text()
    assert page.count("<svg") == 4
    assert "Presses, trimming and buffing machines" in page
    call(works, works / "faces-23-00", tmp_path / "again", "--planted", "24")
    assert (tmp_path / "again" / "pod.json").read_bytes() == (tmp_path / "pod" / "pod.json").read_bytes()


@pytest.mark.long
def test_frames_that_show_no_face_are_refused(works: Path, tmp_path: Path) -> None:
    done = call(works, works / "backlit" / "plain-23-00", tmp_path / "pod")
    assert isinstance(done.exception, Unusable)  # type: ignore[attr-defined]
    assert "only the backlit one" in str(done.exception)  # type: ignore[attr-defined]
    assert not (tmp_path / "pod").exists()
