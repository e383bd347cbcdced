"""Scores of the outline on rendered rims, and the table of `docs/benchmarks/outline.md`.

    python -m tests.truth.rim_score [--jobs 16] [--seeds 24] [--first 5000] [--angles 2 5 10 20 30 40 60 75]

prints, for each half angle, mean and rms errors of out, in, length and width, the share within 2 u and the rms of error
over u: without any regard to rims (as if the light were collimated), with neither light nor rim known, and with what
station and part say of both, the station's half angle off by a normal deviate of its own uncertainty. Then the same
with a lens that scatters light and has coma, and with one that is not telecentric over pieces of changing height; what
u is made of beside the errors; and what radius the band's width tells. A zone without deviations outward or inward that
is told to have none counts as an error of nought, and not among the shares within 2 u.
"""

import argparse
import sys
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from synthetic_images.outlines.families import FINE_MM_PER_PX, back_frame, fine_size_px, random_defects, size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.optics import Backlight, Tails
from synthetic_images.outlines.rims import along
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.truth import tray_truth
from synthetic_images.outlines.view import perspective_view, plain_view
from synthetic_images.spoons import PATTERNS, Array, outline
from synthetic_images.trays.write import write_part, write_station
from tests.truth.outline_score import Score, compare, score_trays
from vision.formats.part import read_part
from vision.formats.station import read_station
from vision.outline.rim_light import band_share
from vision.pipeline import measure_tray
from vision.records.inputs import HalfAngle, Part, Picture, RimRadius, Station, TrayPictures
from vision.records.measured import MeasuredTray, UncertaintyComponents

DEVIATIONS, EXTENTS = ("outline_out_mm", "outline_in_mm"), ("length_mm", "width_mm")
PATTERN = PATTERNS["TS-135"]
# What a works would know of these rims: radii drawn evenly from 0.05 to 0.6 mm at nine places, with a smooth course
# between them (mean and standard deviation at any one place, of 400 such outlines).
KNOWN_RIM = RimRadius(0.325, 0.138)
# Of a half angle as a station's file would have it (degrees).
HALF_ANGLE_U_DEG = 1.0
# How far the outline's height wanders (mm, k = 1) on pieces of changing height.
HEIGHT_U_MM = 0.3
EDGE_HEIGHT_MM = 6.0
# Parts of an uncertainty below this (um) go untold.
_COUNTS_UM = 0.05

Known = Literal["before", "neither", "both"]


@dataclass(frozen=True, slots=True)
class RimTray:
    """What is rendered: light, rims (radii drawn between two, at so many places), lens and view."""

    half_angle_deg: float
    radius_mm: tuple[float, float] = (0.05, 0.6)
    places: int = 9
    flare: float = 0.0
    coma_px: float = 0.0
    perspective: bool = False
    uneven: bool = False

    def scene(self, rng: np.random.Generator, pieces: int) -> Scene:
        """Pieces in rows, each with a rim of its own."""
        size = fine_size_px(PATTERN, pieces)
        view = perspective_view(size, FINE_MM_PER_PX, 620.0) if self.perspective else plain_view(size, FINE_MM_PER_PX)
        defects = [random_defects(PATTERN, rng, 0.3) for _ in range(pieces)]
        lain = rows(PATTERN, size_mm(view), defects, rng)
        pieces_with_rims = tuple(
            replace(
                piece,
                rim_radius_mm=tuple(rng.uniform(*self.radius_mm, self.places)),
                rise_mm=tuple(rng.normal(0.0, HEIGHT_U_MM, self.places)) if self.uneven else (),
            )
            for piece in lain
        )
        return Scene(
            PATTERN,
            view,
            pieces_with_rims,
            backlight=Backlight(half_angle_deg=self.half_angle_deg),
            edge_height_mm=EDGE_HEIGHT_MM if self.perspective else 0.0,
            lens=Tails(self.flare, 10.0, self.coma_px, 30.0),
        )


