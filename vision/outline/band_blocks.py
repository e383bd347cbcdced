"""An outline cut in blocks of a few millimetres, the mean profile of each, and how such means scatter.

Rims change slowly along an outline, photon noise does not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.outline.band_model import EdgeBlocks
from vision.outline.edges import Outline, profile_offsets
from vision.outline.place_errors import alike
from vision.outline.registration import MAD_TO_SD
from vision.records import Array


@dataclass(frozen=True, slots=True)
class BandBlockSettings:
    """How an outline is cut in blocks, and which of its points tell a profile."""

    # Length of outline (mm) that shares one mean profile: rims change slowly, and photon noise must not.
    block_mm: float = 6.0
    # Clean points that a block must have for a profile ...
    least_points: int = 12
    # ... and blocks that a piece must have for a band.
    least_blocks: int = 6
    # Noise is told from points so far apart, which share no pixel, ...
    noise_apart: int = 3
    # ... a pair of them every so many.
    noise_every: int = 12
    # Points whose edge lies further from where it was looked for than so many times what is usual are left out of
    # profiles ...
    even: float = 3.0
    # ... but never for less than this (px).
    least_even_px: float = 0.02
    # A block whose quarters differ so many times more than usual counts as that: it holds a bump's flank.
    odd: float = 3.0


BAND_BLOCKS = BandBlockSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """An outline of so many `points` cut in blocks: `starts` of all; those in `use` have `counts` (b,) clean ones."""

    starts: NDArray[np.int64]
    use: NDArray[np.bool_]
    counts: Array
    points: int

    def middle(self) -> Array:
        """The used blocks' middles in points: (b,)."""
        ends = np.append(self.starts[1:], self.points)
        return np.asarray(((self.starts + ends - 1) / 2)[self.use])

    def quarters(self) -> NDArray[np.int64]:
        """Where the quarters of all blocks begin, four after four."""
        bounds = np.append(self.starts, self.points)
        return np.asarray((bounds[:-1, None] + np.arange(4) * np.diff(bounds)[:, None] // 4).ravel())

    def alike(self, mm_per_px: float) -> Array:
        """Parts (b, b) by which what changes slowly along the outline goes together in the used blocks."""
        return alike(self.middle() * mm_per_px, self.points * mm_per_px)

    def mean(self, values: Array, valid: NDArray[np.bool_]) -> Array:
        """Means of values (n, m) over each used block's clean points: (b, m)."""
        clean = np.where(valid[:, None], values, 0.0)
        return np.asarray(np.add.reduceat(clean, self.starts)[self.use] / self.counts[:, None])


def cut_outline(outline: Outline, mm_per_px: float) -> Cut | None:
    """Blocks of about `BAND_BLOCKS.block_mm`; None for an outline too short."""
    points = len(outline.valid)
    blocks = max(round(points * mm_per_px / BAND_BLOCKS.block_mm), 1)
    starts = np.arange(blocks) * points // blocks
    counts = np.add.reduceat(outline.valid.astype(np.float64), starts)
    use = counts >= BAND_BLOCKS.least_points
    return Cut(starts, use, counts[use], points) if use.sum() >= BAND_BLOCKS.least_blocks else None


def even_points(outline: Outline) -> NDArray[np.bool_]:
    """Points (n,) whose profiles show the edge itself: a bump's flanks run across the normals and look softer."""
    typical = MAD_TO_SD * float(np.median(np.abs(outline.edge_px[outline.valid])))
    most = BAND_BLOCKS.even * max(typical, BAND_BLOCKS.least_even_px)
    return np.asarray(outline.valid & (np.abs(outline.edge_px) < most))


def mean_profiles(outline: Outline, cut: Cut, normals: Array, even: NDArray[np.bool_]) -> EdgeBlocks:
    """Mean profile of each block over its even points (n,)."""
    counts = np.maximum(np.add.reduceat(even.astype(np.float64), cut.starts)[cut.use], 1.0)
    clean = np.where(even, outline.share, np.float32(0.0))
    light = np.add.reduceat(clean, cut.starts, axis=1)[:, cut.use].astype(np.float64) / counts
    # Noise from neighbours' differences: what changes along a block is no noise.
    one, other = (outline.share[:, start :: BAND_BLOCKS.noise_every] for start in (0, BAND_BLOCKS.noise_apart))
    rough = np.abs(one[:, : other.shape[1]] - other)
    noise = np.asarray(MAD_TO_SD * np.median(rough, axis=1) / np.sqrt(2), np.float64)
    edge = np.add.reduceat(np.where(even, outline.edge_px, 0.0), cut.starts)[cut.use] / counts
    return EdgeBlocks(light.T, profile_offsets(), normals, noise, counts, edge)


def scatter_of(outline: Outline, cut: Cut, even: NDArray[np.bool_]) -> Array:
    """Covariance (k + 1, k + 1) of a block's mean samples and of its mean edge, as quarters of blocks tell it.

    A straight course along a block drops out of how its four quarters differ.
    """
    starts = cut.quarters()
    counts = np.maximum(np.add.reduceat(even.astype(np.float64), starts), 1.0)
    light = np.add.reduceat(np.where(even, outline.share, np.float32(0.0)), starts, axis=1)
    edge = np.add.reduceat(np.where(even, outline.edge_px, 0.0), starts)
    quarter = (np.vstack((light, edge)) / counts).reshape(len(light) + 1, -1, 4)[:, cut.use]
    # The mean of a block varies as much as this.
    unlike = (quarter @ np.array([1.0, -1.0, -1.0, 1.0]) / 4).T
    usual = MAD_TO_SD * np.median(np.abs(unlike), axis=0)
    odd = np.sqrt(np.mean((unlike / np.maximum(usual, 1e-9)) ** 2, axis=1))
    unlike *= np.minimum(1.0, BAND_BLOCKS.odd / np.maximum(odd, 1e-9))[:, None]
    return np.asarray(unlike.T @ unlike / len(unlike))
