"""The band from mean profiles of known rims: widths, the true edge, and what is said of their uncertainty."""

import numpy as np
import pytest
from scipy.special import ndtr

from vision.outline.band_doubt import Doubts, Response, covariances, parts
from vision.outline.band_fit import fit_band, known_band
from vision.outline.band_model import BAND_MODEL, BandState, EdgeBlocks
from vision.outline.band_told import Band, BandPrior
from vision.outline.edges import profile_offsets
from vision.outline.rim_light import band_share, reflectance, staircase

BLOCKS, MM_PER_PX, BLUR_PX, POINTS = 48, 0.05, 0.86, 125
NOISE = 0.007  # of one sample, as a share of the light: 12 000 electrons at full scale


def profiles(radius_mm: np.ndarray, half_angle_deg: float, rng: np.random.Generator, coma: float = 0.0) -> EdgeBlocks:
    """Blocks whose true edge lies at 0, their light by a dense sum over the band, not by the staircase."""
    at = profile_offsets()
    turn = 2 * np.pi * np.arange(BLOCKS) / BLOCKS
    normals = np.column_stack((np.cos(turn), np.sin(turn)))
    angle = (np.arange(400) + 0.5) / 400 * np.radians(half_angle_deg) / 2
    light = []
    for radius, normal in zip(radius_mm, normals, strict=True):
        depth = radius * (1 - np.cos(angle)) / MM_PER_PX
        area = radius * np.sin(angle) / MM_PER_PX * (angle[1] - angle[0])
        z = (at[:, None] + depth) / BLUR_PX
        band = (reflectance(angle) * area * np.exp(-0.5 * z * z)).sum(axis=1) / (np.sqrt(2 * np.pi) * BLUR_PX)
        z = at / BLUR_PX
        lopsided = -coma * normal[0] ** 3 * (z * z - 1) * np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * 6 * BLUR_PX**3)
        light.append(ndtr(z) + band + lopsided)
    noisy = np.array(light) + rng.normal(0.0, NOISE * np.sqrt(2 / POINTS), (BLOCKS, len(at)))
    half = np.array([np.interp(0.5, row, at) for row in noisy])
    return EdgeBlocks(noisy, at, normals, np.full(len(at), NOISE), np.full(BLOCKS, float(POINTS)), half)


def prior(half_angle_deg: float, radius_mm: float = 0.3, u_mm: float = 0.12) -> BandPrior:
    share = band_share(half_angle_deg) / MM_PER_PX
    slope = (band_share(half_angle_deg + 1.0) - band_share(half_angle_deg - 1.0)) / 2 / MM_PER_PX
    own = share * u_mm / np.sqrt(2)
    return BandPrior(share * radius_mm, float(np.hypot(own, radius_mm * slope)), own, np.ones(BLOCKS), np.eye(BLOCKS))


def scatter(blocks: EdgeBlocks) -> np.ndarray:
    """Of profiles whose noise is each sample's own; the edge taken from them errs with them."""
    light = np.diag(blocks.noise**2 * 2 / POINTS)
    # Between two samples half a pixel apart the half level lies where their line crosses it.
    slope = np.gradient(blocks.light.mean(axis=0), blocks.at_px)
    near = np.abs(blocks.at_px - blocks.edge_px.mean()).argsort()[:2]
    leads = np.zeros(len(light))
    leads[near] = -0.5 / slope[near]
    return np.block([[light, (light @ leads)[:, None]], [leads @ light, leads @ light @ leads]])


def fitted(blocks: EdgeBlocks, half_angle_deg: float) -> Band:
    steps = staircase(half_angle_deg)
    return fit_band(blocks, scatter(blocks), steps, prior(half_angle_deg), mean_blur(blocks))


def mean_blur(blocks: EdgeBlocks) -> float:
    trial = np.linspace(0.6, 2.0, 281)
    z = (blocks.at_px - blocks.edge_px[:, None])[:, None, :] / trial[:, None]
    return float(trial[((ndtr(z) - blocks.light[:, None, :]) ** 2).sum(axis=(0, 2)).argmin()])


def radii(rng: np.random.Generator) -> np.ndarray:
    along = np.interp(
        np.arange(BLOCKS), np.arange(0, BLOCKS + 1, 6), np.append(knots := rng.uniform(0.1, 0.6, 8), knots[0])
    )
    return np.asarray(along)


def seen(half_angle_deg: float, seed: int, coma: float = 0.0) -> tuple[Band, np.ndarray, np.ndarray]:
    """The band, errors of the true edge (um) and of the widths (px)."""
    rng = np.random.default_rng([seed, round(half_angle_deg)])
    radius = radii(rng)
    blocks = profiles(radius, half_angle_deg, rng, coma)
    band = fitted(blocks, half_angle_deg)
    error = 1000 * MM_PER_PX * (blocks.edge_px + band.shift_px)
    return band, error, band.width_px - radius * band_share(half_angle_deg) / MM_PER_PX


@pytest.mark.parametrize(("angle", "bound_um"), [(40.0, 5.0), (60.0, 2.0), (75.0, 2.0)])
def test_the_true_edge_is_found_beyond_a_band(angle: float, bound_um: float) -> None:
    errors = [seen(angle, seed)[1] for seed in range(8)]
    assert abs(np.mean(errors)) < bound_um
    # Without the fit the half level lies 10 um (40 degrees) to 40 um (75 degrees) inside.
    assert np.abs(np.mean(errors, axis=1)).max() < 2 * bound_um


