"""The command: files to a station that the other commands read, and one line for whatever is wrong."""

from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.works.folder import new_works
from tests.calibrate.rig import Rig, photograph, poses
from tests.formats.made import STATION
from tests.formats.test_station import LENS
from tests.shell import Run
from vision.formats.station import read_station

REAL = sorted((Path(__file__).parents[1] / "data" / "real").glob("left*.jpg"))


@pytest.fixture
def call(run: Run) -> Run:
    return partial(run, "calibrate")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("target")
    rng = np.random.default_rng(31)
    paths = [folder / f"view-{i}.png" for i in range(4)]
    for path, camera in zip(paths, poses(Rig(), 4, rng), strict=True):
        cv2.imwrite(str(path), photograph(camera, rng))
    return paths


def test_pictures_to_a_station(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    words = ("--squares", "9x6", "--pitch-mm", 2.5, "--target-thickness-mm", 0, "--station", "ST-9", "--out", out)
    code, said, _ = call(*pictures, *words)
    assert code == 0
    assert "how thick" not in said
    station = read_station(out)
    assert station.station == "ST-9"
    assert station.lens is not None
    assert station.lens.camera_matrix[0, 0] == pytest.approx(2000.0, rel=1e-3)
    assert station.camera is not None
    assert 0.0 < station.scale_relative < 1e-3
    assert 0.0 < station.outline_mm < 0.002
    oldest = min(path.stat().st_mtime for path in pictures)
    assert station.calibrated_at == datetime.fromtimestamp(oldest, UTC).isoformat(timespec="seconds")
    assert f"wrote {out}" in said
    page = out.with_suffix(".html").read_text()
    assert page.count("<svg") == 3
    for words in ("Residuals", "Distortion", "Expanded, 95 %", "resampled corners", "Cautions"):
        assert words in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


def test_one_picture_to_a_station_of_a_works(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    words = (pictures[0], "--squares", "9x6", "--pitch-mm", 2.5, "--station", "ST-3")
    code, _, wrong = call(*words)
    assert (code, "--works in its place" in wrong) == (2, True)
    code, _, wrong = call(*words, "--works", works.folder)
    assert code == 0, wrong
    assert read_station(works.station_file("ST-3")).station == "ST-3"


def test_the_same_pictures_give_the_same_station(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    for name in ("a.toml", "b.toml"):
        call(*pictures, "--squares", "9x6", "--pitch-mm", 2.5, "--out", tmp_path / name)
    first, again = (read_station(tmp_path / name) for name in ("a.toml", "b.toml"))
    # OpenCV sums in threads, so that the last digits may differ; the resampling must not.
    assert again.homography == pytest.approx(first.homography, rel=1e-6, abs=1e-9)
    assert again.scale_relative == pytest.approx(first.scale_relative, rel=1e-4)


def test_one_picture_to_a_plain_station(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    code, said, _ = call(pictures[0], "--squares", "9x6", "--pitch-mm", 2.5, "--full-scale", 4095, "--out", out)
    assert code == 0
    assert read_station(out).lens is None
    assert read_station(out).full_scale == 4095
    assert "a lens needs three views or more" in said


def test_published_settings_from_the_command(call, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    words = ("--squares", "9x6", "--pitch-mm", 25, "--corner-window", 11, "--fix-aspect", "--out", out)
    code, said, _ = call(*REAL, *words)
    assert code == 0
    assert "0.3929 px rms" in said
    assert "note: left02.jpg is outlying" in said
    lens = read_station(out).lens
    assert lens is not None
    assert lens.camera_matrix[0, 0] == pytest.approx(535.9157, rel=1e-5)


def test_a_picture_without_a_target_is_named_and_the_rest_done(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    even = tmp_path / "even.png"
    cv2.imwrite(str(even), np.full((460, 640), 100, np.uint8))
    out = tmp_path / "station.toml"
    code, _, err = call(*pictures, even, "--squares", "9x6", "--pitch-mm", 2.5, "--out", out)
    assert code == 1
    assert err.startswith("brightbowl: even.png: the picture is even")
    assert err.count("\n") == 1
    assert out.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--squares", "9x6", "--pitch-mm", "0"), "--pitch-mm: a pitch above 0 mm expected (found 0)"),
        (("--squares", "9x6", "--pitch-mm", "nan"), "--pitch-mm: a pitch above 0 mm expected (found nan)"),
        (("--squares", "96", "--pitch-mm", "5"), "--squares: columns x rows"),
        (("--squares", "2x6", "--pitch-mm", "5"), "--squares: columns x rows"),
        (("--squares", "8x6", "--pitch-mm", "5"), "correct the count"),
        (("--squares", "9x6", "--pitch-mm", "5", "--lens", "perspective"), "3 views or more for a lens"),
    ],
)
def test_what_can_not_be_used_is_told_in_one_line(call, pictures: list[Path], tmp_path: Path, words, said: str) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    code, _, err = call(pictures[0], *words, "--out", out)
    assert code == 2
    assert said in err
    assert err.count("\n") == 1
    assert not out.exists()


def test_pictures_of_different_size(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    other = tmp_path / "larger.png"
    picture = cv2.imread(str(pictures[1]), cv2.IMREAD_UNCHANGED)
    assert picture is not None
    cv2.imwrite(str(other), np.pad(picture, 20, mode="edge"))
    code, _, err = call(*pictures, other, "--squares", "9x6", "--pitch-mm", 2.5, "--out", tmp_path / "station.toml")
    assert code == 2
    assert "larger.png: pictures of one size expected, 640 x 460 px as view-0.png (found 680 x 500 px)" in err


def test_the_same_picture_twice(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    words = ("--squares", "9x6", "--pitch-mm", 2.5, "--out", tmp_path / "station.toml")
    code, _, err = call(pictures[0], pictures[1], pictures[1], *words)
    assert code == 2
    assert "each picture once" in err


def test_an_absent_folder(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    code, _, err = call(pictures[0], "--squares", "9x6", "--pitch-mm", 2.5, "--out", tmp_path / "none" / "station.toml")
    assert code == 2
    assert "--out: a file in a folder that exists" in err


KEPT = """
# Bought in 2019.
[sensor]
full_scale = 4095

[light]
level_min = 0.5  # the old lamp

[frames]
name = "{tray}-{light}.tif"
lights = {B = "back"}

[backlight]
half_angle_deg = 10.0
half_angle_u_deg = 1.0
"""


def test_a_calibration_leaves_what_it_does_not_measure(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    old = STATION.replace("ST-1", "ST-4") + '\n[calibrated]\nat = "2026-01-01"\nvalid_days = 90\n' + KEPT
    out.write_text(old)
    words = ("--squares", "9x6", "--pitch-mm", 2.5, "--target-thickness-mm", 0, "--out", out)
    code, said, _ = call(pictures[0], *words)
    assert code == 0
    station = read_station(out)
    assert (station.station, station.full_scale, station.light.level_min, station.valid_days) == ("ST-4", 4095, 0.5, 90)
    assert station.frames is not None
    assert station.backlight is not None
    assert "# Bought in 2019." in out.read_text()
    assert "level_min = 0.5  # the old lamp" in out.read_text()
    (kept,) = tmp_path.glob("station.toml.2*Z")
    assert kept.read_text() == old
    assert f"{kept} keeps the station as it was; any length " in said
    assert "scale's uncertainty 0.02 to " in said


def test_a_thickness_that_nobody_told_is_taken_as_none_and_said(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "station.toml"
    code, said, _ = call(pictures[0], "--squares", "9x6", "--pitch-mm", 2.5, "--out", out)
    assert code == 0
    assert "nobody said how thick the target is: 0 mm was taken" in said
    assert read_station(out).scale_relative > 0.03  # 3 mm over what 640 px show of the tray, 32 mm or so
    code, _, wrong = call(*pictures, "--squares", "9x6", "--pitch-mm", 2.5, "--edge-height-mm", 2, "--out", out)
    assert (code, "go with one picture" in wrong) == (2, True)


def test_pictures_without_a_target_never_cost_a_station_its_lens(call, pictures: list[Path], tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    out, even = tmp_path / "station.toml", tmp_path / "even.png"
    cv2.imwrite(str(even), np.full((460, 640), 100, np.uint8))
    out.write_text(STATION + LENS)
    words = ("--squares", "9x6", "--pitch-mm", 2.5, "--out", out)
    code, _, wrong = call(pictures[0], even, *words)
    assert code == 2
    assert "3 pictures that show the target expected; nothing was written: even.png" in wrong
    code, _, wrong = call(pictures[0], *words)
    assert code == 2
    assert "the station has a lens" in wrong
    code, _, wrong = call(pictures[0], *words, "--station", "ST-2")
    assert code == 2
    assert "the file of station ST-2 expected" in wrong
    assert out.read_text() == STATION + LENS
    assert call(pictures[0], *words, "--lens", "none")[0] == 0
    assert read_station(out).lens is None
