"""A shot's frames, decoded: PNG or TIFF, 8 or 16 bit, one channel, each whole, all of one size."""

import hashlib
import struct
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import Unusable
from vision.formats.strict import read_bytes
from vision.formats.tiff import MAGICS, tiff_size, truncated
from vision.records import FrameFile, Picture, Shot, Station, TrayPictures

Pixels = NDArray[np.uint8] | NDArray[np.uint16]
Size = tuple[int, int]  # columns, rows

# Twice the largest area sensors sold for inspection (about 150 megapixels, from memory) would not fit a tray's picture
# into a workstation's memory several times over; a header that promises more is refused before anything is decoded.
MAX_PIXELS = 160_000_000
# OpenCV's remap, by which outlines are sampled, takes sides below 32767 only.
MAX_SIDE_PX = 32766
_PNG_MAGIC = b"\x89PNG\r\n\x1a\n"


def read_frames(shot: Shot, station: Station) -> TrayPictures:
    """Decode all frames of a shot.

    Colour becomes grey (ITU-R BT.601 weights, as OpenCV has them), a palette is looked up, an opaque alpha channel is
    dropped, 1-bit frames become 0 and 255. The full scale is 255 for 8 bits; for 16 the station's `full_scale`, or
    65535.

    Parameters
    ----------
    shot
        The shot as its folder says, see `read_shot`.
    station
        The calibrated camera that took the frames.

    Returns
    -------
    TrayPictures
        Decoded frames, (rows, columns) each, 8 or 16 bits.

    Raises
    ------
    Unusable
        Naming the frame: absent, truncated or damaged, of another kind, of another size than the backlit one, too large
        to decode safely, or brighter than the station's full scale.

    Examples
    --------
    >>> from vision.formats import read_shot, read_station
    >>> shot = read_shot(Path("demo/plain-2611-00"))
    >>> back = read_frames(shot, read_station(Path("demo/station.toml"))).back
    >>> back.pixels.dtype, back.full_scale
    (dtype('uint8'), 255.0)
    """
    # OpenCV's own warnings name no frame; the errors raised here do.
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    back_file = next(frame for frame in shot.frames if frame.light == "back")
    back, size = _decoded(back_file, station, None)
    front = [
        _decoded(frame, station, (back_file.path.name, size))[0] for frame in shot.frames if frame is not back_file
    ]
    return TrayPictures(
        back=back,
        dome=next((picture for picture in front if picture.light == "dome"), None),
        low=tuple(picture for picture in front if picture.light == "low"),
    )


def _decoded(frame: FrameFile, station: Station, like: tuple[str, Size] | None) -> tuple[Picture, Size]:
    """One frame and its size, which must be that of the frame named in `like`."""
    data = read_bytes(frame.path)
    if frame.sha256 is not None and hashlib.sha256(data).hexdigest() != frame.sha256.lower():
        raise Unusable(frame.path, "", "the frame of shot.json's sha256 expected; copy it again", "another")
    size = _size_in_header(frame, data)
    if like and size != like[1]:
        expected = f"a frame of {like[1][0]} x {like[1][1]} px, as {like[0]}, expected; take the shot again"
        raise Unusable(frame.path, "", expected, f"{size[0]} x {size[1]} px")
    picture = _picture(frame, data, station)
    if picture.pixels.shape != (size[1], size[0]):
        raise Unusable(frame.path, "", "a frame of the size in its header expected; save it again without thumbnails")
    return picture, size


def _size_in_header(frame: FrameFile, data: bytes) -> Size:
    """Columns and rows as the file's header promises them, checked before anything is decoded."""
    if data.startswith(_PNG_MAGIC):
        size = _png_size(frame.path, data)
    elif data.startswith(MAGICS):
        size = tiff_size(frame.path, data)
    else:
        found = "an empty file" if not data else "another format"
        raise Unusable(frame.path, "", "a PNG or TIFF frame expected; save it as one", found)
    columns, rows = size
    if columns * rows > MAX_PIXELS or max(size) > MAX_SIDE_PX:
        raise Unusable(
            frame.path,
            "",
            f"at most {MAX_PIXELS // 1_000_000} megapixels and {MAX_SIDE_PX} px a side expected, "
            "more can't be decoded safely",
            f"{columns} x {rows} px",
        )
    return size


def _png_size(path: Path, data: bytes) -> Size:
    """Walk the chunks: each one's length and CRC must hold up to IEND (PNG specification, ISO/IEC 15948, 5.3)."""
    at = len(_PNG_MAGIC)
    size: Size | None = None
    while True:
        if at + 12 > len(data):
            raise truncated(path)
        (length,) = struct.unpack_from(">I", data, at)
        end = at + 12 + length
        if end > len(data):
            raise truncated(path)
        kind = data[at + 4 : at + 8]
        (crc,) = struct.unpack_from(">I", data, end - 4)
        if zlib.crc32(memoryview(data)[at + 4 : end - 4]) != crc:
            raise Unusable(path, "", "a whole frame expected; copy it again", f"damaged data near byte {at}")
        if kind == b"IHDR" and length == 13:
            size = struct.unpack_from(">II", data, at + 8)
        if kind == b"IEND":
            break
        at = end
    if size is None:
        raise Unusable(path, "", "a PNG frame expected", "no header in it")
    return size


def _picture(frame: FrameFile, data: bytes, station: Station) -> Picture:
    try:
        decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        decoded = None
    if decoded is None:
        raise Unusable(frame.path, "", "a frame that can be decoded whole expected; copy it again", "damaged data")
    if decoded.dtype not in (np.uint8, np.uint16):
        raise Unusable(frame.path, "", "8 or 16 bits a pixel, unsigned, expected", str(decoded.dtype))
    opaque = 255 if decoded.dtype == np.uint8 else 65535
    if decoded.ndim == 3 and decoded.shape[2] == 4 and decoded[:, :, 3].min() < opaque:
        raise Unusable(frame.path, "", "opaque pixels expected; save it without transparency", "transparent ones")
    pixels = _grey(decoded)
    full_scale = 255.0 if pixels.dtype == np.uint8 else station.full_scale or 65535.0
    if pixels.dtype == np.uint16 and full_scale < 65535.0 and (brightest := int(pixels.max())) > full_scale:
        raise Unusable(
            frame.path,
            "",
            f"no pixel above the station's full_scale {full_scale:g} expected; correct [sensor]",
            str(brightest),
        )
    return Picture(
        light=frame.light,
        azimuth_deg=frame.azimuth_deg,
        pixels=pixels,
        full_scale=full_scale,
        name=frame.path.name,
    )


def _grey(decoded: Any) -> Pixels:
    if decoded.ndim == 2:
        pixels: Pixels = decoded
    elif decoded.shape[2] == 1:
        pixels = decoded[:, :, 0]
    else:
        code = cv2.COLOR_BGRA2GRAY if decoded.shape[2] == 4 else cv2.COLOR_BGR2GRAY
        pixels = cv2.cvtColor(decoded, code)
    return pixels
