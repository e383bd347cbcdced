"""Calibration and inspection together: targets and a tray photographed by one camera with lens, tilt and parallax."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import pytest

from synthetic_images.outlines.defects import Bump, Defects
from synthetic_images.outlines.families import back_frame, fine_size_px, size_mm
from synthetic_images.outlines.layout import rows
from synthetic_images.outlines.scene import Scene
from synthetic_images.outlines.truth import piece_measures
from synthetic_images.outlines.view import View, lens_view
from synthetic_images.spoons import PATTERNS, outline
from synthetic_images.targets import TargetCamera, render_chessboard
from synthetic_images.trays.write import write_part
from vision.calibrate.budget import measure_budget
from vision.calibrate.calibration import Calibration, Settings, calibrate
from vision.calibrate.heights import Heights, at_tray
from vision.calibrate.models import Parallel, Perspective
from vision.calibrate.observation import Observation, see
from vision.calibrate.target import Target
from vision.calibrate.tray_frame import TrayFrame, field_points, moved_from
from vision.errors import Unusable
from vision.formats.part import read_part
from vision.pipeline import measure_tray
from vision.records.inputs import Camera, Lens, Part, Picture, Station, TrayPictures
from vision.records.measured import MeasuredPiece

PATTERN = PATTERNS["TS-135"]
EDGE_HEIGHT_MM = 5.0
TARGET = Target("chessboard", 17, 4, 7.0, pitch_tolerance_mm=0.0)
DEFECTS = Defects((Bump("burr", 60.0, 0.2, 0.8), Bump("nick", 200.0, -0.15, 0.6)), 0.02, 0.0, ())
# Twice what is asked of plain trays (lens, tilt and parallax): extremes of a zone, and lengths, both mm.
EXTREME_MM, LENGTH_MM = 2 * 0.006, 2 * 0.006


def camera() -> View:
    """Focal length 9200 px, distorted, the tray tilted; with the pupil where that camera has it."""
    view = lens_view(fine_size_px(PATTERN, 1), 0.05, (0.6, -0.4), np.array([-0.08, 0.02, 0.0, 0.0, 0.0]))
    assert view.camera_matrix is not None
    to_px = np.linalg.inv(view.homography)
    pose = np.linalg.inv(view.camera_matrix) @ to_px
    pose /= np.linalg.norm(pose[:, 0]) * np.sign(pose[2, 2])
    turn = np.column_stack((pose[:, 0], pose[:, 1], np.cross(pose[:, 0], pose[:, 1])))
    pupil = -turn.T @ pose[:, 2]
    return replace(view, pupil_height_mm=float(pupil[2]), foot_mm=(float(pupil[0]), float(pupil[1])))


def target_poses(view: View, count: int, rng: np.random.Generator, thickness_mm: float = 0.0) -> list[TargetCamera]:
    """The first on the tray, the others tilted above it; the target's face lies above its back by its thickness."""
    assert view.camera_matrix is not None
    assert view.distortion is not None
    pose = np.linalg.inv(view.camera_matrix) @ np.linalg.inv(view.homography)
    pose /= np.linalg.norm(pose[:, 0]) * np.sign(pose[2, 2])
    turn = np.column_stack((pose[:, 0], pose[:, 1], np.cross(pose[:, 0], pose[:, 1])))
    middle = np.array([(TARGET.columns - 1) * TARGET.pitch_mm / 2, (TARGET.rows - 1) * TARGET.pitch_mm / 2, 0.0])
    width, height = size_mm(view)
    cameras = []
    for index in range(count):
        tilt = np.deg2rad(np.append(rng.uniform(-20.0, 20.0, 2), rng.uniform(-2.0, 2.0))) if index else np.zeros(3)
        lie = np.diag([1.0, -1.0, -1.0]) @ cv2.Rodrigues(tilt)[0]  # target to tray: its y runs down
        aside = rng.uniform(-4.0, 4.0, 2) if index else np.zeros(2)
        at = np.array([width / 2 + aside[0], -height / 2 + aside[1], thickness_mm])
        rotation = turn @ lie
        shift = turn @ (at - lie @ middle) + pose[:, 2]
        rvec = cv2.Rodrigues(rotation)[0].ravel()
        cameras.append(TargetCamera(view.camera_matrix, view.distortion, rvec, shift, view.size_px))
    return cameras


FIRST = 71


@cache
def calibrated(start: int) -> Calibration:
    """From six pictures of their own, poses and noise by `start`."""
    rng = np.random.default_rng(start)
    pictures = [
        render_chessboard(pose, rng, (TARGET.columns, TARGET.rows), TARGET.pitch_mm)
        for pose in target_poses(camera(), 6, rng)
    ]
    seen = [see(pixels, TARGET, f"view-{i}") for i, pixels in enumerate(pictures)]
    return calibrate([one for one, _ in seen], [two for _, two in seen], TARGET, Settings(), rng)


def station_of(found: Calibration) -> Station:
    tray_frame = found.tray_frame
    return Station(
        "ST-1", tray_frame.homography, tray_frame.lens, tray_frame.camera, found.outline.combined, found.scale.combined
    )


