"""Whether limits leave anything to accept: two limits closer than the uncertainty allows are an error in them."""

from math import hypot, sqrt
from pathlib import Path

from vision.decide.guard import acceptance_zone
from vision.errors import Unusable
from vision.records import Limit, Limits, Reason, Station

_DEVIATIONS = ("outline_out_mm", "outline_in_mm")
_EXTENTS = ("length_mm", "width_mm")


def check_limits(limits: Limits, station: Station, path: Path) -> None:
    """Refuse limits under which no value at all could pass at this station, before anything is measured.

    A measured value's uncertainty is at least what the station alone gives it: `outline_mm` for a deviation, two ends
    of an outline and the scale for an extent. What is learned only from a piece (noise, fit) is left out here; where
    that takes the last of an acceptance zone, the piece is reviewed and `vision.decide.verdicts.undecidable` tells so.

    Raises
    ------
    Unusable
        Naming the limit (`path` is the file they came from), the zone between its bounds and the uncertainty.
    """
    for number, limit in enumerate(limits.limits, start=1):
        least_u = _least_uncertainty(limit, station)
        if acceptance_zone(limit.min, limit.max, least_u, limits.coverage) is None:
            raise Unusable(path, f"limit[{number}] {limit.measure}", *no_zone_left(limit, least_u, limits.coverage))


def no_zone_left(limit: Limit | Reason, uncertainty: float, coverage: float) -> tuple[str, str]:
    """What to do about two limits without an acceptance zone between them, and what was found."""
    expected = "an acceptance zone between min and max expected; widen the limits or lower the uncertainty"
    at = f"at a standard uncertainty of {uncertainty:.3g} and coverage {coverage:g}"
    return expected, f"none from {limit.min} to {limit.max} {at}"


def _least_uncertainty(limit: Limit, station: Station) -> float:
    if limit.measure in _DEVIATIONS:
        return station.outline_mm
    if limit.measure in _EXTENTS and limit.min is not None and limit.max is not None:
        return hypot(sqrt(2.0) * station.outline_mm, 0.5 * (limit.min + limit.max) * station.scale_relative)
    return 0.0
