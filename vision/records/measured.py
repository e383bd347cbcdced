"""What was measured on a tray, before any limit is known."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import hypot
from typing import Literal

from vision.records.corrections import Correction
from vision.records.face_marks import Pair, Pit, Scratch, Speck
from vision.records.inputs import Array

EdgeKind = Literal["burr", "nick", "swell", "hollow"]
TrayKind = Literal[
    "touching",
    "cut_off",
    "foreign",
    "unlike",
    "face_down",
    "exposure",
    "focus",
    "response",
    "scale",
    "calibration",
    "stopped",
    "light",
    "moved",
    "missing_light",
    "wrong_light",
    "backlight",
]
Fault = Literal[
    "touching",
    "cut_off",
    "unlike",
    "face_down",
    "outline_hidden",
    "stray",
    "exposure",
    "focus",
    "fit",
    "response",
    "scale",
    "calibration",
    "stopped",
    "moved",
    "missing_light",
    "wrong_light",
]
# Tenths of a cell that were seen: it counts as seen where half of it or more does.
_SEEN_DIGITS = "56789"
# A measure's value: one number, one per zone, or missing. A zone that could not be seen is None inside the mapping.
Value = float | None | Mapping[str, float | None]
# Where measures were taken, drawing mm: by measure, then by zone ("" where a measure has none).
Places = Mapping[str, Mapping[str, tuple[Pair, ...]]]


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a piece lies, as seen in the image.

    `center_px`: where the centroid of the nominal outline lies; `angle_deg`: direction of the drawing's +x there,
    counter-clockwise positive, in (-180, 180]; `fit_rms_mm`: residual of the datum fit.
    """

    center_px: Pair
    angle_deg: float
    fit_rms_mm: float


@dataclass(frozen=True, slots=True)
class EdgeFinding:
    """A burr, nick, swell or hollow; `height_mm` local, `deviation_mm` against the nominal, outward positive."""

    kind: EdgeKind
    zone: str
    center_px: Pair
    center_mm: Pair
    height_mm: float
    deviation_mm: float
    extent_mm: float


@dataclass(frozen=True, slots=True)
class BendFinding:
    """The bend zone turned against its place on the drawing, counter-clockwise positive."""

    zone: str
    bend_deg: float
    kind: Literal["bend"] = "bend"


@dataclass(frozen=True, slots=True)
class Opening:
    """Light through the metal where the drawing has none: a hole, a crack, a slit.

    `area_mm2` is the light's own, however thin; `width_mm` that area over `length_mm`, end to end.
    """

    center_px: Pair
    center_mm: Pair
    area_mm2: float
    width_mm: float
    length_mm: float
    kind: Literal["opening"] = "opening"


@dataclass(frozen=True, slots=True)
class Stray:
    """Something at the rim that is not the piece's own outline.

    `reach_mm`: how far outside the outline it stands; `extent_mm`: how much of the outline it hides; `joins`: no light
    is seen between it and the metal and it is as dark as metal, so that it counts as a burr.
    """

    zone: str
    center_px: Pair
    center_mm: Pair
    reach_mm: float
    extent_mm: float
    area_mm2: float
    joins: bool
    kind: Literal["stray"] = "stray"


@dataclass(frozen=True, slots=True)
class Mark:
    """A departure of the polish that is no scratch, pit or stain; `outline_mm` and `outline_px` go round it."""

    center_px: Pair
    center_mm: Pair
    area_mm2: float
    outline_mm: tuple[Pair, ...]
    outline_px: tuple[Pair, ...]
    kind: Literal["mark"] = "mark"


@dataclass(frozen=True, slots=True)
class Stain:
    """A dried drop, film or smear on the face: no shape of its own; `outline_mm` and `outline_px` go round it."""

    center_px: Pair
    center_mm: Pair
    area_mm2: float
    outline_mm: tuple[Pair, ...]
    outline_px: tuple[Pair, ...]
    kind: Literal["stain"] = "stain"


Finding = EdgeFinding | BendFinding | Scratch | Pit | Speck | Opening | Stray | Mark | Stain


