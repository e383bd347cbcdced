"""Alterations of the front-lit frames: marks of other kinds, marks covered, lights that fail, frames that mislead."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from tests.altered.bench import Alteration, Altered, Tray, own_face_tray
from tests.altered.frame_changes import bands, blurred, coarse, half, jpeg, median, noisy, slid
from tests.altered.planting import inside_of
from vision.records import Array, Picture, Pit, Scratch, TrayPictures

_Change = Callable[[Array, float, np.random.Generator], Array]
# Where painted things lie on the drawing (mm), about this place and so far from it.
_MIDDLE_MM, _ABOUT_MM = (21.0, 0.0), 3.0


def front_frames(tray: Tray) -> list[Picture]:
    pictures = tray.shown.pictures
    return [one for one in (pictures.dome, *pictures.low) if one is not None]


def shown_with(tray: Tray, frames: Sequence[Picture], concerned: Sequence[int] | None = None) -> Altered:
    """With other front-lit frames; the pieces concerned, or all."""
    dome = [one for one in frames if one.light == "dome"]
    low = tuple(one for one in frames if one.light == "low")
    pictures = TrayPictures(tray.shown.pictures.back, dome[0] if dome else None, low)
    pieces = range(len(tray.judged)) if concerned is None else concerned
    return Altered(replace(tray.shown, pictures=pictures), tuple(pieces))


def with_pixels(picture: Picture, pixels: Array) -> Picture:
    counts = np.clip(np.rint(pixels), 0, picture.full_scale).astype(picture.pixels.dtype)
    return replace(picture, pixels=counts)


def bad_pieces(tray: Tray) -> list[int]:
    return [k for k, one in enumerate(tray.judged) if one.verdict == "reject"]


def in_all(name: str, strengths: tuple[float, ...], change: _Change, spoils: bool = False) -> Alteration:
    """Every front-lit frame changed alike (shares of full scale); `spoils`: no piece may pass, else no bad one."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        frames = [with_pixels(one, one.full_scale * change(level_of(one), strength, rng)) for one in front_frames(tray)]
        concerned = None if spoils else bad_pieces(tray)
        return None if concerned == [] else shown_with(tray, frames, concerned)

    return Alteration(name, strengths, alter)


def in_one(name: str, strengths: tuple[float, ...], change: _Change, light: str, spoils: bool = False) -> Alteration:
    """One frame of a light changed."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        frames = front_frames(tray)
        k = int(rng.choice([n for n, one in enumerate(frames) if one.light == light]))
        frames[k] = with_pixels(frames[k], frames[k].full_scale * change(level_of(frames[k]), strength, rng))
        concerned = None if spoils else bad_pieces(tray)
        return None if concerned == [] else shown_with(tray, frames, concerned)

    return Alteration(name, strengths, alter)


def arranged(
    name: str, strengths: tuple[float, ...], change: Callable[[list[Picture], float, Tray], list[Picture]]
) -> Alteration:
    """The frames themselves changed about: no piece may pass."""
    return Alteration(name, strengths, lambda tray, s, _rng: shown_with(tray, change(front_frames(tray), s, tray)))


def level_of(picture: Picture) -> Array:
    return picture.pixels.astype(np.float64) / picture.full_scale


def cover_of(
    tray: Tray, center_mm: tuple[float, float], half_mm: tuple[float, float], soft_mm: float = 0.05, k: int = 0
) -> Array:
    """Share of each pixel under an ellipse of the drawing of one piece, with a border of a softness."""
    place = inside_of(tray.measured[k], np.array(center_mm))
    rows, columns = tray.shown.pictures.back.pixels.shape
    v, u = np.mgrid[:rows, :columns].astype(np.float64)
    du, dv = (u - place.point[0]) / place.px_per_mm, (v - place.point[1]) / place.px_per_mm
    x, y = du * place.along[0] + dv * place.along[1], du * place.out[0] + dv * place.out[1]
    radius = np.hypot(x / half_mm[0], y / half_mm[1])
    away = (radius - 1.0) * min(half_mm) / max(soft_mm, 1e-6)
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(4.0 * away, -50.0, 50.0))))


def _in_the_middle(rng: np.random.Generator) -> tuple[float, float]:
    right, up = (float(one) for one in rng.uniform(-_ABOUT_MM, _ABOUT_MM, 2))
    return _MIDDLE_MM[0] + right, _MIDDLE_MM[1] + up


def _aside(rng: np.random.Generator) -> tuple[float, float]:
    """Beside the dark image of the dome's opening, which lies in the middle."""
    turn = float(rng.uniform(0.0, 2.0 * np.pi))
    return _MIDDLE_MM[0] + 10.0 * float(np.cos(turn)), _MIDDLE_MM[1] + 6.0 * float(np.sin(turn))


