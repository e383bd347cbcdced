"""How wide a rim's bright band is, and where the true edge lies beyond the half level, from the edge's own profile.

The outline is taken in blocks of a few millimetres; the mean profile of each is a staircase (`rim_light`) behind the
optics' blur. One least-squares fit holds all blocks of a piece together: what they share (the blur, its coma, the
metal's brightness, the mean width, how the point spread departs from a Gaussian) and what is each block's own (place,
width, levels). Known half angle and rim radius enter as observations with their uncertainties (Bayesian least squares);
each block's own unknowns are eliminated first (Schur's complement). Where band and core can't be told
apart the profile says next to nothing and the known values lead; where they can, it leads.
"""

from dataclasses import dataclass

import numpy as np

from vision.outline.band_doubt import Doubts, Response, covariances, parts
from vision.outline.band_model import BAND_MODEL, BandState, EdgeBlocks, ModelledLight, model_light, slopes
from vision.outline.band_told import Band, BandPrior
from vision.outline.rim_light import Staircase
from vision.records import Array


@dataclass(frozen=True, slots=True)
class BandFitSettings:
    """What is known of optics, metal and light before a band's profiles are fitted, and when the fit ends."""

    # What any optics' point spread may depart from a Gaussian, as a share of light at each sample, the same all along
    # ...
    optics: float = 0.003
    # ... and what a single block may besides (pixel phase, neighbours).
    block: float = 0.0007
    # Neighbouring edge points share pixels: the mean of n varies so many times more than if they did not.
    shared_pixels: float = 2.0
    # Levels beside a block of edge are known to this share of the step before its own profile tells them.
    levels: float = 0.01
    # How well a metal's brightness is known against Fresnel's for steel, as a share of the light ...
    brightness: float = 0.05
    # ... and a lens's third moment (px^3), before the profile tells.
    coma_px3: float = 0.1
    # Share of the light that a lens scatters, and by how much it rises across an edge over `flare_reach_px`: how far
    # either may lie from none before the profile tells.
    flare: tuple[float, float] = (0.05, 0.05)
    # Doubt of the blur ...
    blur_share: float = 0.5
    # ... and how much it may differ by direction, as shares of what a plain edge would have.
    uneven: float = 0.1
    # How far a block's width may stray from the mean is hardly held: held to what is known, rims that vary more would
    # push their mean width up instead, since it is the squares of widths that blur an edge (simulated rims,
    # alike along a piece or not: by half at 1, hardly at 5; at 3.5 the stated uncertainty holds for all of them).
    free: float = 3.5
    # Steps of the fit, at most ...
    most_steps: int = 12
    # ... it is settled when neither mean width nor blur moves by more (px), nor blocks' own widths on average ...
    settled_px: float = 0.01
    # ... if the band is known to be wider than this share of the blur. Narrower ones widen an edge by their squares:
    # wide places would lead further steps and narrow ones follow (rendered at 40 degrees, half of the blur: mean error
    # 4 um by further steps, 1.2 without; at 60 degrees, as wide as the blur, 0.9 and 1.3).
    wide: float = 0.75
    # Shortest share of a step that is tried where a whole one does not help.
    least_share: float = 0.02


BAND_FIT = BandFitSettings()


def known_band(steps: Staircase, prior: BandPrior, blur_px: float) -> Band:
    """The band by what is known of it alone, of a profile too blurred to tell."""
    pull = steps.brightness * prior.scale
    shared = np.array([prior.shared_px, BAND_FIT.brightness * prior.width_px])
    return Band(
        shift_px=pull * prior.width_px,
        shared_px=pull[:, None] * shared,
        own_px=pull * prior.own_px,
        width_px=prior.scale * prior.width_px,
        width_parts_px=np.column_stack((prior.scale * prior.shared_px, np.diag(prior.scale * prior.own_px))),
        blur_px=blur_px,
        brightness=steps.brightness,
        surprise=0.0,
    )


