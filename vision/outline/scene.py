"""What is needed to look at a region of the backlit frame."""

from dataclasses import dataclass

from vision.backlight import Backlight
from vision.geometry import CameraMapping
from vision.outline.nominal import Nominal
from vision.records import Picture


@dataclass(frozen=True, slots=True, eq=False)
class BacklitScene:
    """The backlit frame, its levels, the nominal, and the camera's view."""

    back: Picture
    light: Backlight
    nominal: Nominal
    camera: CameraMapping
    mm_per_px: float