def stations() -> tuple[Station, Station]:
    """The camera as calibrated, and as it truly is."""
    true = camera()
    assert true.camera_matrix is not None
    assert true.distortion is not None
    assert true.pupil_height_mm is not None
    assert true.foot_mm is not None
    lens, pupil = Lens(true.camera_matrix, true.distortion), Camera(true.pupil_height_mm, true.foot_mm)
    return (
        station_of(calibrated(FIRST)),
        Station("ST-1", true.homography, lens, pupil, 0.0, 0.0),
    )


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> tuple[TrayPictures, Part]:
    """One piece on one tray."""
    view = camera()
    rng = np.random.default_rng(72)
    scene = Scene(PATTERN, view, rows(PATTERN, size_mm(view), [DEFECTS], rng), edge_height_mm=EDGE_HEIGHT_MM)
    folder: Path = tmp_path_factory.mktemp("part")
    write_part(folder, PATTERN, EDGE_HEIGHT_MM)
    part = read_part(folder / "part.toml")
    pictures = TrayPictures(Picture("back", None, back_frame(scene, rng), 255.0, "back.png"))
    return pictures, part


@pytest.fixture(scope="module")
def measured(tray: tuple[TrayPictures, Part]) -> tuple[MeasuredPiece, MeasuredPiece]:
    """The piece through the calibrated camera and through the true one."""
    (calibrated_piece,), (true_piece,) = (measure_tray(*tray, station).pieces for station in stations())
    return calibrated_piece, true_piece


@pytest.mark.long
def test_the_camera_is_found_where_it_stands() -> None:
    found, true = calibrated(FIRST), camera()
    assert found.tray_frame.camera is not None
    assert true.pupil_height_mm is not None
    assert abs(found.tray_frame.camera.height_mm - true.pupil_height_mm) < 3.0 * found.height_standard_mm
    assert found.height_standard_mm < 0.5


def test_a_piece_is_measured_through_the_calibration_within_twice_of_plain(
    measured: tuple[MeasuredPiece, MeasuredPiece],
) -> None:
    truth = piece_measures(PATTERN, outline(PATTERN), DEFECTS)
    piece = measured[0]
    assert piece.fault is None
    for name, tolerance in (("outline_out_mm", EXTREME_MM), ("outline_in_mm", EXTREME_MM), ("width_mm", LENGTH_MM)):
        assert piece.measures[name] == pytest.approx(truth[name], abs=tolerance)
    assert piece.measures["length_mm"] == pytest.approx(truth["length_mm"], abs=LENGTH_MM)


def test_calibration_costs_less_than_a_micrometre(measured: tuple[MeasuredPiece, MeasuredPiece]) -> None:
    through, exact = measured
    for name in ("outline_out_mm", "outline_in_mm", "width_mm", "length_mm"):
        assert through.measures[name] == pytest.approx(exact.measures[name], abs=0.001)
    assert through.uncertainties["length_mm"] >= exact.uncertainties["length_mm"]  # type: ignore[operator]


def test_errors_are_within_what_the_budget_predicts(measured: tuple[MeasuredPiece, MeasuredPiece]) -> None:
    # Ten values; one beyond three standard uncertainties has a chance of about 3 in 100 were all errors independent.
    truth, piece = piece_measures(PATTERN, outline(PATTERN), DEFECTS), measured[0]
    ratios = []
    for name in ("outline_out_mm", "outline_in_mm", "width_mm", "length_mm"):
        for zone, components in piece.uncertainty_components[name].items():
            found, real = piece.measures[name], truth[name]
            error = found[zone] - real[zone] if zone else found - real  # type: ignore[index,operator]
            ratios.append(error / measure_budget(components).combined)
    assert len(ratios) == 10
    assert np.abs(ratios).max() < 3.0
    assert np.sqrt(np.mean(np.square(ratios))) < 1.3


@cache
def on_a_thick_target(thickness_mm: float) -> tuple[list[Observation], list[Observation]]:
    """Four pictures of a target so thick, seen with the whole and with half the window."""
    rng = np.random.default_rng(91)
    pictures = [
        render_chessboard(pose, rng, (TARGET.columns, TARGET.rows), TARGET.pitch_mm)
        for pose in target_poses(camera(), 4, rng, thickness_mm)
    ]
    seen = [see(pixels, TARGET, f"view-{i}") for i, pixels in enumerate(pictures)]
    return [one for one, _ in seen], [two for _, two in seen]


def scale_errors(thickness_mm: float, heights: Heights, lens: Literal["auto", "none"] = "auto") -> tuple[float, float]:
    """Relative error of the scale over the field, against the true camera, and its stated standard uncertainty."""
    first, second = on_a_thick_target(thickness_mm)
    settings = Settings(lens, heights=heights)
    found = calibrate(first, second, TARGET, settings, np.random.default_rng(1))
    at_px = field_points([view.points_px for view in found.views])
    error = moved_from(stations()[1], found.tray_frame, at_px).scale_relative
    return error, found.scale.combined


