"""TIFF frames are whole or refused: how their data is packed decides what can be noticed."""

import hashlib
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from tests.formats.made import one_line
from tests.formats.test_frames import GREY, one_frame, refused, station
from vision.errors import Unusable
from vision.formats.frames import read_frames
from vision.records.inputs import FrameFile, Shot

TALL = np.tile(GREY, (4, 1))


def deflated(path: Path) -> tuple[int, int]:
    """A deflated frame of several strips; where its second strip lies and how long it is."""
    tifffile.imwrite(path, TALL, compression="zlib", rowsperstrip=len(GREY))
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        return page.dataoffsets[1], page.databytecounts[1]


def test_a_whole_deflated_frame_is_read(tmp_path: Path) -> None:
    deflated(tmp_path / "a.tif")
    assert np.array_equal(one_frame(tmp_path / "a.tif").back.pixels, TALL)


@pytest.mark.parametrize("at", [0.0, 0.3, 0.7, 0.999])
@pytest.mark.parametrize("spoil", ["a bit", "zeros", "a block"])
def test_a_damaged_deflated_frame_is_refused(tmp_path: Path, at: float, spoil: str) -> None:
    start, size = deflated(tmp_path / "a.tif")
    data = bytearray((tmp_path / "a.tif").read_bytes())
    place = start + int(at * (size - 1))
    if spoil == "a bit":
        data[place] ^= 0x10
    else:
        end = min(place + 40, start + size)
        data[place:end] = bytes(end - place) if spoil == "zeros" else bytes((data[k] ^ 0x5A) for k in range(place, end))
    (tmp_path / "a.tif").write_bytes(bytes(data))
    refused(tmp_path / "a.tif", "whole frame expected")


def test_a_strip_that_is_another_length_is_refused(tmp_path: Path) -> None:
    """Sound deflate data of too few pixels: OpenCV would leave the rest of the strip as it happens to be."""
    start, size = deflated(tmp_path / "a.tif")
    data = bytearray((tmp_path / "a.tif").read_bytes())
    short = zlib.compress(bytes(100))
    data[start : start + size] = short.ljust(size, b"\0")
    (tmp_path / "a.tif").write_bytes(bytes(data))
    refused(tmp_path / "a.tif", "damaged data")


@pytest.mark.parametrize("packed", ["tiff_lzw", "raw", "packbits", "tiff_adobe_deflate"])
def test_frames_of_every_usual_packing_are_read(tmp_path: Path, packed: str) -> None:
    Image.fromarray(TALL).save(tmp_path / "a.tif", compression=packed)
    assert np.array_equal(one_frame(tmp_path / "a.tif").back.pixels, TALL)


def test_a_digest_makes_plain_data_safe(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    Image.fromarray(TALL).save(path)
    data = bytearray(path.read_bytes())
    shot = Shot(
        tmp_path, "T-1", None, None, None, None, {}, (FrameFile(path, "back", None, hashlib.sha256(data).hexdigest()),)
    )
    assert np.array_equal(read_frames(shot, station()).back.pixels, TALL)
    data[len(data) // 2] ^= 0x01
    path.write_bytes(bytes(data))
    with pytest.raises(Unusable) as caught:
        read_frames(shot, station())
    one_line(caught.value, "a.tif", "sha256", "another")
