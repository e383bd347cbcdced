"""A small tray made by hand: three pieces of a simple part, one of them rejected, with known deviations."""

from dataclasses import replace

import cv2
import numpy as np

from app.report.inspected import Inspected
from vision.records.inputs import Array, Limit, Limits, Part, Picture, Station, TrayPictures, Zone
from vision.records.judged import JudgedPiece, Reason, TrayResult, Verdict
from vision.records.measured import (
    DeviationProfile,
    EdgeFinding,
    Fault,
    Finding,
    MeasuredPiece,
    MeasuredTray,
    Pose,
    TrayFinding,
    Value,
)

SCALE = 0.1  # mm a px
LENGTH_MM, HALF_WIDTH_MM = 60.0, 8.0
STEP_MM = 0.05
BURR_MM, BURR_S_MM, BURR_SIGMA_MM = 0.4, 30.0, 0.5
CENTERS_PX = ((420.0, 150.0), (420.0, 350.0), (420.0, 550.0))
ANGLE_DEG = 12.0


def paddle() -> Array:
    """A stadium along x, counter-clockwise: straight sides, round ends."""
    r = HALF_WIDTH_MM
    right = np.linspace(-np.pi / 2, np.pi / 2, 200)
    left = right + np.pi
    ends = [(LENGTH_MM - r, right), (r, left)]
    return np.vstack([np.column_stack([x + r * np.cos(a), r * np.sin(a)]) for x, a in ends])


def part() -> Part:
    """The part of the tray, with a hole."""
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    hole = np.column_stack([50.0 + 2.0 * np.cos(turn), 2.0 * np.sin(turn)])
    zones = (Zone("bowl", (0.0, 25.0), datum=True), Zone("handle", (25.0, LENGTH_MM), bend=True))
    return Part("TS-135", "Teaspoon 135", paddle(), (hole,), zones, None)


def limits() -> Limits:
    """Outward 0.15 mm everywhere, inward 0.1 mm in the bowl."""
    both = (Limit("outline_out_mm", "major", max=0.15), Limit("outline_in_mm", "minor", "bowl", max=0.10))
    return Limits("TS-135", 3, "released", 0.95, both)


def profile(center_px: tuple[float, float], burr_mm: float = 0.0) -> DeviationProfile:
    """A piece turned by `ANGLE_DEG` about its centre, with a burr of the given height and nothing else."""
    outline = paddle()
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    s = np.arange(0.0, along[-1], STEP_MM)
    nominal = np.column_stack([np.interp(s, along, closed[:, k]) for k in (0, 1)])
    deviation = burr_mm * np.exp(-0.5 * ((s - BURR_S_MM) / BURR_SIGMA_MM) ** 2)
    return DeviationProfile(s, nominal, to_px(nominal, center_px), deviation)


def to_px(points_mm: Array, center_px: tuple[float, float]) -> Array:
    """Drawing mm to px: the part's middle at the centre, turned counter-clockwise as seen (v runs down)."""
    a = np.deg2rad(ANGLE_DEG)
    x, y = (points_mm - np.array([LENGTH_MM / 2, 0.0])).T / SCALE
    return np.column_stack([center_px[0] + x * np.cos(a) - y * np.sin(a), center_px[1] - x * np.sin(a) - y * np.cos(a)])


def burr() -> EdgeFinding:
    """The finding that belongs to the burr of `profile`."""
    one = profile(CENTERS_PX[1], BURR_MM)
    k = int(np.argmax(one.deviation_mm))
    px, mm = (tuple(float(v) for v in points[k]) for points in (one.nominal_px, one.nominal_mm))
    return EdgeFinding("burr", "handle", (px[0], px[1]), (mm[0], mm[1]), 0.4, BURR_MM, 1.2)


def tray() -> Inspected:
    """Three pieces: one that passes, one with a burr, one whose outline is half hidden; and something foreign."""
    frame = np.full((700, 840), 220, np.uint8)
    for center in CENTERS_PX:
        cv2.fillPoly(frame, [np.rint(to_px(paddle(), center)).astype(np.int32)], 10)
    hidden = profile(CENTERS_PX[2])
    hidden.deviation_mm[400:900] = np.nan
    profiles = (profile(CENTERS_PX[0]), profile(CENTERS_PX[1], BURR_MM), hidden)
    faults: tuple[Fault | None, ...] = (None, None, "touching")
    verdicts: tuple[Verdict, ...] = ("pass", "reject", "review")
    sure: dict[str, Value] = {
        "outline_out_mm": {"bowl": 0.004, "handle": 0.01},
        "outline_in_mm": {"bowl": 0.002, "handle": None},
    }
    measures: tuple[dict[str, float | None], ...] = (
        {"bowl": 0.0, "handle": 0.0},
        {"bowl": 0.0, "handle": BURR_MM},
        {"bowl": None, "handle": 0.0},
    )
    reason = Reason("outline_out_mm", "handle", BURR_MM, 0.01, None, 0.15, "major", "reject")
    pieces: list[MeasuredPiece] = []
    judged: list[JudgedPiece] = []
    for k, (one, fault, out) in enumerate(zip(profiles, faults, measures, strict=True)):
        pose = Pose(CENTERS_PX[k], ANGLE_DEG, 0.001)
        findings: tuple[Finding, ...] = (burr(),) if k == 1 else ()
        values: dict[str, Value] = {"outline_out_mm": out, "length_mm": 60.0}
        pieces.append(MeasuredPiece(k + 1, fault, pose, values, sure, findings, one))
        reasons = (reason,) if k == 1 else ()
        judged.append(
            JudgedPiece(k + 1, verdicts[k], reasons, fault, pose, values, sure, findings, (False,) * len(findings))
        )
    told = (TrayFinding("foreign", (120.0, 60.0), "something that is no piece"),)
    result = TrayResult(
        "brightbowl 0.1.0", "T-1", "L-2611-01", "TS-135", "ST-1", "2026-11-02T06:00:00+00:00", 3, tuple(judged), told
    )
    station = Station("ST-1", np.diag([SCALE, -SCALE, 1.0]), None, None, 0.01, 0.0002)
    pictures = TrayPictures(Picture("back", None, frame, 255.0, "back.png"))
    return Inspected(result, MeasuredTray(tuple(pieces), told), pictures, part(), station, limits())


def named(inspected: Inspected, **names: str) -> Inspected:
    """The same tray with other names in its result."""
    return replace(inspected, result=replace(inspected.result, **names))  # type: ignore[arg-type]
