"""A challenge: what a station must reject, put before it in a shift's own frames.

Marks are planted into every piece that passes as it came: a slit through the metal, the reference scratch and the
reference pit where the limits ask for scratches or pits. Each kind is judged by itself, by the limits in force, by the
same inspection as every tray.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from shapely import LineString, Point, Polygon

from app.run.planting import Kind, Planted, free_place, pierce, plant
from vision.backlight import model_backlight
from vision.decide import MEASURES
from vision.errors import Unusable
from vision.face import FaceInputs, edge_blur_px, scored_shape
from vision.pipeline import faces_of, inspect_tray
from vision.records import JudgedPiece, Limits, Part, SeenMap, Station, TrayPictures

# A slit of this width and length (mm), so far from the outline: plain to a person who holds the piece to the light.
_SLIT_MM, _SLIT_LENGTH_MM, _CLEAR_MM = 0.1, 3.0, 2.5
# So many marks of a kind on a piece: a single one may lie where the finish hides it.
_MARKS = 3


@dataclass(frozen=True, slots=True)
class Challenged:
    """What was `asked`, of how many `pieces`, and what was `missed`: pieces not rejected, in words."""

    asked: tuple[str, ...]
    pieces: int
    missed: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Good:
    """A piece that passes as it came, and the view of its face."""

    number: int
    view: FaceInputs
    seen: SeenMap | None


def known_bad(pictures: TrayPictures, part: Part, station: Station, limits: Limits) -> Challenged:
    """Judge a shot of known bad pieces: each must be rejected.

    Parameters
    ----------
    pictures
        Frames of the shot.
    part
        The part.
    station
        The station.
    limits
        Limits of the part.

    Returns
    -------
    Challenged
        What was asked, of how many pieces, and those that were not rejected.

    Raises
    ------
    Unusable
        The shot shows no piece.
    """
    _, judged = inspect_tray(pictures, part, station, limits)
    if not judged:
        raise Unusable(pictures.back.name, "", "a shot of known bad pieces", "no piece")
    missed = tuple(f"piece {one.piece}: {one.verdict}" for one in judged if one.verdict != "reject")
    return Challenged(("known bad",), len(judged), missed)


def plant_bad(
    pictures: TrayPictures, part: Part, station: Station, limits: Limits, rng: np.random.Generator
) -> Challenged:
    """Plant what must be rejected into every piece that passes as it came, kind by kind.

    Parameters
    ----------
    pictures
        Frames of the shot.
    part
        The part.
    station
        The station.
    limits
        Limits of the part.
    rng
        Where marks lie and how large they are.

    Returns
    -------
    Challenged
        What was asked, of how many pieces, and those that were not rejected.

    Raises
    ------
    Unusable
        No piece passes as it came, or there is no room for a mark.
    """
    _, judged = inspect_tray(pictures, part, station, limits)
    views = faces_of(pictures, part, station)
    good = [
        _Good(one.piece, views[one.piece], one.seen) for one in judged if one.verdict == "pass" and one.piece in views
    ]
    if not good:
        raise Unusable(pictures.back.name, "", "a shot of which a piece passes as it came", _told(judged))
    asked: list[Literal["slit", "scratch", "pit"]] = ["slit"]
    if pictures.dome is not None or pictures.low:
        named = {kind for limit in limits.limits for kind in MEASURES[limit.measure].kinds}
        asked += [kind for kind in ("scratch", "pit") if kind in named]
    missed: list[str] = []
    for kind in asked:
        shown = pictures
        for piece in good:
            shown = _slit(shown, piece, rng) if kind == "slit" else _marked(shown, piece, kind, limits, rng)
        _, now = inspect_tray(shown, part, station, limits)
        missed += _passed(now, good, kind)
    return Challenged(tuple(asked), len(good), tuple(missed))


def _told(judged: Sequence[JudgedPiece]) -> str:
    return ", ".join(f"piece {one.piece}: {one.verdict}" for one in judged) or "no piece"


def _passed(judged: Sequence[JudgedPiece], good: Sequence[_Good], kind: str) -> Iterator[str]:
    """Of the pieces that bear a mark now, those that are not rejected."""
    verdicts = {one.piece: one.verdict for one in judged}
    for piece in good:
        verdict = verdicts.get(piece.number, "not found")
        if verdict != "reject":
            yield f"piece {piece.number}: {kind}, {verdict}"


def _slit(shown: TrayPictures, piece: _Good, rng: np.random.Generator) -> TrayPictures:
    part, view = piece.view.part, piece.view
    inside = Polygon(part.outline, list(part.holes)).buffer(-_CLEAR_MM)
    ends = None if inside.is_empty else free_place(inside, "scratch", _SLIT_LENGTH_MM, [], rng)
    if ends is None:
        raise Unusable(f"part {part.part}", "", f"room for a slit of {_SLIT_LENGTH_MM:g} mm in the metal", "none")
    width = _SLIT_MM / view.mm_per_px
    light = model_backlight(shown.back)
    return replace(shown, back=pierce(shown.back, light, view.to_px(np.array(ends)), width, edge_blur_px(view)))


def _marked(shown: TrayPictures, piece: _Good, kind: Kind, limits: Limits, rng: np.random.Generator) -> TrayPictures:
    """A piece with reference marks of a kind where its face counts as seen."""
    view, reference = piece.view, limits.reference
    assert view.part.surface is not None
    area = scored_shape(view.part, view.part.surface)
    size = reference.scratch_length_mm if kind == "scratch" else reference.pit_diameter_mm
    contrast = reference.scratch_contrast if kind == "scratch" else reference.pit_contrast
    taken: list[LineString | Point] = []
    marks: list[Planted] = []
    for _ in range(_MARKS):
        ends = free_place(area, kind, size, taken, rng)
        if ends is not None and (piece.seen is None or piece.seen.is_seen(ends[0])):
            marks.append(Planted(kind, ends, size, contrast, width_mm=reference.scratch_width_mm))
    if not marks:
        raise Unusable(f"part {view.part.part}", "surface", "room for a mark where the face is seen", "none")
    blur = edge_blur_px(view)
    return TrayPictures(
        shown.back,
        None if shown.dome is None else plant(shown.dome, marks, view, blur),
        tuple(plant(low, marks, view, blur) for low in shown.low),
    )
