"""shot.json, and folders of frames without one."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.formats.made import one_line, shot_table, write_shot
from vision.errors import Incomplete, Unusable
from vision.formats.shot import find_shots, read_shot

BACK = {"file": "back.png", "light": "back"}


def test_a_shot_says_what_it_is(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot", shot_table(process={"die": "D4", "strokes": 182400, "load_kn": 1.5}))
    shot = read_shot(folder)
    assert (shot.tray, shot.lot, shot.part, shot.station) == ("T-000123", "L-2611-07", "TS-135", "ST-1")
    assert shot.taken_at == "2026-11-02T06:00:00+00:00"
    assert shot.process == {"die": "D4", "strokes": 182400, "load_kn": 1.5}
    assert [(frame.path, frame.light, frame.azimuth_deg) for frame in shot.frames] == [
        (folder / "back.png", "back", None),
        (folder / "low-090.png", "low", 90.0),
    ]


def test_frames_alone_are_a_shot_named_as_their_folder(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "T-7")
    (folder / "shot.json").unlink()
    (folder / "dome.png").write_bytes((folder / "back.png").read_bytes())
    shot = read_shot(folder)
    assert (shot.tray, shot.lot, shot.part, shot.station, shot.taken_at) == ("T-7", None, None, None, None)
    assert [(frame.light, frame.azimuth_deg) for frame in shot.frames] == [
        ("back", None),
        ("dome", None),
        ("low", 90.0),
    ]


@pytest.mark.parametrize("name", ["low-90.png", "low-360.png", "lowlight.png"])
def test_a_low_frame_under_another_name_is_not_dropped(tmp_path: Path, name: str) -> None:
    folder = write_shot(tmp_path / "T-7")
    (folder / "shot.json").unlink()
    (folder / "low-090.png").rename(folder / name)
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, name, "low-AAA.png")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"format": 2}, ["format: ", "format 1 expected", "found 2"]),
        ({"format": 2, "later": 1}, ["format 1 expected", "found 2"]),
        ({"format": True}, ["format 1 expected"]),
        ({"format": None}, ["format", "missing"]),
        ({"lot": None}, ["lot", "missing"]),
        ({"taken_at": None}, ["taken_at", "missing"]),
        ({"operater": "A"}, ["operater", "unknown key", "'A'"]),
        ({"tray": "../T-1"}, ["tray", "a name that can be a folder's expected", "'../T-1'"]),
        ({"tray": ".."}, ["tray", "folder's"]),
        ({"tray": "T\n1"}, ["tray", "printable"]),
        ({"tray": "x" * 101}, ["tray", "at most 100 characters"]),
        ({"tray": 12}, ["tray", "text in quotes", "12"]),
        ({"lot": ""}, ["lot", "not empty"]),
        ({"taken_at": "yesterday"}, ["taken_at", "ISO 8601", "'yesterday'"]),
        ({"process": {"die": ["D4"]}}, ["process", "text or a finite number", "die"]),
        ({"process": {"die": True}}, ["process", "text or a finite number", "die"]),
        ({"frames": []}, ["frames", "at least 1"]),
        ({"frames": {}}, ["frames", "a list expected"]),
        ({"frames": [BACK, BACK]}, ["frames", "exactly one frame of light back", "found 2"]),
        ({"frames": [{"file": "back.png", "light": "dome"}]}, ["exactly one frame of light back", "found 0"]),
        ({"frames": [BACK, {"file": "a", "light": "dome"}, {"file": "b", "light": "dome"}]}, ["at most one", "dome"]),
        ({"frames": [BACK, {"file": "back.png", "light": "dome"}]}, ["each file once", "back.png"]),
        ({"frames": [{"file": "back.png", "light": "ultraviolet"}]}, ["frames[1].light", "'low'", "ultraviolet"]),
        ({"frames": [BACK, {"file": "low-090.png", "light": "low"}]}, ["frames[2]", "azimuth_deg", "low-090.png"]),
        ({"frames": [{**BACK, "azimuth_deg": 0.0}]}, ["frames[1]", "no azimuth_deg", "back.png"]),
        (
            {"frames": [BACK, {"file": "low-090.png", "light": "low", "azimuth_deg": 400.0}]},
            ["frames[2].azimuth_deg", "360", "400"],
        ),
        ({"frames": [{"file": "gone.png", "light": "back"}]}, ["frames[1].file", "absent", "gone.png"]),
        ({"frames": [{"file": "../back.png", "light": "back"}]}, ["frames[1].file", "inside the shot's folder", "../"]),
        ({"frames": [{"file": "/etc/hostname", "light": "back"}]}, ["frames[1].file", "inside the shot's folder"]),
        ({"frames": [{"file": "C:back.png", "light": "back"}]}, ["frames[1].file", "inside the shot's folder"]),
        ({"frames": [{"file": "a\\back.png", "light": "back"}]}, ["frames[1].file", "inside the shot's folder"]),
        ({"frames": [{"file": "a\0b.png", "light": "back"}]}, ["frames[1].file", "printable"]),
        ({"frames": [{"file": ".", "light": "back"}]}, ["frames[1].file", "a file expected"]),
    ],
)
def test_a_wrong_key_is_named(tmp_path: Path, changes: dict[str, Any], said: list[str]) -> None:
    folder = write_shot(tmp_path / "shot", shot_table(**changes))
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "shot.json", *said)


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", '{"format": 1', "[" * 5000])
def test_no_json_is_told(tmp_path: Path, text: str) -> None:
    folder = write_shot(tmp_path / "shot")
    (folder / "shot.json").write_text(text)
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "shot.json", "expected")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_number_is_nan_or_infinite(tmp_path: Path, number: str) -> None:
    folder = write_shot(tmp_path / "shot")
    text = json.dumps(shot_table()).replace("90.0", number)
    (folder / "shot.json").write_text(text)
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "frames[2].azimuth_deg", "finite number")


def test_bytes_that_are_no_text_are_told(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot")
    (folder / "shot.json").write_bytes(b'{"tray": "\xff"}')
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "shot.json", "UTF-8", "byte 10")


def test_many_faults_are_one_line(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot", shot_table(tray="", lot="", part="", station=7))
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "tray", "3 more")


@pytest.mark.parametrize("described", [True, False])
def test_a_link_out_of_the_folder_is_refused(tmp_path: Path, described: bool) -> None:
    folder = write_shot(tmp_path / "shot")
    (folder / "back.png").rename(tmp_path / "elsewhere.png")
    (folder / "back.png").symlink_to(tmp_path / "elsewhere.png")
    if not described:
        (folder / "shot.json").unlink()
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "back.png", "leads out of it")


def test_a_link_inside_the_folder_is_fine(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot")
    (folder / "back.png").rename(folder / "0001.png")
    (folder / "back.png").symlink_to("0001.png")
    assert read_shot(folder).tray == "T-000123"


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(Unusable) as caught:
        read_shot(tmp_path)
    one_line(caught.value, str(tmp_path), "or back.png", "an empty folder")


def test_frames_without_back_png_are_told(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot")
    (folder / "shot.json").unlink()
    (folder / "back.png").unlink()
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "or back.png", "none of them")


def test_shots_are_found_in_order_and_once(tmp_path: Path) -> None:
    lot = tmp_path / "lot"
    for name in ("b", "a", "c"):
        write_shot(lot / name)
    (lot / "results").mkdir()
    (lot / ".hidden").mkdir()
    single = write_shot(tmp_path / "single")
    found = find_shots([single, lot, lot / "b", lot / "." / "a"], leave_out=lot / "results")
    assert found == (single, lot / "a", lot / "b", lot / "c")


def test_an_empty_folder_among_shots_is_kept_to_be_told(tmp_path: Path) -> None:
    write_shot(tmp_path / "a")
    (tmp_path / "lost").mkdir()
    assert find_shots([tmp_path]) == (tmp_path / "a", tmp_path / "lost")


@pytest.mark.parametrize("leads_to", ["shot.json", "nowhere.json"])
def test_a_shot_json_that_leads_nowhere_is_told_and_not_passed_over(tmp_path: Path, leads_to: str) -> None:
    folder = write_shot(tmp_path / "T-7")
    (folder / "shot.json").unlink()
    (folder / "shot.json").symlink_to(folder / leads_to)
    with pytest.raises(Unusable) as caught:
        read_shot(folder)
    one_line(caught.value, "shot.json")


def test_a_folder_that_is_a_link_to_itself_is_told_and_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "T-7").symlink_to(tmp_path / "T-7")
    with pytest.raises(Unusable) as caught:
        read_shot(tmp_path / "T-7")
    assert not isinstance(caught.value, Incomplete)
    one_line(caught.value, "T-7")
