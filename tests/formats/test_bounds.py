"""What every reader is held to: bytes, nesting, digits, characters, names, links; one way for all formats."""

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.formats.made import STATION, shot_table, write_part, write_shot
from vision.errors import Unusable
from vision.formats import bounded
from vision.formats.part import read_part
from vision.formats.result import read_result
from vision.formats.shot import find_shots, read_shot
from vision.formats.station import read_station
from vision.formats.verdicts import COLUMNS, read_verdicts

DEEP = 5_000


def refused(read: Callable[[], object]) -> str:
    with pytest.raises(Unusable) as told:
        read()
    said = str(told.value)
    assert said.isprintable(), said
    assert len(said) < 1500
    return said


@pytest.mark.parametrize(
    ("process", "said"),
    [
        ('{"strokes": ' + "9" * 5000 + "}", "JSON"),
        ('{"strokes": 1' + "0" * 400 + "}", "process.strokes"),
        ('{"strokes": 9223372036854775808}', "process.strokes"),
        ('{"strokes": 1e300}', "process.strokes"),
        ('{"strokes": 1e400}', "strokes"),
        ('{"note": "a\\u0000b"}', "process.note"),
        ('{"no\\u0000te": 1}', "process"),
        ('{"note": "a\\ud800b"}', "JSON"),
        ('{"note": "' + "x" * 20_000 + '"}', "process.note"),
        ('{"note": ' + "[" * DEEP + "]" * DEEP + "}", "JSON"),
        ('{"note": ' + '{"a":' * 40 + "1" + "}" * 41, "nested"),
    ],
)
def test_a_shot_that_says_what_none_can_is_refused(tmp_path: Path, process: str, said: str) -> None:
    folder = write_shot(tmp_path / "T-1", shot_table())
    text = json.dumps({**shot_table(), "process": "HERE"}).replace('"HERE"', process)
    (folder / "shot.json").write_text(text)
    assert said in refused(lambda: read_shot(folder))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("mm_per_px = " + "9" * 5000, "TOML"),
        ("mm_per_px = 1" + "0" * 400, "scale.mm_per_px"),
        ("mm_per_px = " + "[" * DEEP + "]" * DEEP, "TOML"),
        ("mm_per_px = " + "{a = " * 500 + "1" + "}" * 500, "TOML"),
        ("mm_per_px = " + "{a = " * 30 + "1" + "}" * 30, "nested"),
        ('mm_per_px = 0.05\nname = "a\\u0000b"', "scale.name"),
        ("mm_per_px = 0.05\n" + ".".join(["a"] * 60_000) + " = 1", "dots"),
        ("mm_per_px = 5e-7", "scale.mm_per_px"),
        ("mm_per_px = 5e7", "scale.mm_per_px"),
    ],
)
def test_a_station_that_says_what_none_can_is_refused(tmp_path: Path, line: str, said: str) -> None:
    path = tmp_path / "station.toml"
    path.write_text(STATION.replace("mm_per_px = 0.05", line))
    assert said in refused(lambda: read_station(path))


def test_a_file_of_too_many_bytes_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "station.toml"
    with path.open("wb") as file:
        file.truncate(1 << 40)  # a terabyte that takes no room
    assert "MB" in refused(lambda: read_station(path))


def test_a_pipe_in_the_place_of_a_file_does_not_hold_the_reader(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "station.toml")
    assert "a file expected" in refused(lambda: read_station(tmp_path / "station.toml"))
    folder = write_shot(tmp_path / "T-1", shot_table())
    (folder / "shot.json").unlink()
    os.mkfifo(folder / "shot.json")
    assert "a file expected" in refused(lambda: read_shot(folder))


def test_a_nul_in_a_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "verdicts.csv"
    path.write_text(f"{','.join(COLUMNS)}\nT-1,1,A. Moss,1,accept,,a\x00b,\n")
    assert "NUL" in refused(lambda: read_verdicts(path))


@pytest.mark.parametrize("number", ["9" * 5000, str(2**63), "1" + "0" * 12])
@pytest.mark.parametrize("column", ["piece", "round"])
def test_a_table_counts_no_further_than_anybody_can(tmp_path: Path, number: str, column: str) -> None:
    path = tmp_path / "verdicts.csv"
    cells = {"tray": "T-1", "piece": "1", "inspector": "A. Moss", "round": "1", "verdict": "accept", column: number}
    path.write_text(f"{','.join(COLUMNS)}\n{','.join(cells.get(name, '') for name in COLUMNS)}\n")
    assert column in refused(lambda: read_verdicts(path))


