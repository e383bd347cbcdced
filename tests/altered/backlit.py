"""Alterations of the backlit frame: metal that is missing or too many, things at the rim, frames that mislead."""

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from tests.altered.bench import Alteration, Altered, Tray
from tests.altered.frame_changes import encoded
from tests.altered.planting import box, disc, inside_of, rim_at, with_light, with_metal
from vision.records import Array

# How far things that stand on the rim reach into the metal (mm), so that nothing shows between.
_ROOT = 0.5


def _planted(
    name: str,
    strengths: tuple[float, ...],
    rings: Callable[[float, np.random.Generator], list[Array]],
    opens: bool,
    opacity: float = 1.0,
) -> Alteration:
    """Something on the rim of one piece, anywhere round it."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        if not tray.good:
            return None
        k = int(rng.choice(tray.good))
        rim = rim_at(tray.measured[k], float(rng.uniform()))
        drawn = [rim.px(ring) for ring in rings(strength, rng)]
        shown = with_light(tray.shown, drawn, rng) if opens else with_metal(tray.shown, drawn, opacity)
        return Altered(shown, (k,))

    return Alteration(name, strengths, alter)


def _bored(
    name: str, strengths: tuple[float, ...], rings: Callable[[float, np.random.Generator], list[Array]]
) -> Alteration:
    """Light through the bowl of one piece."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        if not tray.good:
            return None
        k = int(rng.choice(tray.good))
        zone = tray.shown.part.zones[0]
        x = zone.x_mm[0] + float(rng.uniform(0.3, 0.7)) * (zone.x_mm[1] - zone.x_mm[0])
        place = inside_of(tray.measured[k], np.array([x, float(rng.uniform(-3.0, 3.0))]))
        return Altered(with_light(tray.shown, [place.px(ring) for ring in rings(strength, rng)], rng), (k,))

    return Alteration(name, strengths, alter)


def _turned(ring: Array, angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return ring @ np.array([[c, s], [-s, c]])


def _curl(reach: float, run: float, width: float) -> list[Array]:
    """A burr that stands out and then runs along the rim, as a rolled-over edge does."""
    return [box(width, -_ROOT, reach), box(run, reach - width, reach, at=run / 2 - width / 2)]


def _wavy(length: float, gap: float, width: float, rng: np.random.Generator) -> Array:
    """A thread along the rim that comes near and goes away again."""
    x = np.linspace(-length / 2, length / 2, 60)
    y = gap + width / 2 + 0.1 * np.sin(x * rng.uniform(0.5, 2.0) + rng.uniform(0.0, 6.0))
    return np.concatenate((np.column_stack((x, y - width / 2)), np.column_stack((x, y + width / 2))[::-1]))


def _whole(
    name: str,
    strengths: tuple[float, ...],
    change: Callable[[Array, float, np.random.Generator], Array],
    spoils: bool = False,
) -> Alteration:
    """The whole frame changed, in shares of full scale; `spoils`: no piece may pass then."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered:
        back = tray.shown.pictures.back
        pixels = change(back.pixels.astype(np.float64) / back.full_scale, strength, rng) * back.full_scale
        return Altered(tray.shown.with_back(pixels), tuple(range(len(tray.judged))) if spoils else None)

    return Alteration(name, strengths, alter)


def _around_piece(tray: Tray, k: int) -> tuple[int, int, int, int]:
    profile = tray.measured[k].profile
    assert profile is not None
    low, high = profile.nominal_px.min(axis=0), profile.nominal_px.max(axis=0)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _over_piece(
    name: str, strengths: tuple[float, ...], change: Callable[[Array, float, np.random.Generator], Array]
) -> Alteration:
    """A part of the frame across one piece changed."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        if not tray.good:
            return None
        k = int(rng.choice(tray.good))
        back = tray.shown.pictures.back
        frame = back.pixels.astype(np.float64) / back.full_scale
        left, top, right, bottom = _around_piece(tray, k)
        middle = int(rng.uniform(left + 0.2 * (right - left), right - 0.2 * (right - left)))
        half = int(5.0 / 0.05)
        part = np.s_[max(top - 40, 0) : bottom + 40, max(middle - half, 0) : middle + half]
        frame[part] = change(frame[part], strength, rng)
        return Altered(tray.shown.with_back(frame * back.full_scale), None)

    return Alteration(name, strengths, alter)


def _blurred(frame: Array, sigma: float) -> Array:
    return np.asarray(cv2.GaussianBlur(frame, (0, 0), sigma))


def _smeared(frame: Array, length: float, axis: int) -> Array:
    kernel = np.ones((round(length), 1) if axis == 0 else (1, round(length))) / round(length)
    return np.asarray(cv2.filter2D(frame, -1, kernel, borderType=cv2.BORDER_REPLICATE))


def _torn(frame: Array, shift: float, rng: np.random.Generator) -> Array:
    at = int(rng.uniform(0.3, 0.7) * len(frame))
    return np.concatenate((frame[:at], np.roll(frame[at:], round(shift), axis=1)))


def _lines_lost(frame: Array, count: float, rng: np.random.Generator) -> Array:
    frame = frame.copy()
    for row in rng.integers(0, len(frame), round(count)):
        frame[row] = 0.0
    return frame


def _jpeg(frame: Array, quality: float, _: np.random.Generator) -> Array:
    _, packed = cv2.imencode(".jpg", np.rint(255 * frame).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE), np.float64) / 255


