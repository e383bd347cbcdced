"""From surface findings to counts, lengths and densities, by the counting rules of the limits.

A finding near a counting limit might as well have fallen on its other side: each finding counts with a probability, and
what is summed over findings has the variance of a sum of independent yes-or-no draws (Poisson-binomial, sum of
p (1 - p)) beside the spread of the lengths and diameters themselves. The value reported is the plain count of those
that pass the rules.

Faint marks are not all reported: for each that is, with a chance q of being reported again, (1 - q) / q are to be
expected that are not. A mark that falls inside the rules with a chance c where it is reported counts with p = c q; the
sum of p (1 - p) over all marks is the sum of c (1 - c q) over those reported.

Uncertainties speak of the same marks once more: photographed again, on another stretch of a finish of the same kind.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, log, pi, sqrt
from statistics import NormalDist

from vision.records import CountRule, Finding, Pit, Scratch, Value

# Measures formed here, all of them missing where `scored_area_cm2` is.
COUNTED_MEASURES = (
    "scratch_count",
    "scratch_longest_mm",
    "scratch_density_mm_per_cm2",
    "pit_count",
    "pit_largest_mm",
    "pit_density_per_cm2",
    "pit_area_ppm",
)
# All figures below are fitted to repeated renders (docs/benchmarks/face.md), those of scratches by eye.
# Standard uncertainty of a length: of a plain scratch (mm), as a share of a faint one's, and the snr at which that
# share has fallen off.
_LENGTH_U_MM, _LENGTH_SHARE, _LENGTH_SNR = 0.06, 0.22, 20.0
# Of a diameter: of a small plain pit (mm); as a share of it, over the root of the snr and at most. The share of a pit
# smaller than the first diameter is less in proportion; one wider than the second is no less sure than at it.
_DIAMETER_U_MM, _DIAMETER_SHARE, _DIAMETER_MOST = 0.008, 1.1, 0.25
_DIAMETER_SMALL_MM, _DIAMETER_WIDE_MM = 0.3, 0.4
# Standard uncertainty of a scratch's snr: of a faint one, and as a share; of a pit's, as a share of the snr's root.
_SCRATCH_SNR_U, _SCRATCH_SNR_SHARE = 1.0, 0.07
_PIT_SNR_SHARE = 0.66
# A scratch is reported again with the chance of a normal distribution of this mean and standard deviation of its snr,
# for short ones (mm) divided by a factor.
_SCRATCH_SEEN = NormalDist(6.2, 1.6)
_SHORT_MM, _SHORT_FACTOR = 1.5, 1.5
# A pit is reported again with the normal chance of so many standard deviations at this snr and diameter (mm), and so
# many more for each factor of e in snr and in diameter (of a small pit): the smaller the more often it passes for dust.
_PIT_SEEN, _PIT_SEEN_SNR, _PIT_SEEN_MM = 1.05, 20.0, 0.2
_PIT_SEEN_BY_SNR, _PIT_SEEN_BY_MM = 1.86, 2.65
_LEAST_MM = 0.01
# Below this chance of standing on the other side of the limits, or of not being reported, a finding is taken as sure,
# so that counts of clear findings carry no uncertainty at all.
SURE = 0.001
_MM2_PER_CM2 = 100.0
_STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class Counted:
    """Which findings count, in their order, and the measures formed from them with standard uncertainties."""

    counted: tuple[bool, ...]
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class FindingUncertainty:
    """Standard uncertainties of a mark's size and snr, and the chance that it is reported again at all."""

    size_u_mm: float
    snr_u: float
    again: float


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A finding's size (mm), its doubts, whether it counts and the chance that it falls inside the counting rules."""

    size_mm: float
    uncertainty: FindingUncertainty
    counts: bool
    chance: float

    @property
    def variance(self) -> float:
        """Of its own share of a count: inside the rules or not, reported or not."""
        return self.chance * (1.0 - self.chance * self.uncertainty.again)


@dataclass(frozen=True, slots=True)
class _Area:
    cm2: float
    u_cm2: float


def finding_uncertainty(mark: Scratch | Pit) -> FindingUncertainty:
    """How far a scratch or pit scatters from one photograph to the next, from its size and snr."""
    snr = mark.snr
    if isinstance(mark, Scratch):
        share = _LENGTH_SHARE / (1.0 + (snr / _LENGTH_SNR) ** 2)
        seen = _SCRATCH_SEEN.cdf(snr if mark.length_mm >= _SHORT_MM else snr / _SHORT_FACTOR)
        size_u_mm, snr_u = hypot(_LENGTH_U_MM, share * mark.length_mm), hypot(_SCRATCH_SNR_U, _SCRATCH_SNR_SHARE * snr)
        return FindingUncertainty(size_u_mm, snr_u, _sure(seen))
    snr, diameter_mm = max(snr, 1.0), max(mark.diameter_mm, _LEAST_MM)  # below these there is nothing to tell
    root = sqrt(snr)
    small_mm, wide_mm = min(diameter_mm, _DIAMETER_SMALL_MM), min(diameter_mm, _DIAMETER_WIDE_MM)
    share = min(_DIAMETER_SHARE / root, _DIAMETER_MOST) * small_mm / _DIAMETER_SMALL_MM
    deviations = _PIT_SEEN + _PIT_SEEN_BY_SNR * log(snr / _PIT_SEEN_SNR)
    seen = _STANDARD.cdf(deviations + _PIT_SEEN_BY_MM * log(small_mm / _PIT_SEEN_MM))
    return FindingUncertainty(hypot(_DIAMETER_U_MM, share * wide_mm), _PIT_SNR_SHARE * root, _sure(seen))