def _dimmed(level: Array, _picture: Picture, share: float) -> Array:
    return (1.0 - share) * level


def painted(
    name: str,
    strengths: tuple[float, ...],
    paint: Callable[[Array, Picture, float], Array],
    half_mm: Callable[[float], tuple[float, float]],
    soft_mm: float = 0.05,
    lights: str = "dome low",
    place: Callable[[np.random.Generator], tuple[float, float]] = _in_the_middle,
) -> Alteration:
    """Something on the polish of a good piece, in every frame of these lights."""

    def alter(tray: Tray, strength: float, rng: np.random.Generator) -> Altered | None:
        if not tray.good:
            return None
        k = tray.good[0]
        cover = cover_of(tray, place(rng), half_mm(strength), soft_mm, k)
        frames = []
        for one in front_frames(tray):
            level = level_of(one)
            if one.light in lights:
                level = level + cover * (paint(level, one, strength) - level)
            frames.append(with_pixels(one, one.full_scale * level))
        return shown_with(tray, frames, (k,))

    return Alteration(name, strengths, alter)


def _mark_covered(name: str, fill: Callable[[Array], Array]) -> Alteration:
    """Each mark of a bad piece hidden in every frame."""

    def alter(tray: Tray, strength: float, _rng: np.random.Generator) -> Altered | None:
        if not bad_pieces(tray):
            return None
        cover = np.zeros(tray.shown.pictures.back.pixels.shape)
        for finding in tray.judged[0].findings:
            if isinstance(finding, Scratch | Pit):
                ends = finding.points_mm if isinstance(finding, Scratch) else (finding.center_mm,)
                for x, y in ends:
                    cover = np.maximum(cover, cover_of(tray, (x, y), (strength, strength)))
        frames = []
        for one in front_frames(tray):
            level = level_of(one)
            frames.append(with_pixels(one, one.full_scale * (level + cover * (fill(level) - level))))
        return shown_with(tray, frames, (0,))

    return Alteration(name, (0.6, 1.5), alter)


def _dead(frames: list[Picture], count: float, _tray: Tray) -> list[Picture]:
    lows = [one for one in frames if one.light == "low"]
    black = {one.name for one in lows[: int(count)]}
    return [with_pixels(one, 0.01 * level_of(one) * one.full_scale) if one.name in black else one for one in frames]


def _swapped(frames: list[Picture], by: float, _tray: Tray) -> list[Picture]:
    """The lamps' names passed on round the tray by so many places."""
    lows = [one for one in frames if one.light == "low"]
    turned = [
        replace(one, azimuth_deg=lows[(k + int(by)) % len(lows)].azimuth_deg, name=lows[(k + int(by)) % len(lows)].name)
        for k, one in enumerate(lows)
    ]
    return [one for one in frames if one.light == "dome"] + turned


def _two_swapped(frames: list[Picture], apart: float, _tray: Tray) -> list[Picture]:
    a, b = frames[1], frames[1 + int(apart)]
    frames[1], frames[1 + int(apart)] = replace(a, pixels=b.pixels), replace(b, pixels=a.pixels)
    return frames


def _foreign(frames: list[Picture], count: float, tray: Tray) -> list[Picture]:
    """Frames of another tray."""
    other = front_frames(own_face_tray(77, marked=False, part=tray.shown.part.part))
    shape = frames[0].pixels.shape
    fits = [np.resize(one.pixels, shape) if one.pixels.shape != shape else one.pixels for one in other]
    return [replace(one, pixels=fits[k]) if k < count else one for k, one in enumerate(frames)]


