"""What is given: a tray shot, a station, a part with its nominal outline, and limits.

Frames of reference: *image* px (u right, v down, (0, 0) the centre of the first pixel); *tray* mm
(X right, Y up); *drawing* mm (x and y as on the part's drawing, y up).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.records.corrections import Correction
from vision.records.judge import LIKELY
from vision.records.marks import MarkRate

Array = NDArray[np.float64]
Light = Literal["back", "dome", "low"]
# How long a calibration holds where its file says nothing: common practice, no source.
VALID_DAYS = 365.0
Severity = Literal["critical", "major", "minor"]
LimitStatus = Literal["draft", "released"]


@dataclass(frozen=True, slots=True)
class FrameFile:
    """One frame of a shot, on disk.

    `azimuth_deg` is the light's direction, counter-clockwise from +X of the tray; None but for `low`. `sha256` is the
    digest that the file must have, None where the shot gives none.
    """

    path: Path
    light: Light
    azimuth_deg: float | None = None
    sha256: str | None = None


@dataclass(frozen=True, slots=True)
class Shot:
    """A tray as photographed once: its identity and its frames' files (not their pixels).

    `lot`, `part` and `station` are None where a folder came without `shot.json`; `taken_at` is ISO 8601 or None.
    `retake` says that it takes the place of an earlier shot of the same tray in the same lot.
    """

    folder: Path
    tray: str
    lot: str | None
    part: str | None
    station: str | None
    taken_at: str | None
    process: Mapping[str, str | float]
    frames: tuple[FrameFile, ...]
    retake: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Pixels of one frame: (rows, columns), uint8 or uint16, one channel.

    `full_scale` is the count that the sensor can't exceed.
    """

    light: Light
    azimuth_deg: float | None
    pixels: NDArray[np.uint8] | NDArray[np.uint16]
    full_scale: float
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class TrayPictures:
    """All frames of a shot, decoded, of one size: the backlit one and the front-lit ones."""

    back: Picture
    dome: Picture | None = None
    low: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """OpenCV's pinhole model: `camera_matrix` (3, 3) in px, `distortion` (4, 5, 8, 12 or 14,)."""

    camera_matrix: Array
    distortion: Array


@dataclass(frozen=True, slots=True)
class Camera:
    """Entrance pupil of a lens that is not telecentric: height above the tray and the point below it (mm)."""

    height_mm: float
    foot_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class LightLimits:
    """What a station's backlight and sharpness may be on every shot; None where there is no limit.

    `level_min`, `level_max`: median of the empty tray; `full_max`: share of pixels at full scale; levels are shares of
    full scale. `darkest_min`: the light's darkest part as a share of that median. `blur_max_px`: sigma of an edge.
    """

    level_min: float | None = None
    level_max: float | None = None
    full_max: float | None = None
    darkest_min: float | None = None
    blur_max_px: float | None = None


@dataclass(frozen=True, slots=True)
class Lights:
    """The front lights that every shot of a station must have, and how bright faces usually are under them.

    `low_deg`: azimuths of the low lights. `dome_level`, `low_level`: least and most of a face's mean brightness, shares
    of full scale; None: not known.
    """

    dome: bool = False
    low_deg: tuple[float, ...] = ()
    dome_level: tuple[float, float] | None = None
    low_level: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class HalfAngle:
    """Half the angle under which a rim on the tray sees the backlight, and its standard uncertainty (degrees)."""

    half_deg: float
    u_deg: float


@dataclass(frozen=True, slots=True)
class FrameNames:
    """How a station's camera names frames that come without `shot.json`.

    `pattern`: a frame's name, or its folder's and its own with / between, in which {light}, {tray}, {lot} and {counter}
    stand for what differs. `lights`: each text that {light} may be, its light and azimuth; a shot has all of them.
    `tray` makes a tray's name from {tray}, {lot} and {counter}, None: the folder's name. `part` is None where not said.
    """

    pattern: str
    lights: tuple[tuple[str, Light, float | None], ...]
    tray: str | None = None
    part: str | None = None