@dataclass(frozen=True, slots=True, eq=False)
class DeviationProfile:
    """Signed deviations along the nominal, for pictures and for a lot's mean; not part of `result.json`.

    All of length n, at even steps of the nominal: `s_mm` from its first vertex; `nominal_mm` (n, 2) drawing;
    `nominal_px` (n, 2) where the nominal lies in the frame as taken; `deviation_mm`, nan where not measured;
    `rim_u_mm`: the bright band's part of its standard uncertainty.
    """

    s_mm: Array
    nominal_mm: Array
    nominal_px: Array
    deviation_mm: Array
    rim_u_mm: Array | None = None


@dataclass(frozen=True, slots=True)
class UncertaintyComponents:
    """Standard uncertainties (k = 1) that make up a measure's own, each in the measure's unit and already weighted.

    `station`: place in the field; `scale`: of a length; `pose`: the registration's; `edge`: photon noise and levels;
    `form`: the edge's curvature put back, and what smoothing leaves; `rim`: the bright band that a round rim shows;
    `flare`, `coma`: of the lens, by the frame; `height`: of the outline, from place to place; `correction`: of a bias.
    """

    station: float = 0.0
    scale: float = 0.0
    pose: float = 0.0
    edge: float = 0.0
    form: float = 0.0
    rim: float = 0.0
    flare: float = 0.0
    coma: float = 0.0
    height: float = 0.0
    correction: float = 0.0

    @property
    def combined(self) -> float:
        """Their root sum of squares: the sources know nothing of each other."""
        return hypot(*[getattr(self, name) for name in self.__slots__])


@dataclass(frozen=True, slots=True)
class SeenMap:
    """What could have been seen of a face: the chance, cell by cell, that each reference mark would have been found.

    Square cells of `cell_mm` from `corner_mm` (drawing: least x, largest y) on, rows downwards. `scratch` has a map for
    each direction of `directions_deg` (counter-clockwise from the drawing's x), `pit` is one map. A map is a string a
    row: the chance in tenths, rounded down, `.` outside the scored area. `seen` is the share of each cell that counts
    as seen, in the same way; empty in results older than it.
    """

    cell_mm: float
    corner_mm: Pair
    directions_deg: tuple[float, ...]
    scratch: tuple[tuple[str, ...], ...]
    pit: tuple[str, ...]
    seen: tuple[str, ...] = ()

    def is_seen(self, center_mm: Pair) -> bool:
        """Whether a place lies where half of its cell or more counts as seen."""
        column = int((center_mm[0] - self.corner_mm[0]) // self.cell_mm)
        row = int((self.corner_mm[1] - center_mm[1]) // self.cell_mm)
        inside = 0 <= row < len(self.seen) and 0 <= column < len(self.seen[row])
        return inside and self.seen[row][column] in _SEEN_DIGITS

    def blind_cells(self) -> list[tuple[int, int]]:
        """Row and column of each cell of the scored area that does not count as seen."""
        return [
            (row, column)
            for row, digits in enumerate(self.seen)
            for column, digit in enumerate(digits)
            if digit != "." and digit not in _SEEN_DIGITS
        ]


@dataclass(frozen=True, slots=True)
class MeasuredPiece:
    """One piece as measured. Counts and densities of surface findings are formed in `decide`, by the counting rules.

    `measures` holds what needs no counting rule (outline, holes, `scored_area_cm2`, `buffing_line_level`);
    `uncertainties` are standard (k = 1) and have the same keys; both are empty for a piece that was not measured.
    `uncertainty_components` say what those of the outline's measures are made of, by zone ("" where a measure has
    none); `places` where they were taken: the extreme, both ends of an extent, ends and middle of a hidden stretch.
    """

    piece: int
    fault: Fault | None
    pose: Pose | None
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]
    findings: tuple[Finding, ...] = ()
    profile: DeviationProfile | None = None
    uncertainty_components: Mapping[str, Mapping[str, UncertaintyComponents]] = field(default_factory=dict)
    seen: SeenMap | None = None
    places: Places = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TrayFinding:
    """Something said of the tray rather than of a piece; `area_mm2` of what was cut off, not kept in files."""

    kind: TrayKind
    center_px: Pair | None
    detail: str
    area_mm2: float | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class MeasuredTray:
    """All pieces of a tray in reading order, what is said of the tray, and what was taken out of all measures."""

    pieces: tuple[MeasuredPiece, ...]
    findings: tuple[TrayFinding, ...] = ()
    correction: Correction | None = None
