"""A demo lot of the invented Aldermoor Flatware Works: teaspoons and dessert spoons from four dies, on trays.

Most pieces are good. Dies wear: each stroke lets the outline grow a little. One tray is crowded: two spoons touch, one
is another's, one is cut off by the frame, and a washer and a strip lie between them. The last trays were also lit from
the front, to show the polished bowls.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from synthetic_images.demo_station import render_pictures, render_reference
from synthetic_images.faces.frames import standard_lights
from synthetic_images.outlines.defects import Defects
from synthetic_images.outlines.families import FINE_MM_PER_PX, fine_size_px, random_defects, random_face, size_mm
from synthetic_images.outlines.layout import crowd, rows, scattered_dirt
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.view import View, plain_view
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, Pattern
from synthetic_images.trays.history import DieCourse, History, render_history
from synthetic_images.trays.shots import COUNT, outline_limits, surface_limits, write_back_shot, write_face_shot
from synthetic_images.trays.write import ShotName, write_limits, write_part, write_station
from vision.errors import Unusable

# Station ST-1 sees a whole tray of 189 x 140 mm; ST-2 one spoon more closely, with lights in front.
_TRAY_VIEW = plain_view((2700, 2000), 0.07)
_LOW_DEG = tuple(light.azimuth_deg for light in standard_lights() if light.light == "low")
_FACE_VIEW = plain_view(fine_size_px(TEASPOON, 1), FINE_MM_PER_PX)
# Growth of an outline by die wear, and how unevenly pieces of one die come out: invented, within the limits to the end.
_GROWTH_MM_PER_STROKE, _GROWTH_SPREAD_MM = 4.5e-7, 0.004
_STROKES = {"D1": 21400, "D2": 96800, "D3": 61200, "D4": 182400}
_STROKES_PER_TRAY = 240
_FLAWED_SHARE, _MARKED_SHARE = 0.2, 0.5
_FIRST_SHOT = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)
_FEWEST = 3
# Two dies followed on a station of one piece: one wears, one is ground anew half way.
_DIES = (DieCourse("D5", 3e-7), DieCourse("D6", 4e-7, regrind_at=200_000.0))
_DIE_TRAYS, _DIE_STROKES, _SHIFTS = 10, 400_000.0, 2


@dataclass(frozen=True, slots=True)
class DemoLine:
    """What one call of the judging command needs: the folder of tray shots and the three files that belong to them."""

    part: str
    shots: Path
    part_file: Path
    station_file: Path
    limits_file: Path


@dataclass(frozen=True, slots=True)
class DemoWorks:
    """All lines of the demo lot: teaspoons, dessert spoons, teaspoons lit from the front, and two dies followed.

    Folders: `clean`, faces without a mark, for planting; `pictures`, of a target, a lamp and an edge; `reference`,
    shots of the reference piece, its values beside them.
    """

    folder: Path
    lines: tuple[DemoLine, ...]
    clean: Path
    pictures: Path
    reference: Path


@dataclass(frozen=True, slots=True)
class _Batch:
    """Trays of one part from one lot and die."""

    pattern: Pattern
    lot: str
    die: str


def render_demo(
    folder: Path, trays: int = 12, seed: int = 2611, rendered: Callable[[], object] = lambda: None
) -> DemoWorks:
    """Render the demo lot.

    Parameters
    ----------
    folder
        Written to: in `shots` one folder a line, each with `part.toml`, `outline.dxf`, `station.toml`, `limits.toml`
        and one folder a tray in `shots`.
    trays
        Tray shots in all, three or more: a sixth of them front-lit, a third with dessert spoons, one crowded.
    seed
        The same seed gives the same frames and truth.
    rendered
        Called after each of `demo_steps(trays)` pieces of work.

    Returns
    -------
    DemoWorks
        The folder, and what each line of it holds.

    Raises
    ------
    Unusable
        For fewer than three trays.
    """
    if trays < _FEWEST:
        raise Unusable("the demo lot", "trays", f"{_FEWEST} or more, one a line", str(trays))
    faces, dessert = max(1, trays // 6), max(1, trays // 3)
    teaspoons = trays - faces - dessert
    lines: tuple[DemoLine, ...] = (
        _line(folder / "shots" / "teaspoons", TEASPOON, _TRAY_VIEW, "ST-1"),
        _line(folder / "shots" / "dessert-spoons", DESSERT_SPOON, _TRAY_VIEW, "ST-1"),
        _line(folder / "shots" / "teaspoon-faces", TEASPOON, _FACE_VIEW, "ST-2"),
    )
    batches = [_Batch(TEASPOON, "L-2611-01", "D1"), _Batch(TEASPOON, "L-2611-02", "D4")]
    dessert_batches = [_Batch(DESSERT_SPOON, "L-2611-03", "D2"), _Batch(DESSERT_SPOON, "L-2611-04", "D3")]
    number = 0
    for index in range(teaspoons):
        number += 1
        batch = batches[2 * index // teaspoons]
        _back_tray(lines[0], batch, number, crowded=index == teaspoons - 1, rng=np.random.default_rng([seed, number]))
        rendered()
    for index in range(dessert):
        number += 1
        batch = dessert_batches[2 * index // dessert]
        _back_tray(lines[1], batch, number, crowded=False, rng=np.random.default_rng([seed, number]))
        rendered()
    for index in range(faces):
        number += 1
        # The first face always carries marks, so that a small demo shows some.
        share = 1.0 if index == 0 else _MARKED_SHARE
        batch = _Batch(TEASPOON, "L-2611-05", "D1")
        _face_tray(lines[2], batch, number, share, np.random.default_rng([seed, number]))
        rendered()
    clean = replace(lines[2], shots=folder / "clean-faces")
    _face_tray(clean, _Batch(TEASPOON, "CLEAN", "D1"), number + 1, 0.0, np.random.default_rng([seed, number + 1]))
    rendered()
    rng = np.random.default_rng([seed, number + 2])
    render_pictures(folder / "pictures", _TRAY_VIEW, rng)
    rendered()
    render_reference(folder / "reference", TEASPOON, _TRAY_VIEW, _SHIFTS, rng)
    rendered()
    dies = folder / "shots" / "dies"
    for _ in render_history(dies, History(TEASPOON, _DIES, _DIE_TRAYS, _DIE_STROKES, 1, station="ST-3")):
        rendered()
    files = (dies / name for name in ("part.toml", "station.toml", "limits.toml"))
    lines = (*lines[:2], DemoLine(TEASPOON.part, dies / "shots", *files), lines[2])
    return DemoWorks(folder, lines, clean.shots, folder / "pictures", folder / "reference")


def demo_steps(trays: int) -> int:
    """How many pieces of work a demo of so many trays is rendered in.

    Parameters
    ----------
    trays
        Tray shots in all.

    Returns
    -------
    int
        A number for a progress bar.
    """
    return trays + 3 + len(_DIES) * _DIE_TRAYS


def _line(folder: Path, pattern: Pattern, view: View, station: str) -> DemoLine:
    shots = folder / "shots"
    shots.mkdir(parents=True, exist_ok=True)
    part = write_part(folder, pattern)
    lit = station == "ST-2"
    limits = outline_limits(pattern) + (surface_limits() if lit else [])
    return DemoLine(
        pattern.part,
        shots,
        part,
        write_station(
            folder / "station.toml", station, view, Scene(pattern, view, ()).sensor, low_deg=_LOW_DEG if lit else ()
        ),
        write_limits(folder / "limits.toml", pattern.part, limits, COUNT if lit else {}),
    )


def _name(batch: _Batch, number: int, station: str) -> ShotName:
    return ShotName(
        tray=f"T-{number:06d}",
        lot=batch.lot,
        part=batch.pattern.part,
        station=station,
        taken_at=(_FIRST_SHOT + timedelta(minutes=4 * number)).isoformat(),
        process={"die": batch.die, "strokes": _strokes(batch, number)},
    )


def _strokes(batch: _Batch, number: int) -> int:
    return _STROKES[batch.die] + number * _STROKES_PER_TRAY


def _grown(batch: _Batch, number: int, rng: np.random.Generator) -> Defects:
    """A piece of this die: now and then flawed, and grown by the die's wear."""
    growth = _strokes(batch, number) * _GROWTH_MM_PER_STROKE + rng.normal(0.0, _GROWTH_SPREAD_MM)
    flawed = rng.random() < _FLAWED_SHARE
    made = random_defects(batch.pattern, rng) if flawed else Defects()
    return replace(made, growth_mm=float(growth))


