"""A first draft of limits from a part's drawing: every measure that it allows, each with a tolerance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.decide.general_tolerances import GeneralClass, angular_tolerance, linear_tolerance
from vision.decide.measures import MEASURES
from vision.decide.possible import Possible, possible
from vision.records import Limit, Limits, Part, Severity

COVERAGE = 0.95
"""Guard band of a first draft: common practice (ISO 14253-1 works with 95 %)."""

# Kept by the largest deviations: never in a first draft.
_LEFT_OUT = ("outline_rms_mm",)
_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Wanted:
    """One limit of a draft: what it is on, its value as drawn, and whether a tolerance lies to both sides of that.

    `general`: its tolerance by the general class asked for; None where that says nothing of such a measure.
    """

    measure: str
    zone: str | None
    as_drawn: float
    both_sides: bool
    general: float | None

    @property
    def name(self) -> str:
        """As the columns of pieces.csv have it: `outline_out_mm.bowl`."""
        return f"{self.measure}.{self.zone}" if self.zone else self.measure


def wanted_limits(part: Part, grade: GeneralClass | None = None) -> tuple[Wanted, ...]:
    """Every limit that a drawing allows.

    A general class gives sizes and angles a tolerance. Of an outline's deviation it says nothing itself: we take half
    of the tolerance of the zone's width, since a width that is off by it evenly is off by half of it at each edge.

    Parameters
    ----------
    part
        The drawing with its zones and scored area.
    grade
        General tolerance class of ISO 2768-1; None: no tolerance proposed.

    Returns
    -------
    tuple[Wanted, ...]
        Limits by name, with the drawing's value and the tolerance proposed.

    Examples
    --------
    >>> from vision.formats import read_part
    >>> first = wanted_limits(read_part(Path("demo/part.toml")), "m")[0]
    >>> first.measure, first.zone
    ('outline_out_mm', 'bowl')
    """
    found = []
    for measure, known in MEASURES.items():
        if measure in _LEFT_OUT:
            continue
        both_sides = known.station_part == "extent" or known.least < 0.0
        for zone in [one.name for one in part.zones] if known.per_zone else [None]:
            can_be = possible(measure, zone, part)
            # A measure that is as drawn where it is most, a share seen, says how well the camera looked: no tolerance.
            if isinstance(can_be, Possible) and can_be.as_drawn is not None and can_be.as_drawn < can_be.most:
                tolerance = None if grade is None else _general(measure, zone, part, can_be.as_drawn, grade)
                found.append(Wanted(measure, zone, can_be.as_drawn, both_sides, tolerance))
    return tuple(found)


def first_draft(part: Part, revision: int, wanted: Sequence[Wanted], tolerances: Mapping[str, float]) -> Limits:
    """A draft with a limit for each measure that was given a tolerance, by its name.

    Outline, length, bend and holes are major; widths and what is on the face minor: a choice to be looked at.

    Parameters
    ----------
    part
        The drawing with its zones and scored area.
    revision
        Number of the draft.
    wanted
        The limits that could be set, see `wanted_limits`.
    tolerances
        Tolerances by the limits' names, in each measure's unit; what is not named gets no limit.

    Returns
    -------
    Limits
        The draft.
    """
    rows = tuple(_limit(one, tolerances[one.name]) for one in wanted if one.name in tolerances)
    return Limits(part.part, revision, "draft", COVERAGE, rows)


def _limit(one: Wanted, tolerance: float) -> Limit:
    minor = one.measure.startswith(("width", "scratch", "pit", "mark", "stain"))
    severity: Severity = "minor" if minor else "major"
    low = round(one.as_drawn - tolerance, _DECIMALS) if one.both_sides else None
    return Limit(one.measure, severity, one.zone, low, round(one.as_drawn + tolerance, _DECIMALS))


def _general(measure: str, zone: str | None, part: Part, as_drawn: float, grade: GeneralClass) -> float | None:
    station_part = MEASURES[measure].station_part
    if station_part == "extent":
        return linear_tolerance(as_drawn, grade)
    if station_part == "deviation":
        width = possible("width_mm", zone, part)
        assert isinstance(width, Possible)
        tolerance = linear_tolerance(width.as_drawn or 0.0, grade)
        return None if tolerance is None else 0.5 * tolerance
    if measure == "bend_deg":
        low, high = next(one.x_mm for one in part.zones if one.bend)
        ends = float(part.outline[:, 0].min()), float(part.outline[:, 0].max())
        return angular_tolerance(min(high, ends[1]) - max(low, ends[0]), grade)
    if measure.startswith("hole_"):
        # By the smallest hole drawn. Of a hole's place the class says nothing itself: we take the same.
        least = min(float(np.ptp(hole[:, 0])) for hole in part.holes)
        return linear_tolerance(least, grade)
    return None