def fit_band(blocks: EdgeBlocks, scatter: Array, steps: Staircase, prior: BandPrior, blur_px: float) -> Band:
    """Fit the blocks' profiles; `blur_px` is what a plain edge would have to look as they do on average.

    `scatter` (k + 1, k + 1): covariance of a block's mean samples and of its mean edge.
    """
    spread = float(((steps.depth - steps.brightness) ** 2 * steps.fall).sum())
    state = BandState(
        place=blocks.edge_px + steps.brightness * prior.scale * prior.width_px,
        own=np.zeros(len(blocks.light)),
        levels=np.zeros((len(blocks.light), 2)),
        width=prior.width_px,
        blur=float(np.sqrt(max(blur_px**2 - spread * prior.width_px**2, BAND_MODEL.least_blur_px**2))),
        coma=np.zeros(4),
        brightness=1.0,
        flare=np.zeros(2),
        astigmatism=np.zeros(2),
        optics=np.zeros(len(blocks.at_px)),
    )
    problem = _Problem(
        blocks=blocks,
        steps=steps,
        scale=prior.scale,
        weight=1 / (blocks.noise**2 * BAND_FIT.shared_pixels / blocks.counts[:, None] + BAND_FIT.block**2)[:, None, :],
        expected=state.common(),
        held=np.concatenate(
            (
                np.array(
                    [
                        prior.shared_px,
                        BAND_FIT.blur_share * blur_px,
                        *[BAND_FIT.coma_px3] * 4,
                        BAND_FIT.brightness,
                        *BAND_FIT.flare,
                        *[BAND_FIT.uneven * blur_px] * 2,
                    ]
                )
                ** -2,
                np.full(len(blocks.at_px), BAND_FIT.optics**-2),
            )
        ),
        own_held=np.array(
            [0.0, 1 / (BAND_FIT.free * prior.own_px) ** 2, 1 / BAND_FIT.levels**2, 1 / BAND_FIT.levels**2]
        ),
    )
    here = _hold(state, problem)
    equations, share = _equations(here, problem), 1.0
    for _ in range(BAND_FIT.most_steps):
        there = _hold(here.state.moved(share * equations.common, share * equations.local, equations.inner), problem)
        if there.cost <= here.cost:
            moved = share * np.abs(equations.common[:2]).max()
            if prior.width_px > BAND_FIT.wide * blur_px:
                moved = max(moved, share * float(np.sqrt(np.mean(equations.local[:, 1] ** 2))))
            here, share = there, min(1.0, 2 * share)
            if moved < BAND_FIT.settled_px:
                # So short a last step leaves the equations as they are.
                break
            equations = _equations(here, problem)
        elif share < BAND_FIT.least_share:
            break
        else:
            # Too long a step leaves the stretch over which the model is straight.
            share /= 4
    state = here.state
    response = _response(equations, problem)
    # Beside its noise, what the staircase leaves of a single block's light.
    noise = scatter + np.diag(np.append(np.full(len(blocks.at_px), BAND_FIT.block**2), 0.0))
    told = covariances(response, Doubts(noise, problem.held, problem.own_held, prior.own_px * prior.alike))
    # A block that fits worse than its noise allows holds something else: its own uncertainty grows with its misfit.
    worse = np.maximum(here.misfit, 1.0) - 1.0
    alone = response.alone[:, 0]
    misfit = np.sqrt(worse * (alone[:, 0] - problem.own_held[1] * alone[:, 1] ** 2))
    shift = state.place - blocks.edge_px
    # Between two blocks the shift is taken to run straight; a bend over three of them says by how much it may not.
    bent = (np.roll(shift, 1) + np.roll(shift, -1) - 2 * shift) / 8
    mean_variance = float(np.linalg.inv(equations.schur)[0, 0])
    return Band(
        shift_px=shift,
        shared_px=parts(told.place),
        own_px=np.hypot(misfit, bent),
        width_px=prior.scale * (state.width + state.own),
        width_parts_px=prior.scale[:, None] * parts(told.width),
        blur_px=state.blur,
        brightness=state.brightness * steps.brightness,
        surprise=(state.width - prior.width_px) / np.sqrt(max(prior.shared_px**2 - mean_variance, 1e-9)),
    )


