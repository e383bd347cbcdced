"""Metal and light put into a backlit frame after the camera took it, by exact area: as if they had been there."""

from dataclasses import dataclass

import numpy as np

from synthetic_images.outlines.optics import Silhouette, shadow
from tests.altered.bench import Shown
from vision.backlight import model_backlight
from vision.records import Array, MeasuredPiece

PSF_PX = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """A place on a piece's rim in px: the point, outward normal and tangent; and px per mm there."""

    point: Array
    out: Array
    along: Array
    px_per_mm: float

    def px(self, ring_mm: Array) -> Array:
        """Points (n, 2), along the rim and outward of it in mm, in px."""
        return self.point + self.px_per_mm * (ring_mm[:, :1] * self.along + ring_mm[:, 1:] * self.out)


def rim_at(piece: MeasuredPiece, share: float) -> Rim:
    """The rim of a measured piece, a share of the way round."""
    assert piece.profile is not None
    chain, steps = piece.profile.nominal_px, piece.profile.s_mm
    i, count = int(share * len(chain)) % len(chain), len(chain)
    ahead = chain[(i + 4) % count] - chain[i - 4]
    px_per_mm = float(np.hypot(*ahead)) / (8 * float(steps[1] - steps[0]))
    along = ahead / np.hypot(*ahead)
    # Rows run down: a counter-clockwise walk as seen has the outside on the right of its direction.
    out = np.array([-along[1], along[0]])
    return Rim(chain[i] + px_per_mm * np.nan_to_num(piece.profile.deviation_mm[i]) * out, out, along, px_per_mm)


def inside_of(piece: MeasuredPiece, mm: Array) -> Rim:
    """A place of a measured piece's drawing in px, its axes those of the drawing's x and y."""
    assert piece.profile is not None
    known = np.column_stack((piece.profile.nominal_mm, np.ones(len(piece.profile.nominal_mm))))
    to_px = np.linalg.lstsq(known, piece.profile.nominal_px, rcond=None)[0]
    px_per_mm = float(np.hypot(*to_px[0]))
    return Rim(np.append(mm, 1.0) @ to_px, to_px[1] / px_per_mm, to_px[0] / px_per_mm, px_per_mm)


def box(width: float, low: float, high: float, at: float = 0.0) -> Array:
    """A rectangle `width` along the rim, from `low` to `high` outward of it (mm)."""
    return np.array([[at - width / 2, low], [at + width / 2, low], [at + width / 2, high], [at - width / 2, high]])


def disc(diameter: float, x: float = 0.0, y: float = 0.0) -> Array:
    """A circle as a ring of points (mm)."""
    turn = 2.0 * np.pi * np.arange(90) / 90
    return np.column_stack((x + diameter / 2 * np.cos(turn), y + diameter / 2 * np.sin(turn)))


def with_metal(shown: Shown, rings_px: list[Array], opacity: float = 1.0) -> Shown:
    """Things that take a share of the light; on the metal they show nothing."""
    light = model_backlight(shown.pictures.back)
    taken = _taken(shown, rings_px) * opacity
    pixels = shown.pictures.back.pixels.astype(np.float64)
    dark = float(np.median(light.dark))
    return shown.with_back(dark + (pixels - dark) * (1.0 - taken))


def with_light(shown: Shown, rings_px: list[Array], rng: np.random.Generator) -> Shown:
    """Metal taken away, so that the light comes through with its photon noise."""
    light = model_backlight(shown.pictures.back)
    freed = _taken(shown, rings_px)
    pixels = shown.pictures.back.pixels.astype(np.float64)
    rows, columns = np.nonzero(freed > 0)
    bright, _ = light.at(np.column_stack((columns, rows)).astype(np.float64))
    noise = 0.01 * bright * rng.standard_normal(len(rows))
    share = freed[rows, columns]
    pixels[rows, columns] += share * (bright - pixels[rows, columns]) + np.sqrt(share) * noise
    return shown.with_back(pixels)


def _taken(shown: Shown, rings_px: list[Array]) -> Array:
    height, width = shown.pictures.back.pixels.shape
    taken = np.zeros((height, width))
    for ring in rings_px:
        # Things may overlap each other and then take no more than all.
        taken = np.maximum(taken, shadow([Silhouette((ring,))], (width, height), PSF_PX))
    return taken
