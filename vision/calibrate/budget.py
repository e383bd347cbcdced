"""Uncertainty budgets after the GUM (JCGM 100:2008): contributions, combined and expanded uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf, isinf, sqrt

import numpy as np
from scipy import stats

from vision.records import Array, UncertaintyComponents

COVERAGE = 0.95  # usual for expanded uncertainties (JCGM 100:2008, 6.2)


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of a budget.

    `standard` is the input's standard uncertainty, `sensitivity` the derivative of the result to it, `freedom` the
    degrees of freedom behind it (infinite where it is taken as known); `source` says where the number comes from.
    """

    name: str
    standard: float
    sensitivity: float = 1.0
    freedom: float = inf
    source: str = ""

    @property
    def share(self) -> float:
        """What it adds, in the result's unit: the sensitivity's size times u."""
        return abs(self.sensitivity) * self.standard


@dataclass(frozen=True, slots=True)
class Budget:
    """A combined standard uncertainty, its effective degrees of freedom, and the expanded one."""

    contributions: tuple[Contribution, ...]
    combined: float
    freedom: float
    coverage: float
    factor: float

    @property
    def expanded(self) -> float:
        """Half-width that covers the measurand with the probability `coverage`."""
        return self.factor * self.combined


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity of which only bounds are known (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    half_width
        The quantity lies within +- this of its middle, in its own unit.

    Returns
    -------
    float
        The standard uncertainty, in the same unit.

    Examples
    --------
    >>> round(rectangular(0.003), 5)
    0.00173
    """
    return half_width / sqrt(3.0)


def combine(
    contributions: Sequence[Contribution], correlation: Array | None = None, coverage: float = COVERAGE
) -> Budget:
    """Law of propagation, Welch-Satterthwaite freedom, Student's factor (JCGM 100:2008, 5.1, 5.2, G.4).

    `correlation` (n, n) is between the inputs; None means none. The effective freedom is cut down to a whole number
    before the factor is looked up, as G.4.1 asks.
    """
    signed = np.array([c.sensitivity * c.standard for c in contributions])
    variance = float(np.sum(signed**2)) if correlation is None else float(signed @ correlation @ signed)
    combined = sqrt(max(variance, 0.0))
    spent = sum(c.share**4 / c.freedom for c in contributions if not isinf(c.freedom))
    freedom = combined**4 / spent if spent > 0.0 else inf
    tail = 0.5 + 0.5 * coverage
    factor = stats.norm.ppf(tail) if isinf(freedom) else stats.t.ppf(tail, max(1.0, float(floor(freedom))))
    return Budget(tuple(contributions), combined, freedom, coverage, float(factor))


def measure_budget(
    components: UncertaintyComponents, more: Sequence[Contribution] = (), coverage: float = COVERAGE
) -> Budget:
    """Budget of one measure of a piece; `more` is what is known beside it, such as the repeatability of laying.

    The contributions of the measurement are taken as known: thousands of edge points stand behind each.

    Parameters
    ----------
    components
        What the measure's own uncertainty is made of, each in the measure's unit.
    more
        What is known beside it, with degrees of freedom.
    coverage
        Two-sided probability of the expanded uncertainty.

    Returns
    -------
    Budget
        Contributions, combined and expanded uncertainty, effective degrees of freedom (JCGM 100:2008, G.4).

    Examples
    --------
    >>> from vision.records import UncertaintyComponents
    >>> budget = measure_budget(UncertaintyComponents(station=0.003, edge=0.004))
    >>> round(budget.combined, 6)
    0.005
    """
    own = (
        Contribution("station: place in the field", components.station, source="calibration"),
        Contribution("station: scale", components.scale, source="calibration"),
        Contribution("pose", components.pose, source="covariance of the fit"),
        Contribution("edge", components.edge, source="noise and levels of the frame"),
        Contribution("form", components.form, source="curvature put back, smoothing"),
        Contribution("rim", components.rim, source="bright band: backlight's extent and rim as given, else any"),
        Contribution("flare", components.flare, source="levels beside the edges"),
        Contribution("coma", components.coma, source="edges by direction"),
        Contribution("height", components.height, source="of the outline, as the part's file says"),
        Contribution("correction", components.correction, source="of the station's bias, as its revision says"),
    )
    return combine((*own, *more), coverage=coverage)
