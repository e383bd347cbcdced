"""Frames of one piece, upright as on the drawing: where they come from in the frame, and the pictures themselves."""

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from app.report import Grey, Window, as_grey, crop_upright
from app.store import Shown
from vision.errors import Unusable
from vision.geometry import CameraMapping, centroid
from vision.records import Array, Part, Picture, Pose, Station

MARGIN_MM = 6.0  # shown around the outline: enough for a burr and a neighbour's edge
JPEG_QUALITY = 90
DECODED_AT_ONCE = 12  # two trays of six frames, about 6 MB each
PICTURES_AT_ONCE = 192  # about 0.4 MB each
UNKNOWN_SPAN_PX = 1600.0  # shown of the frame where neither drawing nor length is known
TRAY_WIDTH_PX = 900


@dataclass(frozen=True, slots=True)
class UprightFrame:
    """How a piece's upright picture is cut: `to_frame` (2 rows of 3) takes drawing mm to px of the frame.

    Without a station a "mm" here is a px of the frame, and `known_scale` is False.
    """

    to_frame: tuple[tuple[float, float, float], tuple[float, float, float]]
    window: Window
    known_scale: bool

    def to_upright_px(self, points_px: Array) -> Array:
        """Px of the frame as taken, (n, 2), to px of the upright picture."""
        matrix = np.asarray(self.to_frame)
        return self.window.to_px((points_px - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T)


def upright_frame(shown: Shown, part: Part | None, station: Station | None) -> UprightFrame | None:
    """Where a piece's upright picture comes from; None for a piece that has no pose."""
    pose = shown.judged.pose
    if pose is None:
        return None
    if station is None:
        half = UNKNOWN_SPAN_PX / 2
        return UprightFrame(_turned(pose, 1.0), Window((-half, half), (-half / 2, half / 2), 1.0), known_scale=False)
    camera = CameraMapping(station, 0.0 if part is None else part.edge_height_mm)
    scale_mm = camera.mm_per_px(np.asarray(pose.center_px))
    if part is None:
        length = shown.judged.measures.get("length_mm")
        half = length if isinstance(length, float) else UNKNOWN_SPAN_PX * scale_mm / 2
        return UprightFrame(_turned(pose, scale_mm), Window((-half, half), (-half / 2, half / 2), 1 / scale_mm), True)
    low, high = part.outline.min(axis=0) - MARGIN_MM, part.outline.max(axis=0) + MARGIN_MM
    window = Window((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), 1 / scale_mm)
    return UprightFrame(_as_seen(pose, part, camera), window, known_scale=True)


def _turned(pose: Pose, scale_mm: float) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """A plain turn about the piece's centre, which stands for the drawing's origin."""
    c, s = math.cos(math.radians(pose.angle_deg)) / scale_mm, math.sin(math.radians(pose.angle_deg)) / scale_mm
    return (c, -s, pose.center_px[0]), (-s, -c, pose.center_px[1])


def _as_seen(
    pose: Pose, part: Part, camera: CameraMapping
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """The affine map nearest to how the camera sees the drawing laid at the pose, lens and parallax included."""
    angle = math.radians(pose.angle_deg)
    center = np.asarray(pose.center_px)
    origin, ahead = camera.to_tray(np.vstack([center, center + np.array([math.cos(angle), -math.sin(angle)])]))
    turn = math.atan2(ahead[1] - origin[1], ahead[0] - origin[0])
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    seen_px = camera.to_px(origin + (part.outline - np.asarray(centroid(part.outline))) @ rotation.T)
    design = np.column_stack([part.outline, np.ones(len(part.outline))])
    (xx, xy), (yx, yy), (ox, oy) = np.linalg.lstsq(design, seen_px, rcond=None)[0].tolist()
    return (xx, yx, ox), (xy, yy, oy)


def upright_jpeg(path: Path, upright: UprightFrame, full_scale: float | None) -> bytes:
    """One frame's upright picture of a piece, as a JPEG.

    Raises
    ------
    Unusable
        The frame is gone or can't be decoded.
    """
    return _upright_jpeg(path, _stamp(path), upright, full_scale)


def tray_jpeg(path: Path, full_scale: float | None) -> tuple[bytes, float]:
    """A whole frame made small, as a JPEG, and by how much it shrank.

    Raises
    ------
    Unusable
        The frame is gone or can't be decoded.
    """
    return _tray_jpeg(path, _stamp(path), full_scale)


def _stamp(path: Path) -> int:
    """When a frame was last written: part of the key under which its pictures are kept."""
    try:
        return path.stat().st_mtime_ns
    except (OSError, ValueError):
        raise Unusable(path.name, "", "this picture is missing; it was moved or deleted", str(path)) from None


@lru_cache(maxsize=PICTURES_AT_ONCE)
def _upright_jpeg(path: Path, stamp: int, upright: UprightFrame, full_scale: float | None) -> bytes:
    crop = crop_upright(_decoded(path, stamp, full_scale), np.asarray(upright.to_frame), upright.window)
    return _jpeg(crop)


@lru_cache(maxsize=PICTURES_AT_ONCE)
def _tray_jpeg(path: Path, stamp: int, full_scale: float | None) -> tuple[bytes, float]:
    grey = _decoded(path, stamp, full_scale)
    shrink = min(1.0, TRAY_WIDTH_PX / grey.shape[1])
    return _jpeg(cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)), shrink


@lru_cache(maxsize=DECODED_AT_ONCE)
def _decoded(path: Path, _stamp: int, full_scale: float | None) -> Grey:
    try:
        data = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except OSError:
        raise Unusable(path.name, "", "this picture can't be read; check the disk", str(path)) from None
    pixels = cv2.imdecode(data, cv2.IMREAD_ANYDEPTH | cv2.IMREAD_GRAYSCALE) if len(data) else None
    if pixels is None:
        raise Unusable(path.name, "", "this picture is damaged: it can't be decoded", str(path))
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    deep = np.asarray(pixels, dtype=np.uint16)
    return as_grey(Picture("back", None, deep, float(np.iinfo(np.uint16).max) if full_scale is None else full_scale))


def _jpeg(grey: np.ndarray) -> bytes:
    return cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()
