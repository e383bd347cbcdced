"""Which pixels of the frames belong to the scored face of one piece, on rasters of three pitches."""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon, box

from vision.records import Array, Lights, Part, Surface, TrayPictures

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Pitches of the three rasters, mm: pits are drawn from the fine one, lines from the coarse one, the slow change of
# brightness is fitted on the broad one. A station that sees less than the fine pitch works at its own.
FINE_MM = 0.05
COARSE_MM = 0.1
BROAD_MM = 0.2
# Seen beyond the scored area so that the filters find finish, not an edge, at its border.
MARGIN_MM = 1.2
# Kept clear of the outline and of punched holes: the rim's own edge and its blur.
RIM_MM = 0.4
_SUBPIXEL_BITS = 4


@dataclass(frozen=True, slots=True, eq=False)
class FaceInputs:
    """What the scoring of one piece's face needs to know.

    `to_px` takes drawing mm at the face to image px as taken, `to_mm` back, both (n, 2) to (n, 2); `mm_per_px` is the
    scale at the bowl; `tray_turn_deg` the direction of the tray's +X in the image, counter-clockwise as seen;
    `scale_relative` and `edge_mm` are the standard uncertainties of any length and of the place of the outline;
    `lights` say how bright a face usually is.
    """

    pictures: TrayPictures
    part: Part
    to_px: Callable[[Array], Array]
    to_mm: Callable[[Array], Array]
    mm_per_px: float
    tray_turn_deg: float = 0.0
    scale_relative: float = 0.0
    edge_mm: float = 0.0
    lights: Lights = field(default_factory=Lights)


@dataclass(frozen=True, slots=True)
class Raster:
    """A raster laid over the frames: its pixel (0, 0) covers `step` x `step` image px from `corner_px` on."""

    corner_px: tuple[int, int]
    step: int
    shape: tuple[int, int]

    def from_px(self, points_px: Array) -> Array:
        """Image px to this raster's px: (n, 2) to (n, 2)."""
        return np.asarray((points_px - np.asarray(self.corner_px) - (self.step - 1) / 2) / self.step)

    def to_px(self, points: Array) -> Array:
        """This raster's px to image px: (n, 2) to (n, 2)."""
        return np.asarray(points * self.step + (self.step - 1) / 2 + np.asarray(self.corner_px))

    def coarser(self, times: int) -> "Raster":
        """The raster whose pixels cover `times` x `times` of this one's."""
        return Raster(self.corner_px, self.step * times, (self.shape[0] // times, self.shape[1] // times))

    def cut(self, pixels: NDArray[np.generic]) -> NDArray[np.generic]:
        """The part of a frame under this raster, at the frame's own pitch."""
        u, v = self.corner_px
        return pixels[v : v + self.shape[0] * self.step, u : u + self.shape[1] * self.step]


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """The scored area in the frames: three rasters with one corner, and masks on them.

    `scored` (fine): inside the scored area. `metal` (fine): polished metal clear of the rim and of holes, in which
    filters may look. `area_mm2`: of the scored area on the drawing.
    """

    fine: Raster
    coarse: Raster
    broad: Raster
    scored: Mask
    metal: Mask
    area_mm2: float
    perimeter_mm: float
    mm_per_px: float

    def pitch_mm(self, raster: Raster) -> float:
        """Size of a raster's pixel, mm."""
        return self.mm_per_px * raster.step


def reduce(image: Image, shape: tuple[int, int]) -> Image:
    """Area mean on a coarser raster."""
    if image.shape == shape:
        return image
    return np.asarray(cv2.resize(image, (shape[1], shape[0]), interpolation=cv2.INTER_AREA), np.float32)


def spread(image: Image, shape: tuple[int, int], how: int = cv2.INTER_LINEAR) -> Image:
    """From a coarser raster to a finer one."""
    if image.shape == shape:
        return image
    return np.asarray(cv2.resize(image, (shape[1], shape[0]), interpolation=how), np.float32)


def scored_shape(part: Part, surface: Surface) -> Polygon | MultiPolygon:
    """The scored area on the drawing, mm: the span of x, clear of the outline by the inset, without punched holes.

    Parameters
    ----------
    part
        The drawing with its zones and scored area.
    surface
        Span of drawing x and inset, mm.

    Returns
    -------
    Polygon | MultiPolygon
        One or several polygons, drawing mm.
    """
    low, high = surface.x_mm
    body = Polygon(part.outline)
    reach = float(np.abs(part.outline).max()) + 1.0
    shape = body.buffer(-surface.inset_mm).intersection(box(low, -reach, high, reach))
    for hole in part.holes:
        shape = shape.difference(Polygon(hole))
    return shape


def find_region(inputs: FaceInputs, surface: Surface) -> Region | None:
    """Lay the rasters over the scored area; None where it lies outside the frames or is empty."""
    shape = scored_shape(inputs.part, surface)
    if shape.is_empty:
        return None
    clear = Polygon(inputs.part.outline).buffer(-RIM_MM)
    for hole in inputs.part.holes:
        clear = clear.difference(Polygon(hole).buffer(RIM_MM))
    fine = max(1, round(FINE_MM / inputs.mm_per_px))
    coarse = max(1, round(COARSE_MM / (inputs.mm_per_px * fine)))
    broad = max(1, round(BROAD_MM / (inputs.mm_per_px * fine * coarse)))
    block = fine * coarse * broad
    left, low, right, high = shape.bounds
    corners = np.array([[x, y] for x in np.linspace(left, right, 9) for y in np.linspace(low, high, 9)])
    seen = inputs.to_px(corners)
    margin = MARGIN_MM / inputs.mm_per_px
    height, width = inputs.pictures.back.pixels.shape
    u0, v0 = np.maximum(np.floor(seen.min(axis=0) - margin), 0).astype(int)
    u1, v1 = np.minimum(np.ceil(seen.max(axis=0) + margin), (width, height)).astype(int)
    rows, columns = (int(v1 - v0) // block) * block, (int(u1 - u0) // block) * block
    if rows <= 0 or columns <= 0:
        return None
    raster = Raster((int(u0), int(v0)), fine, (rows // fine, columns // fine))
    return Region(
        fine=raster,
        coarse=raster.coarser(coarse),
        broad=raster.coarser(coarse * broad),
        scored=_fill(shape, inputs, raster),
        metal=_fill(clear, inputs, raster),
        area_mm2=float(shape.area),
        perimeter_mm=float(shape.length),
        mm_per_px=inputs.mm_per_px,
    )


def _fill(shape: Polygon | MultiPolygon, inputs: FaceInputs, raster: Raster) -> Mask:
    """Pixels of the raster whose centres lie inside a shape of the drawing."""
    mask = np.zeros(raster.shape, np.uint8)
    loops = []
    for part in getattr(shape, "geoms", [shape]):
        for ring in (part.exterior, *part.interiors):
            points = raster.from_px(inputs.to_px(np.asarray(ring.coords)[:-1]))
            loops.append(np.round(points * 2**_SUBPIXEL_BITS).astype(np.int32))
    cv2.fillPoly(mask, loops, 1, shift=_SUBPIXEL_BITS)
    return mask.astype(bool)
