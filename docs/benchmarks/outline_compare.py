"""Accuracy and time of the outline beside two plain pipelines, on the same frames in one run.

    python docs/benchmarks/outline_compare.py FOLDER...

Each FOLDER holds part.toml, station.toml and trays with truth.json, as `brightbowl render` writes them. Both plain
pipelines know the scale only (no lens, tilt or height): OpenCV by Otsu's threshold, pixel contours, area moments and
nearest distances; scikit-image by `find_contours` at half level and a least-squares rigid fit.
"""

import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from skimage.filters import threshold_otsu
from skimage.measure import find_contours

from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.geometry.polyline import moments, resample, right_normals, tangents
from vision.pipeline import measure_tray
from vision.records.inputs import Array, Part

REPEATS = 5
# A piece is found when its centre lies this near.
NEAR_PX = 60.0


def by_opencv(pixels: NDArray[np.uint8], part: Part, mm_per_px: float) -> list[tuple[Array, Array, Array]]:
    """Pixel contours laid on the nominal by moments."""
    _, mask = cv2.threshold(pixels, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    loops = [c.reshape(-1, 2).astype(float) for c in contours if cv2.contourArea(c) > 3.0 / mm_per_px**2]
    return [laid for loop in loops if (laid := lay(loop, part, mm_per_px, 0)) is not None]


def by_scikit_image(pixels: NDArray[np.uint8], part: Part, mm_per_px: float) -> list[tuple[Array, Array, Array]]:
    """Sub-pixel contours at Otsu's level, fitted by least squares."""
    contours = find_contours(pixels.astype(float), float(threshold_otsu(pixels)))
    loops = [c[:-1, ::-1] for c in contours if cv2.contourArea(c.astype(np.float32)) > 3.0 / mm_per_px**2]
    return [laid for loop in loops if (laid := lay(loop, part, mm_per_px, 20)) is not None]


def lay(loop_px: Array, part: Part, mm_per_px: float, steps: int) -> tuple[Array, Array, Array] | None:
    """Signed distances of the nominal's points from a contour: (centre px, nominal points, distances)."""
    loop = loop_px * (mm_per_px, -mm_per_px)
    nominal = resample(part.outline, 0.05)
    normals = right_normals(tangents(nominal))
    found, wanted = moments(loop), moments(nominal)
    if not 0.75 < found.area / wanted.area < 1.35:
        return None
    best: tuple[float, Array, Array] | None = None
    for turn in (0.0, np.pi):
        angle = wanted.axis_rad - found.axis_rad + turn
        moved = (loop - found.centroid) @ rotation(angle).T + wanted.centroid
        tree = cKDTree(nominal)
        for _ in range(steps):
            _, near = tree.query(moved)
            n, p = normals[near], nominal[near]
            rows = np.column_stack((n, moved[:, 0] * n[:, 1] - moved[:, 1] * n[:, 0]))
            change = np.linalg.lstsq(rows, -((moved - p) * n).sum(axis=1), rcond=None)[0]
            moved = moved @ rotation(change[2]).T + change[:2]
        _, near = cKDTree(moved).query(nominal)
        off = ((moved[near] - nominal) * normals).sum(axis=1)
        if best is None or np.mean(off**2) < best[0]:
            best = (float(np.mean(off**2)), off, nominal)
    assert best is not None
    return np.array(moments(loop_px).centroid), best[2], best[1]


def rotation(angle: float) -> Array:
    """Rotation matrix (2, 2)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def plain_errors(laid: list[tuple[Array, Array, Array]], truth: list[dict], part: Part) -> tuple[list[float], int]:
    """Errors of the largest outward deviation of each zone, and how many pieces were found."""
    errors, found = [], 0
    for piece in truth:
        near = [one for one in laid if np.hypot(*(one[0] - piece["center_px"])) < NEAR_PX]
        if not near:
            continue
        found += 1
        _, nominal, off = near[0]
        for zone in part.zones:
            inside = (nominal[:, 0] >= zone.x_mm[0]) & (nominal[:, 0] < zone.x_mm[1])
            errors.append(max(0.0, float(off[inside].max())) - piece["measures"]["outline_out_mm"][zone.name])
    return errors, found


def median_ms(work: Callable[[], object]) -> float:
    """Median processor time of a call on one core, ms."""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        times.append(1e3 * (time.process_time() - start))
    return statistics.median(times)


def compare(folder: Path) -> None:
    """Print one table for a folder of trays."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    errors: dict[str, list[float]] = {"OpenCV": [], "scikit-image": [], "brightbowl": []}
    found = dict.fromkeys(errors, 0)
    ratios: dict[str, list[float]] = {name: [] for name in errors}
    pieces, decoding = 0, []
    for path in sorted(folder.glob("*/truth.json")):
        truth = json.loads(path.read_text())["pieces"]
        pieces += len(truth)
        shot = read_shot(path.parent)
        pictures = read_frames(shot, station)
        pixels = pictures.back.pixels
        mm_per_px = float(np.sqrt(abs(np.linalg.det(station.homography[:2, :2]))))
        name_of_file = str(shot.frames[0].path)
        decode = median_ms(lambda name=name_of_file: cv2.imread(name, cv2.IMREAD_UNCHANGED))
        decoding.append(decode)
        eight = pixels if pixels.dtype == np.uint8 else (pixels >> 4).astype(np.uint8)
        for name, method in (("OpenCV", by_opencv), ("scikit-image", by_scikit_image)):
            wrong, hit = plain_errors(method(eight, part, mm_per_px), truth, part)
            errors[name] += wrong
            found[name] += hit
            ratios[name].append(median_ms(lambda m=method, e=eight, s=mm_per_px: m(e, part, s)) / decode)
        measured = measure_tray(pictures, part, station)
        for piece in truth:
            near = [
                m
                for m in measured.pieces
                if m.pose and np.hypot(*np.subtract(m.pose.center_px, piece["center_px"])) < 60
            ]
            if near:
                found["brightbowl"] += 1
                values = near[0].measures["outline_out_mm"]
                assert isinstance(values, dict)
                errors["brightbowl"] += [
                    v - piece["measures"]["outline_out_mm"][zone] for zone, v in values.items() if v is not None
                ]
        ratios["brightbowl"].append(median_ms(lambda p=pictures: measure_tray(p, part, station)) / decode)
    print(f"\n{folder.name}: {pieces} pieces, decoding {statistics.median(decoding):.0f} ms a frame")
    for name, wrong in errors.items():
        rms = 1e3 * float(np.sqrt(np.mean(np.square(wrong)))) if wrong else float("nan")
        worst = 1e3 * float(np.abs(wrong).max()) if wrong else float("nan")
        took = statistics.median(ratios[name])
        print(f"| {folder.name} | {name} | {found[name]} of {pieces} | {rms:.1f} | {worst:.1f} | {took:.1f} |")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    print("| trays | method | pieces found | outward deviation, rms error um | worst um | time / decoding |")
    for argument in sys.argv[1:]:
        compare(Path(argument))
