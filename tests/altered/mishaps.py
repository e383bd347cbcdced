"""Mishaps of the day: what hands, lamps, lens, air and camera do to frames between two trays."""

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from tests.altered.bench import Alteration, Altered, Tray
from tests.altered.faces import (
    arranged,
    bad_pieces,
    cover_of,
    front_frames,
    in_all,
    in_one,
    level_of,
    painted,
    shown_with,
    with_pixels,
)
from tests.altered.frame_changes import blurred
from tests.altered.planting import inside_of
from vision.records import Array, Picture

# The bowl's middle on the drawing, and its tip (mm).
_BOWL_MM, _TIP_MM = (21.0, 0.0), (2.0, 0.0)
# Photons of full scale: what is put into a frame has a sensor's noise.
_FULL_WELL = 12000.0


def _exposed(level: Array, rng: np.random.Generator) -> Array:
    return level + np.sqrt(np.maximum(level, 0.0) / _FULL_WELL) * rng.standard_normal(level.shape)


def _beyond(frame: Array, share: float, soft_px: float) -> Array:
    """1 below a line across the frame at a share of its height, 0 above, with a soft border."""
    rows = (np.arange(len(frame)) - share * len(frame)) / soft_px
    return np.repeat((1.0 / (1.0 + np.exp(-np.clip(rows, -50.0, 50.0))))[:, None], frame.shape[1], axis=1)


def _half_blurred(frame: Array, sigma: float, _rng: np.random.Generator) -> Array:
    return np.asarray(frame + _beyond(frame, 0.5, 20.0) * (blurred(frame, sigma) - frame))


def _smeared(frame: Array, length: float, down: bool) -> Array:
    kernel = np.ones((round(length), 1) if down else (1, round(length))) / round(length)
    return np.asarray(cv2.filter2D(frame, -1, kernel, borderType=cv2.BORDER_REPLICATE))


def _over_bowls(
    name: str,
    strengths: tuple[float, ...],
    change: Callable[[Array, Picture, float, np.random.Generator], Array],
    half: bool,
) -> Alteration:
    """The bowls of all pieces changed, or the half of each: no piece may pass."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered:
        covers = []
        for k, piece in enumerate(tray.measured):
            if piece.profile is None:
                continue
            middle = (_BOWL_MM[0], 9.0 if half else 0.0)
            covers.append(cover_of(tray, middle, (25.0, 9.0 if half else 25.0), 0.1, k))
        cover = np.max(covers, axis=0)
        frames = [
            with_pixels(
                one,
                one.full_scale * (level_of(one) + cover * (change(level_of(one), one, strength, rng) - level_of(one))),
            )
            for one in front_frames(tray)
        ]
        return shown_with(tray, frames)

    return Alteration(name, strengths, alter)


def _condensed(level: Array, picture: Picture, share: float, rng: np.random.Generator) -> Array:
    """Fine drops on the metal scatter a share of every light evenly, as etched metal does."""
    even = 0.35 if picture.light == "low" else 0.6
    return _exposed((1.0 - share) * level + share * even, rng)


def _fogged(tray: Tray, share: float, rng: np.random.Generator) -> Altered | None:
    """A film of drops on the lens spreads a share of the light over 2 mm about, in every frame; bad pieces stay bad."""
    if not bad_pieces(tray):
        return None

    def fogged(level: Array) -> Array:
        return _exposed((1.0 - share) * level + share * blurred(level, 40.0), rng)

    frames = [with_pixels(one, one.full_scale * fogged(level_of(one))) for one in front_frames(tray)]
    made = shown_with(tray, frames, bad_pieces(tray))
    back = tray.shown.pictures.back
    return replace(made, shown=made.shown.with_back(back.full_scale * fogged(level_of(back))))


def _skin(level: Array, _picture: Picture, _size: float) -> Array:
    """Evenly scattering, with ridges 0.5 mm apart."""
    return np.full_like(level, 0.3) + 0.02 * np.cos(np.arange(level.shape[1]) * (2.0 * np.pi / 10.0))


def _paper(level: Array, picture: Picture, white: float, rng: np.random.Generator) -> Array:
    return _exposed(np.full_like(level, white), rng) if picture.light == "dome" else level


def _lost_rows(level: Array, _picture: Picture, count: float, rng: np.random.Generator) -> Array:
    """A band of rows black, over the whole frame: the bowls' part of it is taken."""
    out = level.copy()
    first = int(rng.uniform(0.0, count))
    out[first :: max(10 * int(count), 1)] = 0.0
    for k in range(int(count)):
        out[first + k :: max(10 * int(count), 1)] = 0.0
    return out


