"""What `brightbowl calibrate` says: what was found, and what it changes in a station."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vision.calibrate import Calibration
    from vision.records import Station


def said(found: Calibration, out: Path, report: Path) -> list[str]:
    from vision.calibrate import calibration_advice, choice

    fitted = found.chosen.fitted
    used = sum(not view.left_out for view in found.views)
    lines = [
        f"{used} view(s), {fitted.rms_px:.4f} px rms; {found.tray_frame.mm_per_px:.6f} mm/px in the frame's middle",
        *(
            f"  {number.name} = {number.value:.6g}, standard uncertainty {number.standard:.2g}"
            for number in found.numbers
        ),
        f"scale uncertain by {100 * found.scale.combined:.2g} %, "
        f"a place in the field by {found.outline.combined:.2g} mm (k = 1)",
    ]
    if found.tray_frame.camera:
        height, (x, y) = found.tray_frame.camera.height_mm, found.tray_frame.camera.foot_mm
        lines.append(f"camera {height:.1f} mm above the tray, standard uncertainty {found.height_standard_mm:.2g} mm")
        lines.append(
            f"  over its place ({x:.1f}, {y:.1f}) mm, standard uncertainty {found.foot_standard_mm:.2g} mm each"
        )
    lines.append(f"why this camera: {choice(found)}")
    lines += [f"note: {sentence}" for sentence in calibration_advice(found)]
    lines.append(f"wrote {out} and {report}")
    return lines


def changed(before: Station, made: Station, found: Calibration) -> str:
    """What the calibration changed, in numbers."""
    import numpy as np

    from vision.calibrate import field_points, moved_from

    moved = moved_from(before, found.tray_frame, field_points([view.points_px for view in found.views]))
    farthest = float(np.linalg.norm(moved.form_mm, axis=1).max())
    told = [f"any length {100 * moved.scale_relative:+.3g} %", f"places besides by {farthest:.2g} mm at most"]
    if before.camera and made.camera:
        told.append(f"camera {made.camera.height_mm - before.camera.height_mm:+.2g} mm higher")
    elif before.camera or made.camera:
        told.append("camera's height " + ("is known now" if made.camera else "is unknown now"))
    now = f"{100 * before.scale_relative:.2g} to {100 * made.scale_relative:.2g} %"
    return f"{', '.join(told)}; scale's uncertainty {now}"
