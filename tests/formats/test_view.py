"""Stations that can't be, told with their key before a frame is decoded; and frames packed in every usual way."""

import os
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

from tests.formats.made import one_line, write_part
from tests.formats.test_frames import DEEP, GREY, one_frame, refused, station
from vision.errors import Unusable
from vision.formats.part import read_part
from vision.formats.silence import silenced
from vision.formats.view import check_height, check_view
from vision.records import Camera, Lens, Station

WIDE, HIGH = 3000, 2100


def slanted(x: float, y: float = 0.0) -> Station:
    return replace(station(), homography=np.array([[0.05, 0.0, 0.0], [0.0, -0.05, 0.0], [x, y, 1.0]]))


def through(distortion: list[float]) -> Station:
    matrix = np.array([[9200.0, 0.0, 1499.5], [0.0, 9200.0, 1049.5], [0.0, 0.0, 1.0]])
    return replace(station(), lens=Lens(matrix, np.array(distortion)))


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: slanted(-1.0 / 1500.0), "horizon"),  # through the middle of the frame
        (lambda: slanted(-1.0 / 3050.0), "horizon"),  # just beside it
        (lambda: slanted(0.0, -1.0 / 2099.0), "horizon"),
        (lambda: slanted(1.0), "horizon"),
        (lambda: replace(station(), homography=np.diag([1e-7, -1e-7, 1.0])), "mm a pixel"),
        (lambda: replace(station(), homography=np.diag([1e7, -1e7, 1.0])), "mm a pixel"),
        (lambda: replace(station(), homography=np.array([[0.05, 0, 1e8], [0, -0.05, 0], [0, 0, 1.0]])), "mm a pixel"),
        (lambda: through([1e6, 0.0, 0.0, 0.0, 0.0]), "lens"),
        (lambda: through([-40.0, 0.0, 0.0, 0.0, 0.0]), "lens"),
        (lambda: through([0.0, 1e300, 0.0, 0.0, 0.0]), "lens"),
    ],
)
def test_a_camera_that_can_t_see_the_tray_is_refused(made: Callable[[], Station], said: str) -> None:
    with pytest.raises(Unusable) as caught:
        check_view(made(), WIDE, HIGH)
    one_line(caught.value, "ST-1", said)


@pytest.mark.parametrize(
    "made",
    [station, lambda: slanted(1e-5, -2e-5), lambda: slanted(1e-4), lambda: through([-0.08, 0.02, 0.0, 0.0, 0.0])],
)
def test_a_camera_as_they_are_is_taken(made: Callable[[], Station]) -> None:
    check_view(made(), WIDE, HIGH)


def test_a_camera_below_the_edge_is_refused(tmp_path: Path) -> None:
    low = replace(station(), camera=Camera(19.0, (0.0, 0.0)))
    part = replace(read_part(write_part(tmp_path)), edge_height_mm=10.0)
    with pytest.raises(Unusable) as caught:
        check_height(part, low, tmp_path / "station.toml")
    one_line(caught.value, "station.toml", "camera.height_mm", "19 mm")
    check_height(part, replace(low, camera=Camera(620.0, (0.0, 0.0))), tmp_path / "station.toml")


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("pixels", [GREY, DEEP], ids=["8 bits", "16 bits"])
def test_a_tiled_frame_is_read_or_named_as_such(tmp_path: Path, pixels: np.ndarray, compression: str | None) -> None:  # type: ignore[type-arg]
    whole = np.tile(pixels, (5, 5))[:100, :150]  # no multiple of a tile
    tifffile.imwrite(tmp_path / "a.tif", whole, tile=(32, 48), compression=compression)
    try:
        assert np.array_equal(one_frame(tmp_path / "a.tif").back.pixels, whole)
    except Unusable:
        refused(tmp_path / "a.tif", "without tiles")


def test_a_damaged_tile_is_refused(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", np.tile(GREY, (5, 5)), tile=(32, 48), compression="zlib")
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        start = page.dataoffsets[3] + page.databytecounts[3] // 2
    data = bytearray((tmp_path / "a.tif").read_bytes())
    data[start] ^= 0x20
    (tmp_path / "a.tif").write_bytes(bytes(data))
    refused(tmp_path / "a.tif", "whole frame expected")


def test_pixels_of_more_bytes_than_any_frame_are_refused_before_they_are_made(tmp_path: Path) -> None:
    """A header of colour at 16 bits with alpha: 120 megapixels of it would take almost a gigabyte."""
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((8, 8, 4), np.uint16))
    data = bytearray((tmp_path / "a.png").read_bytes())
    data[16:24] = (12_000).to_bytes(4, "big") + (10_000).to_bytes(4, "big")
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    (tmp_path / "a.png").write_bytes(bytes(data))
    refused(tmp_path / "a.png", "MB of pixels")


def test_what_a_library_writes_past_python_is_not_seen(capfd: pytest.CaptureFixture[str]) -> None:
    with silenced():
        os.write(2, b"libpng warning: of no use to anybody\n")
    os.write(2, b"ours\n")
    assert capfd.readouterr().err == "ours\n"
