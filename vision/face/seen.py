"""What could have been seen on a face: the chance that a stated mark would have been found, place by place.

A reference scratch of each direction and a reference pit are laid over the face in thought: by how much each light
would have shown them there (its azimuth, its level, its blur), what the sum of lights, the division by the finish's
spectrum and the filters make of that, over the noise that these very frames have there. All of it is linear, so one
number a direction says what a mark of unit height comes out as; what chance an expected snr has is fitted to planted
marks (docs/benchmarks/face-seen.md).

Along the wheel's own lines, and within 15 degrees of them, a scratch can't be told from these whatever the frames: that
is the finish's doing, shows in the map and does not count against the share.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from vision.face.contrast import LIMIT, FrameContrast
from vision.face.evidence import Evidence, frame_weights
from vision.face.lines.curves import line_profile
from vision.face.lines.ends import PROFILE_PX, STRIP_PX
from vision.face.lines.scratches import Search
from vision.face.lines.search import FaceLines
from vision.face.raster import FaceInputs, Image, Region, reduce
from vision.face.spots.detection import SpotGround
from vision.records import Array, MarkJudge, Reference, SeenCurve, SeenMap

# How a mark shows, as it is planted (app.run.planting): its contrast in the dome over that under a low light straight
# across it, and the level (of 255) over which the latter falls by a factor e.
DOME_SHARE, FADE_LEVEL = -0.03, 127.5
# Directions in which the reference scratch is laid, and those kept in the map.
_DIRECTIONS, _KEPT = 12, 6
# Cells of the map (mm), and the share of an expected snr that is uncertain (repeated plants).
_CELL_MM, _SNR_U = 2.0, 0.1
# Size of the frequency grid on which responses are summed.
_GRID = 96
# The pedestal and scale under which a level became a contrast (vision.face.contrast).
_PEDESTAL = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """`share` of the scored area in which every reference mark would have been found, its uncertainty, and the map."""

    share: float
    u: float
    map: SeenMap


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
    """What lines and spots are told against."""

    lines: FaceLines
    spots: SpotGround


def what_was_seen(
    inputs: FaceInputs,
    evidence: Evidence,
    grounds: Grounds,
    blurs_px: Sequence[float],
    judge: MarkJudge,
    reference: Reference,
) -> Seen:
    """The chance of finding the reference marks over a face.

    Parameters
    ----------
    grounds
        What lines and spots were told against.
    blurs_px
        Sigma of each frame's optics, image px, in the order of the evidence's frames.
    judge
        What chance an expected snr has by it.
    """
    region = evidence.region
    scratch_snr, wheel = _scratch_snr(inputs, evidence, grounds.lines, blurs_px, reference)
    pit_snr = _pit_snr(evidence, grounds.spots, blurs_px, reference)
    scored = reduce(region.scored.astype(np.float32), region.broad.shape)
    across = np.delete(scratch_snr, [(wheel + k) % _DIRECTIONS for k in (-1, 0, 1)], axis=0).min(axis=0)
    needed = [needed_snr(one, reference.found) for one in (judge.scratch_seen, judge.pit_seen)]
    every = [_every(across * f, pit_snr * f, needed) for f in (1.0, 1 - _SNR_U, 1 + _SNR_U)]
    shares = [float((one * scored).sum() / max(float(scored.sum()), 1e-9)) for one in every]
    return Seen(
        shares[0], 0.5 * (shares[2] - shares[1]), _map(inputs, region, judge, (scratch_snr, pit_snr, every[0]), scored)
    )


def _chance(snr: Image, curve: SeenCurve) -> Image:
    away = (np.log(np.maximum(snr, 1e-3)) - curve.log_snr) / curve.width
    return np.asarray(curve.plainest * ndtr(away), np.float32)


def needed_snr(curve: SeenCurve, found: float) -> float:
    """The expected snr from which on a mark has a chance of being found; infinite where none has."""
    return (
        float(np.exp(curve.log_snr + curve.width * ndtri(found / curve.plainest))) if found < curve.plainest else np.inf
    )


def _every(scratch: Image, pit: Image, needed: Sequence[float]) -> Image:
    """Where all reference marks have the chance asked for (1 or 0)."""
    return np.asarray((scratch >= needed[0]) & (pit >= needed[1]), np.float32)


def _shown(frame: FrameContrast, contrast: float, shape: tuple[int, int]) -> Image:
    """A mark's height in the logarithm of one frame, straight across the light, where its optics take nothing away."""
    level = frame.level
    if frame.picture.light == "dome":
        relative = np.full(level.shape, DOME_SHARE * contrast, np.float32)
    else:
        relative = np.asarray(contrast * cv2.exp(level * np.float32(-1 / FADE_LEVEL)), np.float32)
    return np.asarray(reduce(relative * level / (level + np.float32(_PEDESTAL)), shape))


