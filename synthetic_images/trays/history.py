"""The history of some dies: trays over many strokes, with wear, a regrind, and a nick that comes back."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from synthetic_images.outlines.defects import Bump, Defects
from synthetic_images.outlines.families import size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.view import View, plain_view
from synthetic_images.spoons import Pattern, outline
from synthetic_images.trays.shots import outline_limits, write_back_shot
from synthetic_images.trays.write import ShotName, write_limits, write_part, write_station

FIRST_SHOT = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
_SPREAD_MM = 0.002  # of even growth, piece by piece: what pressing leaves
_STRAY_SHARE = 0.15  # of pieces with a burr or nick anywhere, from handling


@dataclass(frozen=True, slots=True)
class DieCourse:
    """How one die goes: even growth by `rate_mm` a stroke, back to none at `regrind_at`; a nick at `nick_s_mm`.

    `swell_s_mm`: a place along the outline that wears twice as fast again.
    """

    die: str
    rate_mm: float = 0.0
    regrind_at: float | None = None
    nick_s_mm: float | None = None
    swell_s_mm: float | None = None

    def growth_mm(self, strokes: float) -> float:
        """Even growth after so many strokes."""
        since = strokes if self.regrind_at is None or strokes < self.regrind_at else strokes - self.regrind_at
        return self.rate_mm * since


@dataclass(frozen=True, slots=True)
class History:
    """What to render: `trays` of each die, evenly over `strokes`, `pieces` a tray, from a seed, at a scale."""

    pattern: Pattern
    dies: Sequence[DieCourse]
    trays: int
    strokes: float
    pieces: int = 2
    seed: int = 1
    mm_per_px: float = 0.08
    station: str = "ST-1"


def render_history(folder: Path, history: History) -> Iterator[Path]:
    """Render tray after tray into `folder/shots`, dies in turn; part, station and limits beside it."""
    view = _view(history)
    shots = folder / "shots"
    shots.mkdir(parents=True, exist_ok=True)
    write_part(folder, history.pattern)
    write_station(folder / "station.toml", history.station, view, Scene(history.pattern, view, ()).sensor)
    write_limits(folder / "limits.toml", history.pattern.part, outline_limits(history.pattern), {})
    number = 0
    for index in range(history.trays):
        for course in history.dies:
            number += 1
            rng = np.random.default_rng([history.seed, number])
            # Dies are seen one after the other, so that their trays do not stand at the same strokes.
            place = history.dies.index(course) / len(history.dies)
            strokes = round(history.strokes * (index + 0.5 + 0.5 * place) / history.trays)
            defects = [_piece(history.pattern, course, strokes, rng) for _ in range(history.pieces)]
            tray = Scene(history.pattern, view, rows(history.pattern, size_mm(view), defects, rng))
            taken_at = (FIRST_SHOT + timedelta(hours=6 * number)).isoformat()
            process: dict[str, str | float] = {"die": course.die, "strokes": strokes}
            name = ShotName(f"T-{number:06d}", "L-2611-09", history.pattern.part, history.station, taken_at, process)
            yield write_back_shot(shots / name.tray, name, tray, "png", rng)


def _view(history: History) -> View:
    length = history.pattern.length_mm + 16.0
    height = history.pieces * (2.0 * history.pattern.bowl_half_mm + 12.0) + 8.0
    scale = history.mm_per_px
    return plain_view((round(length / scale), round(height / scale)), scale)


def _piece(pattern: Pattern, course: DieCourse, strokes: float, rng: np.random.Generator) -> Defects:
    growth = course.growth_mm(strokes)
    bumps = []
    if course.swell_s_mm is not None:
        bumps.append(Bump("swell", course.swell_s_mm, 2.0 * growth, 5.0))
    if course.nick_s_mm is not None:
        bumps.append(Bump("nick", course.nick_s_mm, -float(rng.normal(0.06, 0.01)), 0.6))
    if rng.random() < _STRAY_SHARE:
        at = float(rng.uniform(0.0, outline(pattern).perimeter_mm))
        height = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.04, 0.10))
        bumps.append(Bump("burr" if height > 0 else "nick", at, height, 0.5))
    return Defects(tuple(bumps), growth + float(rng.normal(0.0, _SPREAD_MM)))