def _sure(chance: float) -> float:
    """A chance, next to nothing taken as nothing and next to certain as certain."""
    return 0.0 if chance < SURE else 1.0 if chance > 1.0 - SURE else chance


def count(findings: Sequence[Finding], rule: CountRule, area_cm2: Value, area_u_cm2: Value) -> Counted:
    """Apply the counting rules.

    Parameters
    ----------
    findings
        All findings of a piece; only scratches and pits can count.
    area_cm2, area_u_cm2
        `scored_area_cm2` and its standard uncertainty; without an area every measure is None.
    """
    candidates = [_candidate(finding, rule) for finding in findings]
    counted = tuple(candidate is not None and candidate.counts for candidate in candidates)
    if not isinstance(area_cm2, float | int) or area_cm2 <= 0.0:
        missing: dict[str, Value] = dict.fromkeys(COUNTED_MEASURES)
        return Counted(counted, missing, missing)
    area = _Area(area_cm2, area_u_cm2 if isinstance(area_u_cm2, float | int) else 0.0)
    pairs = list(zip(findings, candidates, strict=True))
    scratches = [candidate for finding, candidate in pairs if candidate and isinstance(finding, Scratch)]
    pits = [candidate for finding, candidate in pairs if candidate and isinstance(finding, Pit)]
    formed = {
        "scratch_count": _number(scratches),
        "scratch_longest_mm": _largest(scratches),
        "scratch_density_mm_per_cm2": _per_area(_total(scratches, _length), area),
        "pit_count": _number(pits),
        "pit_largest_mm": _largest(pits),
        "pit_density_per_cm2": _per_area(_number(pits), area),
        "pit_area_ppm": _per_area(_total(pits, _disc_ppm_cm2), area),
    }
    return Counted(
        counted,
        {name: value for name, (value, _) in formed.items()},
        {name: uncertainty for name, (_, uncertainty) in formed.items()},
    )


def _candidate(finding: Finding, rule: CountRule) -> _Candidate | None:
    match finding:
        case Scratch():
            return _weighed(finding, finding.length_mm, rule.scratch_min_length_mm, rule.scratch_min_snr)
        case Pit():
            return _weighed(finding, finding.diameter_mm, rule.pit_min_diameter_mm, rule.pit_min_snr)
        case _:
            return None


def _weighed(mark: Scratch | Pit, size_mm: float, min_size_mm: float, min_snr: float) -> _Candidate:
    """A limit of 0 is none: whatever the detector reports lies inside it."""
    uncertainty, chance = finding_uncertainty(mark), 1.0
    if min_size_mm > 0.0:
        chance *= _STANDARD.cdf((size_mm - min_size_mm) / uncertainty.size_u_mm)
    if min_snr > 0.0:
        chance *= _STANDARD.cdf((mark.snr - min_snr) / uncertainty.snr_u)
    return _Candidate(size_mm, uncertainty, size_mm >= min_size_mm and mark.snr >= min_snr, _sure(chance))


def _number(candidates: list[_Candidate]) -> tuple[float, float]:
    number = sum(candidate.counts for candidate in candidates)
    return number, sqrt(sum(candidate.variance for candidate in candidates))


def _largest(candidates: list[_Candidate]) -> tuple[float, float]:
    """The largest counted one; its uncertainty also holds that another may be the largest that counts."""
    value = max((one.size_mm for one in candidates if one.counts), default=0.0)
    mean, square, none_larger = 0.0, 0.0, 1.0
    for one in sorted(candidates, key=lambda one: -one.size_mm):
        counts = one.chance * one.uncertainty.again
        mean += none_larger * counts * one.size_mm
        square += none_larger * counts * (one.size_mm**2 + one.uncertainty.size_u_mm**2)
        none_larger *= 1.0 - counts
    return value, sqrt(max(square - mean**2, 0.0))


def _length(candidate: _Candidate) -> tuple[float, float]:
    return candidate.size_mm, candidate.uncertainty.size_u_mm


def _disc_ppm_cm2(candidate: _Candidate) -> tuple[float, float]:
    """Area of a pit's disc in millionths of a cm2, and its uncertainty."""
    scale = pi / 4.0 / _MM2_PER_CM2 * 1e6
    return scale * candidate.size_mm**2, scale * 2.0 * candidate.size_mm * candidate.uncertainty.size_u_mm


def _total(candidates: list[_Candidate], share: Callable[[_Candidate], tuple[float, float]]) -> tuple[float, float]:
    value = variance = 0.0
    for candidate in candidates:
        one, one_u = share(candidate)
        value += one * candidate.counts
        variance += candidate.variance * one**2 + candidate.chance * one_u**2
    return value, sqrt(variance)


def _per_area(total: tuple[float, float], area: _Area) -> tuple[float, float]:
    density = total[0] / area.cm2
    return density, hypot(total[1] / area.cm2, density * area.u_cm2 / area.cm2)
