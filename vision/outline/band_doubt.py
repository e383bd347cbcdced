"""What a band fit leaves in doubt, told by what its unknowns and its profiles do, not by how it was weighted.

The fit (`band_fit`) lets blocks' own widths stray further than rims are known to, and weights all samples of a profile
as if their noise were each one's own. Both make good estimates, but the inverse of its normal equations is not their
covariance then. An estimate that is linear in the profiles errs by the noise that passes through it, and by how far the
unknowns lie from where they were held; each counts here as it is: noise as the quarters of the outline's own blocks
differ, widths as rims are known (the sandwich form of an estimator's covariance).
"""

from dataclasses import dataclass

import numpy as np

from vision.records import Array


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """How a fit of b blocks responds: its equations, each block's own unknowns eliminated, and slopes that lead there.

    `alone` (b, 4, 4): covariance of each block's own unknowns were the common ones known; `follow` (b, 4, g): how they
    follow the common ones; `schur` (g, g): equations of these; `local` (b, 4, k), `common` (b, g, k): slopes of the
    light times the weights that the fit gave.
    """

    alone: Array
    follow: Array
    schur: Array
    local: Array
    common: Array


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """What is true of what was fitted: `noise` (k + 1, k + 1): covariance of a block's mean profile and of its edge.

    `held` (g,), `own_held` (4,): weights that held common and own unknowns; `own_width` (b, b): independent parts by
    which blocks' widths differ from where they were held.
    """

    noise: Array
    held: Array
    own_held: Array
    own_width: Array


@dataclass(frozen=True, slots=True, eq=False)
class Covariances:
    """Of b blocks, (b, b): of `place` against the edge that each was taken to have, and of the whole `width`."""

    place: Array
    width: Array


def covariances(response: Response, doubts: Doubts) -> Covariances:
    """How places and widths of the blocks err together."""
    # A block's own unknowns are its place, its width and both levels.
    at_place, at_width, *at_levels = range(len(doubts.own_held))
    back = np.linalg.inv(response.schur)
    follow, light, edge = response.follow, doubts.noise[:-1, :-1], doubts.noise[:-1, -1]
    # How each block's samples move the common unknowns, and their noise on its way there.
    mixed = response.common - follow.transpose(0, 2, 1) @ response.local
    through = mixed @ light
    spread = through.transpose(1, 0, 2).reshape(len(back), -1) @ mixed.transpose(1, 0, 2).reshape(len(back), -1).T

    def of(own: int, rows: Array, against: float) -> Array:
        """Of an own unknown that follows the common ones by `rows` (b, g), its edge taken off `against` times."""
        direct = (response.alone[:, own, None, :] @ response.local)[:, 0]
        cross = (through @ direct[:, :, None])[:, :, 0] - against * (mixed @ edge)
        each = ((direct @ light - 2 * against * edge) * direct).sum(axis=1) + against**2 * doubts.noise[-1, -1]
        between = cross @ rows.T
        total = between + between.T + rows @ (spread + np.diag(doubts.held)) @ rows.T
        total[np.diag_indices(len(total))] += each
        reach = {at: np.diag(response.alone[:, own, at]) - rows @ follow[:, at].T for at in (at_width, *at_levels)}
        widths = doubts.own_held[at_width] * reach[at_width] @ doubts.own_width
        total += widths @ widths.T
        for level in at_levels:
            total += doubts.own_held[level] * reach[level] @ reach[level].T
        return np.asarray(total)

    place, width = -follow[:, at_place] @ back, back[0] - follow[:, at_width] @ back
    return Covariances(of(at_place, place, 1.0), of(at_width, width, 0.0))


def parts(covariance: Array) -> Array:
    """Independent parts (b, b) of errors with this covariance (b, b), column by column."""
    # Rounding may leave what is nought a little below it.
    little = np.sqrt(np.finfo(np.float64).eps) * np.trace(covariance) / len(covariance)
    return np.asarray(np.linalg.cholesky(covariance + little * np.eye(len(covariance))))
