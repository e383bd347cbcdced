"""What the backlit frame shows around a piece and the measured outline does not explain.

The frame is predicted from the light's levels, the outline as measured, its holes and the edge's blur. Cheap masks
first: light well inside the outline, darkness beside it. Only around what they show, and where no edge was found, the
prediction is made pixel by pixel. Light within the outline is an `Opening`, however thin (blur spreads light but keeps
its sum); what takes light at the rim is a `Stray`.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.outline.glance import places
from vision.outline.leftovers import Leftovers
from vision.outline.prediction import (
    Box,
    Mask,
    Shape,
    Window,
    allowed_at,
    as_predicted,
    in_drawn_holes,
    share_of_light,
    tolerance,
    window_around,
)
from vision.outline.scene import BacklitScene
from vision.records import Opening, Stray


@dataclass(frozen=True, slots=True, eq=False)
class Unexplained:
    """What is left: openings and strays, largest first; `seen` (n,): the frame shows the outline where it was put."""

    openings: tuple[Opening, ...]
    strays: tuple[Stray, ...]
    seen: Mask


def unexplained(scene: BacklitScene, shape: Shape) -> Unexplained:
    """Hold the frame around a piece against what its measured outline predicts."""
    nominal = scene.nominal
    points = nominal.points + shape.deviation_mm[:, None] * nominal.normals
    outline_px = scene.camera.to_px(shape.motion.inverse().apply(points))
    window = window_around(scene, outline_px)
    seen = shape.seen | as_predicted(scene, shape, outline_px, window)
    left = [_explained(box, scene, shape, window) for box in places(scene, shape, outline_px, seen, window)]
    openings = [opening for one in left for opening in one.openings()]
    strays = [stray for one in left if shape.alone for stray in one.strays(shape, seen)]
    return Unexplained(
        tuple(sorted(openings, key=lambda one: -one.area_mm2)),
        tuple(sorted(strays, key=lambda one: -one.reach_mm)),
        seen,
    )


def _explained(box: Box, scene: BacklitScene, shape: Shape, window: Window) -> Leftovers:
    """One box predicted pixel by pixel."""
    nominal = scene.nominal
    share = share_of_light(window, box)
    v, u = np.mgrid[box.top : box.bottom, box.left : box.right]
    px = np.column_stack((u.ravel(), v.ravel())).astype(np.float64) + window.low
    mm = shape.motion.apply(scene.camera.to_tray(px))
    feet = nominal.project(mm)
    off = feet.off_mm - np.interp(
        feet.along, np.arange(len(shape.deviation_mm)), shape.deviation_mm, period=len(nominal.points)
    )
    distance = (off / scene.mm_per_px).reshape(share.shape)
    share[in_drawn_holes(shape, window, box)] = 0.0
    return Leftovers(
        scene=scene,
        px=px.reshape(*share.shape, 2),
        mm=mm.reshape(*share.shape, 2),
        distance=distance,
        left=share - ndtr(distance / shape.blur_px),
        allowed=allowed_at(distance, shape.blur_px, tolerance(window)),
        bright_rim=(-off < shape.bright_rim_mm[feet.nearest]).reshape(share.shape) & (share < 1.0),
        share=share,
        nearest=feet.nearest.reshape(share.shape),
    )
