"""How far a mark scatters from one photograph to the next, and the chance that it is found.

In results that were filed before a judge of marks told it, the chance that a mark is one is taken as the chance that
it would be found again.
"""

from dataclasses import dataclass
from math import hypot, log, sqrt
from statistics import NormalDist
from typing import Literal

from vision.records import Detection, Pit, Scratch

_STANDARD = NormalDist()
_LEAST_MM = 0.01
# A chance next to nothing is taken as nothing and one next to certain as certain: 200 of them change no chance by 1e-3.
SURE = 1e-6


@dataclass(frozen=True, slots=True)
class FindingUncertainty:
    """Standard uncertainties of a mark's size and snr, and the chance that it is found (again)."""

    size_u_mm: float
    snr_u: float
    found: float


def finding_uncertainty(mark: Scratch | Pit, detection: Detection) -> FindingUncertainty:
    """How sure a scratch or pit is, from its size and snr."""
    return uncertainty_at(mark.kind, size_of(mark), mark.snr, detection)


def size_of(mark: Scratch | Pit) -> float:
    """A scratch's length or a pit's diameter, mm."""
    return mark.length_mm if isinstance(mark, Scratch) else mark.diameter_mm


def uncertainty_at(kind: Literal["scratch", "pit"], size_mm: float, snr: float, by: Detection) -> FindingUncertainty:
    """How sure a mark of a kind, size and snr is; `found` is the detection curve."""
    if kind == "scratch":
        share = by.length_share / (1.0 + (snr / by.length_snr) ** 2)
        seen_snr = snr if size_mm >= by.short_mm else snr / by.short_factor
        return FindingUncertainty(
            hypot(by.length_u_mm, share * size_mm),
            hypot(by.scratch_snr_u, by.scratch_snr_share * snr),
            _STANDARD.cdf((seen_snr - by.scratch_seen_snr) / by.scratch_seen_spread),
        )
    snr, size_mm = max(snr, 1.0), max(size_mm, _LEAST_MM)  # below these there is nothing to tell
    root = sqrt(snr)
    small_mm, wide_mm = min(size_mm, by.diameter_small_mm), min(size_mm, by.diameter_wide_mm)
    share = min(by.diameter_share / root, by.diameter_most) * small_mm / by.diameter_small_mm
    deviations = by.pit_seen + by.pit_seen_by_snr * log(snr / by.pit_seen_at_snr)
    found = _STANDARD.cdf(deviations + by.pit_seen_by_mm * log(small_mm / by.pit_seen_at_mm))
    return FindingUncertainty(hypot(by.diameter_u_mm, share * wide_mm), by.pit_snr_share * root, found)
