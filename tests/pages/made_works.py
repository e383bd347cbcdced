"""A works folder made by hand: simple drawn frames, four spoons a tray, results that fit them."""

import dataclasses
import math
from pathlib import Path

import cv2
import numpy as np

from app.store.results.filing import PictureFile, ToFile, file_result, kept_path
from app.works.folder import Person, Works, new_works
from tests.store.made import LIMITS, PART, made_piece, made_profile, made_tray
from vision.geometry.polyline import centroid
from vision.records.inputs import Station
from vision.records.judged import JudgedPiece, Verdict
from vision.records.measured import EdgeFinding, Pit, Pose, Scratch

MM_PER_PX = 0.1
SIZE_PX = (1500, 1050)
STATION = Station("ST-1", np.diag([MM_PER_PX, -MM_PER_PX, 1.0]), None, None, 0.01, 0.0002)
PEOPLE = (
    Person("R. Hale", ("review", "tune", "release"), "hale@aldermoor.example"),
    Person("M. Okafor", ("review",), "okafor@aldermoor.example"),
    Person("Guest", ("read",), None),
)
LIGHTS = (("back", None), ("dome", None), ("low", 0.0), ("low", 90.0))
UNLIKELY = 12  # candidates of a piece that are likely no marks: of most pieces one or two are asked about
VERDICTS: tuple[Verdict, ...] = ("reject", "pass", "review", "reject")


def pose_of(tray: int, row: int) -> Pose:
    """Where a piece lies: four rows, each a little turned, every second one by half a turn."""
    turn = 2.0 * math.sin(tray + row) + (180.0 if row % 2 else 0.0)
    turn = turn - 360.0 if turn > 180.0 else turn
    left = 560.0 + 20.0 * math.cos(tray + row)  # the centroid is nearer the bowl's end
    return Pose((SIZE_PX[0] - left if row % 2 else left, 150.0 + 250.0 * row), turn, 0.009)


def to_px(points_mm: np.ndarray, pose: Pose) -> np.ndarray:
    """Drawing mm to px of the frame, by the definition of a pose (formats.md)."""
    angle = math.radians(pose.angle_deg)
    away = (points_mm - np.asarray(centroid(PART.outline))) / MM_PER_PX
    right = away[:, 0] * math.cos(angle) - away[:, 1] * math.sin(angle)
    up = away[:, 0] * math.sin(angle) + away[:, 1] * math.cos(angle)
    return np.asarray(pose.center_px) + np.column_stack([right, -up])


def draw_frame(light: str, azimuth_deg: float | None, poses: list[Pose]) -> np.ndarray:
    """One frame: dark silhouettes on a bright ground, or lit bowls on a dark one with a scratch under low light."""
    back = light == "back"
    frame = np.full((SIZE_PX[1], SIZE_PX[0]), 225 if back else 25, np.uint8)
    for pose in poses:
        shape = [np.round(to_px(PART.outline, pose)).astype(np.int32)]
        cv2.fillPoly(frame, shape, 22 if back else 170, cv2.LINE_AA)
        if not back:
            bowl = np.round(to_px(np.array([[22.0, 0.0]]), pose)[0]).astype(int).tolist()
            cv2.circle(frame, bowl, 90, 120 if azimuth_deg is None else 150, 12, cv2.LINE_AA)
        if azimuth_deg is not None:
            ends = np.round(to_px(np.array([[16.0, 3.1], [28.0, -2.0]]), pose)).astype(int).tolist()
            cv2.line(frame, ends[0], ends[1], 245, 2, cv2.LINE_AA)
    return cv2.GaussianBlur(frame, (3, 3), 0.8)


def piece_at(number: int, verdict: Verdict, pose: Pose, value: float) -> JudgedPiece:
    """A made piece whose findings lie where the frames show them."""
    made = made_piece(number, verdict, value)

    def px(x_mm: float, y_mm: float) -> tuple[float, float]:
        x, y = to_px(np.array([[x_mm, y_mm]]), pose)[0]
        return float(x), float(y)

    sure = tuple(
        dataclasses.replace(one, probability=0.97) if isinstance(one, Scratch | Pit) else one for one in made.findings
    )
    unlikely = tuple(Pit((0.0, 0.0), (14.0 + k, 2.0 - 0.3 * k), 0.2, 5.0, 0.05) for k in range(UNLIKELY))
    findings = tuple(
        dataclasses.replace(one, center_px=px(*one.center_mm)) if isinstance(one, EdgeFinding)
        else dataclasses.replace(one, points_px=tuple(px(*p) for p in one.points_mm)) if isinstance(one, Scratch)
        else dataclasses.replace(one, center_px=px(*one.center_mm)) if hasattr(one, "center_mm")
        else one
        for one in (*sure, *unlikely)
    )  # fmt: skip
    return dataclasses.replace(made, pose=pose, findings=findings, counted=(*made.counted, *(False for _ in unlikely)))


def draw_shot(folder: Path, poses: list[Pose]) -> None:
    """Write the frames of one shot."""
    folder.mkdir()
    for light, azimuth in LIGHTS:
        cv2.imwrite(str(folder / frame_name(light, azimuth)), draw_frame(light, azimuth, poses))


def frame_name(light: str, azimuth_deg: float | None) -> str:
    """A frame's file name, as formats.md has it for folders without `shot.json`."""
    return f"{light}.png" if azimuth_deg is None else f"low-{azimuth_deg:03.0f}.png"


def made_works(folder: Path, trays: int = 6, drawn: int = 3, name: str = "T-{:06d}") -> Works:
    """A works with trays of four pieces, three of them flagged, filed in its store.

    Only the first `drawn` trays have frames of their own; the others show those again, which saves time.
    """
    works = new_works(folder, "Aldermoor Flatware Works", PEOPLE)
    for number in range(drawn):
        draw_shot(works.shots / f"S-{number}", [pose_of(number, row) for row in range(4)])
    store = works.open()
    for number in range(trays):
        shot = works.shots / f"S-{number % drawn}"
        poses = [pose_of(number % drawn, row) for row in range(4)]
        pictures = tuple(
            PictureFile(kept_path(shot / frame_name(light, azimuth), works.folder), "frame", light, azimuth)
            for light, azimuth in LIGHTS
        )
        pieces = [
            piece_at(
                row + 1, VERDICTS[row], pose, 0.2 + 0.001 * (4 * number + row) if VERDICTS[row] == "reject" else 0.05
            )
            for row, pose in enumerate(poses)
        ]
        taken_at = f"2026-11-02T{6 + number // 60:02d}:{number % 60:02d}:00+00:00"
        lot, die = f"L-2611-{1 + number % 2:02d}", f"D{1 + number % 4}"
        result = made_tray(name.format(number + 1), pieces, lot, taken_at, die)
        profiles = {row + 1: made_profile(row) for row in range(4)}
        file_result(store, ToFile(result, pictures, PART, STATION, LIMITS, profiles))
    store.close()
    return works