def _stretched(frame: Array, share: float, _: np.random.Generator) -> Array:
    """Wider by a share about the middle, as an aspect of pixels that nobody set."""
    height, width = frame.shape
    middle = (width - 1) / 2
    x = (np.arange(width) - middle) / (1 + share) + middle
    at = np.meshgrid(x.astype(np.float32), np.arange(height, dtype=np.float32))
    return np.asarray(cv2.remap(frame.astype(np.float32), *at, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))


def _glare(frame: Array, share: float, _: np.random.Generator) -> Array:
    """Veiling glare: a share of the light spread over 100 px around."""
    return (1 - share) * frame + share * _blurred(frame, 100.0)


def _lamp_stripe(frame: Array, share: float, _: np.random.Generator) -> Array:
    """A stripe of the panel darker, 8 mm wide with soft sides."""
    x = np.arange(frame.shape[1])
    dip = 1 - share * np.exp(-0.5 * ((x - 0.4 * frame.shape[1]) / 80.0) ** 2)
    return np.asarray(frame * dip)


def _mirrored(tray: Tray, strength: float, _: np.random.Generator) -> Altered:
    """All pieces turned over, by the frame's mirror image."""
    pixels = tray.shown.pictures.back.pixels[:: -1 if strength == 1.0 else 1, :: -1 if strength == 2.0 else 1]
    return Altered(tray.shown.with_back(pixels.astype(np.float64)), tuple(range(len(tray.judged))))


def _scaled(tray: Tray, strength: float, _: np.random.Generator) -> Altered:
    """The station's scale off by a share."""
    station = tray.shown.station
    wrong = replace(station, homography=np.diag([1 + strength, 1 + strength, 1.0]) @ station.homography)
    return Altered(replace(tray.shown, station=wrong), tuple(range(len(tray.judged))))


def _two_pieces_touch(tray: Tray, strength: float, _: np.random.Generator) -> Altered | None:
    """A piece's picture laid against itself, so far apart (px), by the darker of both."""
    back = tray.shown.pictures.back
    _, top, _, bottom = _around_piece(tray, 0)
    shift = bottom - top - round(strength)
    moved = np.full_like(back.pixels, int(back.pixels.max()))
    moved[shift:] = back.pixels[: len(moved) - shift]
    joined = np.minimum(back.pixels, moved)
    return Altered(tray.shown.with_back(joined.astype(np.float64)), tuple(range(len(tray.judged))))


def _cut_off(tray: Tray, strength: float, _: np.random.Generator) -> Altered:
    """The frame ends before a piece does, by so many mm."""
    back = tray.shown.pictures.back
    left = min(int(one.profile.nominal_px[:, 0].min()) for one in tray.measured if one.profile is not None)
    cut = left + round(strength / 0.05)
    pixels = np.concatenate((back.pixels[:, cut:], np.repeat(back.pixels[:, -1:], cut, axis=1)), axis=1)
    return Altered(tray.shown.with_back(pixels.astype(np.float64)), tuple(range(len(tray.judged))))


