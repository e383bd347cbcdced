"""Known scratches and pits planted into a station's own clean frames, and whether the scoring finds them.

A mark multiplies the frame's level, so that the frame's own noise, finish and reflections stay as they are. Its shape
is blurred as the frame's own edges are. What it does under each light is a simple model: a groove scatters across its
own direction, so that a low light shows it by the square of the sine between the light and the groove; a pit shows
under every low light; both fade towards the light's own reflection, where the finish is bright itself. The dome shows
them darker, far more weakly. Real marks glint and vary along their length.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point, union_all
from shapely.geometry.base import BaseGeometry

from vision.backlight import Backlight
from vision.face import FaceInputs, edge_blur_px, score_face, scored_shape
from vision.formats import shipped_judge
from vision.records import Array, Finding, Pair, Picture, Pit, Scratch, TrayPictures

Kind = Literal["scratch", "pit"]
Found = Sequence[Finding]

# A scratch counts as found when half its length or more is covered within so much, a pit within so much or half its
# diameter.
SCRATCH_REACH_MM, PIT_REACH_MM = 0.4, 0.3
COVERED = 0.5
# Contrast in the dome of a mark that has unit contrast under a low light straight across it, and the share of full
# scale over which the latter falls by a factor e: of path-traced marks and our own (docs/benchmarks/face.md).
_DOME_SHARE = -0.03
_FADE = 0.5
# The level about a mark is read with a blur of so much, wider than most marks are (mm).
_LEVEL_MM = 0.5
# Planted are marks from about invisible to plain, of the sizes that matter on a spoon; evenly by their logarithms.
CONTRASTS = (0.03, 1.0)
LENGTHS_MM, WIDTH_MM = (0.8, 10.0), 0.08
DIAMETERS_MM = (0.12, 0.6)
# Marks planted at once lie so far apart that none disturbs another.
_APART_MM = 4.0
_TRIES = 60
_SUPER = 4  # subpixels a side in which a mark is drawn


@dataclass(frozen=True, slots=True)
class Planted:
    """A planted mark: its line or centre (drawing mm), length or diameter, contrast, whether it was found, and a
    scratch's width.
    """

    kind: Kind
    points_mm: tuple[tuple[float, float], ...]
    size_mm: float
    contrast: float
    found: bool = False
    width_mm: float = WIDTH_MM


@dataclass(frozen=True, slots=True, eq=False)
class Sown:
    """A piece with marks planted into it: the view with its changed frames, and the marks, told found or not."""

    inputs: FaceInputs
    marks: tuple[Planted, ...]


def false_findings(inputs_of_all: Sequence[FaceInputs]) -> list[int]:
    """How many scratches and pits are reported on each piece as it came: of clean ones all are false.

    Parameters
    ----------
    inputs_of_all
        What is known of each piece's face.

    Returns
    -------
    list[int]
        A number for each piece.
    """
    return [
        sum(isinstance(one, Scratch | Pit) and one.likely for one in score_face(inputs, shipped_judge()).findings)
        for inputs in inputs_of_all
    ]


def sow(inputs: FaceInputs, count: int, rng: np.random.Generator) -> Sown:
    """Plant up to `count` marks, scratches and pits in turn, score the face, and tell which were found.

    Parameters
    ----------
    inputs
        What is known of the piece's face.
    count
        How many marks at most.
    rng
        Where marks lie and how large they are.

    Returns
    -------
    Sown
        The frames with the marks, and each mark, found or not.
    """
    marks = _places(inputs, count, rng)
    pictures = inputs.pictures
    blur = edge_blur_px(inputs)
    lit = TrayPictures(
        pictures.back,
        None if pictures.dome is None else plant(pictures.dome, marks, inputs, blur),
        tuple(plant(low, marks, inputs, blur) for low in pictures.low),
    )
    changed = replace(inputs, pictures=lit)
    findings = score_face(changed, shipped_judge()).findings
    return Sown(changed, tuple(replace(mark, found=is_found(mark, findings)) for mark in marks))


def _places(inputs: FaceInputs, count: int, rng: np.random.Generator) -> tuple[Planted, ...]:
    """Marks at random places inside the scored area, apart from each other."""
    assert inputs.part.surface is not None
    area = scored_shape(inputs.part, inputs.part.surface)
    marks: list[Planted] = []
    taken: list[LineString | Point] = []
    for number in range(count):
        kind: Kind = "scratch" if number % 2 == 0 else "pit"
        size = _evenly(LENGTHS_MM if kind == "scratch" else DIAMETERS_MM, rng)
        places = free_place(area, kind, size, taken, rng)
        if places is not None:
            marks.append(Planted(kind, places, size, _evenly(CONTRASTS, rng)))
    return tuple(marks)


def free_place(
    area: BaseGeometry, kind: Kind, size_mm: float, taken: list[LineString | Point], rng: np.random.Generator
) -> tuple[tuple[float, float], ...] | None:
    """A random place (drawing mm) for a mark in an area, apart from those `taken`, to which it is added; None where
    none was found.
    """
    left, low, right, high = area.bounds
    for _ in range(_TRIES):
        center = np.array([rng.uniform(left, right), rng.uniform(low, high)])
        points = center[None]
        if kind == "scratch":
            turn = rng.uniform(0.0, np.pi)
            along = 0.5 * size_mm * np.array([np.cos(turn), np.sin(turn)])
            points = np.stack((center - along, center + along))
        shape = LineString(points) if kind == "scratch" else Point(center)
        if area.contains(shape) and all(shape.distance(other) > _APART_MM for other in taken):
            taken.append(shape)
            return tuple((float(x), float(y)) for x, y in points)
    return None


def _evenly(ends: tuple[float, float], rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(ends))))


def plant(picture: Picture, marks: Sequence[Planted], inputs: FaceInputs, blur_px: float) -> Picture:
    """A frame with marks planted into it; `blur_px` is the sigma of its optics."""
    pixels = picture.pixels.astype(np.float32)
    for mark in marks:
        gain = _gain(picture, mark, inputs) * mark.contrast
        if gain == 0.0:
            continue
        points = inputs.to_px(np.asarray(mark.points_mm))
        width_px = (mark.width_mm if mark.kind == "scratch" else mark.size_mm) / inputs.mm_per_px
        towards = _towards(picture, inputs) if mark.kind == "pit" and picture.light == "low" else None
        corner, shape = _shape(points, width_px, blur_px, towards)
        rows, columns = shape.shape
        v0, u0 = max(corner[1], 0), max(corner[0], 0)
        v1, u1 = min(corner[1] + rows, pixels.shape[0]), min(corner[0] + columns, pixels.shape[1])
        patch = shape[v0 - corner[1] : v1 - corner[1], u0 - corner[0] : u1 - corner[0]]
        window = pixels[v0:v1, u0:u1]
        if picture.light == "low":
            level = cv2.GaussianBlur(window, (0, 0), _LEVEL_MM / inputs.mm_per_px)
            patch = patch * np.exp(level / np.float32(-_FADE * picture.full_scale))
        window *= 1.0 + gain * patch
    return _counted(picture, pixels)


def _counted(picture: Picture, pixels: NDArray[np.float32]) -> Picture:
    """A frame of other levels, rounded to its own counts."""
    top = min(picture.full_scale, float(np.iinfo(picture.pixels.dtype).max))
    counts = np.clip(np.rint(pixels), 0.0, top)
    if picture.pixels.dtype == np.uint8:
        return replace(picture, pixels=counts.astype(np.uint8))
    return replace(picture, pixels=counts.astype(np.uint16))


def _gain(picture: Picture, mark: Planted, inputs: FaceInputs) -> float:
    """What of a mark's contrast a light shows; below 0 it is darker than around it."""
    if picture.light == "dome":
        return _DOME_SHARE
    if mark.kind == "pit":
        return 1.0
    ends = inputs.to_px(np.asarray(mark.points_mm))
    along = ends[1] - ends[0]
    direction = float(np.degrees(np.arctan2(-along[1], along[0])))
    light = (picture.azimuth_deg or 0.0) + inputs.tray_turn_deg
    return float(np.sin(np.radians(direction - light)) ** 2)


