"""The check of each shift: a reference piece measured again, its drift against calibration, pass or stop.

One reference piece of known size is laid on the tray and measured. Its deviations from the reference values are charted
as individual values; two rules stop the station: one value beyond its control limit, or an exponentially weighted mean
beyond its own, which sees a slow drift that single values hide (Roberts 1959, Technometrics 1:239; Lucas and Saccucci
1990, Technometrics 32:1). Their limits are set for one rate of false stops, all measures and rules together
(`vision.calibrate.false_stops`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

from vision.calibrate.false_stops import WEIGHT, ControlWidths, control_widths

CheckVerdict = Literal["pass", "stop"]


@dataclass(frozen=True, slots=True)
class ReferenceValue:
    """A measure of the reference piece: its known value and standard uncertainties.

    `common_standard` is the same at every check (certificate and calibration, combined); `repeat_standard` is that of
    one laying and measurement, drawn anew each time.
    """

    measure: str
    value: float
    common_standard: float
    repeat_standard: float


@dataclass(frozen=True, slots=True)
class DriftOfMeasure:
    """One measure at one check: value, deviation from the reference, weighted mean of deviations, and both limits.

    All in the measure's own unit.
    """

    measure: str
    value: float
    deviation: float
    single_limit: float
    weighted_mean: float
    mean_limit: float

    @property
    def off(self) -> bool:
        """Whether the value is beyond its control limit."""
        return abs(self.deviation) > self.single_limit

    @property
    def drifted(self) -> bool:
        """Whether the weighted mean is beyond its own."""
        return abs(self.weighted_mean) > self.mean_limit

    @property
    def stops(self) -> tuple[str, ...]:
        """Why the station must stop, by the measure's key; empty when it may go on."""
        why = []
        if self.off:
            why.append(f"{self.measure} is off by {self.deviation:+.4g}, control limit {self.single_limit:.2g}")
        if self.drifted:
            why.append(f"{self.measure} has drifted to {self.weighted_mean:+.4g}, control limit {self.mean_limit:.2g}")
        return tuple(why)


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A whole check; `missing` are reference measures that were not found."""

    drifts: tuple[DriftOfMeasure, ...]
    missing: tuple[str, ...]

    @property
    def verdict(self) -> CheckVerdict:
        """Stop on any rule broken, or where a measure is missing."""
        return "stop" if self.missing or any(drift.stops for drift in self.drifts) else "pass"

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why not `pass`."""
        absent = tuple(f"{name} could not be measured" for name in self.missing)
        return absent + tuple(why for drift in self.drifts for why in drift.stops)


def check_reference(
    references: Sequence[ReferenceValue],
    found: Mapping[str, float | None],
    earlier: Mapping[str, Sequence[float]],
) -> CheckResult:
    """Judge one check.

    Parameters
    ----------
    references
        What the piece is known to measure.
    found
        What was measured now, by measure.
    earlier
        Values of the checks since the last calibration, oldest first, by measure; without them the weighted mean
        starts at the reference value.

    Returns
    -------
    CheckResult
        Whether the station stands, and by which drift it does not.
    """
    drifts, missing = [], []
    widths = control_widths(len(references))
    for reference in references:
        value = found.get(reference.measure)
        if value is None:
            missing.append(reference.measure)
        else:
            drifts.append(_drift(reference, value, earlier.get(reference.measure, ()), widths))
    return CheckResult(tuple(drifts), tuple(missing))


def _drift(reference: ReferenceValue, value: float, earlier: Sequence[float], widths: ControlWidths) -> DriftOfMeasure:
    mean = 0.0
    for each in (*earlier, value):
        mean += WEIGHT * (each - reference.value - mean)
    checks = len(earlier) + 1
    left = WEIGHT / (2.0 - WEIGHT) * (1.0 - (1.0 - WEIGHT) ** (2 * checks))  # of a variance, in the weighted mean
    return DriftOfMeasure(
        reference.measure,
        value,
        value - reference.value,
        widths.single * hypot(reference.common_standard, reference.repeat_standard),
        mean,
        widths.mean * hypot(reference.common_standard, reference.repeat_standard * sqrt(left)),
    )
