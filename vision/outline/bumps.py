"""Burrs, nicks, swells and hollows: bumps of the outline over the long-wave form around them.

The deviation profile is searched with bell-shaped templates of many lengths, freed of their surroundings' level and
slope; the strongest is fitted, taken away, and the search goes on: a burr on a swell gives both, and none twice.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from vision.outline.nominal import Nominal
from vision.outline.profile import Profile
from vision.records import Array, EdgeKind


@dataclass(frozen=True, slots=True)
class BumpSettings:
    """Which bumps of an outline are told."""

    # Lengths searched, as standard deviations of a bell (mm): each some 1.6 times the last, so that none falls
    # between.
    ladder_mm: tuple[float, ...] = (0.2, 0.32, 0.5, 0.8, 1.25, 2.0, 3.2, 5.0, 8.0)
    # Shorter than this (steps of the nominal) no bump is told from noise and pixel phase.
    least_sigma: float = 1.5
    # Findings shorter than this at half height (mm) are burrs and nicks, longer ones swells and hollows (agreed in
    # the formats).
    short_mm: float = 6.0
    # The surroundings are taken this many times wider than the bell.
    around: float = 2.5
    # A bump is one when it stands this many standard deviations above photon noise ...
    significant: float = 6.0
    # ... and is no smaller than what pixel phase and the drawing's own steps can make of a smooth edge (mm): of a
    # short one ...
    short_floor_mm: float = 0.0065
    # ... and of a long one (mm).
    long_floor_mm: float = 0.012
    # A bump fitted within this many of a stronger one's standard deviations ...
    shadow: float = 3.0
    # ... and below this share of its height, is what the bell left of a defect that is no bell.
    shadow_share: float = 0.3
    # At most so many bumps of a piece are told, the strongest: more is no list for a person.
    most: int = 40
    # A fit takes in this many standard deviations to either side ...
    fit_reach: float = 3.5
    # ... and so many steps settle it.
    fit_steps: int = 7
    # No step of a fit moves a bell by more than this share of its length ...
    most_moved: float = 0.5
    # ... or changes its length by more (natural logarithm): a fit that overshoots then comes back.
    most_stretched: float = 0.4
    # A bell stays within so many of its lengths of where it was found ...
    stays_within: float = 2.0
    # ... and its length within such a factor of the template's: the ladder's next rung is a factor of 1.6 away.
    stretched_within: float = 3.0
    # Beyond so many standard deviations a bell is nothing (4e-6 of its height).
    ends_at: float = 5.0
    # A bell between two lengths answers either with less: from this share of the floor's answer on it is fitted.
    answer_share: float = 0.7


BUMPS = BumpSettings()

_EXTENT = 2.3548


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
        if self.extent_mm < BUMPS.short_mm:
            return "burr" if self.height_mm > 0 else "nick"
        return "swell" if self.height_mm > 0 else "hollow"


def find_bumps(form: Array, profile: Profile, nominal: Nominal, restless_mm: Array) -> tuple[Bump, ...]:
    """All bumps of a deviation profile, strongest first.

    Parameters
    ----------
    form
        Deviations (n,) mm with the bend taken out.
    restless_mm
        (n,): what a bend that passes through the outline may leave there; a bump must be higher.
    """
    count, step = len(form), nominal.step_mm
    sigmas = np.array([sigma / step for sigma in BUMPS.ladder_mm if sigma / step >= BUMPS.least_sigma])
    bells, spread = _templates(count, step)
    noise = profile.fine_sd / profile.fine_gain
    rest = np.where(profile.seen, form, 0.0)
    long = sigmas * step * _EXTENT >= BUMPS.short_mm
    floor = np.maximum(np.where(long, BUMPS.long_floor_mm, BUMPS.short_floor_mm)[:, None], restless_mm)
    # A bell as long as the template answers with this share of its height.
    answer = 1 / np.sqrt(2) - 1 / np.sqrt(1 + BUMPS.around**2)
    bar = np.maximum(BUMPS.significant * spread * noise, BUMPS.answer_share * answer * floor)
    allowed = np.broadcast_to(profile.seen, bar.shape).copy()
    found: list[Bump] = []
    while len(found) < BUMPS.most:
        response = np.abs(irfft(rfft(rest) * bells, count))
        above = np.where(allowed & (response > bar), response / (spread * noise), 0.0)
        level, index = np.unravel_index(int(above.argmax()), above.shape)
        if above[level, index] == 0.0:
            break
        bump, shape = _fit_bell(rest, int(index), float(sigmas[level]), step)
        if _stands(bump, found, count, step) and abs(bump.height_mm) > restless_mm[bump.index]:
            rest = rest - shape
            found.append(bump)
        # What was looked at is not looked at again: what the fit left there belongs to the same bump.
        near = np.abs((np.arange(count) - index + count // 2) % count - count // 2) <= sigmas[level]
        allowed[:, near] = False
    return tuple(sorted(found, key=lambda b: -abs(b.height_mm)))


@lru_cache(maxsize=16)
def _templates(count: int, step: float) -> tuple[Array, Array]:
    """Responses of the templates in the frequency domain (levels, frequencies), and their noise gains (levels, 1)."""
    omega = 2 * np.pi * rfftfreq(count)
    sigmas = np.array([[sigma / step] for sigma in BUMPS.ladder_mm if sigma / step >= BUMPS.least_sigma])
    bells = np.exp(-0.5 * (omega * sigmas) ** 2) - np.exp(-0.5 * (omega * BUMPS.around * sigmas) ** 2)
    return bells, np.sqrt(np.mean(bells**2, axis=1))[:, None]


def _fit_bell(rest: Array, index: int, sigma: float, step: float) -> tuple[Bump, Array]:
    """Least-squares bell on a straight ground near a place, by Gauss-Newton steps on its place and length."""
    count = len(rest)
    reach = min(int(BUMPS.fit_reach * sigma) + 2, count // 2 - 1)
    at = np.arange(-reach, reach + 1)
    values = rest[(index + at) % count]
    shift, scale, height = 0.0, sigma, 0.0
    for _ in range(BUMPS.fit_steps):
        t = (at - shift) / scale
        bell = np.exp(-0.5 * t * t)
        ground = np.column_stack((bell, np.ones(len(at)), at / reach))
        height = float(np.linalg.lstsq(ground, values, rcond=None)[0][0])
        rows = np.column_stack((ground, height * bell * t, height * bell * t * t))
        factors = np.linalg.lstsq(rows, values, rcond=None)[0]
        shift += scale * float(np.clip(factors[3], -BUMPS.most_moved, BUMPS.most_moved))
        scale *= float(np.exp(np.clip(factors[4], -BUMPS.most_stretched, BUMPS.most_stretched)))
        shift = float(np.clip(shift, -BUMPS.stays_within * sigma, BUMPS.stays_within * sigma))
        scale = float(np.clip(scale, sigma / BUMPS.stretched_within, sigma * BUMPS.stretched_within))
    shape = np.zeros(count)
    end = min(int(BUMPS.ends_at * scale), count // 2 - 1)
    wide = np.arange(-end, end + 1)
    shape[(index + wide) % count] = height * np.exp(-0.5 * ((wide - shift) / scale) ** 2)
    return Bump(round(index + shift) % count, height, scale * step), shape


def _stands(bump: Bump, found: list[Bump], count: int, step: float) -> bool:
    floor = BUMPS.short_floor_mm if bump.extent_mm < BUMPS.short_mm else BUMPS.long_floor_mm
    if abs(bump.height_mm) < floor:
        return False
    for other in found:
        apart = abs((bump.index - other.index + count // 2) % count - count // 2) * step
        if apart < BUMPS.shadow * max(other.sigma_mm, bump.sigma_mm) and abs(bump.height_mm) < BUMPS.shadow_share * abs(
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