@dataclass(frozen=True, slots=True)
class RimRadius:
    """Radius of a part's round rim as seen from above, and how far it may lie from it at any one place (k = 1), mm."""

    mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Station:
    """A calibrated camera above a tray.

    `homography` (3, 3) takes undistorted px to tray mm; a plain scale s stands here as diag(s, -s, 1).
    `outline_mm` and `scale_relative` are standard uncertainties (k = 1) of one outline deviation and of any length.
    `calibrated_at` is ISO 8601, None where unknown; the calibration holds for `valid_days`. `backlight` is None where
    nobody knows its extent, `frames` where its frames come with `shot.json`. `corrections`: every revision of every
    part, of each part in order; its last is in force.
    """

    station: str
    homography: Array
    lens: Lens | None
    camera: Camera | None
    outline_mm: float
    scale_relative: float
    full_scale: float | None = None
    light: LightLimits = LightLimits()
    calibrated_at: str | None = None
    valid_days: float = VALID_DAYS
    lights: Lights = Lights()
    backlight: HalfAngle | None = None
    frames: FrameNames | None = None
    corrections: tuple[Correction, ...] = ()


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch of the outline by span of drawing x, `x_mm` = (from, to)."""

    name: str
    x_mm: tuple[float, float]
    datum: bool = False
    bend: bool = False


@dataclass(frozen=True, slots=True)
class Surface:
    """The scored area of the polished face: span of drawing x, kept `inset_mm` clear of the outline."""

    x_mm: tuple[float, float]
    inset_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part's drawing.

    `outline` is the largest closed loop, (n, 2) drawing mm, counter-clockwise, first vertex not repeated, chords within
    0.0001 mm of the curves drawn; `holes` are the loops inside it, counter-clockwise too. `edge_height_u_mm` is how far
    the outline's height may lie from its mean at any one place (k = 1); `rim` None where nobody knows how round it is;
    `left_out`: layers of the drawing that are frozen or off, and so no part of it; `traced_from`: the photograph that
    the outline was traced from, None where it was drawn.
    """

    part: str
    name: str
    outline: Array
    holes: tuple[Array, ...]
    zones: tuple[Zone, ...]
    surface: Surface | None
    edge_height_mm: float = 0.0
    edge_height_u_mm: float = 0.0
    rim: RimRadius | None = None
    left_out: tuple[str, ...] = ()
    traced_from: str | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds on one measure; `zone` None means every zone (or a measure that is not taken per zone)."""

    measure: str
    severity: Severity
    zone: str | None = None
    min: float | None = None
    max: float | None = None


@dataclass(frozen=True, slots=True)
class CountRule:
    """Which surface findings count; the defaults let every finding count that is likelier a mark than none."""

    scratch_min_length_mm: float = 0.0
    scratch_min_snr: float = 0.0
    pit_min_diameter_mm: float = 0.0
    pit_min_snr: float = 0.0
    least_probability: float = LIKELY


@dataclass(frozen=True, slots=True)
class Reference:
    """The marks that a face must have been able to show wherever it counts as seen.

    A contrast is that under a low light straight across the mark, as marks are planted (`app.run.planting`); `found`:
    the chance with which they would have been found.
    """

    scratch_width_mm: float = 0.1
    scratch_length_mm: float = 3.0
    scratch_contrast: float = 3.0
    pit_diameter_mm: float = 0.25
    pit_contrast: float = 3.0
    found: float = 0.9


@dataclass(frozen=True, slots=True)
class Limits:
    """One revision of a part's pass limits; `coverage` is the one-sided probability behind the guard bands.

    `rate`: how many marks the works' faces bear; None where nobody knows: marks not reported are not reckoned then.
    `drawn_from_mm`: how high or deep an outline finding must be for a picture; None: half the narrowest outline limit.
    """

    part: str
    revision: int
    status: LimitStatus
    coverage: float
    limits: tuple[Limit, ...]
    count: CountRule = field(default_factory=CountRule)
    rate: MarkRate | None = None
    reference: Reference = field(default_factory=Reference)
    drawn_from_mm: float | None = None