def files(scene: Scene, folder: Path) -> tuple[Part, Station]:
    """Part and station of a scene, by way of their files."""
    write_part(folder, scene.part, scene.edge_height_mm)
    write_station(folder / "station.toml", "ST-1", scene.view, scene.sensor, scene.backlight.half_angle_deg)
    return read_part(folder / "part.toml"), read_station(folder / "station.toml")


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A tray rendered, its truth, and what its files say."""

    frame: Picture
    part: Part
    station: Station
    truth: dict[str, Any]
    scene: Scene


def render(tray: RimTray, seed: int, pieces: int = 3) -> Rendered:
    """One tray of a kind."""
    rng = np.random.default_rng([seed, round(10 * tray.half_angle_deg)])
    scene = tray.scene(rng, pieces)
    frame = Picture("back", None, back_frame(scene, rng), 255.0, "back.png")
    with tempfile.TemporaryDirectory() as folder:
        part, station = files(scene, Path(folder))
    part = replace(part, edge_height_u_mm=HEIGHT_U_MM if tray.uneven else 0.0)
    return Rendered(frame, part, station, tray_truth(scene, f"seed {seed}"), scene)


def measured(one: Rendered, known: Known, stated_deg: float) -> MeasuredTray:
    """What the program makes of it, with so much known of light and rim."""
    light = {
        "before": HalfAngle(0.0, 0.0),
        "neither": None,
        "both": HalfAngle(stated_deg, min(HALF_ANGLE_U_DEG, stated_deg)),
    }[known]
    part = replace(one.part, rim=KNOWN_RIM if known == "both" else None)
    # Rendered stations have no error of their own; what remains of the budget is held against what remains of errors.
    station = replace(one.station, backlight=light, outline_mm=0.0, scale_relative=0.0)
    return measure_tray(TrayPictures(one.frame), part, station)


def score_rims(tray: RimTray, seeds: Sequence[int], pieces: int = 3, known: Known = "both") -> Score:
    """Measure rendered trays with so much known of light and rim, the half angle as it is."""
    score = Score()
    for seed in seeds:
        one = render(tray, seed, pieces)
        compare(one.truth, measured(one, known, tray.half_angle_deg), score)
    return score


def score_shared(folder: Path, half_angle_deg: float) -> Score:
    """Measure trays rendered outside the project, with what their README says of light and rim."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    station = replace(station, backlight=HalfAngle(half_angle_deg, 1.0))
    return score_trays(folder, replace(part, rim=RimRadius(0.3, 0.12)), station)


def worst_bias_um(score: Score) -> float:
    """Largest mean error of out, in, length and width."""
    return max(abs(1000 * float(np.mean(score.errors[name]))) for name in (*DEVIATIONS, *EXTENTS))


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One tray measured in several ways.

    `radii` (n, 2): told and true, mm, nan where none is told.
    """

    scores: dict[Known, Score]
    radii: Array


def outcome(task: tuple[RimTray, int]) -> Outcome:
    """Render a tray and measure it with more and more known."""
    tray, seed = task
    one = render(tray, seed)
    stated = max(0.1, tray.half_angle_deg + HALF_ANGLE_U_DEG * float(np.random.default_rng([seed, 1]).normal()))
    scores: dict[Known, Score] = {}
    for known in get_args(Known):
        seen = measured(one, known, stated)
        scores[known] = Score()
        compare(one.truth, seen, scores[known])
    return Outcome(scores, _radii(one, seen, tray.half_angle_deg))


def _radii(one: Rendered, seen: MeasuredTray, half_angle_deg: float) -> Array:
    """Radius by zone as the band's width tells it, and as it is on average."""
    nominal = outline(one.scene.part)
    rows = []
    for truth, piece in zip(one.truth["pieces"], one.scene.pieces, strict=True):
        near = min(seen.pieces, key=lambda p: float(np.hypot(*np.subtract(p.pose.center_px, truth["center_px"]))))
        radius, bands = along(piece.rim_radius_mm, nominal), near.measures["rim_band_mm"]
        for zone in one.scene.part.zones:
            inside = (nominal.points_mm[:, 0] >= zone.x_mm[0]) & (nominal.points_mm[:, 0] <= zone.x_mm[1])
            told = bands[zone.name]
            rows.append((np.nan if told is None else told / band_share(half_angle_deg), float(radius[inside].mean())))
    return np.array(rows)