def _scratch_snr(
    inputs: FaceInputs, evidence: Evidence, lines: FaceLines, blurs_px: Sequence[float], reference: Reference
) -> tuple[Image, int]:
    """Expected snr of the reference scratch, (directions, broad raster), where it is found best: in all lights combined
    or in the dome alone; and which direction is the wheel's.
    """
    weights = frame_weights(evidence.region, evidence.frames)
    weighed = [_Weighed(*one) for one in zip(evidence.frames, weights, blurs_px, strict=True)]
    line = _ReferenceLine(inputs, evidence.region, reference)
    snr, wheel = line.snr(weighed, lines.combined)
    if lines.dome is not None:
        dome = [
            replace(one, weight=np.asarray(-1.0 / one.frame.noise * one.frame.valid, np.float32))
            for one in weighed
            if one.frame.picture.light == "dome"
        ]
        snr = np.maximum(snr, line.snr(dome, lines.dome)[0])
    return snr, wheel


@dataclass(frozen=True, slots=True, eq=False)
class _Weighed:
    """A frame with its weight (rows, columns) in a sum of frames, and the blur of its optics."""

    frame: FrameContrast
    weight: Image
    blur_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _ReferenceLine:
    """The reference scratch, laid over a face in every direction."""

    inputs: FaceInputs
    region: Region
    reference: Reference

    def snr(self, weighed: Sequence[_Weighed], ground: Search) -> tuple[Image, int]:
        """Its expected snr in a sum of frames; and the direction of the wheel's lines."""
        shape, pitch = self.region.broad.shape, self.region.pitch_mm(self.region.coarse)
        angles = np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        width, length = self.reference.scratch_width_mm / pitch, self.reference.scratch_length_mm / pitch
        height = np.zeros((_DIRECTIONS, *shape), np.float32)
        for one in weighed:
            frame = one.frame
            peak = _line_peak(width, self._sigma(one.blur_px))
            shown = _shown(frame, self.reference.scratch_contrast, shape) * np.float32(peak)
            weight, limit = reduce(one.weight, shape), reduce(frame.noise, shape) * np.float32(LIMIT)
            gains = np.ones(_DIRECTIONS)
            if frame.picture.light == "low":
                azimuth = np.radians((frame.picture.azimuth_deg or 0.0) + self.inputs.tray_turn_deg)
                gains = np.sin(angles - azimuth) ** 2
            # directions that lie alike to the light are shown alike
            gains = np.round(gains, 9)
            for gain in np.unique(gains):
                logarithm = cv2.log(np.maximum(shown * np.float32(gain), np.float32(-0.9)) + np.float32(1.0))
                height[gains == gain] += np.clip(logarithm, -limit, limit) * weight
        along = (round(0.5 * length / 2) | 1,) * 2
        directions, around = len(ground.field.noise), np.append(ground.field.noise, ground.field.noise[0])
        local = reduce(ground.field.local, shape)
        sigma = self._sigma(float(np.median([one.blur_px for one in weighed])))
        gains = _line_gains(ground.power.share((_GRID, _GRID)), angles, _Line(width, length, sigma))
        gains *= np.sqrt(length) / np.interp(angles / np.pi * directions, np.arange(directions + 1), around)
        for k, gain in enumerate(gains):
            height[k] = cv2.blur(height[k], along) * np.float32(max(gain, 0.0)) / local
        return height, int(np.argmin(gains))

    def _sigma(self, blur_px: float) -> float:
        """Blur of the optics and of the pixel, px of the coarse raster."""
        return float(np.hypot(blur_px / self.region.coarse.step, np.sqrt(1 / 12)))


def _pit_snr(evidence: Evidence, ground: SpotGround, blurs_px: Sequence[float], reference: Reference) -> Image:
    """Expected snr of the reference pit on the broad raster."""
    region = evidence.region
    shape, pitch = region.broad.shape, region.pitch_mm(region.fine)
    diameter = reference.pit_diameter_mm / pitch
    height = np.zeros(shape, np.float32)
    share = ground.power.share((_GRID, _GRID))
    for frame, scale, blur in zip(evidence.frames, frame_weights(region, evidence.frames), blurs_px, strict=True):
        sigma = float(np.hypot(blur / region.fine.step, np.sqrt(1 / 12)))
        gain = _disc_gain(share, diameter, sigma, ground.sigma_px)
        height += _shown(frame, reference.pit_contrast, shape) * reduce(scale, shape) * np.float32(gain)
    return np.asarray(height / np.maximum(reduce(ground.noise, shape), np.float32(1e-9)))


def _line_peak(width: float, sigma: float) -> float:
    """Height of a long line's middle once blurred, of its own."""
    return float(2.0 * ndtr(0.5 * width / sigma) - 1.0)


