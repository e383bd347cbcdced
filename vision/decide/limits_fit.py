"""Whether limits can judge: none that is empty, impossible, or contradicts the drawing, the station or another one."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt
from pathlib import Path

from vision.decide.guard import acceptance_zone
from vision.decide.measures import MEASURES
from vision.decide.possible import Possible, possible
from vision.errors import Unusable
from vision.records import Limit, Limits, Part, Reason, Station


@dataclass(frozen=True, slots=True)
class LimitFault:
    """What is wrong with limits.

    `stops`: no piece may be judged by them. Else they judge, but not as whoever wrote them will have meant.
    """

    what: str
    expected: str
    found: str
    stops: bool = True


def check_limits(limits: Limits, part: Part, station: Station, path: Path) -> None:
    """Refuse limits that can't judge, before anything is measured.

    Parameters
    ----------
    limits
        The limits that judge.
    part
        The drawing with its zones and scored area.
    station
        The calibrated camera that took the frames.
    path
        The file that the limits came from, named in the error.

    Raises
    ------
    Unusable
        Naming the limit (`path` is the file they came from) and why; see `limit_faults`.
    """
    for fault in limit_faults(limits, part, station):
        if fault.stops:
            raise Unusable(path, fault.what, fault.expected, fault.found)


def limit_faults(limits: Limits, part: Part, station: Station | None = None) -> tuple[LimitFault, ...]:
    """Everything wrong with a part's limits, in their order.

    A limit is held against the values that a piece can have at all, the value of a piece just as drawn, the other
    limits on the same measure and, at a station, its uncertainty: at least `outline_mm` for a deviation, two ends of
    an outline and the scale for an extent. What is learned only from a piece (noise, fit) is left out here; where that
    takes the last of an acceptance zone, the piece is reviewed and `vision.decide.verdicts.undecidable` tells so.

    Parameters
    ----------
    limits
        The limits that judge.
    part
        The drawing with its zones and scored area.
    station
        The camera that will measure; None: its uncertainty is left out.

    Returns
    -------
    tuple[LimitFault, ...]
        Each fault with the limit it lies in; none where the limits can judge.
    """
    if not limits.limits:
        expected = "one [[limit]] at least; without any every piece would pass: brightbowl limits draft makes a first"
        return (LimitFault("limit", expected, "none"),)
    found = [
        fault for number, one in enumerate(limits.limits, 1) for fault in _of_one(number, one, limits, part, station)
    ]
    return (*found, *_between(limits))


def no_zone_left(limit: Limit | Reason, uncertainty: float, coverage: float) -> tuple[str, str]:
    """What to do about two limits without an acceptance zone between them, and what was found.

    Parameters
    ----------
    limit
        A limit with two bounds, or the reason that one gave.
    uncertainty
        Standard uncertainty of the measure, in its unit.
    coverage
        One-sided probability behind the guard bands, 0.5 to 1.

    Returns
    -------
    tuple[str, str]
        Two sentences for a person.
    """
    expected = "an acceptance zone between min and max expected; widen the limits or lower the uncertainty"
    at = f"at a standard uncertainty of {uncertainty:.3g} and coverage {coverage:g}"
    return expected, f"none from {limit.min} to {limit.max} {at}"


def _of_one(number: int, limit: Limit, limits: Limits, part: Part, station: Station | None) -> Iterator[LimitFault]:
    """The first thing wrong with one limit: of several zones, in the first where it is."""
    what = f"limit[{number}] {limit.measure}"
    for zone in _zones(limit, part):
        where = f"{what}.{zone}" if zone else what
        can_be = possible(limit.measure, zone, part)
        if isinstance(can_be, str):
            expected = f"a measure that the part has; this one needs {can_be} in its part.toml or drawing: leave it out"
            yield LimitFault(what, expected, "none")
            return
        fault = _against_possible(where, limit, can_be) or _against_station(where, limit, can_be, limits, station)
        if fault is not None:
            yield fault
            return


def _against_possible(where: str, limit: Limit, can_be: Possible) -> LimitFault | None:
    low, high = _bounds(limit)
    bounds = f"{_told(can_be.least)} to {_told(can_be.most)}"
    if low > can_be.most or high < can_be.least:
        return LimitFault(where, f"limits that a piece can keep; its values lie from {bounds}", _span(limit))
    if low <= can_be.least and high >= can_be.most:
        return LimitFault(where, f"limits that say something; every value keeps these ({bounds})", _span(limit), False)
    if can_be.as_drawn is not None and not low <= can_be.as_drawn <= high:
        expected = f"limits that a piece just as drawn keeps; the drawing's own is {can_be.as_drawn:.6g}"
        return LimitFault(where, expected, _span(limit))
    return None


def _against_station(
    where: str, limit: Limit, can_be: Possible, limits: Limits, station: Station | None
) -> LimitFault | None:
    least_u = 0.0 if station is None else _least_uncertainty(limit, can_be, station)
    if least_u == 0.0:
        return None
    left = acceptance_zone(limit.min, limit.max, least_u, limits.coverage)
    if left is None or left[1] < can_be.least or left[0] > can_be.most:
        return LimitFault(where, *no_zone_left(limit, least_u, limits.coverage))
    if can_be.as_drawn is not None and not left[0] <= can_be.as_drawn <= left[1]:
        expected = "limits by which a piece just as drawn passes; widen them or lower the station's uncertainty"
        found = f"{can_be.as_drawn:.6g} as drawn lies in a guard band, so that such a piece is reviewed"
        return LimitFault(where, expected, found, False)
    return None


def _between(limits: Limits) -> Iterator[LimitFault]:
    """Limits for every zone and for one that leave nothing between them."""
    for number, one in enumerate(limits.limits, 1):
        general = next((g for g in limits.limits if g.measure == one.measure and g.zone is None), None)
        if one.zone is None or general is None:
            continue
        low, high = _joined((one, general))
        if low > high:
            expected = "limits that agree with those for every zone, which hold here too"
            found = f"{_span(one)} here, {_span(general)} for every zone"
            yield LimitFault(f"limit[{number}] {one.measure}.{one.zone}", expected, found)


def _zones(limit: Limit, part: Part) -> tuple[str | None, ...]:
    if not MEASURES[limit.measure].per_zone:
        return (None,)
    return (limit.zone,) if limit.zone else tuple(zone.name for zone in part.zones)


def _joined(those: Sequence[Limit]) -> tuple[float, float]:
    bounds = [_bounds(one) for one in those]
    return max(low for low, _ in bounds), min(high for _, high in bounds)


def _bounds(limit: Limit) -> tuple[float, float]:
    return -inf if limit.min is None else limit.min, inf if limit.max is None else limit.max


def _span(limit: Limit) -> str:
    said = [f"{name} {value:g}" for name, value in (("min", limit.min), ("max", limit.max)) if value is not None]
    return ", ".join(said)


def _told(value: float) -> str:
    return f"{value:.6g}" if abs(value) != inf else ("any size" if value > 0 else "any size below nought")


def _least_uncertainty(limit: Limit, can_be: Possible, station: Station) -> float:
    part = MEASURES[limit.measure].station_part
    if part == "deviation":
        return station.outline_mm
    if part == "extent" and can_be.as_drawn is not None:
        return hypot(sqrt(2.0) * station.outline_mm, can_be.as_drawn * station.scale_relative)
    return 0.0