def together(scores: Iterable[Score]) -> Score:
    """One score of several trays'."""
    whole = Score()
    for score in scores:
        for name, errors in score.errors.items():
            whole.errors[name] += errors
        for name, ratios in score.ratios.items():
            whole.ratios[name] += ratios
            whole.components[name] += score.components[name]
        whole.found += score.found
        whole.loose += score.loose
        whole.missed += score.missed
        whole.extra += score.extra
    return whole


def cells(score: Score) -> list[str]:
    """Of each measure: mean, rms error in um; share within 2 u, rms of error over u."""
    found = []
    for name in (*DEVIATIONS, *EXTENTS):
        errors, ratios = 1000 * np.array(score.errors[name]), np.array(score.ratios[name])
        found.append(
            f"{errors.mean():.1f}, {np.sqrt(np.mean(errors**2)):.1f}; {np.mean(np.abs(ratios) < 2):.2f}, "
            f"{np.sqrt(np.mean(ratios**2)):.2f}"
        )
    return found


def budget_row(score: Score, name: str) -> str:
    """Of a measure: rms of errors that have an uncertainty, of this, and of each of its parts that counts, um."""
    ratios, parts = np.array(score.ratios[name]), np.array([astuple(one) for one in score.components[name]])
    u = np.linalg.norm(parts, axis=1)
    sizes = dict(zip((part.name for part in fields(UncertaintyComponents)), 1000 * _rms(parts, axis=0), strict=True))
    told = ", ".join(f"{part} {size:.2f}" for part, size in sizes.items() if size > _COUNTS_UM)
    return f"{1000 * _rms(ratios * u):.2f} | {1000 * _rms(u):.2f} | {told}"


def _rms(values: Array, axis: int | None = None) -> Array:
    return np.asarray(np.sqrt(np.mean(values**2, axis=axis)))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--first", type=int, default=5000)
    parser.add_argument("--angles", type=float, nargs="*", default=[2, 5, 10, 20, 30, 40, 60, 75])
    chosen = parser.parse_args()
    seeds = range(chosen.first, chosen.first + chosen.seeds)
    kinds = {f"{angle:g}°": RimTray(angle) for angle in chosen.angles}
    kinds |= {f"{angle:g}°, flare and coma": RimTray(angle, flare=0.05, coma_px=0.3) for angle in (10.0, 30.0, 60.0)}
    kinds |= {f"{a:g}°, perspective, height": RimTray(a, perspective=True, uneven=True) for a in (10.0, 30.0, 60.0)}
    tasks = [(tray, seed) for tray in kinds.values() for seed in seeds]
    with ProcessPoolExecutor(chosen.jobs) as pool:
        outcomes = dict(zip(tasks, pool.map(outcome, tasks), strict=True))
    print(f"{3 * len(seeds)} pieces each; mean, rms error in um; share within 2 u, rms of error over u\n")
    print("| half angle | known | out | in | length | width |\n|---|---|---|---|---|---|")
    for name, tray in kinds.items():
        for known in get_args(Known):
            score = together(outcomes[tray, seed].scores[known] for seed in seeds)
            print(f"| {name} | {known} | {' | '.join(cells(score))} |")
    print("\nBoth known: what u is made of, rms in um\n")
    print("| half angle | measure | error | u | parts |\n|---|---|---|---|---|")
    for name, tray in kinds.items():
        score = together(outcomes[tray, seed].scores["both"] for seed in seeds)
        for measure in (*DEVIATIONS, *EXTENTS):
            print(f"| {name} | {measure} | {budget_row(score, measure)} |")
    print("\n| half angle | zones | told | radius within 20 % or 0.05 mm | rms of its error, mm | openings, strays |")
    print("|---|---|---|---|---|---|")
    for name, tray in kinds.items():
        radii = np.concatenate([outcomes[tray, seed].radii for seed in seeds])
        told, true = radii[np.isfinite(radii[:, 0])].T
        error = told - true
        good = np.mean(np.abs(error) < np.maximum(0.05, 0.2 * true)) if len(told) else np.nan
        size = np.sqrt(np.mean(error**2)) if len(told) else np.nan
        loose = sum(outcomes[tray, seed].scores["both"].loose for seed in seeds)
        print(f"| {name} | {len(radii)} | {len(told)} | {good:.2f} | {size:.3f} | {loose} |")


if __name__ == "__main__":
    main()