def test_a_long_cell_is_cut_and_a_control_character_shown(tmp_path: Path) -> None:
    path = tmp_path / "verdicts.csv"
    path.write_text(f"{','.join(COLUMNS)}\nT-1,1,A. Moss,1,\x1b[31m{'y' * 9000},,,\n")
    said = refused(lambda: read_verdicts(path))
    assert "\\x1b[31m" in said
    assert len(said) < 400


def test_a_csv_drawing_of_one_endless_cell_is_refused(tmp_path: Path) -> None:
    path = write_part(tmp_path)
    (tmp_path / "outline.csv").write_text('x_mm,y_mm\n"' + "1" * 200_000)
    assert "outline.csv" in refused(lambda: read_part(path))


def test_a_name_too_long_for_a_file_is_refused(tmp_path: Path) -> None:
    long = "ö" * 130  # 260 bytes
    for key in ("part", "station"):
        folder = write_shot(tmp_path / key, shot_table(**{key: long}))
        assert "bytes" in refused(lambda folder=folder: read_shot(folder))
    folder = write_shot(tmp_path / "tray", shot_table(tray="匙" * 90))
    assert "bytes" in refused(lambda: read_shot(folder))
    table = shot_table()
    table["frames"][0]["file"] = long
    folder = write_shot(tmp_path / "frame", shot_table())
    (folder / "shot.json").write_text(json.dumps(table))
    assert "bytes" in refused(lambda: read_shot(folder))
    (tmp_path / "station.toml").write_text(STATION.replace("ST-1", long))
    assert "bytes" in refused(lambda: read_station(tmp_path / "station.toml"))


def test_a_frame_that_links_to_itself_is_told(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "T-1", shot_table())
    (folder / "back.png").unlink()
    (folder / "back.png").symlink_to("back.png")
    assert "back.png" in refused(lambda: read_shot(folder))
    (folder / "shot.json").unlink()
    (folder / "shot.json").symlink_to("shot.json")
    refused(lambda: read_shot(folder))


@pytest.mark.parametrize("described", [True, False])
def test_a_folder_whose_name_is_no_text_is_told(tmp_path: Path, described: bool) -> None:
    folder = write_shot(tmp_path / "T-1", shot_table()).rename(tmp_path / os.fsdecode(b"T-\xff\x1b"))
    if not described:
        (folder / "shot.json").unlink()
    assert "T-\\xff\\x1b" in refused(lambda: read_shot(folder))
    assert find_shots([tmp_path]) == (folder,)


def test_what_may_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user's folder: whoever runs the tests may be root, to whom nothing is closed; the system's no is made."""
    folder = write_shot(tmp_path / "T-1", shot_table())

    def closed(path: Path, **_: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "stat", closed)
    monkeypatch.setattr(Path, "lstat", closed)
    said = refused(lambda: read_shot(folder))
    assert "Permission denied" in said


def test_a_result_that_counts_past_all_bounds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    path.write_text('{"format": 1, "limits_revision": ' + "9" * 30 + "}")
    assert "limits_revision" in refused(lambda: read_result(path))


def test_the_reader_s_own_depth_lies_below_python_s() -> None:
    assert sys.getrecursionlimit() / 10 > bounded.NESTED


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("x_mm = [0.0, 46.0]", "x_mm = [-1e12, 46.0]", "zone[1].x_mm"),
        ("inset_mm = 1.5", "inset_mm = 1e9", "surface.inset_mm"),
        ('name = "bowl"', 'name = "b\\u0007owl"', "zone[1].name"),
        ("[surface]", "edge_height_mm = 1e9\n[surface]", "zone[2].edge_height_mm"),
        ('nominal = "outline.csv"', 'nominal = "outline.csv"\nedge_height_mm = 1e9', "edge_height_mm"),
    ],
)
def test_a_part_that_says_what_none_can_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = write_part(tmp_path)
    path.write_text(path.read_text().replace(old, new))
    assert said in refused(lambda: read_part(path))


@pytest.mark.parametrize(("scale", "said"), [(1000.0, "outline.csv"), (1e12, "outline.csv"), (1e-6, "outline.csv")])
def test_a_nominal_of_a_size_that_no_tray_holds_is_refused(tmp_path: Path, scale: float, said: str) -> None:
    path = write_part(tmp_path)
    rows = (tmp_path / "outline.csv").read_text().split()[1:]
    scaled = [",".join(str(float(cell) * scale) for cell in row.split(",")) for row in rows]
    (tmp_path / "outline.csv").write_text("\n".join(["x_mm,y_mm", *scaled]))
    assert said in refused(lambda: read_part(path))
