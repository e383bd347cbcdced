"""All dies of a part at once: how each wears, and what comes back at one place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.study.control_charts import Chart, Process, ewma, individuals, rate_chart
from app.study.die_wear import DieHistory, DieWear, study_die
from app.study.same_place import Ground, Mark, SamePlace, same_place
from app.study.wear_trend import MAD_TO_SD, Array
from vision.records.given import Limits

OUT, IN = "outline_out_mm", "outline_in_mm"


@dataclass(frozen=True, slots=True, eq=False)
class DieCharts:
    """Control charts of one die since its last regrind, the trend taken off, so that only what is not wear shows.

    `single`: individuals; `mean`: weighted mean, one false alarm in 500 trays; `marks`: burrs and nicks a piece (u).
    """

    single: Chart
    mean: Chart
    marks: Chart


@dataclass(frozen=True, slots=True, eq=False)
class DieStudy:
    """What was found; `charts` by die, where there are trays enough."""

    dies: tuple[DieWear, ...]
    charts: Mapping[str, DieCharts]
    same: SamePlace


def study_dies(
    histories: Sequence[DieHistory],
    marks: Sequence[Mark],
    pieces_by_die: Mapping[str, int],
    ground: Ground,
    limits: Limits | None,
) -> DieStudy:
    """Study every die, and the marks of all."""
    bounds = zone_bounds(limits, sorted({zone for one in histories for zone in one.zone}))
    dies = tuple(study_die(one, bounds) for one in histories if len(one.trays) > 1)
    charts = {wear.history.die: found for wear in dies if (found := _charts(wear, marks)) is not None}
    return DieStudy(dies, charts, same_place(marks, pieces_by_die, ground))


def zone_bounds(limits: Limits | None, zones: Sequence[str]) -> dict[str, tuple[float | None, float | None]]:
    """How far in (negative) and out each zone's deviation may go."""
    found: dict[str, tuple[float | None, float | None]] = dict.fromkeys(zones, (None, None))
    for limit in limits.limits if limits is not None else ():
        for zone in zones:
            low, high = found[zone]
            if limit.zone in (None, zone) and limit.max is not None:
                if limit.measure == OUT:
                    high = limit.max if high is None else min(high, limit.max)
                elif limit.measure == IN:
                    low = -limit.max if low is None else max(low, -limit.max)
                found[zone] = (low, high)
    return found


def _charts(wear: DieWear, marks: Sequence[Mark]) -> DieCharts | None:
    if wear.trend is None:
        return None
    since = slice(wear.since, None)
    off = wear.values[since] - wear.trend.value(wear.history.strokes[since])
    deviation = max(MAD_TO_SD * float(np.median(np.abs(off - np.median(off)))), 1e-6)
    counts: dict[str, int] = {}
    for mark in marks:
        if mark.kind in ("burr", "nick"):
            counts[mark.tray] = counts.get(mark.tray, 0) + 1
    found: Array = np.array([counts.get(tray, 0) for tray in wear.history.trays[since]], dtype=np.float64)
    sizes = wear.history.pieces[since].astype(np.float64)
    return DieCharts(individuals(off), ewma(off, Process(0.0, deviation)), rate_chart(found, sizes))
