"""Scores of the outline on rendered rims, and the table of `docs/benchmarks/outline.md`.

    python -m tests.truth.rim_score [--seeds 4] [--angles 2 5 10 20 30 40 60 75]

prints, for each half angle, the bias and the share within 2 u of out, in, length and width, as measured with what
station and part say of light and rim, with neither, and without any regard to rims.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from synthetic_images.outlines.families import FINE_MM_PER_PX, back_frame, fine_size_px, random_defects, size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.optics import Backlight, Tails
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.truth import tray_truth
from synthetic_images.outlines.view import perspective_view, plain_view
from synthetic_images.spoons import PATTERNS
from synthetic_images.trays.write import write_part, write_station
from tests.truth.outline_score import Score, compare, score_trays
from vision.formats.part import read_part
from vision.formats.station import read_station
from vision.pipeline import measure_tray
from vision.records.inputs import HalfAngle, Part, Picture, RimRadius, Station, TrayPictures

DEVIATIONS, EXTENTS = ("outline_out_mm", "outline_in_mm"), ("length_mm", "width_mm")
PATTERN = PATTERNS["TS-135"]
# What a works would know of these rims: their radii are drawn evenly from 0.1 to 0.6 mm, or from these.
KNOWN_RIM = RimRadius(0.35, 0.15)


@dataclass(frozen=True, slots=True)
class RimTray:
    """What is rendered: light, rims (radii drawn between two, at so many places), lens and view."""

    half_angle_deg: float
    radius_mm: tuple[float, float] = (0.1, 0.6)
    places: int = 9
    flare: float = 0.0
    coma_px: float = 0.0
    perspective: bool = False

    def scene(self, rng: np.random.Generator, pieces: int) -> Scene:
        """Pieces in rows, each with a rim of its own."""
        size = fine_size_px(PATTERN, pieces)
        view = perspective_view(size, FINE_MM_PER_PX, 620.0) if self.perspective else plain_view(size, FINE_MM_PER_PX)
        defects = [random_defects(PATTERN, rng, 0.3) for _ in range(pieces)]
        lain = rows(PATTERN, size_mm(view), defects, rng)
        return Scene(
            PATTERN,
            view,
            tuple(replace(piece, rim_radius_mm=tuple(rng.uniform(*self.radius_mm, self.places))) for piece in lain),
            backlight=Backlight(half_angle_deg=self.half_angle_deg),
            edge_height_mm=6.0 if self.perspective else 0.0,
            lens=Tails(self.flare, 10.0, self.coma_px, 30.0),
        )


def files(scene: Scene, folder: Path) -> tuple[Part, Station]:
    """Part and station of a scene, by way of their files."""
    write_part(folder, scene.part, scene.edge_height_mm)
    write_station(folder / "station.toml", "ST-1", scene.view, scene.sensor, scene.backlight.half_angle_deg)
    return read_part(folder / "part.toml"), read_station(folder / "station.toml")


def score_rims(
    tray: RimTray, seeds: Sequence[int], pieces: int = 3, rim: RimRadius | None = KNOWN_RIM, known: bool = True
) -> Score:
    """Measure rendered trays; `known` False leaves out the station's half angle."""
    import tempfile

    score = Score()
    for seed in seeds:
        rng = np.random.default_rng([seed, round(10 * tray.half_angle_deg)])
        scene = tray.scene(rng, pieces)
        frame = Picture("back", None, back_frame(scene, rng), 255.0, "back.png")
        with tempfile.TemporaryDirectory() as folder:
            part, station = files(scene, Path(folder))
        part = replace(part, rim=rim)
        station = replace(station, backlight=HalfAngle(tray.half_angle_deg, 1.0) if known else None)
        compare(tray_truth(scene, f"seed {seed}"), measure_tray(TrayPictures(frame), part, station), score)
    return score


def score_shared(folder: Path, half_angle_deg: float) -> Score:
    """Measure trays rendered outside the project, with what their README says of light and rim."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    station = replace(station, backlight=HalfAngle(half_angle_deg, 1.0))
    return score_trays(folder, replace(part, rim=RimRadius(0.3, 0.12)), station)


def worst_bias_um(score: Score) -> float:
    """Largest mean error of out, in and length; a width that ends on a slope hangs on where points are taken."""
    return max(abs(1000 * float(np.mean(score.errors[name]))) for name in (*DEVIATIONS, "length_mm"))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--angles", type=float, nargs="*", default=[2, 5, 10, 20, 30, 40, 60, 75])
    chosen = parser.parse_args()
    print("| half angle | known | out | in | length | width | within 2 u: out, in, length, width |")
    print("|---|---|---|---|---|---|---|")
    for angle in chosen.angles:
        for known in (True, False):
            score = score_rims(RimTray(angle), range(100, 100 + chosen.seeds), 3, KNOWN_RIM if known else None, known)
            cells = []
            for name in (*DEVIATIONS, *EXTENTS):
                errors = 1000 * np.array(score.errors[name])
                cells.append(f"{errors.mean():.1f}, {np.sqrt(np.mean(errors**2)):.1f}")
            shares = ", ".join(f"{score.within_two_u(name):.2f}" for name in (*DEVIATIONS, *EXTENTS))
            print(f"| {angle:g}° | {'yes' if known else 'no'} | {' | '.join(cells)} | {shares} |", flush=True)


if __name__ == "__main__":
    main()
