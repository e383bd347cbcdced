"""Gain, noise, sharpness and evenness against rendered frames whose truth is known, and against closed forms."""

import cv2
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from synthetic_images.sensor import Sensor
from synthetic_images.targets import render_flat_pair, render_slanted_edge
from vision.backlight.lamp import check_empty, lamp_drift, lamp_state
from vision.backlight.limits import light_findings, proposed_limits
from vision.calibrate.sensor import FlatPair, level_for_read_noise, measure_pair, photon_transfer
from vision.calibrate.slanted_edge import edge_sharpness
from vision.errors import Unusable
from vision.records.inputs import LightLimits

LEVELS = (0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.1)


def pairs(sensor: Sensor, levels: tuple[float, ...], seed: int, size: tuple[int, int] = (512, 512)) -> list[FlatPair]:
    rng = np.random.default_rng(seed)
    return [measure_pair(*render_flat_pair(level, size, sensor, rng), sensor.top, "pair") for level in levels]


@pytest.mark.parametrize(
    "sensor", [Sensor(10_000.0, 12.0, 4095), Sensor(2500.0, 10.0, 255), Sensor(30_000.0, 15.0, 4095)]
)
def test_photon_transfer_of_rendered_frames(sensor: Sensor) -> None:
    found = photon_transfer(pairs(sensor, LEVELS, 41), sensor.top, exposures=LEVELS)
    # Standard uncertainty of the gain here 0.15 to 0.2 %, of the read noise 0.5 to 1 %: one in a million misses.
    assert found.gain_dn_per_e == pytest.approx(sensor.gain_dn_per_e, rel=0.01)
    assert abs(found.gain_dn_per_e - sensor.gain_dn_per_e) < 4.0 * found.gain_standard
    assert found.read_noise_e == pytest.approx(sensor.read_e, rel=0.05)
    assert abs(found.read_noise_e - sensor.read_e) < 4.0 * found.read_noise_standard_e
    assert found.full_well_e == pytest.approx(sensor.full_well, rel=0.01)
    assert found.saturated
    assert found.snr_max == pytest.approx(np.sqrt(sensor.full_well), rel=0.01)
    assert found.linearity_error is not None
    assert found.linearity_error < 5e-4


def test_stated_uncertainty_of_the_gain_is_the_seen_error() -> None:
    sensor = Sensor(10_000.0, 12.0, 4095)
    found = [photon_transfer(pairs(sensor, LEVELS[:7], seed, (96, 96)), sensor.top) for seed in range(40)]
    z = [(f.gain_dn_per_e - sensor.gain_dn_per_e) / f.gain_standard for f in found]
    # Root mean square of 40 is known to 11 %: four times that.
    assert np.sqrt(np.mean(np.square(z))) == pytest.approx(1.0, abs=0.45)


def test_a_black_level_is_taken_off() -> None:
    sensor, offset = Sensor(10_000.0, 12.0, 3800), 120
    rng = np.random.default_rng(43)
    lit = [
        measure_pair(
            *(frame + np.uint16(offset) for frame in render_flat_pair(level, (300, 300), sensor, rng)), 4095, ""
        )
        for level in LEVELS[1:7]
    ]
    dark_noise = rng.normal(offset, sensor.read_e * sensor.gain_dn_per_e, (2, 300, 300))
    dark = measure_pair(*np.rint(dark_noise).astype(np.uint16), 4095, "dark")
    found = photon_transfer(lit, 4095, dark)
    assert found.black_level == pytest.approx(offset, abs=0.05)
    assert found.read_noise_e == pytest.approx(sensor.read_e, rel=0.02)


def test_read_noise_of_the_plain_eight_bit_sensor_from_pairs_where_it_tells() -> None:
    sensor = Sensor()
    first = photon_transfer(pairs(sensor, LEVELS, 61, (256, 256)), 255)
    asked = level_for_read_noise(first) / 255.0
    assert asked == pytest.approx(0.083, abs=0.003)
    levels = (*(asked + k / 8.0 / 255.0 for k in range(8)), 0.3, 0.45, 0.6)
    found = photon_transfer(pairs(sensor, levels, 62, (1024, 1024)), 255)
    # Standard uncertainty 1.8 %: 5 % is missed in 6 of 1000 draws.
    assert found.read_noise_e == pytest.approx(sensor.read_e, rel=0.05)
    assert found.read_noise_standard_e < 0.02 * sensor.read_e


