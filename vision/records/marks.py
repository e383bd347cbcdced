"""How sure marks on the face are: the fits by which a result's marks are doubted, and the rate of marks in a works."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Detection:
    """Fits of a mark's scatter and of the detection curve; a result carries those that it was judged by.

    The defaults are those of results that name none; fitted to repeated renders (docs/benchmarks/face.md), those of
    scratches by eye. How each enters: `vision.decide.uncertainty`.

    `length_u_mm`, `length_share`, `length_snr`: standard uncertainty of a length: of a plain scratch, as a share of a
    faint one's, and the snr at which that share has fallen off. `diameter_u_mm`, `diameter_share`, `diameter_most`:
    of a diameter: of a small plain pit, as a share of it over the root of the snr, and at most; less in proportion
    below `diameter_small_mm`, no less sure above `diameter_wide_mm`. `scratch_snr_u`, `scratch_snr_share`,
    `pit_snr_share`: of a snr. `scratch_seen_snr`, `scratch_seen_spread`: mean and standard deviation of the normal
    curve by which scratches are found, at the snr of scratches of `short_mm` on, at the snr over `short_factor` of
    shorter ones. `pit_seen`: standard deviations of the normal curve by which pits are found at `pit_seen_at_snr` and
    `pit_seen_at_mm`; `pit_seen_by_snr`, `pit_seen_by_mm` more for each factor of e.
    """

    length_u_mm: float = 0.06
    length_share: float = 0.22
    length_snr: float = 20.0
    diameter_u_mm: float = 0.008
    diameter_share: float = 1.1
    diameter_most: float = 0.25
    diameter_small_mm: float = 0.3
    diameter_wide_mm: float = 0.4
    scratch_snr_u: float = 1.0
    scratch_snr_share: float = 0.07
    pit_snr_share: float = 0.66
    scratch_seen_snr: float = 6.2
    scratch_seen_spread: float = 1.6
    short_mm: float = 1.5
    short_factor: float = 1.5
    pit_seen: float = 1.05
    pit_seen_at_snr: float = 20.0
    pit_seen_at_mm: float = 0.2
    pit_seen_by_snr: float = 1.86
    pit_seen_by_mm: float = 2.65


FIRST_DETECTION = Detection()
"""The fits of results that name none."""


@dataclass(frozen=True, slots=True)
class MarkClass:
    """Marks of one kind and of about one size (length or diameter) and snr: how many there are to a cm2 of face."""

    kind: Literal["scratch", "pit"]
    size_mm: float
    snr: float
    per_cm2: float


@dataclass(frozen=True, slots=True)
class MarkRate:
    """How many marks the faces of a works bear, found or not, by classes, and the `source` that says so."""

    source: str
    classes: tuple[MarkClass, ...]
