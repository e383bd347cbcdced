"""What the search of a polished face tells: scratches, pits, dust."""

from dataclasses import dataclass
from typing import Literal

from vision.records.judge import LIKELY

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Scratch:
    """A line on the polished face, end to end, points at most 1 mm apart.

    `probability`: the chance that it is a real scratch, None in results filed before it was told; `because`: what
    weighed most in it, in words.
    """

    points_px: tuple[Pair, ...]
    points_mm: tuple[Pair, ...]
    length_mm: float
    width_mm: float
    snr: float
    probability: float | None = None
    because: tuple[str, ...] = ()
    kind: Literal["scratch"] = "scratch"

    @property
    def likely(self) -> bool:
        """Whether it is likelier a mark than none."""
        return self.probability is None or self.probability >= LIKELY


@dataclass(frozen=True, slots=True)
class Pit:
    """A pit; `diameter_mm` of the disc of equal area at half contrast, blur removed; `snr` in sigmas; `probability`
    and `because` as of a scratch.
    """

    center_px: Pair
    center_mm: Pair
    diameter_mm: float
    snr: float
    probability: float | None = None
    because: tuple[str, ...] = ()
    kind: Literal["pit"] = "pit"

    @property
    def likely(self) -> bool:
        """Whether it is likelier a mark than none."""
        return self.probability is None or self.probability >= LIKELY


@dataclass(frozen=True, slots=True)
class Speck:
    """Dust or lint on the face: no defect, never counted; `snr` in standard deviations of the noise; `probability`
    that it is a pit all the same.
    """

    center_px: Pair
    center_mm: Pair
    diameter_mm: float
    snr: float
    probability: float | None = None
    because: tuple[str, ...] = ()
    kind: Literal["speck"] = "speck"
