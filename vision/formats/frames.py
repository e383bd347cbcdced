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
from vision.formats.bounded import FRAME_BYTES, read_bytes
from vision.formats.silence import silenced
from vision.formats.tiff import MAGICS, FrameHeader, tiff_header, truncated
from vision.formats.view import check_view
from vision.records import FrameFile, Picture, Shot, Station, TrayPictures

Pixels = NDArray[np.uint8] | NDArray[np.uint16]

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
    back = _decoded(back_file, station, None)
    front = [_decoded(frame, station, back) for frame in shot.frames if frame is not back_file]
    return TrayPictures(
        back=back,
        dome=next((picture for picture in front if picture.light == "dome"), None),
        low=tuple(picture for picture in front if picture.light == "low"),
    )


def _decoded(frame: FrameFile, station: Station, like: Picture | None) -> Picture:
    """One frame, of the size of `like`; the first one is held against the station before it is decoded."""
    data = read_bytes(frame.path, FRAME_BYTES)
    if frame.sha256 is not None and hashlib.sha256(data).hexdigest() != frame.sha256.lower():
        raise Unusable(frame.path, "", "the frame of shot.json's sha256 expected; copy it again", "another")
    header = _header(frame, data)
    if like is None:
        check_view(station, header.columns, header.rows)
    elif (header.rows, header.columns) != like.pixels.shape:
        rows, columns = like.pixels.shape
        expected = f"a frame of {columns} x {rows} px, as {like.name}, expected; take the shot again"
        raise Unusable(frame.path, "", expected, f"{header.columns} x {header.rows} px")
    picture = _picture(frame, data, station, header)
    if picture.pixels.shape != (header.rows, header.columns):
        raise Unusable(frame.path, "", "a frame of the size in its header expected; save it again without thumbnails")
    return picture


def _header(frame: FrameFile, data: bytes) -> FrameHeader:
    """What the file's header promises, checked before anything is decoded."""
    if data.startswith(_PNG_MAGIC):
        header = _png_header(frame.path, data)
    elif data.startswith(MAGICS):
        header = tiff_header(frame.path, data)
    else:
        found = "an empty file" if not data else "another format"
        raise Unusable(frame.path, "", "a PNG or TIFF frame expected; save it as one", found)
    columns, rows = header.columns, header.rows
    if not (0 < columns * rows <= MAX_PIXELS) or max(columns, rows) > MAX_SIDE_PX:
        raise Unusable(
            frame.path,
            "",
            f"at most {MAX_PIXELS // 1_000_000} megapixels and {MAX_SIDE_PX} px a side expected, "
            "more can't be decoded safely",
            f"{columns} x {rows} px",
        )
    if columns * rows * header.px_bytes > FRAME_BYTES:
        expected = f"at most {FRAME_BYTES // 1_000_000} MB of pixels expected; save it in grey"
        raise Unusable(frame.path, "", expected, f"{columns * rows * header.px_bytes // 1_000_000} MB")
    return header


def _png_header(path: Path, data: bytes) -> FrameHeader:
    """Walk the chunks: each one's length and CRC must hold up to IEND (PNG specification, ISO/IEC 15948, 5.3)."""
    at = len(_PNG_MAGIC)
    header: FrameHeader | None = None
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
            columns, rows, depth, colour = struct.unpack_from(">IIBB", data, at + 8)
            # Grey, colour, a palette's colours, grey or colour with alpha (ISO/IEC 15948, 11.2.2); bits become bytes.
            samples = {0: 1, 2: 3, 3: 4, 4: 4, 6: 4}.get(colour, 4)
            header = FrameHeader(columns, rows, samples * (2 if depth == 16 else 1))
        if kind == b"IEND":
            break
        at = end
    if header is None:
        raise Unusable(path, "", "a PNG frame expected", "no header in it")
    return header


def _picture(frame: FrameFile, data: bytes, station: Station, header: FrameHeader) -> Picture:
    try:
        with silenced():  # libpng and libtiff write there, and name no frame
            decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        decoded = None
    if decoded is None and header.tiled:  # OpenCV takes some tiles only
        raise Unusable(frame.path, "", "a TIFF in strips expected; save it without tiles", "tiles of a kind not read")
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