def test_read_noise_lost_in_rounding_is_not_told() -> None:
    found = photon_transfer(pairs(Sensor(40_000.0, 4.0, 255), LEVELS, 44), 255)
    assert np.isnan(found.read_noise_e)


def test_a_bent_response_shows_as_nonlinearity() -> None:
    sensor = Sensor(10_000.0, 12.0, 4095)
    rng = np.random.default_rng(45)
    bent = []
    for level in LEVELS[:9]:
        a, b = render_flat_pair(level * (1.0 - 0.05 * level), (200, 200), sensor, rng)
        bent.append(measure_pair(a, b, 4095, ""))
    found = photon_transfer(bent, 4095, exposures=LEVELS[:9])
    assert found.linearity_error is not None
    assert 0.003 < found.linearity_error < 0.03


def test_too_few_levels_and_unequal_frames() -> None:
    sensor = Sensor(10_000.0, 12.0, 4095)
    with pytest.raises(Unusable, match="3 pairs or more"):
        photon_transfer(pairs(sensor, (0.2, 0.5), 46, (64, 64)), 4095)
    with pytest.raises(Unusable, match="two frames of one size"):
        measure_pair(np.zeros((4, 5), np.uint8), np.zeros((5, 4), np.uint8), 255, "pair")


@pytest.mark.parametrize("sigma", [0.7, 1.0, 1.6, 2.5])
@pytest.mark.parametrize("slant", [5.0, -8.0])
def test_mtf50_of_a_gaussian_edge_is_the_closed_form(sigma: float, slant: float) -> None:
    rng = np.random.default_rng(47)
    rows, columns = np.mgrid[-60:60, -60:60]
    turn = np.deg2rad(slant)
    level = 400.0 + 3000.0 * ndtr((columns * np.cos(turn) + rows * np.sin(turn)) / sigma)
    pixels = np.rint(level + rng.normal(0, 6.0, level.shape)).astype(np.uint16)
    found = edge_sharpness(pixels, "edge")
    # exp(-2 pi² sigma² f²) = 1/2 and 1/10.
    assert found.mtf50 == pytest.approx(0.187391 / sigma, rel=0.01)
    assert found.mtf10 == pytest.approx(0.341541 / sigma, rel=0.02)
    assert found.blur_px == pytest.approx(sigma, rel=0.01)
    assert abs(found.slant_deg) == pytest.approx(abs(slant), abs=0.05)


@pytest.mark.parametrize("psf", [0.7, 1.2])
def test_mtf50_of_a_rendered_edge_has_the_pixel_in_it(psf: float) -> None:
    pixels = render_slanted_edge((120, 120), 5.0, psf, Sensor(20_000.0, 4.0, 4095), np.random.default_rng(48))
    expected = brentq(lambda f: np.exp(-2.0 * (np.pi * psf * f) ** 2) * np.sinc(f) - 0.5, 1e-6, 1.0)
    found = edge_sharpness(pixels, "edge")
    assert found.mtf50 == pytest.approx(expected, rel=0.01)
    assert found.blur_px == pytest.approx(np.sqrt(psf**2 + 1 / 12), rel=0.01)


def test_an_edge_that_is_none_or_not_slanted_is_refused() -> None:
    rng = np.random.default_rng(49)
    with pytest.raises(Unusable, match="no edge"):
        edge_sharpness(rng.normal(100, 3, (60, 60)).clip(0, 255).astype(np.uint8), "edge")
    straight = np.where(np.arange(60) < 30, 40, 200).astype(np.uint8)[None, :].repeat(60, axis=0)
    with pytest.raises(Unusable, match="slanted by"):
        edge_sharpness(cv2.GaussianBlur(straight, (0, 0), 1.0).astype(np.uint8), "edge")
    with pytest.raises(Unusable, match="20 x 20 px"):
        edge_sharpness(np.zeros((10, 40), np.uint8), "edge")