def _back_tray(line: DemoLine, batch: _Batch, number: int, *, crowded: bool, rng: np.random.Generator) -> None:
    pieces = 2 if crowded or batch.pattern is DESSERT_SPOON else 3
    defects = [_grown(batch, number, rng) for _ in range(pieces)]
    extent = size_mm(_TRAY_VIEW)
    if crowded:
        lain, things = crowd(batch.pattern, extent, defects, rng)
        tray = Scene(batch.pattern, _TRAY_VIEW, lain, foreign=things, dirt=scattered_dirt(extent, 12, 1, rng))
    else:
        lain = rows(batch.pattern, extent, defects, rng)
        tray = Scene(batch.pattern, _TRAY_VIEW, lain, dirt=scattered_dirt(extent, 2, 0, rng))
    name = _name(batch, number, "ST-1")
    write_back_shot(line.shots / name.tray, name, tray, "png", rng)


def _face_tray(line: DemoLine, batch: _Batch, number: int, marked: float, rng: np.random.Generator) -> None:
    lain = rows(batch.pattern, size_mm(_FACE_VIEW), [replace(_grown(batch, number, rng), bend_deg=0.0)], rng)
    tray = Scene(batch.pattern, _FACE_VIEW, lain)
    name = _name(batch, number, "ST-2")
    faces = [random_face(piece, rng, marked) for piece in lain]
    write_face_shot(line.shots / name.tray, name, tray, faces, "png", rng)