def _doubled(frames: list[Picture], count: float, _tray: Tray) -> list[Picture]:
    """Another lamp left burning while a low frame was taken."""
    lows = [one for one in frames if one.light == "low"]
    both = [
        with_pixels(one, (level_of(one) + level_of(lows[(k + 1) % len(lows)])) * one.full_scale) if k < count else one
        for k, one in enumerate(lows)
    ]
    return [one for one in frames if one.light == "dome"] + both


def _face_down(tray: Tray, depth: float, _rng: np.random.Generator) -> Altered | None:
    """The same part with a crown where its bowl should be."""
    if not tray.name.startswith("own"):
        return None
    turned = own_face_tray(5, marked=False, part=tray.shown.part.part, depth=depth)
    return Altered(turned.shown, (0,))


def _only(frames: list[Picture], count: float, _tray: Tray) -> list[Picture]:
    return frames[1 : 1 + int(count)]


def _round(diameter: float) -> tuple[float, float]:
    return diameter / 2, diameter / 2


def _matt(level: Array, picture: Picture, _strength: float) -> Array:
    """Evenly scattering, as etched metal."""
    return np.full_like(level, 0.35 if picture.light == "low" else 0.6)


def _all_backlit(frames: list[Picture], _strength: float, tray: Tray) -> list[Picture]:
    return [replace(one, pixels=tray.shown.pictures.back.pixels) for one in frames]


def _all_grey(frames: list[Picture], level: float, _tray: Tray) -> list[Picture]:
    return [with_pixels(one, np.full(one.pixels.shape, level * one.full_scale)) for one in frames]


def _lows_the_dome(frames: list[Picture], count: float, _tray: Tray) -> list[Picture]:
    return [replace(one, pixels=frames[0].pixels) if 0 < k <= count else one for k, one in enumerate(frames)]


def _dome_a_low(frames: list[Picture], _strength: float, _tray: Tray) -> list[Picture]:
    return [replace(frames[0], pixels=frames[1].pixels), *frames[1:]]


def _twice(frames: list[Picture], on: float, _tray: Tray) -> list[Picture]:
    """The first low frame once more in another's place."""
    return [replace(one, pixels=frames[1].pixels) if k == 1 + on else one for k, one in enumerate(frames)]


def _upside_down(frames: list[Picture], both: float, _tray: Tray) -> list[Picture]:
    down = -1 if both else 1
    return [replace(one, pixels=np.ascontiguousarray(one.pixels[::down, ::-1])) for one in frames]


