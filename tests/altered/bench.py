"""Altered trays: what was changed on a good tray, and whether a piece that it concerns still passes.

An alteration is a function of a tray, a strength and chance. It gives what is then inspected, and which of the tray's
pieces are bad now, or not properly seen: none of those may pass. Where a frame as a whole is altered a piece may still
be measured rightly: there only pieces count that pass although a limited measure is off by more than three of its
standard uncertainties.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from synthetic_images.faces.frames import front_light, prepare, standard_lights
from synthetic_images.outlines.defects import Defects
from synthetic_images.outlines.families import (
    FINE_MM_PER_PX,
    back_frame,
    fine_size_px,
    random_face,
    scene,
    size_mm,
)
from synthetic_images.outlines.layout import rows, scattered_dirt
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.view import plain_view
from synthetic_images.sensor import Sensor, exposed
from synthetic_images.spoons import PATTERNS, Pattern
from synthetic_images.trays.shots import COUNT, STATION, outline_limits, surface_limits
from synthetic_images.trays.write import write_limits, write_part, write_station
from vision.errors import Unusable
from vision.formats import read_frames, read_limits, read_part, read_shot, read_station
from vision.pipeline import inspect_tray
from vision.records import (
    Array,
    JudgedPiece,
    Lights,
    Limits,
    MeasuredPiece,
    Part,
    Picture,
    Station,
    TrayPictures,
    Value,
)

# A measure that is off by more than this many standard uncertainties, and more than so much (mm), misleads.
_MISLED_U, _MISLED_LEAST = 3.0, 0.03
_SAME_PIECE_PX = 60.0
OUTSIDE = Path(__file__).parents[2] / ".." / "shared" / "trays"


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What an inspection is given."""

    pictures: TrayPictures
    part: Part
    station: Station
    limits: Limits

    def with_back(self, pixels: Array) -> "Shown":
        """The same with another backlit frame, rounded and cut to the frame's own counts."""
        back = self.pictures.back
        counts = np.clip(np.rint(pixels), 0, back.full_scale).astype(back.pixels.dtype)
        return replace(self, pictures=replace(self.pictures, back=replace(back, pixels=counts)))


@dataclass(frozen=True, slots=True, eq=False)
class Tray:
    """A tray of good pieces: how it was judged as it came."""

    name: str
    shown: Shown
    measured: tuple[MeasuredPiece, ...]
    judged: tuple[JudgedPiece, ...]

    @property
    def good(self) -> tuple[int, ...]:
        """Indices of the pieces that pass as they came."""
        return tuple(k for k, one in enumerate(self.judged) if one.verdict == "pass")


@dataclass(frozen=True, slots=True, eq=False)
class Altered:
    """What is inspected, and the indices of the pieces that must not pass; None: none that is measured wrongly."""

    shown: Shown
    concerned: tuple[int, ...] | None


