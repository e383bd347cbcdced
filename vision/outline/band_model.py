"""The light across a rim: what the mean profiles of an outline's blocks should be, and how it follows each unknown."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.outline.rim_light import Staircase
from vision.records import Array


@dataclass(frozen=True, slots=True)
class BandModelSettings:
    """What the model of an edge's light takes as given."""

    # No optics and pixel together blur less (standard deviation, px): a pixel alone spreads by 0.29.
    least_blur_px: float = 0.3
    # Scattered light is taken to rise over this far across an edge (px).
    flare_reach_px: float = 10.0
    # A step of the fit leaves every band this wide at least (px): what is narrower leaves no mark on a profile, and a
    # negative width would turn the staircase over.
    least_width_px: float = 0.02
    # A metal reflects between so many times what steel does (own choice): twice its share is more than any spoon
    # metal's, half of it less than any polished rim's; a step of the fit goes no further.
    brightness: tuple[float, float] = (0.5, 2.0)


BAND_MODEL = BandModelSettings()


@dataclass(frozen=True, slots=True, eq=False)
class EdgeBlocks:
    """Mean profiles of b blocks of an outline: `light` (b, k) at `at_px` (k,) along `normals` (b, 2), outward.

    `noise` (k,) of one point's sample; `counts` (b,) points in each; `edge_px` (b,): where they were taken to have
    their edge.
    """

    light: Array
    at_px: Array
    normals: Array
    noise: Array
    counts: Array
    edge_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class BandState:
    """All unknowns: of each block `place`, `own` part of the width, `levels` (dark, bright); of all the rest."""

    place: Array
    own: Array
    levels: Array
    width: float
    blur: float
    coma: Array
    brightness: float
    flare: Array
    astigmatism: Array
    optics: Array

    def common(self) -> Array:
        return np.concatenate(
            ([self.width, self.blur, *self.coma, self.brightness, *self.flare, *self.astigmatism], self.optics)
        )

    def moved(self, common: Array, local: Array, inner: Array) -> "BandState":
        """A step of the fit; no band is narrower than nothing, no blur sharper than a pixel.

        `inner` (b, 4, 4): equations of each block's own unknowns. Where a width can't follow its step, the other three
        take what their own equations then ask for: else a place would move for a width that stays.
        """
        width = max(self.width + float(common[0]), BAND_MODEL.least_width_px)
        own = np.maximum(self.own + local[:, 1], BAND_MODEL.least_width_px - width)
        kept = own - self.own - local[:, 1]
        if kept.any():
            rest = np.array([0, 2, 3])
            follows = np.linalg.solve(inner[:, rest[:, None], rest], -inner[:, rest, 1, None] * kept[:, None, None])
            local = local.copy()
            local[:, rest] += follows[:, :, 0]
        return BandState(
            place=self.place + local[:, 0],
            own=own,
            levels=self.levels + local[:, 2:],
            width=width,
            blur=max(self.blur + float(common[1]), BAND_MODEL.least_blur_px),
            coma=self.coma + common[2:6],
            brightness=float(np.clip(self.brightness + common[6], *BAND_MODEL.brightness)),
            flare=self.flare + common[7:9],
            astigmatism=self.astigmatism + common[9:11],
            optics=self.optics + common[11:],
        )


@dataclass(frozen=True, slots=True, eq=False)
class ModelledLight:
    """What a state makes of the blocks' profiles: `light` (b, k), and what its slopes are reckoned from."""

    light: Array
    brighter: Array
    fall: Array
    blur: Array
    z: Array
    step: Array
    bell: Array
    twice: Array
    thrice: Array
    skew: Array
    clean: Array
    scattered: Array
    step_height: Array


def model_light(state: BandState, blocks: EdgeBlocks, steps: Staircase, scale: Array) -> ModelledLight:
    """The light that mean profiles should show."""
    width = scale * (state.width + state.own)
    # Brighter metal leaves a smaller first step and makes all others larger.
    brighter = np.concatenate(([-float(steps.fall[1:].sum())], steps.fall[1:]))
    fall = steps.fall + (state.brightness - 1.0) * brighter
    # A blur that differs by direction goes with twice the edge's; the third moment is a cubic form of it.
    x, y = blocks.normals.T
    twice, thrice = np.stack((x * x - y * y, 2 * x * y)), np.stack((x**3, x * x * y, x * y * y, y**3))
    blur = np.maximum(state.blur + state.astigmatism @ twice, BAND_MODEL.least_blur_px)[:, None]
    from_edge = blocks.at_px - state.place[:, None]
    z = (from_edge[:, None, :] + steps.depth[:, None] * width[:, None, None]) / blur[:, None]
    step, bell = ndtr(z), np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    # Third moment of the point spread across the edge (Edgeworth's first term); it turns with the edge's direction.
    skew = -(fall @ (bell * (z * z - 1.0))) / (6.0 * blur**3)
    clean = fall @ step + (state.coma @ thrice)[:, None] * skew
    dark, bright = state.levels[:, :1], state.levels[:, 1:]
    step_height = 1.0 - dark - bright
    # Scattered light over a look much shorter than its reach: as much from either side, rising a little across.
    scattered = np.stack((0.5 - clean, np.broadcast_to(blocks.at_px / BAND_MODEL.flare_reach_px, clean.shape)), axis=1)
    light = dark + step_height * clean + state.flare @ scattered + state.optics
    return ModelledLight(light, brighter, fall, blur, z, step, bell, twice, thrice, skew, clean, scattered, step_height)


def slopes(model: ModelledLight, steps: Staircase, scale: Array) -> tuple[Array, Array]:
    """How modelled light changes with each block's own (b, 4, k), and with what shapes all alike (b, 11, k)."""
    falling = np.stack((model.fall, model.fall * steps.depth)) @ model.bell / model.blur[:, None]
    slope, inward = falling[:, 0], scale[:, None] * falling[:, 1]
    wider = -(model.fall @ (model.bell * model.z)) / model.blur
    height = model.step_height
    local = np.stack((-height * slope, height * inward, 1.0 - model.clean, -model.clean), axis=1)
    shape = np.stack(
        (
            height * inward,
            height * wider,
            *(height * model.skew * form[:, None] for form in model.thrice),
            height * (model.brighter @ model.step),
            *model.scattered.transpose(1, 0, 2),
            *(height * wider * form[:, None] for form in model.twice),
        ),
        axis=1,
    )
    return local, shape
