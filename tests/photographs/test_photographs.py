"""Finding and outlining pieces on real photographs that nobody rendered.

Sources: `coins` of scikit-image's data (a photograph of 24 coins; the count of 24 segments above 500 px is that of
scikit-image's own watershed example); `pca_test1.jpg` of OpenCV's sample data (see tests/data/real/NOTICE.md): six
nominally identical flat blanks on a light table.
"""

from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree
from skimage import data

from tests.outline.scene import backlit
from vision.backlight.field import model_backlight
from vision.geometry.polyline import moments, resample
from vision.outline.edges import trace_edge
from vision.outline.regions import Region, find_regions
from vision.records.inputs import Array, Picture

BLANKS = Path(__file__).parents[1] / "data" / "real" / "pca_test1.jpg"


def light_table() -> Picture:
    """The part of the photograph inside the light table's edge, whose corners lie near (112,19) (638,0) (674,532)."""
    photograph = cv2.imread(str(BLANKS), cv2.IMREAD_GRAYSCALE)
    assert photograph is not None
    return backlit(np.ascontiguousarray(photograph[24:528, 118:632].astype(np.uint8)))


def blanks() -> tuple[Picture, list[Region]]:
    table = light_table()
    return table, list(find_regions(table, model_backlight(table), 3000.0))


def test_all_coins_are_found_apart() -> None:
    regions = find_regions(backlit(255 - data.coins()), model_backlight(backlit(255 - data.coins())), 500.0)
    assert len(regions) == 24
    diameters = [2 * np.sqrt(region.area_px / np.pi) for region in regions]
    # scikit-image's watershed gives equivalent diameters of 37.0 to 63.2 px; its markers lie up to 2 px further out.
    assert min(diameters) == pytest.approx(37.0, abs=2.5)
    assert max(diameters) == pytest.approx(63.2, abs=3.0)


def test_six_blanks_of_one_size_are_found() -> None:
    _, regions = blanks()
    assert len(regions) == 6
    areas = sorted(region.area_px for region in regions)
    # Otsu's one threshold for all gives 14422 to 16784 px; half way to the light around each piece lies lower, a third
    # of a pixel further in along 750 px of outline.
    assert areas[0] == pytest.approx(14422, rel=0.08)
    assert areas[-1] == pytest.approx(16784, rel=0.08)


def test_outlines_of_two_blanks_agree_but_for_perspective() -> None:
    """Pressed by one tool, they must fit one another by a homography to well under a pixel.

    With outlines from Otsu's threshold the fits to one of them left 0.28 to 0.57 px rms; ours are not smoothed, and the
    photograph is a JPEG whose blocks show at the edges.
    """
    table, regions = blanks()
    light = model_backlight(table)
    outlines = [trace_edge(table.pixels, light, region.outer) for region in regions]
    misfits = [homography_misfit(first.points_px, second.points_px) for first, second in pairwise(outlines)]
    assert np.median(misfits) < 0.75
    assert max(misfits) < 0.95


def homography_misfit(first: Array, second: Array) -> float:
    """Rms distance (px) between two outlines after the best homography, either way round."""
    target, best = cKDTree(second), np.inf
    for turn in (0.0, np.pi):
        a, b = moments(first), moments(second)
        angle = b.axis_rad - a.axis_rad + turn
        rotate = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        moved = (resample(first, 1.0) - a.centroid) @ rotate.T * np.sqrt(b.area / a.area) + b.centroid
        for _ in range(30):
            _, nearest = target.query(moved)
            fitted, _ = cv2.findHomography(moved, second[nearest])
            moved = cv2.perspectiveTransform(moved[None], fitted)[0]
        best = min(best, float(np.sqrt(np.mean(target.query(moved)[0] ** 2))))
    return best