def _response(equations: "_Equations", problem: "_Problem") -> Response:
    # What the point spread departs by adds to each sample as it is.
    each = problem.weight * np.eye(problem.weight.shape[2])
    return Response(
        alone=_solved(equations.inner, np.broadcast_to(np.eye(4), equations.inner.shape)),
        follow=equations.follow,
        schur=equations.schur,
        local=equations.by_local,
        common=np.concatenate((equations.by_shape, each), axis=1),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is fitted: `weight` (b, 1, k) of the light; `expected` (g,) common unknowns, `held` to them with weights.

    `own_held` (4,): weights that hold each block's own unknowns at nought, but for its place.
    """

    blocks: EdgeBlocks
    steps: Staircase
    scale: Array
    weight: Array
    expected: Array
    held: Array
    own_held: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """A state held against the profiles: what its light leaves of them, `rest` (b, k), and what that costs.

    `misfit` (b,): mean square of each block's residuals over their noise; `at_own` (b, 4), `off` (g,): how far each
    block's own unknowns and the common ones lie from what was known of them.
    """

    state: BandState
    model: ModelledLight
    rest: Array
    at_own: Array
    off: Array
    misfit: Array
    cost: float


def _hold(state: BandState, problem: _Problem) -> _Held:
    model = model_light(state, problem.blocks, problem.steps, problem.scale)
    rest = problem.blocks.light - model.light
    at_own = np.column_stack((np.zeros_like(state.own), state.own, state.levels))
    off = state.common() - problem.expected
    misfit = (problem.weight[:, 0] * rest**2).sum(axis=1)
    cost = misfit.sum() + (problem.own_held * at_own**2).sum() + (problem.held * off**2).sum()
    misfit = np.asarray(misfit / (rest.shape[1] - len(problem.own_held)), np.float64)
    return _Held(state, model, rest, at_own, off, misfit, float(cost))


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """The normal equations at a state, each block's own unknowns eliminated, and the step that they ask for.

    `inner` (b, 4, 4) of each block's own; `follow` (b, 4, g): how those follow the common ones; `schur` (g, g);
    `by_local` (b, 4, k), `by_shape` (b, 11, k): slopes of the light times weights.
    """

    inner: Array
    follow: Array
    schur: Array
    by_local: Array
    by_shape: Array
    common: Array
    local: Array


def _equations(held: _Held, problem: _Problem) -> _Equations:
    weight, rest = problem.weight, held.rest
    local, shape = slopes(held.model, problem.steps, problem.scale)
    by_local, by_shape = local * weight, shape * weight
    inner = by_local @ local.transpose(0, 2, 1) + np.diag(problem.own_held)
    right = (by_local @ rest[:, :, None])[:, :, 0] - problem.own_held * held.at_own
    # What the point spread departs by adds to each sample as it is: its derivatives are a unit matrix.
    cross = np.concatenate((local @ by_shape.transpose(0, 2, 1), by_local), axis=2)
    solved = _solved(inner, np.concatenate((cross, right[:, :, None]), axis=2))
    shapes = shape.shape[1]
    by_shapes = by_shape.transpose(1, 0, 2).reshape(shapes, -1)
    between = by_shape.sum(axis=0)
    shape_by_shape = by_shapes @ shape.transpose(1, 0, 2).reshape(shapes, -1).T
    outer = np.block([[shape_by_shape, between], [between.T, np.diag(weight.sum(axis=0)[0])]])
    followed = cross.reshape(-1, cross.shape[2]).T @ solved.reshape(-1, solved.shape[2])
    schur = outer + np.diag(problem.held) - followed[:, :-1]
    wanted = np.concatenate((by_shapes @ rest.ravel(), (weight[:, 0] * rest).sum(axis=0))) - held.off * problem.held
    common = np.asarray(np.linalg.solve(schur, wanted - followed[:, -1]), np.float64)
    follow = solved[:, :, :-1]
    return _Equations(
        inner=inner,
        follow=follow,
        schur=np.asarray(schur, np.float64),
        by_local=by_local,
        by_shape=by_shape,
        common=common,
        local=solved[:, :, -1] - follow @ common,
    )


def _solved(inner: Array, right: Array) -> Array:
    """Solutions (b, 4, m) of each block's normal equations (b, 4, 4) by Gauss and Jordan, all blocks at once.

    They are positive definite and need no pivots; a call of the library for each block takes ten times as long.
    """
    rows = np.concatenate((inner, right), axis=2)
    for k in range(inner.shape[1]):
        pivot = rows[:, k] / rows[:, k, k, None]
        rows -= rows[:, :, k, None] * pivot[:, None]
        rows[:, k] = pivot
    return np.asarray(rows[:, :, inner.shape[1] :], np.float64)
