"""What a TIFF frame's file says of itself, and whether its pixels are all there.

Deflate data carries its own end and checksum (RFC 1950): each strip must unpack to its full length. Other ways to pack
carry none, and neither does plain data: there only that every strip lies inside the file can be held; a frame's
`sha256` in shot.json makes those safe.
"""

import logging
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.errors import Unusable
from vision.formats.bounded import BROKEN

MAGICS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
# Compression tags (TIFF 6.0, section 8, and its technical notes): none; zlib's under both of its numbers.
_PLAIN, _DEFLATE = 1, (8, 32946)
_MOST_PAGES = 64


@dataclass(frozen=True, slots=True)
class FrameHeader:
    """What a frame's header promises: its size in px, the bytes of a decoded pixel, whether it lies in tiles."""

    columns: int
    rows: int
    px_bytes: int
    tiled: bool = False


def truncated(path: Path) -> Unusable:
    """A frame whose file ends too soon."""
    return Unusable(path, "", "a whole frame expected; copy it again", "a file that ends too soon")


def tiff_header(path: Path, data: bytes) -> FrameHeader:
    """What a TIFF file of one page promises, all of whose pixel data is there.

    Raises
    ------
    Unusable
        The file ends too soon, its data is damaged, or it holds several pages.
    """
    logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # as with OpenCV's: the errors raised here name the frame
    import tifffile  # here, since it takes a third of a second that PNG frames need not pay

    try:
        with tifffile.TiffFile(path) as file:
            if len(file.pages) > _MOST_PAGES:
                raise Unusable(path, "", "one page expected; save each light as a file of its own", "very many pages")
            all_pages: list[Any] = list(file.pages)
            pages = [page for page in all_pages if not page.subfiletype & 1]  # bit 1 marks a thumbnail
            if not pages:
                raise truncated(path)
            if len(pages) > 1:
                raise Unusable(
                    path, "", "one page expected; save each light as a file of its own", f"{len(pages)} pages"
                )
            page = pages[0]
            _check_data(path, data, page)
            each = 2 if int(page.bitspersample) > 8 else 1
            samples = 4 if int(page.photometric) == 3 else int(page.samplesperpixel)  # 3: a palette's colours
            return FrameHeader(int(page.imagewidth), int(page.imagelength), samples * each, bool(page.is_tiled))
    # of damaged headers
    except (tifffile.TiffFileError, *BROKEN):
        raise truncated(path) from None


def _check_data(path: Path, data: bytes, page: Any) -> None:
    """Hold each strip or tile against the file and, where it is deflated, against its own length and checksum."""
    columns, rows, samples = int(page.imagewidth), int(page.imagelength), int(page.samplesperpixel)
    wide, high = (int(page.tilewidth), int(page.tilelength)) if page.is_tiled else (columns, int(page.rowsperstrip))
    planes = samples if int(page.planarconfig) == 2 else 1
    row_bytes = -(-wide * (samples // planes) * int(page.bitspersample) // 8)
    across, down = -(-columns // wide), -(-rows // high)
    segments = list(zip(page.dataoffsets, page.databytecounts, strict=True))
    if len(segments) != planes * across * down or any(not size or start + size > len(data) for start, size in segments):
        raise truncated(path)
    for index, (start, size) in enumerate(segments):
        lines = high if page.is_tiled else min(high, rows - index % down * high)
        expected = lines * row_bytes
        if int(page.compression) == _PLAIN and size < expected:
            raise truncated(path)
        if int(page.compression) in _DEFLATE and _unpacked(data[start : start + size], expected) != expected:
            raise Unusable(path, "", "a whole frame expected; copy it again", f"damaged data near byte {start}")


def _unpacked(packed: bytes, most: int) -> int:
    """How many bytes deflated data unpacks to, looked for no further than past `most`; -1 where it is damaged."""
    unpack = zlib.decompressobj()
    try:
        length = len(unpack.decompress(packed, most + 1))
    except zlib.error:
        return -1
    return length if unpack.eof else -1
