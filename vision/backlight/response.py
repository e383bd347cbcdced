"""Whether a camera's counts follow the light, told from a backlit frame alone.

An edge blurred by any symmetric optics is its own mirror image about half the light; counts that were raised to a power
(gamma) are not, and every edge found at their half level stands off. And a sensor's noise grows with its light (EMVA
1288, linear model: var y = K^2 sigma_d^2 + K (mean y - mean dark)): metal that is noisier than the light was brightened
afterwards. Counts mapped to others after the sensor show in how often each occurs (`vision.backlight.codes`).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from vision.backlight.codes import CODES, code_roughness, multiplied
from vision.backlight.field import BLOCK_PX, Backlight
from vision.records import Array, Picture, TrayFinding


@dataclass(frozen=True, slots=True)
class ResponseSettings:
    """When counts are told not to follow the light."""

    # An edge this lopsided (share of the light) is told: rendered edges of straight counts show 0.004 at most, an
    # exponent of 0.6 gives 0.0077 and more ...
    lopsided: float = 0.007
    # ... where an exponent this far from one (natural logarithm) explains it: light encoded with an exponent of 0.6
    # before it was rounded is fitted with 0.67 to 0.78 ...
    log_exponent: float = 0.22
    # ... to this root mean square (share of the light).
    explained_rms: float = 0.004
    # Metal noisier than the light by more than this factor (standard deviations) is told: a straight sensor's is not.
    noisier: float = 1.15
    # So many blocks of each are asked: their noise is then known to a few per cent.
    least_blocks: int = 40
    # A block is light or metal alone where it lies this near their level (share of the light's).
    alone_within: float = 0.02
    # No sensor's exponent lies further from one than this (natural logarithm: a factor of 7): a fit stays within.
    log_exponent_within: float = 2.0


RESPONSE = ResponseSettings()

_START_BLUR_PX = 0.9


@dataclass(frozen=True, slots=True)
class Response:
    """Counts as a power of the light: `exponent`; edges found at their half level stand `shift_px` outside."""

    exponent: float
    shift_px: float
    lopsided: float
    rms: float

    @property
    def bent(self) -> bool:
        """Whether the edge says that the counts don't follow the light."""
        far = abs(np.log(self.exponent)) > RESPONSE.log_exponent
        return bool(self.lopsided > RESPONSE.lopsided and far and self.rms < RESPONSE.explained_rms)


def fitted_response(at_px: Array, profile: Array, dark_share: float) -> Response:
    """Fit an exponent, a place and a blur to the mean profile of edges.

    Parameters
    ----------
    at_px, profile
        Places across the edge (k,), symmetric about it, and the share of the light there.
    dark_share
        The metal's level over the light's, in counts.

    Returns
    -------
    Response
        The counts as a power of the light, and how far that moves an edge, px.
    """
    within = RESPONSE.log_exponent_within

    def counts(p: Array) -> Array:
        exponent = float(np.exp(np.clip(p[2], -within, within)))
        dark = dark_share ** (1 / exponent)
        light = dark + (1 - dark) * ndtr((at_px - p[0]) / np.exp(p[1]))
        return np.asarray((light**exponent - dark_share) / (1 - dark_share))

    found = least_squares(lambda p: counts(p) - profile, np.array([0.0, np.log(_START_BLUR_PX), 0.0]))
    return Response(
        exponent=float(np.exp(np.clip(found.x[2], -within, within))),
        shift_px=float(found.x[0]),
        lopsided=float(np.abs(profile + profile[::-1] - 1).max()),
        rms=float(np.sqrt(np.mean(found.fun**2))),
    )


def noise_of(back: Picture, light: Backlight) -> tuple[float, float] | None:
    """Standard deviation of the noise in the light and on the metal, counts; None where too little is seen of one."""
    lit = _pure(np.abs(light.blocks - light.bright) < RESPONSE.alone_within * light.bright)
    metal = _pure(np.abs(light.blocks - light.dark) < RESPONSE.alone_within * light.bright)
    if min(lit.sum(), metal.sum()) < RESPONSE.least_blocks:
        return None
    return _noise(back, lit), _noise(back, metal)


def _pure(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


def _noise(back: Picture, blocks: NDArray[np.bool_]) -> float:
    """From second differences along rows in some of the blocks: level and slope of the light leave none."""
    rows, columns = np.nonzero(blocks)
    some = slice(None, None, max(1, len(rows) // 400))
    inside = np.arange(BLOCK_PX)
    v = (rows[some, None] * BLOCK_PX + inside)[:, :, None]
    u = (columns[some, None] * BLOCK_PX + inside)[:, None, :]
    values = back.pixels[v, u].astype(np.float64)
    second = values[..., 2:] - 2 * values[..., 1:-1] + values[..., :-2]
    return float(np.sqrt(np.mean(second**2) / 6.0))


def response_finding(back: Picture, light: Backlight, edge: Response | None, mm_per_px: float) -> TrayFinding | None:
    """What speaks against counts that follow the light, in numbers; None where nothing does.

    Parameters
    ----------
    back
        The backlit frame.
    light
        Its levels.
    edge
        What its edges say, see `fitted_response`; None where none was usable.
    mm_per_px
        Size of a pixel on the tray, mm.

    Returns
    -------
    TrayFinding | None
        The finding.
    """
    said = []
    if edge is not None and edge.bent:
        off = 1000 * abs(edge.shift_px) * mm_per_px
        said.append(f"edges show an exponent of about {edge.exponent:.2f} and stand {off:.0f} um off")
    noise = noise_of(back, light)
    if noise is not None and noise[1] > RESPONSE.noisier * max(noise[0], 1e-9):
        said.append(f"the metal's noise is {noise[1]:.2f} counts and the light's only {noise[0]:.2f}")
    rough = code_roughness(back, light)
    if rough is not None and rough > CODES.uneven and not multiplied(back, light):
        said.append(
            f"neighbouring counts occur unevenly often (roughness {rough:.2f}, a sensor leaves below {CODES.uneven})"
        )
    if not said:
        return None
    advice = "the counts don't follow the light; switch gamma off"
    detail = f"{back.name or 'back'}: {'; '.join(said)}: {advice}"
    return TrayFinding("response", None, detail)
