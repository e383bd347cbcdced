"""Everything a tray, a part and a station are made of on disk, in the formats that the rest of the project reads."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import tomlkit
from ezdxf import units
from ezdxf.filemanagement import new as new_drawing
from scipy.interpolate import make_interp_spline

from synthetic_images.outlines.view import View
from synthetic_images.sensor import Pixels, Sensor
from synthetic_images.spoons import Array, Pattern, curve_mm
from vision.errors import Unusable

# Points of the formula that each half of the outline's spline goes through: it stays within 0.0001 mm (see the tests).
_SPLINE_POINTS = 400
# PNG's own scale 0 to 9; 1 is four times quicker than the default and costs a tenth in size on noisy frames. TIFF plain
# (1 in its own list): every reader takes it.
_WRITE_OPTIONS = {".png": [cv2.IMWRITE_PNG_COMPRESSION, 1], ".tif": [cv2.IMWRITE_TIFF_COMPRESSION, 1]}


@dataclass(frozen=True, slots=True)
class FrameImage:
    """One frame to write: its file name, the light it was taken by, its pixels."""

    file: str
    light: str
    pixels: Pixels
    azimuth_deg: float | None = None


@dataclass(frozen=True, slots=True)
class ShotName:
    """What a tray shot says of itself."""

    tray: str
    lot: str
    part: str
    station: str
    taken_at: str = "2026-11-02T06:00:00+00:00"
    process: Mapping[str, str | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One `[[limit]]` of `limits.toml`."""

    measure: str
    severity: str
    zone: str | None = None
    min: float | None = None
    max: float | None = None


def _half_spline(pattern: Pattern, from_rad: float, to_rad: float) -> tuple[Array, Array]:
    """Control points (n, 2) and knots of a clamped cubic spline through one half of the outline."""
    phi = np.linspace(from_rad, to_rad, _SPLINE_POINTS)
    points = curve_mm(pattern, phi)
    step = 1e-5
    ends = phi[[0, -1]]
    slopes = (curve_mm(pattern, ends + step) - curve_mm(pattern, ends - step)) / (2.0 * step)
    spline = make_interp_spline(phi, points, k=3, bc_type=([(1, slopes[0])], [(1, slopes[1])]))
    return np.asarray(spline.c), np.asarray(spline.t)


def write_drawing(path: Path, pattern: Pattern) -> None:
    """Write the outline as two cubic SPLINEs (mm), the holes as CIRCLEs."""
    drawing = new_drawing("R2010", units=units.MM)
    space = drawing.modelspace()
    for from_rad, to_rad in ((0.0, np.pi), (np.pi, 2.0 * np.pi)):
        control, knots = _half_spline(pattern, from_rad, to_rad)
        spline = space.add_spline(degree=3)
        spline.control_points = control
        spline.knots = knots
    for hole in pattern.holes:
        space.add_circle(hole.center_mm, 0.5 * hole.diameter_mm)
    drawing.saveas(path)


def _write_toml(path: Path, content: Mapping[str, object]) -> None:
    path.write_text(tomlkit.dumps(content), encoding="utf-8")


def write_part(folder: Path, pattern: Pattern, edge_height_mm: float = 0.0) -> Path:
    """Write `part.toml` and the drawing `outline.dxf` beside it; the path of the former."""
    write_drawing(folder / "outline.dxf", pattern)
    content: dict[str, object] = {"format": 1, "part": pattern.part, "name": pattern.name, "nominal": "outline.dxf"}
    if edge_height_mm:
        content["edge_height_mm"] = edge_height_mm
    zones: list[dict[str, object]] = []
    for zone in pattern.zones:
        zones.append({"name": zone.name, "x_mm": list(zone.x_mm)})
        zones[-1] |= {"datum": True} if zone.datum else {}
        zones[-1] |= {"bend": True} if zone.bend else {}
    content["zone"] = zones
    content["surface"] = {"x_mm": list(pattern.surface_x_mm), "inset_mm": pattern.surface_inset_mm}
    _write_toml(folder / "part.toml", content)
    return folder / "part.toml"


def write_station(
    path: Path, name: str, view: View, sensor: Sensor, half_angle_deg: float = 0.0, low_deg: Sequence[float] = ()
) -> Path:
    """Write `station.toml` as a perfect calibration of this view would; `low_deg`: its low lights, beside a dome."""
    content: dict[str, object] = {"format": 1, "station": name}
    if np.array_equal(view.homography, np.diag([view.mm_per_px, -view.mm_per_px, 1.0])):
        content["scale"] = {"mm_per_px": view.mm_per_px}
    else:
        content["plane"] = {"homography": view.homography.tolist()}
    if view.camera_matrix is not None and view.distortion is not None:
        content["lens"] = {"camera_matrix": view.camera_matrix.tolist(), "distortion": view.distortion.tolist()}
    if view.pupil_height_mm is not None and view.foot_mm is not None:
        content["camera"] = {"height_mm": view.pupil_height_mm, "foot_mm": list(view.foot_mm)}
    # What a good calibration leaves, below what noise adds: our rendered stations have no error of their own.
    content["uncertainty"] = {"outline_mm": 0.0005, "scale_relative": 0.00001}
    content["backlight"] = {"half_angle_deg": half_angle_deg, "half_angle_u_deg": min(1.0, half_angle_deg)}
    if sensor.top > 255:
        content["sensor"] = {"full_scale": sensor.top}
    if low_deg:
        content["lights"] = {"dome": True, "low_deg": list(low_deg)}
    _write_toml(path, content)
    return path


def write_limits(path: Path, part: str, rows: Sequence[LimitRow], count: Mapping[str, float]) -> Path:
    """Write a first released revision of `limits.toml`; an empty `count` leaves out the counting rules."""
    content: dict[str, object] = {"format": 1, "part": part, "revision": 1, "status": "released"}
    content["guard"] = {"coverage": 0.95}
    if count:
        content["count"] = dict(count)
    limits: list[dict[str, object]] = []
    for row in rows:
        entry = {"measure": row.measure, "zone": row.zone, "min": row.min, "max": row.max, "class": row.severity}
        limits.append({key: value for key, value in entry.items() if value is not None})
    content["limit"] = limits
    _write_toml(path, content)
    return path


def write_shot(folder: Path, name: ShotName, frames: Sequence[FrameImage], truth: object) -> Path:
    """Write a tray shot: its frames, `truth.json`, and `shot.json` last, so that a shot is never complete too early."""
    folder.mkdir(parents=True, exist_ok=True)
    listed: list[dict[str, object]] = []
    for frame in frames:
        path = folder / frame.file
        if not cv2.imwrite(str(path), frame.pixels, _WRITE_OPTIONS[path.suffix]):
            raise Unusable(path, "", "a frame must be writable here; check the folder and the disk's space")
        listed.append({"file": frame.file, "light": frame.light})
        if frame.azimuth_deg is not None:
            listed[-1]["azimuth_deg"] = frame.azimuth_deg
    _write_json(folder / "truth.json", truth)
    content: dict[str, object] = {
        "format": 1,
        "tray": name.tray,
        "lot": name.lot,
        "part": name.part,
        "station": name.station,
        "taken_at": name.taken_at,
    }
    if name.process:
        content["process"] = dict(name.process)
    _write_json(folder / "shot.json", content | {"frames": listed})
    return folder


def _write_json(path: Path, content: object) -> None:
    path.write_text(json.dumps(content, indent=1, allow_nan=False) + "\n", encoding="utf-8")