def test_a_wide_band_tells_its_width_and_the_optics_their_blur() -> None:
    for seed in range(4):
        band, _, width = seen(75.0, seed)
        assert np.abs(width).max() < 0.2
        assert abs(width.mean()) < 0.06
        assert band.blur_px == pytest.approx(BLUR_PX, abs=0.03)


@pytest.mark.parametrize("angle", [40.0, 60.0, 75.0])
def test_stated_uncertainty_holds(angle: float) -> None:
    # Blocks share most of their error: 24 fits of 48 blocks. By chance a share under 0.85 of errors within 2 u comes
    # in fewer than 1 of 100 such tests.
    within, size = [], []
    for seed in range(24):
        band, error, _ = seen(angle, seed)
        sd = 1000 * MM_PER_PX * np.hypot(np.sqrt((band.shared_px**2).sum(axis=1)), band.own_px)
        within.append(np.abs(error) < 2 * sd)
        size.append(np.sqrt(np.mean((error / sd) ** 2)))
    assert np.mean(within) > 0.85
    assert 0.3 < np.median(size) < 1.3


def test_coma_is_not_taken_for_a_band() -> None:
    plain, lopsided = seen(60.0, 3)[1], seen(60.0, 3, coma=0.05)[1]
    # Coma moves opposite edges the same way: no even shift of all.
    assert abs(lopsided.mean() - plain.mean()) < 1.0


def test_a_light_of_another_extent_is_a_surprise() -> None:
    rng = np.random.default_rng(4)
    blocks = profiles(radii(rng), 75.0, rng)
    told = fitted(blocks, 40.0)
    assert told.surprise > 4.5
    assert abs(seen(75.0, 4)[0].surprise) < 4.5


def test_known_alone_moves_all_edges_by_what_is_known() -> None:
    known = prior(20.0)
    band = known_band(staircase(20.0), known, BLUR_PX)
    assert 1000 * MM_PER_PX * band.shift_px == pytest.approx(2.9, abs=0.1)
    shared = np.sqrt((band.shared_px**2).sum(axis=1))
    # Forty per cent of the radius in doubt is forty per cent of the shift, and the metal's brightness beside.
    assert np.hypot(shared, band.own_px) == pytest.approx(0.4 * band.shift_px, rel=0.1)


def test_covariances_are_those_of_the_equations_where_the_weights_tell_the_noise() -> None:
    rng = np.random.default_rng(8)
    blocks, samples, held = 5, 7, rng.uniform(1.0, 2.0, 3)
    own_held = np.array([0.0, 1.5, 2.0, 2.5])
    local, common = rng.normal(size=(blocks, 4, samples)), rng.normal(size=(blocks, 3, samples))
    # Equations of all unknowns at once, the common ones first.
    slopes = np.zeros((blocks * samples, 3 + 4 * blocks))
    for k in range(blocks):
        rows = slice(k * samples, (k + 1) * samples)
        slopes[rows, :3], slopes[rows, 3 + 4 * k : 7 + 4 * k] = common[k].T, local[k].T
    weight = 3.0
    whole = weight * slopes.T @ slopes + np.diag(np.concatenate((held, np.tile(own_held, blocks))))
    inverse = np.linalg.inv(whole)
    alone = np.linalg.inv(weight * local @ local.transpose(0, 2, 1) + np.diag(own_held))
    follow = alone @ (weight * local @ common.transpose(0, 2, 1))
    response = Response(alone, follow, np.linalg.inv(inverse[:3, :3]), weight * local, weight * common)
    noise = np.pad(np.eye(samples) / weight, ((0, 1), (0, 1)))
    told = covariances(response, Doubts(noise, held, own_held, np.eye(blocks) / np.sqrt(own_held[1])))
    place, width = 3 + 4 * np.arange(blocks), 4 + 4 * np.arange(blocks)
    assert told.place == pytest.approx(inverse[np.ix_(place, place)])
    both = inverse[np.ix_(width, width)] + inverse[np.ix_(width, [0])] + inverse[np.ix_([0], width)] + inverse[0, 0]
    assert told.width == pytest.approx(both)
    assert parts(told.place) @ parts(told.place).T == pytest.approx(told.place)
    # Widths known better than they were held, and an edge that errs as its profile does, leave less in doubt.
    better = covariances(response, Doubts(noise, held, own_held, 0.1 * np.eye(blocks)))
    assert (np.diag(better.place) < np.diag(told.place)).all()


def test_a_place_does_not_follow_a_width_that_has_come_to_its_least() -> None:
    # Found on a rendered piece at 60 degrees: places went 40 um inward with widths that stayed, the fit stuck.
    rng = np.random.default_rng(5)
    roots = rng.normal(size=(3, 4, 4))
    inner = roots @ roots.transpose(0, 2, 1) + np.eye(4)
    state = BandState(
        place=np.zeros(3),
        own=np.zeros(3),
        levels=np.zeros((3, 2)),
        width=0.5,
        blur=0.9,
        coma=np.zeros(4),
        brightness=1.0,
        flare=np.zeros(2),
        astigmatism=np.zeros(2),
        optics=np.zeros(1),
    )
    step = np.array([[0.1, 0.2, 0.0, 0.0], [-0.4, -1.5, 0.01, 0.02], [0.0, -0.48, 0.0, 0.0]])
    there = state.moved(np.zeros(12), step, inner)
    made = np.column_stack((there.place, there.own, there.levels))
    assert there.own == pytest.approx([0.2, BAND_MODEL.least_width_px - 0.5, -0.48])
    assert made[[0, 2]] == pytest.approx(step[[0, 2]])
    # Nothing but the width is pushed on: the others' equations are met.
    assert (inner[1] @ (made[1] - step[1]))[[0, 2, 3]] == pytest.approx(0.0, abs=1e-9)
