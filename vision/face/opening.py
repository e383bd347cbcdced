"""What the dome's frame shows beyond the dome itself and its opening for the camera.

A dished face mirrors the dome all over, and where it looks straight up its opening: one soft dark image. Nothing in one
frame tells that image from a film of its softness; the low lights do. Where the face looks straight up opposite lamps
show alike, whatever lies on the metal and dims them all; so the course of the dome is a function of how unlike they
are, and what that course does not account for is on the metal. Where low lights leave that place too dark to say, the
image is taken for an ellipse of the frame: then a second one is left over.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.special import expit

from vision.face.contrast import FrameContrast
from vision.face.raster import Image, Mask
from vision.records import Array

# Lights are compared over so much (mm): bumps of the finish turn each lamp's light its own way within it.
_SMOOTH_MM = 0.5
# Added to a level (of 255) before the logarithm, and the level above which a lamp's own reflection is cut.
_PEDESTAL, _BRIGHTEST = 1.0, 250.0
# So many low lights say which way the face looks; what they say is taken where all are so bright (of 255) over so much
# of the image that they lead to, and it is so deep (share of the dome's level). Rendered faces: all of it and 0.44 at
# least with a haze to their finish, films or none; half of it, and 0.1, where low lights leave the middle black.
_LEAST_LOWS, _LEAST_LEVEL, _LEAST_SHARE, _LEAST_DEPTH = 3, 5.0, 0.9, 0.2
# So many pixels are fitted, in so many steps; what lies further off than this (natural logarithm) hardly counts.
_PIXELS, _STEPS, _NEAR = 1500, 20, 0.04
# The unit of the frame's own places (mm): the image is then about one unit wide, as it is in the lights' unlikeness.
_UNIT_MM = 5.0
# Lower and upper ends of the parameters: across (two each of stretch and place), skew, depth (logit), softness
# (logarithm), level beside it. Lamps of one strength leave its middle at no unlikeness; a ratio of 1.8 moves it by 0.3.
_STRETCH, _SKEW, _DEPTH, _SOFT, _LEVEL = (-1.5, 2.5), (-1.0, 1.0), (-4.0, 4.0), (-3.0, 1.0), (-0.1, 0.1)
_OFF_MIDDLE = 0.3
# Where the fit begins: stretches, skew, depth, softness, level (rendered faces end near it).
_START = (0.85, 0.5, 0.0, 0.5, -0.8, 0.0)
# The darkest share of a face: the middle of the image lies there, if no film does.
_DARKEST_SHARE = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """The dome's level (natural logarithm, from its median) at places (2, n) in which its dark image is an ellipse."""

    level: Array
    place: Array
    # How far from (0, 0) the image's middle may lie.
    off_middle: float


def left_over(dome: FrameContrast, lows: Sequence[FrameContrast], scored: Mask, pitch_mm: float) -> Image:
    """By how much the dome's frame is brighter than it and its opening account for (natural logarithm, broad raster;
    below 0: darker), over the scored area and 0 elsewhere.
    """
    out = np.zeros(scored.shape, np.float32)
    if not scored.any():
        return out
    level = np.log(_smooth(dome, scored, pitch_mm) + _PEDESTAL)
    level -= np.median(level)
    rest = _by_low_lights(level, lows, scored, pitch_mm)
    out[scored] = _by_place(level, scored, pitch_mm) if rest is None else rest
    return out


def _smooth(frame: FrameContrast, scored: Mask, pitch_mm: float) -> Array:
    """A frame's level (of 255) over the scored area alone, (n,)."""
    sigma, share = _SMOOTH_MM / pitch_mm, scored.astype(np.float32)
    level = cv2.GaussianBlur(np.minimum(frame.brightness, np.float32(_BRIGHTEST)) * share, (0, 0), sigma)
    return np.asarray((level / np.maximum(cv2.GaussianBlur(share, (0, 0), sigma), 1e-3))[scored], np.float64)


def _by_low_lights(level: Array, lows: Sequence[FrameContrast], scored: Mask, pitch_mm: float) -> Array | None:
    """What is left of the dome's level by the way that low lights say the face looks; None where they don't."""
    named = [(frame, frame.picture.azimuth_deg) for frame in lows if frame.picture.azimuth_deg is not None]
    if len(named) < _LEAST_LOWS:
        return None
    shown = np.array([_smooth(frame, scored, pitch_mm) for frame, _ in named])
    turn = np.radians([azimuth for _, azimuth in named])
    lamps = np.column_stack((np.ones(len(turn)), np.cos(turn), np.sin(turn)))
    course = _Course(level, (np.linalg.pinv(lamps) @ np.log(shown + _PEDESTAL))[1:], _OFF_MIDDLE)
    fitted = _fitted(course)
    image = _away(fitted, course.place) < 1.0
    tell = image.any() and np.mean(shown.min(axis=0)[image] >= _LEAST_LEVEL) >= _LEAST_SHARE
    return level - _shape(fitted, course.place) if tell and expit(fitted[5]) >= _LEAST_DEPTH else None


def _by_place(level: Array, scored: Mask, pitch_mm: float) -> Array:
    """What is left of the dome's level where its image is an ellipse anywhere on the face."""
    place = np.array(np.nonzero(scored), np.float64) * pitch_mm / _UNIT_MM
    place -= place.mean(axis=1, keepdims=True)
    course = _Course(level, place, float(np.abs(place).max()))
    return np.asarray(level - _shape(_fitted(course), place))


def _away(p: Array, place: Array) -> Array:
    """Distance from the image's middle, 1 at its border."""
    right, up = place - p[:2, None]
    return np.asarray(np.hypot(np.exp(p[2]) * right + p[4] * up, np.exp(p[3]) * up))


def _shape(p: Array, place: Array) -> Array:
    """Level beside the image and in it: an ellipse with a soft border, flat inside."""
    return np.asarray(p[7] + np.log1p(-expit(p[5]) * expit((1.0 - _away(p, place)) / np.exp(p[6]))))


def _fitted(course: _Course) -> Array:
    """The likeliest image, from the middle of all places and from the darkest one: films are far off, and few."""
    some = slice(None, None, max(1, len(course.level) // _PIXELS))
    level, place = course.level[some], course.place[:, some]
    off = (-course.off_middle - 1e-3, course.off_middle + 1e-3)
    low, high = (
        np.array(ends) for ends in zip(off, off, _STRETCH, _STRETCH, _SKEW, _DEPTH, _SOFT, _LEVEL, strict=True)
    )
    darkest = np.argsort(level)[: max(1, round(_DARKEST_SHARE * len(level)))]
    fits = [
        least_squares(
            lambda p: _shape(p, place) - level,
            np.array([*np.clip(middle, -course.off_middle, course.off_middle), *_START]),
            bounds=(low, high),
            loss="cauchy",
            f_scale=_NEAR,
            max_nfev=_STEPS,
        )
        for middle in (np.zeros(2), np.median(place[:, darkest], axis=1))
    ]
    return np.asarray(min(fits, key=lambda fit: float(fit.cost)).x)
