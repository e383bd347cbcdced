"""Burrs, nicks, swells and hollows: bumps of the outline over the long-wave form around them.

The deviation profile is searched with bell-shaped templates of many lengths, freed of their surroundings' level and
slope; the strongest is fitted, taken away, and the search goes on: a burr on a swell gives both, and none twice.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.measure.nominal import Nominal
from vision.measure.profile import Profile
from vision.records.given import Array
from vision.records.measured import EdgeKind

# Lengths searched, as standard deviations of a bell (mm). Its extent at half height is 2.355 times that.
_LADDER_MM = (0.12, 0.2, 0.32, 0.5, 0.8, 1.25, 2.0, 3.2, 5.0, 8.0)
_EXTENT = 2.3548
# Findings shorter than this at half height are burrs and nicks, longer ones swells and hollows (agreed in the formats).
SHORT_MM = 6.0
# The surroundings are taken this many times wider than the bell.
_AROUND = 2.5
# A bump is one when it stands this many standard deviations above photon noise ...
_SIGNIFICANT = 6.0
# ... and is no smaller than what pixel phase and the drawing's own steps can make of a smooth edge (mm).
_SHORT_FLOOR_MM, _LONG_FLOOR_MM = 0.005, 0.012
# A bump fitted within this many of a stronger one's standard deviations, and below this share of its height, is what
# the bell left of a defect that is no bell.
_SHADOW, _SHADOW_SHARE = 3.0, 0.3
_MOST = 40


@dataclass(frozen=True, slots=True)
class Bump:
    """A bump: `index` of the nominal point at its top, signed `height_mm`, `sigma_mm` of the fitted bell."""

    index: int
    height_mm: float
    sigma_mm: float

    @property
    def extent_mm(self) -> float:
        """Extent at half height."""
        return _EXTENT * self.sigma_mm

    @property
    def kind(self) -> EdgeKind:
        """Its name."""
        if self.extent_mm < SHORT_MM:
            return "burr" if self.height_mm > 0 else "nick"
        return "swell" if self.height_mm > 0 else "hollow"


def find_bumps(form: Array, profile: Profile, nominal: Nominal, calm: NDArray[np.bool_]) -> tuple[Bump, ...]:
    """All bumps of a deviation profile, strongest first.

    Parameters
    ----------
    form
        Deviations (n,) mm with the bend taken out.
    calm
        (n,): where long bumps may be told; False where a bend passes through the outline.
    """
    count, step = len(form), nominal.step_mm
    omega = 2 * np.pi * np.fft.rfftfreq(count)
    sigmas = np.array(_LADDER_MM) / step
    sigmas = sigmas[sigmas >= 1.5]
    bells = np.exp(-0.5 * (omega * sigmas[:, None]) ** 2) - np.exp(-0.5 * (omega * _AROUND * sigmas[:, None]) ** 2)
    noise = profile.fine_sd / profile.fine_gain
    spread = np.sqrt(np.mean(bells**2, axis=1))[:, None]
    rest = np.where(profile.seen, form, 0.0)
    long = sigmas * step * _EXTENT >= SHORT_MM
    allowed = profile.seen & (calm | ~long[:, None])
    found: list[Bump] = []
    while len(found) < _MOST:
        spectrum = np.fft.rfft(rest)
        strength = np.abs(np.fft.irfft(spectrum * bells, count)) / (spread * noise)
        strength = np.where(allowed, strength, 0.0)
        level, index = np.unravel_index(int(strength.argmax()), strength.shape)
        if strength[level, index] < _SIGNIFICANT:
            break
        bump, shape = _fit_bell(rest, int(index), float(sigmas[level]), step)
        near = np.abs((np.arange(count) - bump.index + count // 2) % count - count // 2) * step
        # What was looked at is not looked at again at this length, found or not.
        allowed[level] &= near > sigmas[level] * step
        if not _stands(bump, found, count, step):
            continue
        rest = rest - shape
        found.append(bump)
    return tuple(sorted(found, key=lambda b: -abs(b.height_mm)))


def _fit_bell(rest: Array, index: int, sigma: float, step: float) -> tuple[Bump, Array]:
    """Least-squares bell on a straight ground near a place: best of a small family of centres and lengths."""
    count = len(rest)
    reach = min(int(4 * sigma) + 2, count // 2 - 1)
    at = np.arange(-reach, reach + 1)
    values = rest[(index + at) % count]
    best = (np.inf, 0.0, 0.0, sigma)
    center, width = 0.0, sigma
    for span in (0.5, 0.15):
        for shift in center + width * np.linspace(-span, span, 5):
            for scale in width * np.exp(np.linspace(-span, span, 7)):
                bell = np.exp(-0.5 * ((at - shift) / scale) ** 2)
                basis = np.column_stack((bell, np.ones(len(at)), at / reach))
                factors = np.linalg.solve(basis.T @ basis, basis.T @ values)
                misfit = float(((values - basis @ factors) ** 2).sum())
                if misfit < best[0]:
                    best = (misfit, float(factors[0]), float(shift), float(scale))
        center, width = best[2], best[3]
    _, height, shift, scale = best
    shape = np.zeros(count)
    wide = np.arange(-min(int(5 * scale), count // 2 - 1), min(int(5 * scale), count // 2 - 1) + 1)
    shape[(index + wide) % count] = height * np.exp(-0.5 * ((wide - shift) / scale) ** 2)
    return Bump(round(index + shift) % count, height, scale * step), shape


def _stands(bump: Bump, found: list[Bump], count: int, step: float) -> bool:
    floor = _SHORT_FLOOR_MM if bump.extent_mm < SHORT_MM else _LONG_FLOOR_MM
    if abs(bump.height_mm) < floor:
        return False
    for other in found:
        apart = abs((bump.index - other.index + count // 2) % count - count // 2) * step
        if apart < _SHADOW * max(other.sigma_mm, bump.sigma_mm) and abs(bump.height_mm) < _SHADOW_SHARE * abs(
            other.height_mm
        ):
            return False
    return True


def blend(datum: Array, bent: Array, nominal: Nominal) -> Array:
    """Deviations with the bend taken out: the bend zone by its own fit, the stretch between blended from both."""
    if not nominal.bend.any() or nominal.bend.all():
        return datum
    weight = _steps_to(nominal.datum & ~nominal.bend) / np.maximum(
        _steps_to(nominal.datum & ~nominal.bend) + _steps_to(nominal.bend), 1e-9
    )
    return np.asarray((1 - weight) * datum + weight * bent)


def _steps_to(member: NDArray[np.bool_]) -> Array:
    """Steps along the closed outline from every point to the nearest member."""
    where = np.flatnonzero(member)
    count = len(member)
    if not len(where):
        return np.full(count, float(count))
    around = np.concatenate((where - count, where, where + count))
    right = np.searchsorted(around, np.arange(count))
    return np.asarray(np.minimum(around[right] - np.arange(count), np.arange(count) - around[right - 1]), float)
