"""A mark as each light shows it, side by side."""

import cv2
import numpy as np

from app.report.sheet import jpeg_text
from app.report.upright import as_grey
from vision.records import Array, TrayPictures

# Half the side that is shown (image px), and how often each pixel is repeated.
_HALF_PX, _TIMES = 60, 2
_MOST_LIGHTS = 4


def mark_picture(pictures: TrayPictures, at_px: Array) -> str:
    """Show one place under the low lights, else in the dome, each stretched to its own brightness.

    Parameters
    ----------
    pictures
        Frames of the shot.
    at_px
        (2,) the place, image px.

    Returns
    -------
    str
        A JPEG as base64 text.
    """
    u, v = np.rint(at_px).astype(int)
    side = 2 * _HALF_PX * _TIMES
    crops = []
    for picture in pictures.low or (pictures.dome or pictures.back,):
        grey = as_grey(picture)[max(v - _HALF_PX, 0) : v + _HALF_PX, max(u - _HALF_PX, 0) : u + _HALF_PX]
        low, high = np.percentile(grey, (1, 99.5)) if grey.size else (0.0, 1.0)
        shown = np.clip((grey.astype(np.float32) - low) * (255.0 / max(high - low, 8.0)), 0, 255).astype(np.uint8)
        crops.append(cv2.resize(shown, (side, side), interpolation=cv2.INTER_NEAREST))
    strip = np.hstack(crops[:_MOST_LIGHTS])
    return jpeg_text(np.asarray(cv2.cvtColor(strip, cv2.COLOR_GRAY2BGR), np.uint8))
