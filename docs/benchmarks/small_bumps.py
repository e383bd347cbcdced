"""How often burrs and nicks near the detection limit are found, and how often one is told where there is none.

    python docs/benchmarks/small_bumps.py

Pieces with eight bumps each, sigma 0.35 mm, are rendered on plain trays (0.010 mm high) and noisy ones (0.025 mm).
"""

from dataclasses import replace

import cv2
import numpy as np

from synthetic_images.outlines.defects import Bump, Defects
from synthetic_images.outlines.families import Family, back_frame, scene
from synthetic_images.outlines.scene import Scene
from synthetic_images.spoons import TEASPOON, outline
from vision.geometry.polyline import arc_lengths
from vision.pipeline import measure_tray
from vision.records.inputs import Part, Picture, Station, TrayPictures, Zone
from vision.records.measured import EdgeFinding

TRAYS, BUMPS_A_PIECE, SIGMA_MM = 6, 8, 0.35


def tray_with_bumps(family: Family, height_mm: float, rng: np.random.Generator) -> Scene:
    """Three pieces, bumps evenly spread with chance, outward and inward in turn."""
    made = scene(family, TEASPOON, rng)
    perimeter = arc_lengths(outline(TEASPOON).points_mm)[-1]
    pieces = []
    for piece in made.pieces:
        places = (np.arange(BUMPS_A_PIECE) + rng.uniform(0.2, 0.8, BUMPS_A_PIECE)) / BUMPS_A_PIECE * perimeter
        bumps = tuple(
            Bump("burr" if i % 2 else "nick", float(s), height_mm if i % 2 else -height_mm, SIGMA_MM)
            for i, s in enumerate(places)
        )
        pieces.append(replace(piece, defects=Defects(bumps, 0.0, 0.0, ())))
    return replace(made, pieces=tuple(pieces))


def main() -> None:
    """Print one line a family."""
    cv2.setNumThreads(1)
    drawn = outline(TEASPOON)
    around = arc_lengths(drawn.points_mm)[-1]
    zones = tuple(Zone(z.name, z.x_mm, z.datum, z.bend) for z in TEASPOON.zones)
    part = Part(TEASPOON.part, TEASPOON.name, np.asarray(drawn.points_mm), (), zones, None)
    families: tuple[tuple[Family, float], ...] = (("plain", 0.010), ("noisy", 0.025))
    for family, height_mm in families:
        hits = false = 0
        for index in range(TRAYS):
            rng = np.random.default_rng([2611, index])
            tray = tray_with_bumps(family, height_mm, rng)
            scale = tray.view.mm_per_px
            station = Station("ST-1", np.diag((scale, -scale, 1.0)), None, None, 0.0005, 1e-5)
            pixels = back_frame(tray, rng)
            measured = measure_tray(TrayPictures(Picture("back", None, pixels, 255.0)), part, station)
            by_height = sorted(tray.pieces, key=lambda piece: -piece.center_mm[1])
            for piece, found in zip(by_height, measured.pieces, strict=True):
                told = [f for f in found.findings if isinstance(f, EdgeFinding)]
                for bump in piece.defects.bumps:
                    spot = drawn.points_mm[round(bump.s_mm / around * len(drawn.points_mm)) % len(drawn.points_mm)]
                    near = [f for f in told if f.kind == bump.kind and np.hypot(*np.subtract(f.center_mm, spot)) < 1.5]
                    hits += bool(near)
                    told = [f for f in told if f not in near[:1]]
                false += len(told)
        pieces = 3 * TRAYS
        print(f"{family}: {hits} of {pieces * BUMPS_A_PIECE} bumps of {height_mm:.3f} mm found, {false} false")


if __name__ == "__main__":
    main()
