"""Corners and discs: how near the truth, and whether the reported uncertainty is the seen error."""

import numpy as np
import pytest

from synthetic_images.targets import project
from tests.calibrate.rig import Rig, observations, photograph, poses, target, true_nodes
from vision.calibrate.corners import bend_shift, fit_corners, search_corners
from vision.calibrate.discs import centroid_shift
from vision.calibrate.observation import see
from vision.calibrate.target import find_nodes, neighbours


@pytest.mark.parametrize("psf_px", [0.6, 0.9, 1.3])
def test_a_corners_stated_uncertainty_is_its_error(psf_px: float) -> None:
    rng = np.random.default_rng(11)
    cameras = poses(Rig(psf_px=psf_px), 4, rng)
    errors = []
    for camera, observation in zip(cameras, observations(cameras, rng)[0], strict=True):
        assert observation.sd_px is not None
        errors.append((observation.points_px - true_nodes(camera, observation.points_px)) / observation.sd_px)
    # 432 errors: their root mean square is known to 3.4 %, so this fails by chance once in some 10 000 draws.
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(1.0, abs=0.13)


def test_the_fit_is_several_times_nearer_than_the_gradient_search() -> None:
    rng = np.random.default_rng(12)
    camera = poses(Rig(), 2, rng)[1]
    pixels = photograph(camera, rng)
    start = find_nodes(pixels, target(), "view")
    truth = true_nodes(camera, start)
    fitted = fit_corners(pixels, start, neighbours(start, target()), 15).points_px
    searched = search_corners(pixels, start, 11)
    assert np.std(fitted - truth) < 0.3 * np.std(searched - truth)


def test_uneven_light_moves_no_corner() -> None:
    rng = np.random.default_rng(13)
    camera = poses(Rig(), 2, rng)[1]
    pixels = photograph(camera, rng)
    rows, columns = pixels.shape
    lamp = 1.0 - 0.4 * np.linspace(0, 1, columns)[None, :] * np.linspace(0.2, 1, rows)[:, None]
    even, uneven = (
        fit_corners(
            p, true_nodes(camera, find_nodes(p, target(), "")), neighbours(find_nodes(p, target(), ""), target()), 12
        )
        for p in (pixels, (pixels * lamp).astype(np.uint8))
    )
    moved = uneven.points_px - even.points_px
    # Coarser counts add noise of their own; a shift common to all corners would be the lamp's doing.
    assert np.abs(moved.mean(axis=0)).max() < 4.0 * even.sd_px.mean() / np.sqrt(len(moved))


def test_blur_is_told() -> None:
    rng = np.random.default_rng(14)
    cameras = poses(Rig(psf_px=1.2), 1, rng)
    observation = observations(cameras, rng)[0][0]
    # The pixel's own box adds 1/12 px² to the optics' blur.
    assert observation.blur_px == pytest.approx(np.sqrt(1.2**2 + 1 / 12), rel=0.02)


def test_a_discs_centre_is_found_where_perspective_puts_it() -> None:
    rng = np.random.default_rng(15)
    camera = poses(Rig(focal_px=700.0), 2, rng, tilt_deg=35.0)[1]
    pixels = photograph(camera, rng, "circles")
    observation, _ = see(pixels, target("circles"), "view")
    truth = true_nodes(camera, observation.points_px)
    shift = centroid_shift(lambda mm: project(camera, mm), target("circles").points_mm, 0.25 * 2.5)
    # The sight may run the other way round; its centroids carry the same shifts in the truth's order.
    order = np.argmin(np.linalg.norm(truth[:, None] - project(camera, target().points_mm)[None], axis=2), axis=1)
    left = observation.points_px - truth - shift[order]
    assert np.abs(shift).max() > 0.02
    assert np.abs(np.mean(left, axis=0)).max() < 0.003
    assert np.std(left) < 0.012


def test_bright_discs_on_a_dark_ground_serve_as_well() -> None:
    rng = np.random.default_rng(16)
    camera = poses(Rig(), 1, rng)[0]
    pixels = photograph(camera, rng, "circles")
    dark, bright = (see(p, target("circles"), "view")[0].points_px for p in (pixels, 255 - pixels))
    assert bright == pytest.approx(dark, abs=1e-6)


def test_edges_bent_by_the_lens_pull_a_corner_as_foretold() -> None:
    rng = np.random.default_rng(17)
    rig = Rig(focal_px=450.0, distortion=(-0.25, 0.06, 0.0, 0.0, 0.0))
    pulled, foretold = [], []
    for camera in poses(rig, 4, rng):
        observation, _ = see(photograph(camera, rng), target(), "view")
        truth = true_nodes(camera, observation.points_px)
        shift = bend_shift(lambda mm, c=camera: project(c, mm), target().points_mm, observation.half_window_px)
        order = np.argmin(np.linalg.norm(truth[:, None] - project(camera, target().points_mm)[None], axis=2), axis=1)
        pulled.append(observation.points_px - truth)
        foretold.append(shift[order])
    pull, shift = np.concatenate(pulled).ravel(), np.concatenate(foretold).ravel()
    assert np.abs(shift).max() > 0.01
    # Slope of the pull over its prediction; its own uncertainty here is some 0.03.
    assert (pull @ shift) / (shift @ shift) == pytest.approx(1.0, abs=0.12)