FACES: tuple[Alteration, ...] = (
    painted("dark disc", (1.5, 4.0, 8.0, 12.0), lambda f, _p, _s: 0.1 * f, _round),
    painted("bright disc", (1.5, 4.0, 8.0), lambda f, _p, _s: np.minimum(2.5 * f + 0.1, 1), _round),
    painted("gouge", (4.0, 12.0), lambda f, _p, _s: 0.4 * f, lambda d: (d / 2, 2.0)),
    painted("burn that dims by half", (3.0, 10.0), lambda f, _p, _s: 0.5 * f, _round, 0.3),
    painted("soft dark patch, border 2 mm", (0.3, 0.5, 0.6), _dimmed, lambda _s: (5.0, 5.0), 2.0),
    painted("soft dark patch to one side", (0.3, 0.5), _dimmed, lambda _s: (4.0, 4.0), 2.0, place=_aside),
    painted("film that dims the dome", (0.15, 0.3, 0.5), _dimmed, lambda _s: (6.0, 6.0), 0.1, "dome"),
    painted("film to one side", (0.3, 0.5), _dimmed, lambda _s: (4.0, 4.0), 2.0, "dome", _aside),
    painted("matt patch", (3.0, 8.0), _matt, _round),
    painted("cloth over the bowl", (8.0, 14.0), lambda f, _p, _s: np.full_like(f, 0.5), lambda d: (d, d)),
    painted("hair on the polish", (0.15,), lambda f, _p, _s: 0.2 * f, lambda w: (10.0, w / 2)),
    painted("grey patch of no noise", (2.0, 6.0), lambda f, _p, _s: 0 * f + f.mean(), _round),
    painted("blown spot in every light", (3.0, 10.0), lambda f, _p, _s: 0 * f + 1, _round, 0.5),
    _mark_covered("mark covered by grey", lambda f: np.full_like(f, float(np.median(f)))),
    _mark_covered("mark covered by black", lambda f: np.zeros_like(f)),
    _mark_covered("mark covered by blur", lambda f: blurred(f, 12.0)),
    arranged("low lamps dead", (1.0, 2.0, 4.0), _dead),
    arranged("only so many low frames", (1.0, 2.0), _only),
    arranged("all front frames the backlit one", (0.0,), _all_backlit),
    arranged("all front frames flat grey", (0.2, 0.5), _all_grey),
    arranged("frames of another tray", (1.0, 5.0), _foreign),
    arranged("low frames the dome's", (1.0, 4.0), _lows_the_dome),
    arranged("dome a low frame", (0.0,), _dome_a_low),
    arranged("one low frame twice", (1.0, 2.0), _twice),
    arranged("lamps passed on round the tray", (1.0, 2.0, 3.0), _swapped),
    arranged("two lamps swapped", (1.0, 2.0), _two_swapped),
    arranged("another lamp left burning", (1.0, 4.0), _doubled),
    arranged("front frames upside down", (0.0, 1.0), _upside_down),
    arranged("dome missing", (0.0,), lambda fs, _s, _t: fs[1:]),
    Alteration("a crown in the bowl's place", (-1.0, -0.5), _face_down),
    in_all("all front frames shifted", (1.0, 2.0, 3.0, 8.0, 30.0), lambda f, s, _r: slid(f, s)),
    in_all("all front frames turned", (0.2, 1.0), lambda f, s, _r: slid(f, 0.0, 0.0, s)),
    in_all("front frames at another magnification", (1.01, 1.05), lambda f, s, _r: slid(f, 0.0, 0.0, 0.0, s)),
    in_one("one low frame shifted", (1.0, 2.0, 3.0, 8.0, 30.0), lambda f, s, _r: slid(f, s), "low"),
    in_one("one low frame shifted down", (1.0, 2.0, 5.0), lambda f, s, _r: slid(f, 0.0, s), "low"),
    in_one("dome shifted", (1.0, 3.0, 10.0), lambda f, s, _r: slid(f, s), "dome"),
    in_one("one low frame turned", (0.5, 1.0, 3.0), lambda f, s, _r: slid(f, 0.0, 0.0, s), "low"),
    in_all("all front frames defocused", (1.0, 2.0, 4.0, 8.0), lambda f, s, _r: blurred(f, s)),
    in_all("all lights weak", (0.5, 0.2, 0.05), lambda f, s, _r: f * s),
    in_all("all lights too strong", (1.5, 3.0, 8.0), lambda f, s, _r: f * s),
    in_all("noise in the front frames", (0.02, 0.1, 0.3), noisy),
    in_all("light added to the front frames", (0.1, 0.3, 0.6), lambda f, s, _r: f + s),
    in_all("front frames' gamma", (0.45, 2.2), lambda f, g, _r: f**g),
    in_all("front frames of few grey levels", (4.0, 8.0, 16.0), lambda f, n, _r: np.floor(f * n) / n),
    in_all("front frames compressed with loss", (5.0, 20.0, 60.0), lambda f, q, _r: jpeg(f, q)),
    in_all("front frames filtered against noise", (5.0, 9.0), lambda f, n, _r: median(f, n)),
    in_all("front frames enlarged from fewer pixels", (2.0, 4.0, 8.0), lambda f, n, _r: coarse(f, n)),
    in_all("lamps flicker", (0.1, 0.4), lambda f, s, _r: bands(f, s)),
    in_all("front frames inverted", (1.0,), lambda f, _s, _r: 1.0 - f, spoils=True),
    in_all("lower half of the front frames lost", (0.4, 0.6), lambda f, s, _r: half(f, s, 0.0)),
    in_all("lower half of the front frames blown", (0.4, 0.6), lambda f, s, _r: half(f, s, 1.0)),
    in_one("dome dark", (0.3, 0.05, 0.0), lambda f, s, _r: f * s, "dome"),
    in_one("one low frame weak", (0.3, 0.1), lambda f, s, _r: f * s, "low"),
    in_one("one low frame defocused", (3.0, 8.0), lambda f, s, _r: blurred(f, s), "low"),
)  # fmt: skip
