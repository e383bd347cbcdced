"""The backlight's half angle from a polished pin or ball of known diameter on the tray.

A pin's rim is as round as the pin: its band inside the true edge is wide, and where the true edge lies is known, half
the diameter from the axis. So the light across it tells the half angle twice, by how wide and bright the band is and by
how much thinner the pin looks than it is. Light is averaged over all of a pin's length and both its sides, or all
round a ball, and fitted with a staircase behind a blur; place, brightness and levels are free within what is known.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from vision.backlight import Backlight, model_backlight
from vision.errors import Unusable
from vision.geometry import CameraMapping, moments
from vision.outline.band_fit import BAND_FIT
from vision.outline.regions import Region, find_regions
from vision.outline.rim_light import band_share, staircase
from vision.records import Array, HalfAngle, Picture, Station


@dataclass(frozen=True, slots=True)
class PinSettings:
    """How a pin or ball is found and looked at."""

    # A dark region below this share of the diameter's square is no silhouette of it: dust, or part of a holder.
    least_area: float = 0.25
    # A silhouette whose spreads differ less than this many times is a ball's ...
    ball: float = 1.1
    # ... and a pin's is longer than this many diameters.
    pin_diameters: float = 4.0
    # A pin looks thinner than it is by this share at most ...
    thinner: float = 0.5
    # ... and no thicker than it is by more than this.
    thicker: float = 0.05
    # How far outside the true edge the light is looked at (px) ...
    outside_px: float = 5.0
    # ... and how finely (px).
    step_px: float = 0.25
    # Rays all round a ball.
    rays: int = 1440
    # Half angles (degrees) where a fit begins; the best one counts ...
    starts_deg: tuple[float, ...] = (3.0, 12.0, 25.0, 45.0, 65.0)
    # ... and the widest that one can find.
    widest_deg: float = 88.0
    # The optics' blur lies between these (px): sharper than any pixel lets it be, and softer than any frame in focus.
    blur_px: tuple[float, float] = (0.2, 5.0)
    # Both levels may be off by this share of the light.
    levels: float = 0.02


PIN = PinSettings()


@dataclass(frozen=True, slots=True)
class PinDiameter:
    """The known diameter of a pin or ball, and its standard uncertainty, mm."""

    mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class PinSeen:
    """What a pin tells: the backlight's half angle, the band's width, how thick the pin looks (between half levels)."""

    backlight: HalfAngle
    band_mm: float
    apparent_mm: float
    blur_mm: float


def see_pin(back: Picture, station: Station, pin: PinDiameter) -> PinSeen:
    """Measure the backlight's half angle by a polished pin or ball.

    Parameters
    ----------
    back
        A backlit frame with the pin or ball alone on the tray, near the middle.
    station
        The calibrated camera; its scale's uncertainty is part of the result's.
    pin
        Its diameter, by its maker or a micrometer.

    Returns
    -------
    PinSeen
        Half angle and standard uncertainty, and what it was told from.

    Raises
    ------
    Unusable
        Where the frame shows no light, or not one silhouette of that diameter.
    """
    light = model_backlight(back)
    camera = CameraMapping(station, pin.mm / 2)
    rows, columns = back.pixels.shape
    mm_per_px = camera.mm_per_px(np.array([columns / 2, rows / 2]))
    region = _the_one(find_regions(back, light, PIN.least_area * (pin.mm / mm_per_px) ** 2), back)
    at_mm = np.arange(0.0, pin.mm / 2 + PIN.outside_px * mm_per_px, PIN.step_px * mm_per_px)
    outer = camera.to_tray(region.outer)
    rays = _rays(outer, pin.mm, mm_per_px, back.name)
    share = _light_along(back, light, camera, rays, at_mm)
    apparent = 2 * float(np.interp(0.5, share, at_mm))
    if not 1 - PIN.thinner < apparent / pin.mm < 1 + PIN.thicker:
        expected = f"a pin or ball that looks as thick as it is, {pin.mm:g} mm, or a little thinner"
        raise Unusable(back.name, "", expected, f"{apparent:.3f} mm")
    place_u = float(np.hypot(pin.u_mm / 2, np.hypot(pin.mm / 2 * station.scale_relative, station.outline_mm)))
    # A disc's edge reads blur^2 / (2 R) too far inside; a pin's side is straight.
    return _fitted(at_mm - pin.mm / 2, share, pin.mm / 2, place_u, apparent, rays.is_ball, mm_per_px)


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """Lines of sight from an axis or a centre outward: `from_mm`, `along` (n, 2) in the tray."""

    from_mm: Array
    along: Array
    is_ball: bool


def _the_one(regions: tuple[Region, ...], back: Picture) -> Region:
    if len(regions) != 1 or regions[0].at_border:
        expected = "one pin or ball alone on the tray, clear of the frame's border"
        raise Unusable(back.name, "", expected, f"{len(regions)} things")
    return regions[0]


def _rays(outer: Array, diameter_mm: float, mm_per_px: float, name: str) -> _Rays:
    shape = moments(outer)
    slender = shape.spread[0] / shape.spread[1]
    if slender < PIN.ball:
        turn = 2 * np.pi * np.arange(PIN.rays) / PIN.rays
        along = np.column_stack((np.cos(turn), np.sin(turn)))
        return _Rays(np.broadcast_to(_circle_center(outer), along.shape), along, True)
    axis = np.array([np.cos(shape.axis_rad), np.sin(shape.axis_rad)])
    across = np.array([-axis[1], axis[0]])
    x, y = (outer - shape.centroid) @ axis, (outer - shape.centroid) @ across
    reach = float(np.abs(x).max()) - diameter_mm
    if 2 * reach < (PIN.pin_diameters - 2) * diameter_mm:
        expected = f"a ball, or a pin longer than {PIN.pin_diameters:g} diameters"
        raise Unusable(name, "", expected, f"something {slender:.1f} times as long as wide")
    side = np.abs(x) < reach
    # Both sides share one direction: their middle is the axis.
    rows = np.column_stack((x[side], y[side] > 0, y[side] <= 0))
    slope, upper, lower = np.linalg.lstsq(rows, y[side], rcond=None)[0]
    axis, across = (v / np.hypot(*v) for v in (axis + slope * across, across - slope * axis))
    steps = np.arange(-reach, reach, mm_per_px)
    middle = np.asarray(shape.centroid) + (upper + lower) / 2 * across + steps[:, None] * axis
    both = np.concatenate((np.tile(across, (len(steps), 1)), np.tile(-across, (len(steps), 1))))
    return _Rays(np.concatenate((middle, middle)), both, False)


def _circle_center(points: Array) -> Array:
    """Of the circle through points (n, 2), by algebraic least squares: ample, as the light is averaged all round."""
    rows = np.column_stack((2 * points, np.ones(len(points))))
    return np.asarray(np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)[0][:2])


def _light_along(back: Picture, light: Backlight, camera: CameraMapping, rays: _Rays, at_mm: Array) -> Array:
    """Mean share of the light at distances (k,) along rays: (k,)."""
    places = rays.from_mm[:, None, :] + at_mm[:, None] * rays.along[:, None, :]
    px = camera.to_px(places.reshape(-1, 2)).reshape(places.shape).astype(np.float32)
    pixels = back.pixels.astype(np.float32)
    seen = cv2.remap(pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, None, cv2.BORDER_REPLICATE)
    bright, dark = light.at(px[:, -1].astype(np.float64))
    return np.asarray(((seen - dark[:, None]) / (bright - dark)[:, None]).mean(axis=0), np.float64)


def _fitted(
    at_mm: Array, share: Array, radius_mm: float, place_u_mm: float, apparent_mm: float, is_ball: bool, px_mm: float
) -> PinSeen:
    """Band, blur, place, brightness, levels by least squares; `at_mm` (k,) from the true edge, outward."""
    known = np.array([place_u_mm, BAND_FIT.brightness, PIN.levels, PIN.levels])

    def light(unknown: NDArray[np.float64]) -> Array:
        width, blur, place, brighter, dark, bright = unknown
        steps = staircase(_half_deg(float(width)))
        fall = steps.fall + brighter * np.concatenate(([-steps.fall[1:].sum()], steps.fall[1:]))
        edge = place - (blur**2 / (2 * radius_mm) if is_ball else 0.0)
        z = (at_mm[:, None] - edge + steps.depth * radius_mm * width) / blur
        return np.asarray(dark + (1 - dark - bright) * (ndtr(z) @ fall))

    def misfit(unknown: NDArray[np.float64]) -> Array:
        return np.concatenate(((light(unknown) - share) / BAND_FIT.optics, unknown[2:] / known))

    bounds = (
        np.array([0.0, PIN.blur_px[0] * px_mm, *[-np.inf] * 4]),
        np.array([band_share(PIN.widest_deg), PIN.blur_px[1] * px_mm, *[np.inf] * 4]),
    )
    trials = [
        least_squares(
            misfit,
            np.array([band_share(start), px_mm, 0.0, 0.0, 0.0, 0.0]),
            bounds=bounds,
            x_scale=np.array([0.01, 0.1 * px_mm, *known]),
            diff_step=1e-4,
        )
        for start in PIN.starts_deg
    ]
    best = min(trials, key=lambda trial: float(trial.cost))
    spread = np.sqrt(np.diag(np.linalg.pinv(best.jac.T @ best.jac)))
    width, blur = float(best.x[0]), float(best.x[1])
    # A profile that fits worse than any optics should is that much less sure.
    worse = max(1.0, float(np.sqrt(2 * best.cost / max(len(share) - 2, 1))))
    # The band's width goes with the angle's square: near a collimated light the angle is sure to one side only.
    wider, narrower = (_half_deg(max(width + sign * worse * float(spread[0]), 0.0)) for sign in (1, -1))
    half = _half_deg(width)
    u_deg = max((wider - narrower) / 2, wider - half if narrower == 0.0 else 0.0)
    return PinSeen(HalfAngle(half, u_deg), radius_mm * width, apparent_mm, blur)


def _half_deg(width: float) -> float:
    """The half angle whose band is so wide, as a share of the rim's radius."""
    return float(np.degrees(2 * np.arccos(1.0 - width)))
