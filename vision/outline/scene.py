"""What is needed to look at a region of the backlit frame."""

from dataclasses import dataclass

import numpy as np

from vision.backlight import Backlight, model_backlight
from vision.geometry import CameraMapping
from vision.outline.nominal import Nominal, prepare_nominal
from vision.records import Part, Picture, Station

# The nominal is resampled at the pixel's size rounded to so many decimals (mm), so that stations alike share one.
_STEP_DECIMALS = 4


@dataclass(frozen=True, slots=True, eq=False)
class BacklitScene:
    """The backlit frame, its levels, the nominal, and the camera's view; `mm_per_px` at the frame's middle."""

    back: Picture
    light: Backlight
    nominal: Nominal
    camera: CameraMapping
    mm_per_px: float


def see_scene(back: Picture, part: Part, station: Station) -> BacklitScene:
    """Make ready what every step from the backlit frame to measured pieces looks at.

    Parameters
    ----------
    back
        The backlit frame, (rows, columns), silhouettes dark.
    part
        The drawing that pieces are laid on.
    station
        The camera that took the frame.

    Returns
    -------
    BacklitScene
        The frame with its light, the camera, and the drawing at the pixel's own step.

    Raises
    ------
    NoBacklight
        Where the frame shows no usable light.
    """
    light = model_backlight(back)
    camera = CameraMapping(station, part.edge_height_mm)
    rows, columns = back.pixels.shape
    scale = camera.mm_per_px(np.array([columns / 2, rows / 2]))
    return BacklitScene(back, light, prepare_nominal(part, round(scale, _STEP_DECIMALS)), camera, scale)