@pytest.mark.long
@pytest.mark.parametrize("thickness_mm", [0.0, 1.0, 3.0, 6.0])
def test_a_thick_target_gives_the_scale_of_the_tray_below_it(thickness_mm: float) -> None:
    # Told, the scale is right within twice its uncertainty (4.6 of 100 chance errors are not), and that is small.
    error, standard = scale_errors(thickness_mm, Heights(thickness_mm, 0.03))
    assert abs(error) < 2.0 * standard < 5e-4
    # Not told, it is wrong by its thickness over the camera's height, and the uncertainty says that it may be.
    height_mm = camera().pupil_height_mm
    assert height_mm is not None
    error, standard = scale_errors(thickness_mm, Heights(None))
    assert error == pytest.approx(-thickness_mm / height_mm, abs=3e-4)
    assert standard == pytest.approx(3.0 / height_mm, rel=0.03)


def test_the_plane_below_a_thick_target_is_where_the_same_rays_meet_it() -> None:
    true = stations()[1]
    above = replace(true, camera=Camera(camera_of(true).height_mm - 6.0, camera_of(true).foot_mm))
    # What a fit finds on a face 6 mm up: seen from the pupil its points lie nearer the foot, by similar triangles.
    foot = np.array(camera_of(true).foot_mm)
    shrunk = above.camera.height_mm / camera_of(true).height_mm if above.camera else 1.0
    at_face = np.array([[shrunk, 0, (1 - shrunk) * foot[0]], [0, shrunk, (1 - shrunk) * foot[1]], [0, 0, 1]])
    face = TrayFrame(at_face @ true.homography, true.lens, above.camera, shrunk * 0.05)
    found, doubt = at_tray(face, Perspective(), Heights(6.0, 0.03), 150.0)
    assert found.camera == true.camera
    at_px = np.array([[10.0, 20.0], [1500.0, 300.0], [800.0, 90.0]])
    exact = TrayFrame(true.homography, true.lens, true.camera, 0.05)
    assert found.to_tray(at_px) == pytest.approx(exact.to_tray(at_px), abs=1e-9)
    assert found.mm_per_px == pytest.approx(0.05)
    assert doubt.standard == pytest.approx(0.03 / camera_of(true).height_mm)
    # A telecentric lens sees all heights alike.
    assert at_tray(face, Parallel(1.0, (0.0, 0.0)), Heights(None), 150.0)[0] is face


def camera_of(station: Station) -> Camera:
    assert station.camera is not None
    return station.camera


def test_one_picture_of_a_thick_target_by_a_rule() -> None:
    height_mm = camera().pupil_height_mm
    assert height_mm is not None
    # The lens is left out here, so that its distortion stays in: the thickness is ten times as much.
    plain, _ = scale_errors(3.0, Heights(3.0, camera_mm=height_mm), "none")
    edges, _ = scale_errors(3.0, Heights(3.0, edge_mm=EDGE_HEIGHT_MM, camera_mm=height_mm), "none")
    untold, standard = scale_errors(3.0, Heights(None), "none")
    assert plain - untold == pytest.approx(3.0 / height_mm, rel=0.02)
    assert edges - plain == pytest.approx(-EDGE_HEIGHT_MM / height_mm, rel=0.02)
    assert standard > 3.0 / height_mm
    with pytest.raises(Unusable, match="--camera-height-mm: the lens's height"):
        scale_errors(3.0, Heights(3.0), "none")


@pytest.mark.long
def test_stations_calibrated_anew_differ_by_no_more_than_their_share_of_the_budget(
    tray: tuple[TrayPictures, Part], measured: tuple[MeasuredPiece, MeasuredPiece]
) -> None:
    # What calibration adds: the piece through each station against the piece through the true camera, same frame. Over
    # six stations the root mean square of these ratios was 0.16: three and one are far out of chance's reach.
    exact, ratios = measured[1], []
    for start in (FIRST, 84):
        (piece,) = measure_tray(*tray, station_of(calibrated(start))).pieces
        for name in ("outline_out_mm", "outline_in_mm", "width_mm", "length_mm"):
            for zone, components in piece.uncertainty_components[name].items():
                found, real = piece.measures[name], exact.measures[name]
                error = found[zone] - real[zone] if zone else found - real  # type: ignore[index,operator]
                ratios.append(error / np.hypot(components.station, components.scale))
    assert len(ratios) == 20
    assert np.abs(ratios).max() < 3.0
    assert np.sqrt(np.mean(np.square(ratios))) < 1.0


def test_calibration_is_part_of_every_budget(measured: tuple[MeasuredPiece, MeasuredPiece]) -> None:
    components = measured[0].uncertainty_components["length_mm"][""]
    assert components.station == pytest.approx(np.sqrt(2.0) * calibrated(FIRST).outline.combined)
    assert components.scale == pytest.approx(135.0 * calibrated(FIRST).scale.combined, rel=1e-3)