def _dust_on_the_sensor(tray: Tray, depth: float, rng: np.random.Generator) -> Altered | None:
    """Soft specks at the same pixels of every front-lit frame; bad pieces stay bad."""
    if not bad_pieces(tray):
        return None
    rows, columns = tray.shown.pictures.back.pixels.shape
    specks = (rng.random((rows, columns)) < 2e-5).astype(np.float64)
    shade = np.minimum(blurred(specks, 4.0) * 2 * np.pi * 16.0, 1.0)
    frames = [with_pixels(one, one.full_scale * level_of(one) * (1.0 - depth * shade)) for one in front_frames(tray)]
    return shown_with(tray, frames, bad_pieces(tray))


def _on_a_handle(tray: Tray, turn_deg: float, _rng: np.random.Generator) -> Altered | None:
    """Each piece's picture once more, laid across its own handle at an angle, by the darker of both."""
    back = tray.shown.pictures.back
    place = inside_of(tray.measured[0], np.array([0.7 * float(tray.shown.part.outline[:, 0].max()), 0.0]))
    rows, columns = back.pixels.shape
    motion = cv2.getRotationMatrix2D((float(place.point[0]), float(place.point[1])), turn_deg, 1.0)
    light = float(np.quantile(back.pixels, 0.9))
    turned = cv2.warpAffine(back.pixels.astype(np.float32), motion, (columns, rows), borderValue=light)
    shown = tray.shown.with_back(np.minimum(back.pixels, turned))
    return Altered(shown, (0,))


def _taken_together(frames: list[Picture], share: float, _tray: Tray) -> list[Picture]:
    """A low lamp burning while the dome's frame was taken."""
    both = (1.0 - share) * level_of(frames[0]) + share * level_of(frames[1])
    return [with_pixels(frames[0], both * frames[0].full_scale), *frames[1:]]


def _of_half_size(frames: list[Picture], _strength: float, _tray: Tray) -> list[Picture]:
    """Frames read out of every other pixel and laid into a frame of the old size."""
    out = []
    for one in frames:
        small = one.pixels[::2, ::2]
        whole = np.zeros_like(one.pixels)
        whole[: small.shape[0], : small.shape[1]] = small
        out.append(replace(one, pixels=whole))
    return out


def _growing(tray: Tray, step: float, _rng: np.random.Generator) -> Altered | None:
    """Daylight that grows from frame to frame."""
    if not bad_pieces(tray):
        return None
    frames = [with_pixels(one, one.full_scale * (level_of(one) + step * k)) for k, one in enumerate(front_frames(tray))]
    return shown_with(tray, frames, bad_pieces(tray))


MISHAPS: tuple[Alteration, ...] = (
    in_one("a lamp half covered", (0.5, 0.9), lambda f, s, _r: f * (1.0 - s * _beyond(f, 0.5, 40.0)), "low"),
    in_all("an arm's shadow", (0.3, 0.6, 0.9), lambda f, s, _r: f * (1.0 - s * _beyond(f, 0.5, 100.0))),
    painted(
        "a finger over the tip", (6.0, 10.0), _skin,
        lambda d: (d, d), 0.5, place=lambda _r: _TIP_MM,
    ),
    in_one("one low frame exposed otherwise", (0.5, 2.0, 4.0), lambda f, s, _r: f * s, "low"),
    in_one("dome exposed otherwise", (0.5, 0.7, 1.3), lambda f, s, _r: f * s, "dome"),
    in_one("one low frame shaken", (4.0, 8.0, 20.0), lambda f, n, r: _smeared(f, n, bool(r.random() < 0.5)), "low"),
    in_one("dome shaken", (4.0, 8.0, 20.0), lambda f, n, r: _smeared(f, n, bool(r.random() < 0.5)), "dome"),
    in_all("lens smeared over half the frame", (2.0, 5.0), _half_blurred),
    in_all("stripes of the sensor's rows", (0.01, 0.03, 0.1), lambda f, s, r: f + s * r.standard_normal((len(f), 1))),
    Alteration("dust on the sensor", (0.1, 0.4), _dust_on_the_sensor),
    Alteration("daylight growing from frame to frame", (0.02, 0.05, 0.1), _growing),
    _over_bowls("condensation", (0.6, 0.9), _condensed, half=False),
    Alteration("fog on the lens", (0.2, 0.5, 0.8), _fogged),
    _over_bowls("condensation on half the bowl", (0.9,), _condensed, half=True),
    _over_bowls("paper over half the bowl in the dome's frame", (0.5, 0.85), _paper, half=True),
    _over_bowls("bands of rows lost", (2.0, 10.0), _lost_rows, half=False),
    arranged("a low lamp burning in the dome's frame", (0.3, 0.6), _taken_together),
    arranged("front frames of half the pixels", (0.0,), _of_half_size),
    Alteration("a spoon on another's handle", (30.0, 60.0, 90.0), _on_a_handle),
)  # fmt: skip
