"""Camera models: derivatives against differences, exact data fitted exactly, what is undetermined refused."""

import numpy as np
import pytest

from tests.calibrate.rig import Rig, poses, target
from vision.calibrate.adjust import Undetermined, adjust
from vision.calibrate.models import Model, Parallel, Perspective, Plane, fit, predictor, split
from vision.calibrate.tray_frame import scale_and_form, tray_frame_of

POINTS = target().points_mm
MODELS: list[Model] = [
    Perspective(False),
    Perspective(True),
    Perspective(False, 4),
    Perspective(True, 1),
    Perspective(True, 1, (319.5, 229.5)),
    Parallel(400.0, (319.5, 229.5), True),
    Parallel(400.0, (319.5, 229.5), False),
    Plane(4),
    Plane(6),
    Plane(8),
]


def some_parameters(model: Model, views: int) -> np.ndarray:
    rng = np.random.default_rng(5)
    shared = {"f": 900.0, "fx": 900.0, "fy": 905.0, "cx": 322.0, "cy": 231.0}
    common = [shared.get(name, 0.01 * (i + 1)) for i, name in enumerate(model.names)]
    each = {
        Perspective: [0.2, -0.1, 0.05, -8.0, -6.0, 45.0],
        Parallel: [0.05, 0.002, -0.4, -0.003, 0.048, -0.3],
        Plane: [18.0, 0.4, 90.0, -0.5, 17.5, 80.0, 1e-4, -2e-4],
    }[type(model)]
    return np.concatenate((common, *(np.array(each[: model.per_view]) * rng.uniform(0.9, 1.1) for _ in range(views))))


@pytest.mark.parametrize("model", MODELS)
def test_derivatives(model: Model) -> None:
    views = 1 if isinstance(model, Plane) else 2
    predict = predictor(model, POINTS, views)
    at = some_parameters(model, views)
    jacobian = predict(at)[1]
    for i in range(len(at)):
        step = 1e-5 * max(abs(at[i]), 0.01)
        moved = np.eye(len(at))[i] * step
        numeric = (predict(at + moved)[0] - predict(at - moved)[0]).ravel() / (2 * step)
        assert jacobian[:, i] == pytest.approx(numeric, abs=2e-6 * np.abs(jacobian[:, i]).max() + 1e-9)


@pytest.mark.parametrize("model", MODELS)
def test_exact_points_give_their_parameters_back(model: Model) -> None:
    views = 1 if isinstance(model, Plane) else 4
    truth = some_parameters(model, views)
    if isinstance(model, Perspective):
        turns = [(0.0, 0.0, 0.1), (0.5, -0.1, 0.0), (-0.1, 0.5, 0.2), (0.4, 0.4, -0.1)]
        for i, turn in enumerate(turns):
            truth[len(model.names) + 6 * i :][:3] = turn
    seen = list(predictor(model, POINTS, views)(truth)[0].reshape(views, -1, 2))
    found = fit(model, POINTS, seen, (640, 460))
    assert found.rms_px < 1e-6
    shared, _ = split(model, found.parameters)
    assert shared == pytest.approx(split(model, truth)[0], rel=1e-4, abs=1e-4)


def test_covariance_of_a_line_is_the_textbook_one() -> None:
    # u = a + b x, the v equations empty: var(b) = s² / sum (x - mean)².
    x = np.arange(8.0)
    jacobian = np.zeros((16, 2))
    jacobian[::2] = np.column_stack((np.ones(8), x))
    seen = np.column_stack((2.0 + 0.5 * x + np.array([1, -1, 1, -1, -1, 1, -1, 1]) * 0.1, np.zeros(8)))
    found = adjust(lambda p: ((jacobian @ p).reshape(-1, 2), jacobian), np.zeros(2), seen)
    assert found.covariance[1, 1] == pytest.approx(found.variance / np.sum((x - x.mean()) ** 2))
    assert found.parameters == pytest.approx(np.linalg.lstsq(jacobian, seen.ravel(), rcond=None)[0])


def test_a_free_parameter_is_refused() -> None:
    jacobian = np.zeros((16, 2))
    jacobian[:, 0] = 1.0
    found = adjust(lambda p: ((jacobian @ p).reshape(-1, 2), jacobian), np.zeros(2), np.ones((8, 2)))
    with pytest.raises(Undetermined):
        found.refuse_undetermined()


def test_the_camera_stands_where_it_was_put() -> None:
    rig = Rig()
    camera = poses(rig, 1, np.random.default_rng(3))[0]
    tray_frame = rig.tray_frame(camera)
    assert tray_frame.camera is not None
    # What is raised right above the foot stays where it is; what is raised aside moves out by Z / (Z - h).
    from vision.geometry.camera import CameraMapping
    from vision.records.inputs import Station

    station = Station("S", tray_frame.homography, tray_frame.lens, tray_frame.camera, 0.0, 0.0)
    raised = CameraMapping(station, 2.0).to_px(np.array([tray_frame.camera.foot_mm]))
    assert raised == pytest.approx(CameraMapping(station, 0.0).to_px(np.array([tray_frame.camera.foot_mm])), abs=1e-6)
    aside = np.array([tray_frame.camera.foot_mm]) + np.array([[3.0, 4.0]])
    seen_at = tray_frame.to_tray(CameraMapping(station, 2.0).to_px(aside))
    lift = tray_frame.camera.height_mm / (tray_frame.camera.height_mm - 2.0)
    assert np.linalg.norm(seen_at - tray_frame.camera.foot_mm) == pytest.approx(5.0 * lift, rel=1e-6)


def test_a_plain_view_gives_the_plain_frame() -> None:
    tray_frame = tray_frame_of(
        Plane(4), np.empty(0), np.array([20.0 * np.cos(0.3), 20.0 * np.sin(0.3), 100.0, 50.0]), (640, 460)
    )
    assert tray_frame.to_tray(np.array([[10.0, 4.0]]))[0] == pytest.approx([0.5, -0.2])


def test_scale_and_form_are_told_apart() -> None:
    points = np.random.default_rng(4).uniform(0, 50, (60, 2))
    turn = 0.001 * np.column_stack((-points[:, 1], points[:, 0]))
    bow = np.zeros_like(points)
    bow[:, 1] = 1e-4 * (points[:, 0] - 25.0) ** 2 / 625.0
    scale, form = scale_and_form(points, 0.002 * points + turn + [3.0, -1.0] + bow)
    assert scale == pytest.approx(0.002, abs=5e-6)
    assert np.sqrt(np.mean(form**2)) == pytest.approx(np.std(bow[:, 1]) / np.sqrt(2), rel=0.2)
