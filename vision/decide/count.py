"""From surface findings to counts, lengths and densities, by the counting rules of the limits.

A finding near a counting limit might as well have fallen on its other side: each finding counts with a probability, and
what is summed over findings has the variance of a sum of independent yes-or-no draws (Poisson-binomial, sum of
p (1 - p)) beside the spread of the lengths and diameters themselves. The value reported is the plain count of those
that pass the rules.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, pi, sqrt
from statistics import NormalDist

from vision.records.given import CountRule
from vision.records.measured import Finding, Pit, Scratch, Value

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
# Standard uncertainty of a response, in units of its own noise, which `snr` is.
SNR_U = 1.0
# Of a length and a diameter (mm): what is left of a plain one, and how it grows as a mark sinks into the finish. Fitted
# by eye to the errors seen on path-traced trays at 2 to 100 % of the marks' contrast (docs/benchmarks/face.md).
_LENGTH_U_MM, _LENGTH_FADES_MM = 0.10, 170.0
_DIAMETER_U_MM, _DIAMETER_FADES_MM = 0.010, 16.0
_FADING = 3  # power of the snr
_FAINTEST = 5.0  # below what is reported at all the law says nothing
# Below this chance of standing on the other side of the limits a finding is taken as sure, so that counts of clear
# findings carry no uncertainty at all.
_SURE = 0.001
_MM2_PER_CM2 = 100.0
_STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class Counted:
    """Which findings count, in their order, and the measures formed from them with standard uncertainties."""

    counted: tuple[bool, ...]
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A finding's size (mm) with its uncertainty, whether it counts and how sure that is (p of counting)."""

    size_mm: float
    size_u_mm: float
    counts: bool
    chance: float


@dataclass(frozen=True, slots=True)
class _Area:
    cm2: float
    u_cm2: float


def length_u_mm(snr: float) -> float:
    """Standard uncertainty of a scratch's length."""
    return _LENGTH_U_MM + _LENGTH_FADES_MM / max(snr, _FAINTEST) ** _FADING


def diameter_u_mm(snr: float) -> float:
    """Standard uncertainty of a pit's diameter."""
    return _DIAMETER_U_MM + _DIAMETER_FADES_MM / max(snr, _FAINTEST) ** _FADING


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
    if isinstance(finding, Scratch):
        size_u = length_u_mm(finding.snr)
        return _weighed(finding.length_mm, size_u, finding.snr, rule.scratch_min_length_mm, rule.scratch_min_snr)
    if isinstance(finding, Pit):
        size_u = diameter_u_mm(finding.snr)
        return _weighed(finding.diameter_mm, size_u, finding.snr, rule.pit_min_diameter_mm, rule.pit_min_snr)
    return None


def _weighed(size_mm: float, size_u_mm: float, snr: float, min_size_mm: float, min_snr: float) -> _Candidate:
    """A limit of 0 is none: what the detector reports then counts for sure."""
    chance = 1.0
    if min_size_mm > 0.0:
        chance *= _STANDARD.cdf((size_mm - min_size_mm) / size_u_mm)
    if min_snr > 0.0:
        chance *= _STANDARD.cdf((snr - min_snr) / SNR_U)
    if chance < _SURE:
        chance = 0.0
    elif chance > 1.0 - _SURE:
        chance = 1.0
    return _Candidate(size_mm, size_u_mm, size_mm >= min_size_mm and snr >= min_snr, chance)


def _number(candidates: list[_Candidate]) -> tuple[float, float]:
    number = sum(candidate.counts for candidate in candidates)
    return number, sqrt(sum(candidate.chance * (1.0 - candidate.chance) for candidate in candidates))


def _largest(candidates: list[_Candidate]) -> tuple[float, float]:
    """The largest counted one; its uncertainty also holds that another may be the largest that counts."""
    largest = max((one for one in candidates if one.counts), key=lambda one: one.size_mm, default=None)
    value = largest.size_mm if largest else 0.0
    variance, none_larger = 0.0, 1.0
    for one in sorted(candidates, key=lambda one: -one.size_mm):
        weight = none_larger * one.chance
        variance += weight * ((one.size_mm - value) ** 2 + one.size_u_mm**2)
        none_larger *= 1.0 - one.chance
    return value, sqrt(variance + none_larger * value**2)


def _length(candidate: _Candidate) -> tuple[float, float]:
    return candidate.size_mm, candidate.size_u_mm


def _disc_ppm_cm2(candidate: _Candidate) -> tuple[float, float]:
    """Area of a pit's disc in millionths of a cm2, and its uncertainty."""
    scale = pi / 4.0 / _MM2_PER_CM2 * 1e6
    return scale * candidate.size_mm**2, scale * 2.0 * candidate.size_mm * candidate.size_u_mm


def _total(candidates: list[_Candidate], share: Callable[[_Candidate], tuple[float, float]]) -> tuple[float, float]:
    value = variance = 0.0
    for candidate in candidates:
        one, one_u = share(candidate)
        value += one * candidate.counts
        variance += candidate.chance * (1.0 - candidate.chance) * one**2 + candidate.chance * one_u**2
    return value, sqrt(variance)


def _per_area(total: tuple[float, float], area: _Area) -> tuple[float, float]:
    density = total[0] / area.cm2
    return density, hypot(total[1] / area.cm2, density * area.u_cm2 / area.cm2)
