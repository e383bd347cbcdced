"""Frames of every kind that must be read, and of every kind that must not."""

import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from tests.formats.made import COLUMNS, ROWS, one_line, write_shot
from vision.errors import Unusable
from vision.formats.frames import MAX_PIXELS, read_frames
from vision.formats.shot import read_shot
from vision.records.inputs import FrameFile, Shot, Station, TrayPictures

GREY = np.random.default_rng(2611).integers(0, 256, (ROWS, COLUMNS), dtype=np.uint8)
DEEP = GREY.astype(np.uint16) * 16 + 7
RGB = np.dstack([GREY, GREY, GREY])


def station(full_scale: float | None = None) -> Station:
    return Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, 0.01, 0.0002, full_scale)


def one_frame(path: Path, full_scale: float | None = None) -> TrayPictures:
    shot = Shot(path.parent, "T-1", None, None, None, None, {}, (FrameFile(path, "back"),))
    return read_frames(shot, station(full_scale))


def refused(path: Path, *said: str) -> None:
    with pytest.raises(Unusable) as caught:
        one_frame(path)
    one_line(caught.value, path.name, *said)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
@pytest.mark.parametrize(
    "image",
    [GREY, RGB, np.dstack([RGB, np.full_like(GREY, 255)])],
    ids=["one channel", "colour", "alpha"],
)
def test_eight_bits_of_any_make_become_grey(tmp_path: Path, name: str, image: NDArray[np.uint8]) -> None:
    Image.fromarray(image).save(tmp_path / name)
    back = one_frame(tmp_path / name).back
    assert back.pixels.dtype == np.uint8
    assert np.array_equal(back.pixels, GREY)
    assert (back.full_scale, back.name) == (255.0, name)


def test_grey_with_alpha_becomes_grey(tmp_path: Path) -> None:
    Image.fromarray(np.dstack([GREY, np.full_like(GREY, 255)])).save(tmp_path / "a.png")
    assert np.array_equal(one_frame(tmp_path / "a.png").back.pixels, GREY)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_transparent_pixels_are_refused(tmp_path: Path, name: str) -> None:
    Image.fromarray(np.dstack([RGB, 255 - GREY])).save(tmp_path / name)
    refused(tmp_path / name, "opaque", "without transparency")


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_a_palette_is_looked_up(tmp_path: Path, name: str) -> None:
    picture = Image.new("P", (COLUMNS, ROWS), 1)
    picture.putpalette([0, 0, 0, 90, 90, 90])
    picture.save(tmp_path / name)
    assert set(np.unique(one_frame(tmp_path / name).back.pixels)) == {90}


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_one_bit_becomes_black_and_white(tmp_path: Path, name: str) -> None:
    Image.fromarray(GREY > 127).save(tmp_path / name)
    pixels = one_frame(tmp_path / name).back.pixels
    assert np.array_equal(pixels, np.where(GREY > 127, 255, 0))


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_sixteen_bits_are_kept(tmp_path: Path, name: str) -> None:
    cv2.imwrite(str(tmp_path / name), DEEP)
    back = one_frame(tmp_path / name).back
    assert np.array_equal(back.pixels, DEEP)
    assert back.full_scale == 65535.0
    assert one_frame(tmp_path / name, full_scale=4095.0).back.full_scale == 4095.0


def test_sixteen_bit_colour_becomes_grey(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), np.dstack([DEEP, DEEP, DEEP]))
    assert np.array_equal(one_frame(tmp_path / "a.png").back.pixels, DEEP)


def test_the_full_scale_of_a_station_is_no_matter_to_eight_bits(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), GREY)
    assert one_frame(tmp_path / "a.png", full_scale=4095.0).back.full_scale == 255.0


