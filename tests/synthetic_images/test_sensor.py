"""The sensor against EMVA 1288's linear model."""

import numpy as np
import pytest

from synthetic_images.sensor import Sensor, exposed

SHAPE = (400, 500)
PIXELS = SHAPE[0] * SHAPE[1]


@pytest.mark.parametrize("level", [0.05, 0.3, 0.7])
@pytest.mark.parametrize("sensor", [Sensor(12000.0, 6.0, 255), Sensor(2500.0, 10.0, 255), Sensor(12000.0, 6.0, 4095)])
def test_mean_and_variance_follow_the_linear_model(sensor, level):
    counts = exposed(np.full(SHAPE, level, np.float32), sensor, np.random.default_rng([1288, round(1000 * level)]))
    gain = sensor.gain_dn_per_e
    mean = level * sensor.full_well * gain
    variance = gain**2 * sensor.read_e**2 + 1.0 / 12.0 + gain * mean
    # Chance of failing on another seed: 5 standard errors on each of 18 figures, 1e-5 in all.
    assert counts.mean() == pytest.approx(mean, abs=5.0 * np.sqrt(variance / PIXELS))
    assert counts.var() == pytest.approx(variance, rel=5.0 * np.sqrt(2.0 / PIXELS) + 0.001)


def test_the_slope_of_variance_over_mean_is_the_gain():
    sensor = Sensor(8000.0, 8.0, 4095)
    rng = np.random.default_rng(1288)
    frames = [exposed(np.full(SHAPE, level, np.float32), sensor, rng) for level in np.linspace(0.1, 0.8, 8)]
    means, variances = [f.mean() for f in frames], [f.var() for f in frames]
    # Eight variances, each known to 0.3 %: the slope to 0.3 %; 2 % is beyond 6 standard errors, chance 1e-9.
    assert np.polyfit(means, variances, 1)[0] == pytest.approx(sensor.gain_dn_per_e, rel=0.02)


def test_eight_bits_or_twelve_of_sixteen():
    light = np.full((4, 5), 3.0, np.float32)
    rng = np.random.default_rng(0)
    small, deep = exposed(light, Sensor(), rng), exposed(light, Sensor(top=4095), rng)
    assert (small.dtype, deep.dtype) == (np.uint8, np.uint16)
    assert (small == 255).all()
    assert (deep == 4095).all()


def test_no_light_gives_no_count_below_zero():
    counts = exposed(np.full((50, 50), -0.1, np.float32), Sensor(2500.0, 40.0), np.random.default_rng(3))
    assert counts.min() == 0
    assert counts.max() > 0