def _towards(picture: Picture, inputs: FaceInputs) -> Pair:
    """The way (right, down) towards a low light in the image, of unit length."""
    light = np.radians((picture.azimuth_deg or 0.0) + inputs.tray_turn_deg)
    return float(np.cos(light)), float(-np.sin(light))


def pierce(picture: Picture, light: Backlight, points_px: Array, width_px: float, blur_px: float) -> Picture:
    """A backlit frame with a slit through the metal, along points (2, 2)."""
    corner, shape = _shape(points_px, width_px, blur_px)
    rows, columns = shape.shape
    at = np.s_[corner[1] : corner[1] + rows, corner[0] : corner[0] + columns]
    bright = float(light.at(points_px.mean(axis=0)[None])[0][0])
    pixels = picture.pixels.astype(np.float32)
    pixels[at] += shape * (bright - pixels[at])
    return _counted(picture, pixels)


def _shape(
    points_px: Array, width_px: float, blur_px: float, towards: Pair | None = None
) -> tuple[tuple[int, int], NDArray[np.float32]]:
    """A disc or a line of round ends, exact to a sub-pixel, blurred: its corner in the frame and its cover, 0 to 1.

    A hollow shines on the side away from the light, which lies `towards` (a unit vector): from nothing at one end of
    its width to twice the mean at the other.
    """
    margin = 3.0 * blur_px + width_px + 2.0
    low = np.floor(points_px.min(axis=0) - margin).astype(int)
    high = np.ceil(points_px.max(axis=0) + margin).astype(int) + 1
    columns, rows = high - low
    step = (np.arange(_SUPER) + 0.5) / _SUPER - 0.5
    x = (np.arange(columns)[:, None] + step).ravel() + low[0]
    y = (np.arange(rows)[:, None] + step).ravel() + low[1]
    first, last = points_px[0], points_px[-1]
    along = last - first
    length2 = max(float(along @ along), 1e-12)
    dx, dy = x[None, :] - first[0], y[:, None] - first[1]
    t = np.clip((dx * along[0] + dy * along[1]) / length2, 0.0, 1.0)
    inside = np.hypot(dx - t * along[0], dy - t * along[1]) <= 0.5 * width_px
    shines = inside.astype(np.float32)
    if towards is not None:
        shines *= 1.0 - (dx * towards[0] + dy * towards[1]) / (0.5 * width_px)
    cover = cv2.resize(shines.astype(np.float32), (int(columns), int(rows)), interpolation=cv2.INTER_AREA)
    return (int(low[0]), int(low[1])), np.asarray(cv2.GaussianBlur(cover, (0, 0), max(blur_px, 0.2)), np.float32)


def is_found(mark: Planted, findings: Found) -> bool:
    """Whether any finding stands for a mark."""
    if mark.kind == "pit":
        reach = max(PIT_REACH_MM, mark.size_mm / 2)
        center = Point(mark.points_mm[0])
        return any(
            isinstance(one, Pit) and one.likely and center.distance(Point(one.center_mm)) <= reach for one in findings
        )
    line = LineString(mark.points_mm)
    near = [
        LineString(one.points_mm).buffer(SCRATCH_REACH_MM)
        for one in findings
        if isinstance(one, Scratch) and one.likely
    ]
    return bool(near) and line.intersection(union_all(near)).length >= COVERED * line.length
