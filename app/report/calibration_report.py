"""A calibration as a page that stands alone: budgets, camera model, views, pictures of residuals, field, distortion."""

from math import floor, log10

import numpy as np

from app.report.budget_table import budget_table, number_text
from app.report.cautions import CAUTIONS
from app.report.style import ACCENT, INK, MUTED, RULE, WASH
from app.report.svg import document, element, group, path, text
from app.report.template_environment import template_environment
from vision.calibrate import (
    Calibration,
    Perspective,
    calibration_advice,
    choice,
    covered_share,
    displacement_px,
    distortion_mm,
    field_points,
    parallax_mm,
)
from vision.records import Array

WIDTH = 960.0  # px of a drawing of the frame
ARROW = 40.0  # px, about the longest arrow in it
HEIGHTS_MM = (1.0, 2.0, 5.0, 10.0)  # of a rim above the tray, for the table of parallax


def calibration_page(found: Calibration, station: str) -> str:
    """The report, HTML without any file beside it.

    Parameters
    ----------
    found
        The calibration.
    station
        The station's name.

    Returns
    -------
    str
        HTML.
    """
    used = [view for view in found.views if not view.left_out]
    points = np.concatenate([view.points_px for view in used])
    residuals = np.concatenate([view.residuals_px for view in used])
    times = _times(residuals, found)
    grid = field_points([points])
    moved = displacement_px(found, grid)
    bend_times = _times(moved, found)
    environment = template_environment()
    environment.globals.update(cautions=CAUTIONS, number=number_text)
    camera = found.tray_frame.camera
    return environment.get_template("calibration.html").render(
        station=station,
        target=found.target,
        used=len(used),
        size=found.size_px,
        rms=found.chosen.fitted.rms_px,
        mm_per_px=found.tray_frame.mm_per_px,
        notes=calibration_advice(found),
        scale_table=budget_table(found.scale, ""),
        outline_table=budget_table(found.outline, "mm"),
        uncertainties=found.uncertainties,
        why=choice(found),
        numbers=found.numbers,
        windows=_windows(found),
        views=found.views,
        residual_times=number_text(times),
        residual_svg=_arrows(found, points - residuals, residuals * times, "Residuals of all nodes in the frame"),
        covered=covered_share(found),
        field_svg=_field(found, points),
        distortion_words=_distortion(found, bend_times),
        distortion_svg=_arrows(found, grid, moved * bend_times, "Distortion over the field")
        if found.tray_frame.lens
        else "",
        parallax=_parallax(found) if camera else [],
        height=camera.height_mm if camera else 0.0,
    )


def _windows(found: Calibration) -> str:
    second = found.second
    wide, narrow = found.half_windows_px
    focal = ""
    if isinstance(found.chosen.model, Perspective):
        first = found.numbers[0]
        focal = f", the focal length by {100 * second.numbers[first.name] / first.value:+.3f} %"
    return (
        f"With half windows of {narrow} px instead of {wide} px the scale changes by "
        f"{100 * second.scale_relative:+.4f} %, places by {number_text(second.form_mm)} mm rms{focal}; "
        "both differences stand in the budgets."
    )


def _distortion(found: Calibration, times: float) -> str:
    if found.tray_frame.lens is None:
        return "No lens distortion is part of this calibration."
    return (
        f"The lens moves points by up to {number_text(distortion_mm(found))} mm within the field that the target "
        f"vouches for; arrows run from where a perfect lens would show a point, {number_text(times)} times too long. "
        "The station corrects this."
    )


def _parallax(found: Calibration) -> list[tuple[float, float, float, float]]:
    rows = []
    for height in HEIGHTS_MM:
        shift, left = parallax_mm(found, height)
        rows.append((height, shift, left, parallax_mm(found, height + 0.1)[0] - shift))
    return rows


def _times(arrows: Array, found: Calibration) -> float:
    """By what round number to lengthen arrows (n, 2) px of the frame so that the long ones can be seen."""
    long = float(np.percentile(np.linalg.norm(arrows, axis=1), 98)) * WIDTH / found.size_px[0]
    if long < 1e-9:
        return 1.0
    wanted = ARROW / long
    power = 10.0 ** floor(log10(wanted))
    return max(max(factor for factor in (1.0, 2.0, 5.0) if factor * power <= wanted) * power, 1.0)


def _sheet(found: Calibration, parts: list[str], title: str) -> str:
    columns, rows = found.size_px
    height = WIDTH * rows / columns
    frame = element("rect", x=0, y=0, width=f"{WIDTH:.0f}", height=f"{height:.1f}", fill=WASH, stroke=RULE)
    size = text((8.0, height - 8.0), f"{columns} x {rows} px", fill=MUTED, font_size=14)
    return document((WIDTH, height), [frame, *parts, size], title)


def _arrows(found: Calibration, start_px: Array, along_px: Array, title: str) -> str:
    scale = WIDTH / found.size_px[0]
    lines = "".join(path([a, b]) for a, b in zip(start_px * scale, (start_px + along_px) * scale, strict=True))
    feet = [element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=1.6, fill=INK) for x, y in start_px * scale]
    return _sheet(found, [element("path", d=lines, stroke=ACCENT, stroke_width=1.2, fill="none"), group(feet)], title)


def _field(found: Calibration, points_px: Array) -> str:
    scale = WIDTH / found.size_px[0]
    hull = element("path", d=path(found.field_px * scale, closed=True), fill="none", stroke=ACCENT, stroke_width=2)
    nodes = [element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=2, fill=INK) for x, y in points_px * scale]
    return _sheet(found, [group(nodes, fill_opacity=0.6), hull], "Where the target was seen")
