"""Whether frames show the lights that they are named for."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, strategies as st

from vision.face.frame_check import crown_fault, lamp_off_deg, light_fault
from vision.records.inputs import Picture

ROWS, COLUMNS = 60, 60
Y, X = np.mgrid[:ROWS, :COLUMNS].astype(float)
SCORED = np.hypot(X - COLUMNS / 2, Y - ROWS / 2) < 25


def low(azimuth_deg: float) -> np.ndarray:
    """A dished face under a low light: bright on the side away from the lamp."""
    a = np.radians(azimuth_deg)
    along = -((X - COLUMNS / 2) * np.cos(a) - (Y - ROWS / 2) * np.sin(a))
    return np.minimum(30 * np.exp(along / 12), 255).astype(np.float32)


def picture(light, azimuth_deg=None):
    return Picture(light, azimuth_deg, np.zeros((1, 1), np.uint8), 255.0, "frame.png")


@given(st.floats(0, 360), st.floats(-40, 40))
def test_a_low_light_from_about_its_azimuth_fits(azimuth_deg, off_deg):
    assert light_fault(picture("low", azimuth_deg), low(azimuth_deg + off_deg * 0.9), SCORED, 0.0) is None


@given(st.floats(0, 360), st.floats(60, 300))
def test_a_low_light_from_elsewhere_is_told_and_left_out(azimuth_deg, off_deg):
    fault = light_fault(picture("low", azimuth_deg), low(azimuth_deg + off_deg), SCORED, 0.0)
    assert fault is not None
    assert "expected" in fault.detail
    assert fault.misleads


@given(st.floats(-180, 180))
def test_azimuths_count_from_the_trays_own_axis(turn_deg):
    assert light_fault(picture("low", 30.0), low(30.0 + turn_deg), SCORED, turn_deg) is None


@pytest.mark.parametrize(
    ("name", "level"),
    [
        ("dome", low(0.0)),
        ("low", np.full((ROWS, COLUMNS), 200, np.float32)),
        ("low", np.ones((ROWS, COLUMNS), np.float32)),
    ],
)
def test_another_lights_frame_misleads(name, level):
    fault = light_fault(picture(name, 0.0 if name == "low" else None), level, SCORED, 0.0)
    assert fault is not None
    assert fault.misleads


def test_an_even_dome_fits():
    level = (200 + 10 * np.cos(X / 9)).astype(np.float32)
    assert light_fault(picture("dome"), level, SCORED, 0.0) is None


def test_a_face_not_seen_says_nothing():
    assert light_fault(replace(picture("dome")), low(0.0), np.zeros_like(SCORED), 0.0) is None


@given(st.floats(0, 360), st.floats(-180, 180))
def test_a_crown_shows_every_lamp_on_its_own_side(azimuth_deg, turn_deg):
    def seen(mirrored_deg):
        lamps = [(azimuth_deg + k * 90.0) % 360.0 for k in range(3)]
        return [
            (picture("low", lamp), lamp_off_deg(picture("low", lamp), low(lamp + turn_deg + off), SCORED, turn_deg))
            for lamp, off in zip(lamps, mirrored_deg, strict=True)
        ]

    fault = crown_fault(seen((180.0, 180.0, 180.0)))
    assert fault is not None
    assert (fault.kind, fault.misleads) == ("face_down", True)
    assert crown_fault(seen((0.0, 0.0, 0.0))) is None
    assert crown_fault(seen((180.0, 0.0, 180.0))) is None
    assert crown_fault(seen((180.0, 180.0, 180.0))[:1]) is None
