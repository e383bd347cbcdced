"""Photographs of targets and of flat light: any picture that OpenCV decodes whole, as one grey channel."""

from pathlib import Path

import cv2
import numpy as np

from vision.calibrate.corners import Pixels
from vision.errors import Unusable

_JPEG_START, _JPEG_END = b"\xff\xd8", b"\xff\xd9"


def read_photograph(path: Path) -> Pixels:
    """Pixels (rows, columns), uint8 or uint16.

    Parameters
    ----------
    path
        A picture of 8 or 16 bits, PNG, TIFF or JPEG.

    Returns
    -------
    Pixels
        Grey values.

    Raises
    ------
    Unusable
        Absent, cut off, or no picture of 8 or 16 bits.
    """
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise Unusable(path, "", "a picture that can be read", fault.strerror or str(fault)) from None
    # A JPEG that was cut off decodes to a partial picture without a word.
    if data.startswith(_JPEG_START) and _JPEG_END not in data[-64:]:
        raise Unusable(path, "", "a whole picture expected; copy it again", "a file that ends too soon")
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED) if data else None
    except cv2.error:
        decoded = None
    if decoded is None or decoded.dtype not in (np.uint8, np.uint16):
        raise Unusable(
            path, "", "a picture of 8 or 16 bits a pixel (PNG, TIFF or JPEG) expected", "none that can be decoded whole"
        )
    if decoded.ndim == 3 and decoded.shape[2] > 1:
        decoded = cv2.cvtColor(decoded, cv2.COLOR_BGRA2GRAY if decoded.shape[2] == 4 else cv2.COLOR_BGR2GRAY)
    return np.ascontiguousarray(decoded.reshape(decoded.shape[:2]))
