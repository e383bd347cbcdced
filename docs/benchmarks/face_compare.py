"""Two plain ways of scoring a face beside the product's own, on the same rendered trays.

    python docs/benchmarks/face_compare.py ../shared/trays

Both get the product's best input, the lights already combined into one picture and divided by the finish's own
spectrum, and the best of a small grid of settings of their own, chosen on the very trays they are scored on. Printed:
share found at 0.1 false findings of each kind a piece, and time.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon
from skimage.feature import blob_log
from skimage.filters import sato
from skimage.measure import label, regionprops
from skimage.morphology import skeletonize

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.truth.polished_score import PieceScore, found_at, score_piece, told, truth_of, view_of
from vision.face.contrast import frame_contrasts
from vision.face.evidence import Evidence, combine
from vision.face.raster import FaceInputs, find_region, scored_shape
from vision.face.score import score_face
from vision.face.whitening import divided, power_of
from vision.formats import shipped_judge
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.records.measured import Pit, Scratch

FALSE_A_PIECE = 0.1
CLIP = 30.0


@dataclass
class Piece:
    """One piece: its truth, its view and the combined picture."""

    truth: dict
    view: FaceInputs
    evidence: Evidence
    white: np.ndarray
    shape: Polygon


def load(folder: Path) -> list[Piece]:
    """All pieces of a family of trays."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    shape = scored_shape(part, part.surface)
    out = []
    for tray in sorted(p for p in folder.iterdir() if p.is_dir()):
        pictures = read_frames(read_shot(tray), station)
        for truth in truth_of(tray):
            view = view_of(pictures, part, truth, float(station.homography[0, 0]))
            region = find_region(view, part.surface)
            evidence = combine(region, frame_contrasts(region, pictures))
            white = divided(np.clip(evidence.spots, -CLIP, CLIP), power_of(evidence.lines))
            quiet = 1.4826 * np.median(np.abs(white[region.scored]))
            out.append(Piece(truth, view, evidence, white / quiet, shape))
    return out


def line_finding(piece: Piece, pixels: np.ndarray, score: float) -> Scratch:
    """A component as a line: its pixels in order along its long axis, every eighth."""
    points = pixels[:, ::-1].astype(float)
    axis = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][0]
    ordered = points[np.argsort(points @ axis)]
    picked = ordered[np.unique(np.append(np.arange(0, len(ordered), 8), len(ordered) - 1))]
    mm = piece.inputs.to_mm(piece.evidence.region.fine.to_px(picked))
    pairs = tuple(map(tuple, mm.tolist()))
    return Scratch(pairs, pairs, float(np.hypot(*(mm[-1] - mm[0]))), 0.1, score)


def spot_finding(piece: Piece, column: float, row: float, diameter_px: float, score: float) -> Pit:
    mm = piece.inputs.to_mm(piece.evidence.region.fine.to_px(np.array([[column, row]])))[0]
    return Pit((0.0, 0.0), (float(mm[0]), float(mm[1])), diameter_px * 0.05, score)


def top_hat(piece: Piece, radius: int, level: float, shortest: float) -> list:
    """White top-hat, threshold, components: long ones are lines, round ones spots."""
    picture = cv2.GaussianBlur(piece.white, (0, 0), 1.0)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    hat = cv2.morphologyEx(picture, cv2.MORPH_TOPHAT, kernel) * piece.evidence.region.scored
    mask = (hat > level).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    out = []
    for k in range(1, count):
        x, y, w, h, area = stats[k]
        if area < 6:
            continue
        here = labels[y : y + h, x : x + w] == k
        pixels = np.argwhere(here) + np.array([y, x])
        strength = float(hat[y : y + h, x : x + w][here].sum() / np.sqrt(area))
        spread = np.sqrt(np.maximum(np.linalg.eigvalsh(np.cov(pixels.T) + np.eye(2) / 12), 0))
        if 3.5 * spread[1] * 0.05 >= shortest and spread[1] > 3 * spread[0]:
            out.append(line_finding(piece, pixels, strength))
        elif spread[1] < 2 * spread[0] and 2 * np.sqrt(area / np.pi) * 0.05 >= 0.14:
            column, row = pixels.mean(axis=0)[::-1]
            out.append(spot_finding(piece, column, row, 2 * np.sqrt(area / np.pi), strength))
    return out


def ridges(piece: Piece, sigma: float, level: float, shortest: float) -> list:
    """Hessian ridges (Sato et al. 1998), skeleton, components; blobs by the Laplacian of Gaussians."""
    picture = piece.white.astype(float)
    scored = piece.evidence.region.scored
    ridge = sato(picture, sigmas=[sigma], black_ridges=False) * scored
    skeleton = skeletonize(ridge > level)
    out = []
    for found in regionprops(label(skeleton, connectivity=2)):
        pixels = found.coords
        extent = np.hypot(*np.ptp(pixels, axis=0)) * 0.05
        if extent >= shortest:
            out.append(line_finding(piece, pixels, float(ridge[tuple(pixels.T)].sum() / np.sqrt(len(pixels)))))
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    for row, column, size in blob_log(half, min_sigma=1, max_sigma=3, num_sigma=4, threshold=level / 2, overlap=0.1):
        r, c = int(2 * row), int(2 * column)
        if scored[min(r, scored.shape[0] - 1), min(c, scored.shape[1] - 1)]:
            strength = float(half[int(row), int(column)] * size)
            # the disc of a blob's sigma, on a picture at half size
            out.append(spot_finding(piece, 2 * column + 0.5, 2 * row + 0.5, 2 * 2 * np.sqrt(2) * size, strength))
    return out


def own(piece: Piece) -> list:
    """The product's own scoring, swept by the chance that its judge gives."""
    return list(told(score_face(piece.inputs, shipped_judge()), swept=True))


def figures(pieces: list[Piece], way: Callable[[Piece], list]) -> tuple[float, float, float]:
    """Share of scratches and of pits found at `FALSE_A_PIECE`, and seconds a piece."""
    start = time.process_time()
    found = [way(p) for p in pieces]
    took = (time.process_time() - start) / len(pieces)
    scores: list[PieceScore] = [score_piece(p.truth, f, p.shape) for p, f in zip(pieces, found, strict=True)]
    return found_at(scores, "scratch", FALSE_A_PIECE)[0], found_at(scores, "pit", FALSE_A_PIECE)[0], took


def main() -> None:
    """Print the table."""
    cv2.setNumThreads(1)
    for family in ("polished", "polished-faint"):
        pieces = load(Path(sys.argv[1]) / family)
        print(f"{family}: {len(pieces)} pieces")
        ways = {
            "top-hat, components": [(top_hat, s) for s in product((5, 9), (1.2, 1.8, 2.7), (1.0, 1.6))],
            "ridges, skeleton, blobs": [(ridges, (w, t, 1.0)) for w, t in product((1.5, 2.2), (0.5, 0.9, 1.5))],
        }
        for name, tries in ways.items():
            rows = [figures(pieces, lambda p, f=f, s=s: f(p, *s)) for f, s in tries]
            lines, pits = max(r[0] for r in rows), max(r[1] for r in rows)
            took = 1e3 * float(np.median([r[2] for r in rows]))
            print(f"  {name}: scratches {lines:.2f}, pits {pits:.2f}, {took:.0f} ms a piece")
        lines, pits, took = figures(pieces, own)
        print(f"  this: scratches {lines:.2f}, pits {pits:.2f}, {1e3 * took:.0f} ms a piece with the combining")


if __name__ == "__main__":
    main()