def _glint(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
    """A reflection of the panel on the metal, half as bright as the light: what shows light is no closed metal."""
    if not tray.good:
        return None
    k = int(rng.choice(tray.good))
    place = inside_of(tray.measured[k], np.array([20.0, 0.0]))
    back = tray.shown.pictures.back
    lit = with_light(tray.shown, [place.px(disc(strength))], rng).pictures.back.pixels.astype(np.float64)
    return Altered(tray.shown.with_back(0.5 * (back.pixels + lit)), (k,))


BACKLIT: tuple[Alteration, ...] = (
    _bored("hole in the bowl", (0.25, 0.5, 1.0, 3.0, 10.0), lambda d, _rng: [disc(d)]),
    _bored("two pinholes", (0.2, 0.3), lambda d, _rng: [disc(d), disc(d, x=2.0)]),
    _bored(
        "slit in the bowl",
        (0.02, 0.05, 0.1, 0.2),
        lambda w, rng: [_turned(box(w, -2.5, 2.5), float(rng.uniform(0.0, np.pi)))],
    ),
    _bored(
        "hairline crack, zigzag",
        (0.02, 0.05, 0.1),
        lambda w, _rng: [_turned(box(w, k, k + 1.05, at=0.3 * (k % 2)), 0.2 * (-1) ** k) for k in range(-3, 3)],
    ),
    _planted("crack from the rim", (0.02, 0.05, 0.1, 0.2), lambda w, _g: [box(w, -3.0, _ROOT)], opens=True),
    _planted("long crack from the rim", (0.02, 0.05, 0.1, 0.2), lambda w, _g: [box(w, -5.0, _ROOT)], opens=True),
    _planted(
        "crack aslant",
        (0.03, 0.08, 0.2),
        lambda w, g: [_turned(box(w, -3.0, _ROOT), float(g.uniform(-1.0, 1.0)))],
        opens=True,
    ),
    _planted("notch", (0.3, 0.5, 1.0), lambda w, _g: [box(w, -0.6, _ROOT)], opens=True),
    _planted(
        "saw teeth cut in",
        (0.2, 0.3),
        lambda d, _g: [
            np.array([[k * 0.4 - 0.15, _ROOT], [k * 0.4 + 0.15, _ROOT], [k * 0.4, -d - 0.1]]) for k in range(6)
        ],
        opens=True,
    ),
    _planted("tip broken off", (1.0, 3.0), lambda d, _g: [box(6.0, -d, 2.0)], opens=True),
    _planted("whisker", (0.05, 0.08, 0.16, 0.3), lambda w, _g: [box(w, -_ROOT, 1.5)], opens=False),
    _planted("short whisker", (0.05, 0.1, 0.2), lambda w, _g: [box(w, -_ROOT, 0.5)], opens=False),
    _planted("long whisker", (0.05, 0.1, 0.2), lambda w, _g: [box(w, -_ROOT, 3.5)], opens=False),
    _planted(
        "whisker aslant",
        (0.05, 0.1, 0.2),
        lambda w, g: [_turned(box(w, -_ROOT, 1.5), float(g.uniform(-1.0, 1.0)))],
        opens=False,
    ),
    _planted(
        "fin",
        (0.3, 0.6, 1.5),
        lambda h, _g: [np.array([[-0.4, -_ROOT], [0.4, -_ROOT], [0.05, h], [-0.05, h]])],
        False,
    ),
    _planted("flap", (0.5, 1.0, 2.0), lambda w, _g: [box(w, -_ROOT, 1.0)], opens=False),
    _planted("rolled-over edge", (0.1, 0.15, 0.25), lambda w, _g: _curl(0.6, 1.5, w), opens=False),
    _planted(
        "saw teeth standing out",
        (0.3, 0.5),
        lambda h, _g: [np.array([[k * 0.4 - 0.15, -_ROOT], [k * 0.4 + 0.15, -_ROOT], [k * 0.4, h]]) for k in range(6)],
        opens=False,
    ),
    _planted("lint along the rim", (2.0, 8.0, 30.0), lambda n, g: [_wavy(n, 0.0, 0.2, g)], False, 0.8),
    _planted("lint lying on the rim", (1.5, 5.0), lambda n, _g: [box(n, -0.2, 0.15)], False, 0.7),
    _planted("hair across the rim", (0.05, 0.1), lambda w, _g: [_turned(box(w, -3.0, 6.0), 0.6)], False, 0.8),
    _planted("dust of metal's darkness at the rim", (0.4, 0.8, 1.5), lambda d, _g: [disc(d, y=0.3 * d)], False),
    _planted("clear drop at the rim", (1.5, 3.0), lambda d, _g: [disc(d, y=0.1)], False, 0.4),
    _planted("tape over the rim", (2.0, 6.0), lambda w, _g: [box(w, -_ROOT, 3.0)], opens=False),
    _planted("shade along the rim", (3.0, 10.0), lambda n, _g: [box(n, -0.3, 0.3), box(n, -0.3, 0.6)], False, 0.3),
    _whole("gamma", (0.45, 0.6, 0.8, 1.3, 1.8, 2.2), lambda f, g, _r: f**g),
    _whole("light encoded by the camera", (0.45, 0.5, 0.6), encoded, spoils=True),
    _whole("fewer grey levels", (8.0, 16.0, 32.0), lambda f, n, _r: np.floor(f * n) / n),
    _whole("clipped light", (0.5, 0.7), lambda f, c, _r: np.minimum(f, c) / c),
    _whole("underexposed", (0.05, 0.1, 0.3), lambda f, s, _r: f * s),
    _whole("dark level lifted", (0.1, 0.3), lambda f, s, _r: s + (1 - s) * f),
    _whole("out of focus", (1.0, 2.0, 4.0), lambda f, s, _r: _blurred(f, s)),
    _whole("moved sideways while exposed", (3.0, 6.0, 12.0), lambda f, n, _r: _smeared(f, n, 1)),
    _whole("moved down while exposed", (3.0, 6.0, 12.0), lambda f, n, _r: _smeared(f, n, 0)),
    _whole("noise", (0.02, 0.05, 0.1), lambda f, s, r: f + s * r.standard_normal(f.shape)),
    _whole("veiling glare", (0.1, 0.3), _glare),
    _whole("stripe of the lamp dark", (0.3, 0.6), _lamp_stripe),
    _whole("compressed with loss", (10.0, 30.0, 60.0), _jpeg),
    _whole("lines lost", (1.0, 5.0, 40.0), _lines_lost),
    _whole("frame torn", (2.0, 10.0, 40.0), _torn),
    _whole("lines repeated", (2.0, 4.0), lambda f, n, _r: np.repeat(f[:: int(n)], int(n), axis=0)[: len(f)]),
    _whole("pixels not square", (0.003, 0.01, 0.03), _stretched),
    _whole("frame inverted", (1.0,), lambda f, _s, _r: 1.0 - f, spoils=True),
    _whole("frame all light", (0.5, 1.0), lambda f, s, _r: np.full_like(f, s), spoils=True),
    _over_piece("shadow across a piece", (0.3, 0.6, 0.9), lambda f, s, _r: f * (1 - s)),
    _over_piece("blur across a piece", (3.0, 8.0), lambda f, s, _r: _blurred(f, s)),
    _over_piece("black patch over a piece", (0.0,), lambda f, _s, _r: np.zeros_like(f)),
    _over_piece("grey patch over a piece", (0.3, 0.6), lambda f, s, _r: np.full_like(f, s)),
    _over_piece("white patch over a piece", (0.86,), lambda f, s, _r: np.full_like(f, s)),
    Alteration("reflection of the panel on the metal", (0.5, 2.0), _glint),
    Alteration("all turned over", (1.0, 2.0), _mirrored),
    Alteration("scale of another station", (-0.05, -0.02, -0.005, 0.005, 0.02, 0.05), _scaled),
    Alteration("pieces that touch", (2.0, 10.0, 60.0), _two_pieces_touch),
    Alteration("cut off by the frame", (0.5, 3.0, 30.0), _cut_off),
)
