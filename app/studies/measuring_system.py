"""Capability of a measuring system and of a measuring process against a tolerance, by the notions of ISO 22514-7.

From memory of ISO 22514-7:2021 (no published example was at hand; the tests hold its arithmetic): the expanded
uncertainty of twice the standard one against the tolerance, at most 15 % for the system and 30 % for the process; bias
and linearity as half-widths of rectangular distributions; of repeatability and resolution the larger counts.
"""

from dataclasses import dataclass
from math import sqrt

from scipy import stats

from app.statistics import Component
from app.studies.bias import CONFIDENCE, BiasStudy
from app.studies.gauge import GaugeStudy

SYSTEM_AT_MOST, PROCESS_AT_MOST = 15.0, 30.0
"""Percent of the tolerance."""
THIRD = 1.0 / 3.0
"""Variance of a rectangular distribution of half-width 1."""


@dataclass(frozen=True, slots=True)
class Part:
    """A component: `name`, its variance and the variance's 95 % interval."""

    name: str
    variance: float
    ci: tuple[float, float]

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return sqrt(self.variance)


@dataclass(frozen=True, slots=True)
class Fitness:
    """Of a system or a process: `percent` of the tolerance that its expanded uncertainty takes, with its 95 % interval.

    `index`: the capability index, 1.33 where `percent` is `at_most`.
    """

    parts: tuple[Part, ...]
    percent: float
    ci: tuple[float, float]
    index: float | None
    at_most: float

    @property
    def outcome(self) -> str:
        """Capable or not where the interval tells."""
        if self.ci[1] <= self.at_most:
            return "capable"
        return "not capable" if self.ci[0] > self.at_most else "not shown to be capable"


@dataclass(frozen=True, slots=True)
class MeasuringSystem:
    """Both; `process` None without a crossed study of operators (or stations) on pieces of production."""

    tolerance: float
    resolution: float | None
    system: Fitness
    process: Fitness | None


def measuring_system(
    study: BiasStudy, tolerance: float, resolution: float | None, gauge: GaugeStudy | None
) -> MeasuringSystem:
    """Hold a system's uncertainty against a tolerance (ISO 22514-7), all in the units of the readings.

    Parameters
    ----------
    study
        Of reference pieces.
    tolerance
        Its width, in the unit of the readings.
    resolution
        Smallest step of a reading, in their unit; none: not counted.
    gauge
        A crossed study on pieces of production, in the same unit; none: of the system alone.

    Returns
    -------
    MeasuringSystem
        Components as variances, and shares of the tolerance in percent.
    """
    fixed = (2.0 * resolution) ** 2 / 48.0 if resolution is not None else 0.0
    scatter = study.scatter
    repeat, freedom = (
        (scatter.repeat, float(scatter.repeat_freedom))
        if scatter.repeat is not None
        else (scatter.unit, scatter.freedom)
    )
    own = Part("repeatability on reference pieces", repeat**2, _of_variance(repeat**2, freedom))
    resolved = Part("resolution", fixed, (fixed, fixed))
    common = (_calibration(study), _bias(study), _linearity(study))
    system = _fitness((*common, _larger(own, resolved)), tolerance, SYSTEM_AT_MOST)
    process = None
    if gauge is not None:
        crossed = _of(gauge, "repeatability", "repeatability on pieces of production")
        largest = _larger(_larger(own, resolved), *(() if crossed is None else (crossed,)))
        added = [_of(gauge, "operator", "operators"), _of(gauge, "interaction", "operators by piece")]
        if scatter.sitting is not None:
            sittings = max(len(study.readings.days) - 1, 1)
            added.append(Part("sittings", scatter.sitting**2, (0.0, _of_variance(scatter.sitting**2, sittings)[1])))
        process = _fitness((*common, largest, *(one for one in added if one is not None)), tolerance, PROCESS_AT_MOST)
    return MeasuringSystem(tolerance, resolution, system, process)


def _fitness(parts: tuple[Part, ...], tolerance: float, at_most: float) -> Fitness:
    """Sum of the variances; its interval from those of the parts (Zou and Donner 2008, Stat. Med. 27:1693)."""
    variance = sum(part.variance for part in parts)
    below = sqrt(sum((part.variance - part.ci[0]) ** 2 for part in parts))
    above = sqrt(sum((part.ci[1] - part.variance) ** 2 for part in parts))
    value, low, high = (400.0 * sqrt(max(v, 0.0)) / tolerance for v in (variance, variance - below, variance + above))
    return Fitness(parts, value, (low, high), 4.0 / 3.0 * at_most / value if value > 0.0 else None, at_most)


def _larger(one: Part, *others: Part) -> Part:
    """The component of greatest variance; its lower end is the least of all, since the largest was chosen."""
    whole = (one, *others)
    most = max(whole, key=lambda part: part.variance)
    return Part(most.name, most.variance, (min(part.ci[0] for part in whole), max(part.ci[1] for part in whole)))


def _of_variance(variance: float, freedom: float) -> tuple[float, float]:
    tail = (1 - CONFIDENCE) / 2
    return (
        variance * freedom / float(stats.chi2.isf(tail, freedom)),
        variance * freedom / float(stats.chi2.ppf(tail, freedom)),
    )


def _calibration(study: BiasStudy) -> Part:
    """The largest uncertainty of a reference value."""
    variance = float((study.readings.reference_u**2).max())
    return Part("calibration of the reference pieces", variance, (variance, variance))


def _bias(study: BiasStudy) -> Part:
    assert study.mean.value is not None
    assert study.mean.ci is not None
    return _rectangular("bias", study.mean.value, study.mean.ci)


def _linearity(study: BiasStudy) -> Part:
    """The piece whose bias lies furthest from their mean; its interval is that of its bias for all pieces together."""
    assert study.mean.value is not None
    off = [one.bias.value - study.mean.value for one in study.pieces if one.bias.value is not None]
    k = max(range(len(off)), key=lambda i: abs(off[i]))
    if len(off) == 1:
        return Part("linearity", 0.0, (0.0, 0.0))
    joint = study.pieces[k].joint
    return _rectangular("linearity", off[k], (off[k] - joint, off[k] + joint))


def _rectangular(name: str, value: float, ci: tuple[float, float]) -> Part:
    low = 0.0 if ci[0] <= 0.0 <= ci[1] else min(abs(ci[0]), abs(ci[1]))
    return Part(name, THIRD * value**2, (THIRD * low**2, THIRD * max(abs(ci[0]), abs(ci[1])) ** 2))


def _of(gauge: GaugeStudy, source: str, name: str) -> Part | None:
    found: Component | None = gauge.components[source]  # type: ignore[index]
    if found is None:
        return None
    return Part(name, max(found.value, 0.0), found.ci)