@dataclass(frozen=True, slots=True, eq=False)
class Alteration:
    """A way to alter a tray, at several strengths; `alter` gives None where a tray can't be altered so."""

    name: str
    strengths: tuple[float, ...]
    alter: Callable[[Tray, float, np.random.Generator], Altered | None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How many pieces were concerned and how many of them passed."""

    concerned: int
    passed: int


def tray_as_it_came(name: str, shown: Shown) -> Tray:
    """Inspect a tray before anything is altered."""
    measured, judged = inspect_tray(shown.pictures, shown.part, shown.station, shown.limits)
    return Tray(name, shown, measured.pieces, judged)


@lru_cache(maxsize=16)
def own_face_tray(seed: int, marked: bool, dirty: bool = False, part: str = "TS-135", depth: float = 1.0) -> Tray:
    """One own piece under all lights: clean, or with plain scratches and pits; `dirty`: drops, smears and dust too.

    `depth`: of the bowl, of the pattern's; below 0 it is a crown, as of a piece on its face.
    """
    pattern = PATTERNS[part]
    shaped = pattern if depth == 1.0 else replace(pattern, bowl_depth_mm=depth * pattern.bowl_depth_mm)
    rng = np.random.default_rng([seed, marked, dirty])
    made = scene("faces", shaped, rng, 1)
    faces = [random_face(piece, rng, share=1.0 if marked else 0.0) for piece in made.pieces]
    if not dirty:
        faces = [replace(face, disturbers=()) for face in faces]
    back = Picture("back", None, back_frame(made, rng), float(made.sensor.top), "back.png")
    lit = [prepare(made, face, rng) for face in faces]
    front = []
    for lamp in standard_lights():
        pixels = exposed(front_light(made, lit, lamp)[0], made.sensor, rng)
        azimuth = lamp.azimuth_deg if lamp.light == "low" else None
        name = "dome.png" if azimuth is None else f"low-{azimuth:03.0f}.png"
        front.append(Picture(lamp.light, azimuth, pixels, float(made.sensor.top), name))
    part_, station, limits = files_of(pattern, made, surface=True)
    station = replace(station, lights=Lights(True, tuple(one.azimuth_deg or 0.0 for one in front[1:])))
    shown = Shown(TrayPictures(back, front[0], tuple(front[1:])), part_, station, limits)
    return tray_as_it_came(f"own face {seed}", shown)


@lru_cache(maxsize=64)
def own_tray(seed: int, pieces: int = 1, part: str = "TS-135", noisy: bool = False, grains: int = 0) -> Tray:
    """A rendered backlit tray of good pieces, `grains` of dust strewn over it."""
    pattern = PATTERNS[part]
    rng = np.random.default_rng([seed, pieces, noisy, grains])
    view = plain_view(fine_size_px(pattern, pieces), FINE_MM_PER_PX)
    size = size_mm(view)
    made = Scene(pattern, view, rows(pattern, size, [Defects()] * pieces, rng))
    if noisy:
        made = replace(made, sensor=Sensor(2500.0, 10.0), psf_px=0.9)
    if grains:
        made = replace(made, dirt=scattered_dirt(size, grains, 0, rng))
    back = Picture("back", None, back_frame(made, rng), float(made.sensor.top), "back.png")
    part_, station, limits = files_of(pattern, made)
    return tray_as_it_came(f"own {seed}", Shown(TrayPictures(back), part_, station, limits))


def files_of(pattern: Pattern, made: Scene, surface: bool = False) -> tuple[Part, Station, Limits]:
    """Part, station and limits of a rendered tray, by way of their files."""
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_part(folder, pattern, made.edge_height_mm)
        write_station(folder / "station.toml", STATION, made.view, made.sensor)
        rows_ = outline_limits(pattern) + (surface_limits() if surface else [])
        write_limits(folder / "limits.toml", pattern.part, rows_, COUNT if surface else {})
        part = read_part(folder / "part.toml")
        return part, read_station(folder / "station.toml"), read_limits(folder / "limits.toml", part)


def shared_trays(family: str, most: int = 100) -> list[Tray]:
    """The first trays of a family that lies beside the project; none where it is absent."""
    folder = OUTSIDE / family
    if not folder.exists():
        return []
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    limits = read_limits(folder / "limits.toml", part)
    return [
        tray_as_it_came(path.parent.name, Shown(read_frames(read_shot(path.parent), station), part, station, limits))
        for path in sorted(folder.glob("*/shot.json"))[:most]
    ]


def outcome(tray: Tray, altered: Altered) -> Outcome:
    """Inspect an altered tray and count the pieces that pass and must not."""
    shown = altered.shown
    try:
        measured, judged = inspect_tray(shown.pictures, shown.part, shown.station, shown.limits)
    except Unusable:
        return Outcome(len(tray.judged if altered.concerned is None else altered.concerned), 0)
    pairs = list(zip(measured.pieces, judged, strict=True))
    if altered.concerned is None:
        passed = [one for one in pairs if one[1].verdict == "pass"]
        return Outcome(len(tray.judged), sum(_is_misled(one, tray) for one, _ in passed))
    if len(altered.concerned) == len(tray.judged):
        return Outcome(len(altered.concerned), sum(one.verdict == "pass" for one in judged))
    centers = [_center(tray.measured[k]) for k in altered.concerned]
    passed_there = sum(
        any(two.verdict == "pass" and _center(one) is not None and _near(_center(one), at) for one, two in pairs)
        for at in centers
    )
    return Outcome(len(altered.concerned), passed_there)


def _center(piece: MeasuredPiece) -> Array | None:
    return None if piece.pose is None else np.asarray(piece.pose.center_px)


def _near(one: Array | None, other: Array | None) -> bool:
    return one is not None and other is not None and bool(np.hypot(*(one - other)) < _SAME_PIECE_PX)


def _is_misled(piece: MeasuredPiece, tray: Tray) -> bool:
    """Whether a piece is measured otherwise than before, or is none that was there before."""
    before = [one for one in tray.measured if _near(_center(one), _center(piece))]
    if not before:
        return True
    limited = {limit.measure for limit in tray.shown.limits.limits}
    for name in limited:
        was, now, doubt = (
            _flat(one)
            for one in (before[0].measures.get(name), piece.measures.get(name), piece.uncertainties.get(name))
        )
        for zone, value in now.items():
            known = was.get(zone)
            if value is None or known is None:
                continue
            if abs(value - known) > max(_MISLED_U * (doubt.get(zone) or 0.0), _MISLED_LEAST):
                return True
    return False


def _flat(value: Value) -> Mapping[str, float | None]:
    return value if isinstance(value, Mapping) else {"": value}


def tried(alteration: Alteration, tray: Tray, strength: float, seed: int) -> Outcome | None:
    """One alteration of one tray at one strength; None where the tray can't be altered so."""
    rng = np.random.default_rng([seed, *alteration.name.encode()])
    altered = alteration.alter(tray, strength, rng)
    return None if altered is None else outcome(tray, altered)