def lamp_frame(level: float = 0.8, corner: float = 1.0, size: tuple[int, int] = (400, 300)) -> np.ndarray:
    u, v = np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1]))
    light = level * (1.0 - (1.0 - corner) * (u * u + v * v) / 2.0)
    noise = np.random.default_rng(50).normal(0, 1.0, light.shape)
    return np.rint(np.clip(255 * light + noise, 0, 255)).astype(np.uint8)


def test_an_even_lamp_and_a_vignetted_one() -> None:
    even, fading = (lamp_state(lamp_frame(corner=c), 255.0, "back") for c in (1.0, 0.6))
    assert even.level == pytest.approx(0.8, abs=0.005)
    assert even.darkest > 0.98
    # The third darkest block, near a corner, is at 0.65 of the middle, the median at 0.87.
    assert fading.darkest == pytest.approx(0.65 / 0.87, abs=0.03)
    assert fading.lit > 0.99


def test_pieces_on_the_tray_do_not_darken_the_lamp() -> None:
    frame = lamp_frame()
    frame[100:180, 60:300] = 12
    state = lamp_state(frame, 255.0, "back")
    assert state.level == pytest.approx(0.8, abs=0.005)
    assert state.darkest > 0.8
    assert state.lit < 0.95


def test_a_drifting_lamp_is_told_in_level_and_shape() -> None:
    then = lamp_state(lamp_frame(0.8), 255.0, "then")
    level, shape = lamp_drift(lamp_state(lamp_frame(0.72), 255.0, "now"), then)
    assert level == pytest.approx(-0.1, abs=0.005)
    assert shape < 0.01
    assert lamp_drift(lamp_state(lamp_frame(corner=0.8), 255.0, "now"), then)[1] > 0.05
    with pytest.raises(Unusable, match="same size"):
        lamp_drift(then, lamp_state(lamp_frame(size=(200, 200)), 255.0, "other"))


def test_a_dark_frame_is_no_lamp() -> None:
    with pytest.raises(Unusable, match="a light that reaches"):
        lamp_state(np.full((200, 200), 3, np.uint8), 255.0, "back")


def test_findings_carry_numbers_and_limits() -> None:
    state = lamp_state(lamp_frame(1.1, corner=0.5), 255.0, "back")
    limits = LightLimits(level_max=0.9, full_max=0.001, darkest_min=0.7, blur_max_px=1.2)
    found = light_findings(state, 1.5, limits)
    assert [finding.kind for finding in found] == ["exposure", "exposure", "exposure", "focus"]
    assert "edges blurred by 1.50 px (sigma), over the limit of 1.2 px" in found[-1].detail
    assert light_findings(state, 1.5, LightLimits()) == ()
    assert (
        light_findings(lamp_state(lamp_frame(0.2), 255.0, "back"), None, LightLimits(level_min=0.5, blur_max_px=1.0))[
            0
        ].kind
        == "exposure"
    )


def test_a_value_at_its_limit_is_within_it() -> None:
    state = lamp_state(lamp_frame(0.8, corner=0.9), 255.0, "back")
    at = LightLimits(state.level, state.level, state.full, state.darkest, 1.0)
    assert light_findings(state, 1.0, at) == ()
    beyond = LightLimits(state.level + 1e-6, state.level + 1.0, state.full, state.darkest + 1e-6, 1.0 - 1e-6)
    assert [f.kind for f in light_findings(state, 1.0, beyond)] == ["exposure", "exposure", "focus"]


def test_limits_proposed_from_a_good_day_let_that_day_pass_and_stop_a_worse_one() -> None:
    good = lamp_state(lamp_frame(0.8, corner=0.9), 255.0, "back")
    limits = proposed_limits(good, 0.9)
    assert light_findings(good, 0.9, limits) == ()
    assert [f.kind for f in light_findings(lamp_state(lamp_frame(0.7, 0.9), 255.0, "back"), 1.2, limits)] == [
        "exposure",
        "focus",
    ]
    assert len(light_findings(lamp_state(lamp_frame(0.8, corner=0.6), 255.0, "back"), 0.9, limits)) == 1
    assert proposed_limits(None, None) == LightLimits()


def test_a_lamp_that_leaves_the_frames_border_dark_is_none() -> None:
    pixels = lamp_frame()
    pixels[:60] = 10
    pixels[:, -90:] = 10
    check_empty(lamp_state(pixels, 255.0, "lamp"), "lamp")
