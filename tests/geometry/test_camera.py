"""The camera's view: there and back, and parallax against its closed form."""

import numpy as np
import pytest
from hypothesis import given, strategies as st

from vision.geometry.camera import CameraMapping
from vision.records.inputs import Array, Camera, Lens, Station

PLAIN = np.diag((0.05, -0.05, 1.0))
TILTED = np.array([[0.0497, 0.0003, -0.1], [0.0005, -0.0497, -0.9], [-1.5e-6, -2.3e-6, 1.0]])
LENS = Lens(
    np.array([[9200.0, 0.0, 1499.5], [0.0, 9200.0, 1049.5], [0.0, 0.0, 1.0]]), np.array([-0.08, 0.02, 1e-4, -1e-4, 0.0])
)
PX = np.array([[3.0, 4.0], [2990.0, 10.0], [1500.0, 1050.0], [20.0, 2080.0], [2990.0, 2090.0]])


def station(homography: Array, lens: Lens | None = None, camera: Camera | None = None) -> Station:
    return Station("ST-1", homography, lens, camera, 0.01, 0.0002)


def test_a_plain_scale_is_x_right_and_y_up() -> None:
    tray = CameraMapping(station(PLAIN), 0.0).to_tray(np.array([[100.0, 40.0]]))
    assert tray == pytest.approx(np.array([[5.0, -2.0]]))


@pytest.mark.parametrize("lens", [None, LENS])
@pytest.mark.parametrize("camera", [None, Camera(620.0, (75.0, -52.5))])
@pytest.mark.parametrize("homography", [PLAIN, TILTED])
def test_there_and_back_is_exact_to_a_thousandth_of_a_pixel(
    homography: Array, lens: Lens | None, camera: Camera | None
) -> None:
    view = CameraMapping(station(homography, lens, camera), 6.0)
    assert view.to_px(view.to_tray(PX)) == pytest.approx(PX, abs=1e-3)


@given(height=st.floats(0, 30), x=st.floats(-60, 200), y=st.floats(-150, 60))
def test_a_raised_point_seems_further_from_the_foot(height: float, x: float, y: float) -> None:
    # Similar triangles: seen at Z / (Z - h) of its distance from the foot of the lens's axis.
    foot = np.array([75.0, -52.5])
    flat, raised = (CameraMapping(station(PLAIN, camera=Camera(620.0, (75.0, -52.5))), h) for h in (0.0, height))
    seen = flat.to_tray(raised.to_px(np.array([[x, y]])))[0]
    assert seen - foot == pytest.approx((np.array([x, y]) - foot) * 620.0 / (620.0 - height), abs=1e-6)


def test_local_scale_of_a_plain_station() -> None:
    assert CameraMapping(station(PLAIN), 0.0).mm_per_px(np.array([700.0, 300.0])) == pytest.approx(0.05)
