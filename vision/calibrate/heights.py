"""Heights above the tray: the plane is calibrated where the target's face lies, and pieces lie on the tray below it."""

from dataclasses import dataclass, replace

import numpy as np

from vision.calibrate.budget import Contribution
from vision.calibrate.models import Model, Parallel
from vision.calibrate.tray_frame import TrayFrame
from vision.errors import Unusable

THICKNESS = "target's thickness"
UNKNOWN_THICKNESS_MM = 3.0
"""How thick a target may be where nobody says it: common practice, no source (boards of glass, aluminium sheet)."""


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights above the tray's plane, mm.

    `target_mm` is that of the target's printed face in the first picture, its thickness; None: nobody said, 0 is taken.
    `target_u_mm` is its standard uncertainty. Where the pictures tell no camera's height, the scale is put to the
    height of the measured edges, `edge_mm`, by `camera_mm`, that of the lens; None: nobody said.
    """

    target_mm: float | None = 0.0
    target_u_mm: float = 0.0
    edge_mm: float = 0.0
    camera_mm: float | None = None


def at_tray(frame: TrayFrame, model: Model, heights: Heights, field_mm: float) -> tuple[TrayFrame, Contribution]:
    """The map to the tray's plane from that to the target's face, and how uncertain the thickness leaves any length.

    `field_mm` is the frame's longer side on the tray: a lens of unknown height is taken to stand as high as that, which
    hardly any stands below (common practice, no source).

    Raises
    ------
    Unusable
        The camera's height is needed and not told.
    """
    thickness = heights.target_mm or 0.0
    thickness_u_mm = UNKNOWN_THICKNESS_MM if heights.target_mm is None else heights.target_u_mm
    source = "not stated: up to 3 mm taken" if heights.target_mm is None else f"{thickness:g} mm as stated"
    if isinstance(model, Parallel):
        return frame, Contribution(THICKNESS, 0.0, source="a telecentric lens: no height matters")
    if frame.camera is None:
        edge_above_mm = heights.edge_mm - thickness
        if heights.camera_mm is None and edge_above_mm != 0.0:
            expected = (
                "the lens's height above the tray expected, since edges and target's face lie at different heights"
            )
            raise Unusable("--camera-height-mm", "", expected, f"{heights.edge_mm:g} and {thickness:g} mm")
        height_mm = field_mm if heights.camera_mm is None else heights.camera_mm - thickness
        grown = 1.0 if heights.camera_mm is None else 1.0 - edge_above_mm / height_mm
        homography = np.diag([grown, grown, 1.0]) @ frame.homography
        return (
            replace(frame, homography=homography, mm_per_px=grown * frame.mm_per_px),
            Contribution(THICKNESS, thickness_u_mm / height_mm, source=source),
        )
    height_mm, (x, y) = frame.camera.height_mm, frame.camera.foot_mm
    grown = (height_mm + thickness) / height_mm
    away = np.array([[grown, 0.0, (1.0 - grown) * x], [0.0, grown, (1.0 - grown) * y], [0.0, 0.0, 1.0]])
    homography = away @ frame.homography
    camera = replace(frame.camera, height_mm=height_mm + thickness)
    lowered = TrayFrame(homography / homography[2, 2], frame.lens, camera, grown * frame.mm_per_px)
    return lowered, Contribution(THICKNESS, thickness_u_mm / camera.height_mm, source=source)
