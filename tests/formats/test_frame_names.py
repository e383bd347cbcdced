"""Frames without shot.json, told by a station's names for them."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.formats.made import STATION, one_line
from vision.errors import Incomplete, Unusable
from vision.formats.shot import find_shots, read_shot
from vision.formats.shot_writing import write_shot
from vision.formats.station import read_station
from vision.formats.station_update import update_station
from vision.records.inputs import FrameNames, Station

LIGHTS = 'lights = {B = "back", D = "dome", L1 = 0, L10 = 90.0}\n'
FRAMES = f'\n[frames]\nname = "{{lot}}_{{counter}}_{{light}}.tif"\ntray = "T-{{counter}}"\npart = "TS-135"\n{LIGHTS}'


def station_of(folder: Path, frames: str = FRAMES, name: str = "ST-1") -> Station:
    path = folder / f"{name}.toml"
    path.write_text(STATION.replace("ST-1", name) + frames)
    return read_station(path)


def frames_in(folder: Path, *names: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        (folder / name).write_bytes(b"")
    return folder


WHOLE = ("L_26-11_0012_b.TIF", "L_26-11_0012_D.tif", "L_26-11_0012_L1.tif", "L_26-11_0012_L10.tif")


def test_names_tell_light_azimuth_tray_lot_and_counter(tmp_path: Path) -> None:
    station = station_of(tmp_path)
    folder = frames_in(tmp_path / "any", *WHOLE, "log.txt", ".L_26-11_0012_B.tif", "Thumbs.db")
    shot = read_shot(folder, [station])
    assert (shot.tray, shot.lot, shot.part, shot.station) == ("T-0012", "L_26-11", "TS-135", "ST-1")
    assert [(one.path.name, one.light, one.azimuth_deg) for one in shot.frames] == [
        (WHOLE[0], "back", None),
        (WHOLE[1], "dome", None),
        (WHOLE[2], "low", 0.0),
        (WHOLE[3], "low", 90.0),
    ]
    written = datetime.fromtimestamp((folder / WHOLE[0]).stat().st_mtime, UTC)
    assert shot.taken_at == written.isoformat(timespec="milliseconds")


def test_a_folder_may_name_the_tray_and_its_lot(tmp_path: Path) -> None:
    told = station_of(tmp_path, '\n[frames]\nname = "{lot}-{counter}/{light}.png"\nlights = {back = "back"}\n')
    shot = read_shot(frames_in(tmp_path / "L-2611-0012", "back.png"), [told])
    assert (shot.tray, shot.lot, shot.part) == ("L-2611-0012", "L-2611", None)
    own = station_of(tmp_path, '\n[frames]\nname = "{tray}/{tray}-{light}.png"\nlights = {B = "back"}\n')
    assert read_shot(frames_in(tmp_path / "T-5", "T-5-B.png", "T-6-B.png"), [own]).tray == "T-5"


def test_shot_json_goes_before_names(tmp_path: Path) -> None:
    folder = frames_in(tmp_path / "any", *WHOLE)
    shot = read_shot(folder, [station_of(tmp_path)])
    write_shot(replace(shot, tray="T-other"))
    assert read_shot(folder, [station_of(tmp_path)]) == replace(shot, tray="T-other")


def test_what_is_written_reads_back_equal(tmp_path: Path) -> None:
    station = station_of(tmp_path)
    assert station.frames == FrameNames(
        "{lot}_{counter}_{light}.tif",
        (("B", "back", None), ("D", "dome", None), ("L1", "low", 0.0), ("L10", "low", 90.0)),
        "T-{counter}",
        "TS-135",
    )
    update_station(station, tmp_path / "again.toml", ())
    assert read_station(tmp_path / "again.toml").frames == station.frames


def test_a_shot_that_lacks_something_is_not_written(tmp_path: Path) -> None:
    shot = read_shot(frames_in(tmp_path / "any", *WHOLE), [station_of(tmp_path)])
    with pytest.raises(Unusable) as caught:
        write_shot(replace(shot, lot=None))
    one_line(caught.value, "lot")
    assert not (shot.folder / "shot.json").exists()


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (WHOLE[:3], ["each light of the tray T-0012", "none of L10"]),
        ([*WHOLE, "L_26-11_0012_L2.tif"], ["L_26-11_0012_L2.tif", "one of the lights B, D, L1, L10", "found L2"]),
        ([*WHOLE, "L_26-11_12_B.tif", "L_26-11_0013_B.tif"], ["one tray expected", "T-0012, T-0013, T-12"]),
        ([*WHOLE, "L_26-12_0012_B.tif"], ["one tray expected", "T-0012, T-0012"]),
        (["_b.tif"], ["shot.json, frames named as [frames]"]),
    ],
)
def test_what_cannot_be_one_shot_is_told(tmp_path: Path, names: list[str], said: list[str]) -> None:
    with pytest.raises(Unusable) as caught:
        read_shot(frames_in(tmp_path / "any", *names), [station_of(tmp_path)])
    one_line(caught.value, *said)


def test_a_light_that_may_be_on_its_way_is_waited_for(tmp_path: Path) -> None:
    with pytest.raises(Incomplete):
        read_shot(frames_in(tmp_path / "any", *WHOLE[:3]), [station_of(tmp_path)])


def test_names_that_two_stations_give_are_nobodys(tmp_path: Path) -> None:
    stations = [station_of(tmp_path), station_of(tmp_path, name="ST-2")]
    with pytest.raises(Unusable) as caught:
        read_shot(frames_in(tmp_path / "any", *WHOLE), stations)
    one_line(caught.value, "as one station names them", "ST-1, ST-2")


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    folder = frames_in(tmp_path / "any", *WHOLE[1:])
    (tmp_path / "elsewhere.tif").write_bytes(b"")
    (folder / WHOLE[0]).symlink_to(tmp_path / "elsewhere.tif")
    with pytest.raises(Unusable) as caught:
        read_shot(folder, [station_of(tmp_path)])
    one_line(caught.value, WHOLE[0], "a link that leads out of it")


def test_frames_with_a_folder_beside_them_are_a_shot(tmp_path: Path) -> None:
    folder = frames_in(tmp_path / "any", *WHOLE)
    (folder / "previews").mkdir()
    assert find_shots([folder], stations=[station_of(tmp_path)]) == (folder,)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{light}", "{colour}", ["frames.name", "{light}, {tray}, {lot}, {counter}", "{colour}"]),
        ("_{light}", "", ["frames.name", "{light} expected in it"]),
        ("{light}.tif", "{light}.tif{", ["frames.name"]),
        ("{lot}_", "a/b/", ["frames.name", "one / between"]),
        ("T-{counter}", "T-{tray}", ["frames", "tray", "stand in name too", "found tray"]),
        ('B = "back", ', "", ["frames.lights", 'one "back"']),
        ("L1 = 0", "L1 = 360", ["frames.lights", "azimuth of a low light", "'L1'"]),
        ("L1 = 0", 'L1 = "low"', ["frames.lights", "azimuth of a low light", "'L1'"]),
        ("L1 = 0", "l10 = 0", ["frames.lights", "upper and lower case"]),
        (LIGHTS, "", ["frames.lights", "missing"]),
        ('part = "TS-135"', "parts = 1", ["frames.parts", "unknown key"]),
    ],
)
def test_a_wrong_pattern_is_told(tmp_path: Path, old: str, new: str, said: list[str]) -> None:
    assert old in FRAMES
    with pytest.raises(Unusable) as caught:
        station_of(tmp_path, FRAMES.replace(old, new, 1))
    one_line(caught.value, *said)


def test_a_long_name_is_held_against_a_pattern_at_once(tmp_path: Path) -> None:
    pattern = "{tray}{tray}{lot}{lot}{counter}{counter}{light}{light}.tif"
    station = station_of(tmp_path, f'\n[frames]\nname = "{pattern}"\nlights = {{B = "back"}}\n')
    folder = frames_in(tmp_path / "any", "0" * 160 + ".png")
    with pytest.raises(Incomplete):
        read_shot(folder, [station])


def test_json_of_a_written_shot_says_no_more_than_it_must(tmp_path: Path) -> None:
    shot = read_shot(frames_in(tmp_path / "any", *WHOLE), [station_of(tmp_path)])
    table = json.loads(write_shot(shot).read_text())
    assert sorted(table) == ["format", "frames", "lot", "part", "station", "taken_at", "tray"]
    assert table["frames"][0] == {"file": WHOLE[0], "light": "back"}
