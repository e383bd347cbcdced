"""A sensor after the linear model of EMVA 1288: photons to electrons, read noise, gain, quantisation."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from synthetic_images.outlines.coverage import Float32

Pixels = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class Sensor:
    """A camera's sensor.

    `full_well` electrons fill a pixel and read as `top` counts (255 for 8 bits, 4095 for 12 of 16 bits); `read_e` is
    the standard deviation of the read noise in electrons.
    """

    full_well: float = 12000.0
    read_e: float = 6.0
    top: int = 255

    @property
    def gain_dn_per_e(self) -> float:
        """EMVA 1288's overall system gain K, counts an electron."""
        return self.top / self.full_well


def exposed(light: Float32, sensor: Sensor, rng: np.random.Generator) -> Pixels:
    """Photograph light given as a share of the full well: (height, width) uint8 up to 255 counts, else uint16.

    EMVA 1288's linear model: y = K (Poisson(mu_e) + Normal(0, sigma_d)), rounded and clipped, so that
    var y = K^2 sigma_d^2 + 1/12 + K (mean y - mean dark).
    """
    electrons = rng.poisson(np.maximum(light, 0.0) * sensor.full_well).astype(np.float32)
    electrons += np.float32(sensor.read_e) * rng.standard_normal(light.shape, dtype=np.float32)
    counts: NDArray[np.float32] = np.clip(np.rint(electrons * np.float32(sensor.gain_dn_per_e)), 0, sensor.top)
    return counts.astype(np.uint8) if sensor.top <= 255 else counts.astype(np.uint16)