@lru_cache(maxsize=1)
def _frequencies() -> tuple[NDArray[np.float64], ...]:
    """Of the half spectrum of the grid: frequencies down and right (cycles a px) and how often each bin counts."""
    fy, fx = np.fft.fftfreq(_GRID)[:, None], np.fft.rfftfreq(_GRID)[None]
    twice = np.full(fx.shape, 2.0)
    twice[0, 0] = twice[0, -1] = 1.0
    return np.asarray(fy), np.asarray(fx), np.asarray(twice / _GRID**2)


@lru_cache(maxsize=1)
def _profile_passes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the even profile across a line passes, by frequency (cycles a px), to 1e-5 between the steps."""
    at = np.linspace(0.0, 1.0, 8192)
    across = np.arange(-STRIP_PX, STRIP_PX + 1.0)
    return at, np.asarray(np.cos(2 * np.pi * at[:, None] * across) @ line_profile(STRIP_PX, 0, PROFILE_PX))


@dataclass(frozen=True, slots=True)
class _Line:
    """A scratch on the coarse raster."""

    width_px: float
    length_px: float
    sigma_px: float


def _line_gains(share: Image, angles: Array, line: _Line) -> NDArray[np.float64]:
    """What the profile across a line reads at its middle once the picture is divided by the finish's spectrum, of a
    line of unit height: for each direction (radians, counter-clockwise as seen).
    """
    (width, length), (fy, fx, count), out = (line.width_px, line.length_px), _frequencies(), []
    for angle in angles:
        u = fx * np.cos(angle) - fy * np.sin(angle)
        v = fx * np.sin(angle) + fy * np.cos(angle)
        soft = np.exp(-2 * (np.pi * line.sigma_px) ** 2 * (u**2 + v**2))
        drawn = width * np.sinc(width * v) * length * np.sinc(length * u) * soft
        read = np.interp(np.abs(v), *_profile_passes())
        out.append(float((drawn * read * share * count).sum()) / _line_peak(width, line.sigma_px))
    return np.array(out)


def _disc_gain(share: Image, diameter: float, blur: float, sigma: float) -> float:
    """What a spot's filter reads at the middle of a blurred disc of unit height, in the divided picture."""
    fy, fx, count = _frequencies()
    radius = np.hypot(fx, fy)
    # a disc's transform by that of the Gaussian of equal area and second moment: close for discs of the filter's size
    area, spread2 = np.pi / 4 * diameter**2, diameter**2 / 16
    drawn = area * np.exp(-2 * np.pi**2 * radius**2 * (spread2 + blur**2 + sigma**2))
    return float((drawn * share * count).sum())


def _map(
    inputs: FaceInputs, region: Region, judge: MarkJudge, snrs: tuple[Image, Image, Image], scored: Image
) -> SeenMap:
    """The chances of a scratch and of a pit of these snr, and what counts as seen, on cells of the drawing."""
    scratch, pit, every = snrs
    rows, columns = np.nonzero(scored > 0.5)
    turn = _turn_deg(inputs)
    place = inputs.to_mm(region.broad.to_px(np.column_stack((columns, rows)).astype(np.float64)))
    corner = (float(np.floor(place[:, 0].min())), float(np.ceil(place[:, 1].max())))
    cell = ((place[:, 0] - corner[0]) // _CELL_MM).astype(int), ((corner[1] - place[:, 1]) // _CELL_MM).astype(int)
    shape = (int(cell[1].max()) + 1, int(cell[0].max()) + 1)
    flat = cell[1] * shape[1] + cell[0]
    count = np.bincount(flat, minlength=shape[0] * shape[1])

    def digits(values: Image) -> tuple[str, ...]:
        mean = np.bincount(flat, weights=values[rows, columns], minlength=len(count)) / np.maximum(count, 1)
        tenths = np.minimum((mean * 10).astype(int), 9)
        text = np.where(count > 0, tenths.astype("U1"), ".").reshape(shape)
        return tuple("".join(row) for row in text)

    kept = [180.0 * k / _KEPT for k in range(_KEPT)]
    picks = [round(((d + turn) % 180.0) / 180.0 * _DIRECTIONS) % _DIRECTIONS for d in kept]
    by_direction = tuple(digits(_chance(scratch[k], judge.scratch_seen)) for k in picks)
    return SeenMap(_CELL_MM, corner, tuple(kept), by_direction, digits(_chance(pit, judge.pit_seen)), digits(every))


def _turn_deg(inputs: FaceInputs) -> float:
    """Direction of the drawing's +x in the image, counter-clockwise as seen."""
    origin, ahead = inputs.to_px(np.array([[0.0, 0.0], [1.0, 0.0]]))
    return float(np.degrees(np.arctan2(-(ahead - origin)[1], (ahead - origin)[0])))