def test_more_than_the_full_scale_is_told(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), np.full((ROWS, COLUMNS), 5000, np.uint16))
    with pytest.raises(Unusable) as caught:
        one_frame(tmp_path / "a.png", full_scale=4095.0)
    one_line(caught.value, "a.png", "full_scale 4095", "5000")


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_a_truncated_frame_is_told_and_nothing_else_is_said(
    tmp_path: Path, name: str, share: float, capfd: pytest.CaptureFixture[str]
) -> None:
    cv2.imwrite(str(tmp_path / name), GREY)
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: int(share * len(data))])
    refused(tmp_path / name, "whole", "copy it again")
    assert capfd.readouterr() == ("", "")


def test_a_png_without_its_last_byte_is_told(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), GREY)
    data = (tmp_path / "a.png").read_bytes()
    (tmp_path / "a.png").write_bytes(data[:-1])
    refused(tmp_path / "a.png", "ends too soon")


def test_a_flipped_bit_is_told(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), GREY)
    data = bytearray((tmp_path / "a.png").read_bytes())
    data[len(data) // 2] ^= 4
    (tmp_path / "a.png").write_bytes(data)
    refused(tmp_path / "a.png", "damaged data near byte")


def chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


@pytest.mark.parametrize(("columns", "rows"), [(50_000, 50_000), (MAX_PIXELS // 1000, 2000), (100_000, 1)])
def test_a_frame_too_large_is_refused_from_its_header(tmp_path: Path, columns: int, rows: int) -> None:
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0))
    bomb = b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    (tmp_path / "a.png").write_bytes(bomb)
    refused(tmp_path / "a.png", "160 megapixels", f"{columns} x {rows} px")


def test_a_tiff_too_large_is_refused_from_its_header(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", np.zeros((1, 40_000), np.uint8))
    refused(tmp_path / "a.tif", "32766 px a side", "40000 x 1 px")


@pytest.mark.parametrize("dtype", [np.float32, np.int16, np.uint32])
def test_other_depths_are_refused(tmp_path: Path, dtype: type[np.generic]) -> None:
    tifffile.imwrite(tmp_path / "a.tif", GREY.astype(dtype))
    refused(tmp_path / "a.tif", "8 or 16 bits", np.dtype(dtype).name)


def test_pages_are_not_dropped(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", np.stack([GREY, GREY]))
    refused(tmp_path / "a.tif", "one page expected", "2 pages")


def test_a_thumbnail_before_the_frame_is_told(tmp_path: Path) -> None:
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(GREY[::2, ::2], subfiletype=1)
        file.write(GREY)
    refused(tmp_path / "a.tif", "size in its header", "without thumbnails")


def test_a_thumbnail_after_the_frame_is_passed_over(tmp_path: Path) -> None:
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(GREY)
        file.write(GREY[::2, ::2], subfiletype=1)
    assert np.array_equal(one_frame(tmp_path / "a.tif").back.pixels, GREY)


def test_a_jpeg_is_refused_whatever_it_is_called(tmp_path: Path) -> None:
    Image.fromarray(GREY).save(tmp_path / "a.png", "JPEG")
    refused(tmp_path / "a.png", "PNG or TIFF")


def test_an_empty_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.png").touch()
    refused(tmp_path / "a.png", "an empty file")


def test_an_absent_frame_is_told(tmp_path: Path) -> None:
    refused(tmp_path / "a.png", "missing")


def test_lights_come_out_in_their_places(tmp_path: Path) -> None:
    pictures = read_frames(read_shot(write_shot(tmp_path / "shot")), station())
    assert pictures.back.light == "back"
    assert pictures.dome is None
    assert [(low.name, low.azimuth_deg) for low in pictures.low] == [("low-090.png", 90.0)]


def test_a_frame_of_another_size_is_named(tmp_path: Path) -> None:
    folder = write_shot(tmp_path / "shot")
    cv2.imwrite(str(folder / "low-090.png"), GREY[:, :-1])
    with pytest.raises(Unusable) as caught:
        read_frames(read_shot(folder), station())
    one_line(caught.value, "low-090.png", f"{COLUMNS} x {ROWS} px, as back.png", f"{COLUMNS - 1} x {ROWS} px")
