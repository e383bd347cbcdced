"""A tray judged by a drawing in the wrong unit or scale: the factor is told, and nothing passes."""

from dataclasses import replace

import pytest

from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.shots import Order, render_shots
from vision.decide import judge
from vision.formats import read_frames, read_limits, read_part, read_shot, read_station
from vision.outline.other_scale import size_doubt
from vision.pipeline import measure_tray
from vision.records import Limits, MeasuredTray, Part, Station, TrayPictures

Tray = tuple[TrayPictures, Part, Station, Limits]


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> Tray:
    """A tray of three teaspoons with all that judges it; its backlit frame alone."""
    folder = tmp_path_factory.mktemp("rendered")
    (shot,) = render_shots(folder, Order("plain", TEASPOON, 1, 2611))
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    limits = read_limits(folder / "limits.toml", part)
    frames = read_frames(read_shot(shot), station)
    return replace(frames, dome=None, low=()), part, station, limits


def drawn_to(part: Part, factor: float) -> Part:
    """The part as a drawing in another unit or to another scale has it."""
    zones = tuple(replace(one, x_mm=(one.x_mm[0] * factor, one.x_mm[1] * factor)) for one in part.zones)
    holes = tuple(one * factor for one in part.holes)
    return replace(part, outline=part.outline * factor, holes=holes, zones=zones, surface=None)


def measured(tray: Tray, factor: float) -> MeasuredTray:
    pictures, part, station, _ = tray
    return measure_tray(pictures, drawn_to(part, factor), station)


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (1 / 1.4, "1.4 times as large as drawn"),
        (1 / 25.4, "25.4 times as large as drawn"),
        (0.1, "10 times as large as drawn"),
        (4.0, "0.25 times as large as drawn"),
        (1.25, "0.8 times as large as drawn"),
        (1.1, "0.909 times as large as drawn"),
    ],
)
def test_a_wrong_scale_is_told_by_its_factor_and_nothing_passes(tray: Tray, factor: float, told: str) -> None:
    seen = measured(tray, factor)
    (finding,) = [one for one in seen.findings if one.kind == "scale"]
    assert told in finding.detail
    assert "another station?" in finding.detail
    assert ("inches" in finding.detail, "centimetres" in finding.detail) == (factor != 0.1, factor == 0.1)
    assert [one.fault for one in seen.pieces] == ["scale"] * 3
    assert "pass" not in [judge(one, tray[3]).verdict for one in seen.pieces]


def test_a_right_scale_is_not_told(tray: Tray) -> None:
    seen = measured(tray, 1.0)
    assert [one.kind for one in seen.findings] == []
    assert [one.fault for one in seen.pieces] == [None] * 3


def test_another_shape_is_not_told_as_another_scale(tray: Tray) -> None:
    pictures, part, station, _ = tray
    wider = replace(part, outline=part.outline * (1.0, 1.2), surface=None)  # no one factor explains it
    seen = measure_tray(pictures, wider, station)
    assert "scale" not in [one.kind for one in seen.findings]


def test_the_words_name_the_unit_that_explains_it() -> None:
    assert size_doubt(100.0, 102.9) == ""
    assert "inches" in size_doubt(100.0, 2540.0)
    assert "centimetres" in size_doubt(100.0, 10.0)
    assert "1.4 times" in size_doubt(100.0, 140.0)
