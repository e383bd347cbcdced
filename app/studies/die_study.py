"""All dies of a part at once: how each wears, and what comes back at one place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from app.statistics import (
    EDGE_KINDS,
    RANGE_MEAN,
    Array,
    Chart,
    Cusum,
    Ground,
    Mark,
    Process,
    SamePlace,
    cusum,
    cusum_run_length,
    ewma,
    ewma_run_length,
    individuals,
    moving_ranges,
    rate_chart,
    same_place,
    share_chart,
)
from app.studies.die_wear import DieHistory, DieWear, study_die
from vision.records import Limits

TRAYS_BETWEEN = 370.0
"""Trays between two false alarms on average, all charts of a die together."""
CHARTS, SLACK, WEIGHT = 5, 0.5, 0.2
OUT, IN = "outline_out_mm", "outline_in_mm"


@dataclass(frozen=True, slots=True, eq=False)
class DieCharts:
    """Control charts of one die since its last regrind, the trend taken off, so that only what is not wear shows.

    `single`: individuals; `mean`: weighted mean; `sums`: cumulative sums (all for normal values of known spread);
    `marks`: burrs and nicks a piece (u); `marked`: share of pieces that bear one (p), both with exact limits. Each
    takes a fifth of one false alarm in `TRAYS_BETWEEN`.
    """

    single: Chart
    mean: Chart
    sums: Cusum
    marks: Chart
    marked: Chart


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
    """Study every die, and the marks of all.

    Parameters
    ----------
    histories
        Of each die, see `put_together`.
    marks
        Of all pieces, by where they lie.
    pieces_by_die
        How many pieces of each die were looked at.
    ground
        Where marks are to be expected by chance.
    limits
        Of which wear is told; none where there are none.

    Returns
    -------
    DieStudy
        Wear and charts of each die with more than one tray, and places where marks recur.
    """
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


@dataclass(frozen=True, slots=True)
class ChartWidths:
    """Limits of the charts of a die in standard deviations."""

    single: float
    mean: float
    sums: float


@cache
def chart_widths() -> ChartWidths:
    """Limits with which each chart alone alarms falsely once in `CHARTS` times `TRAYS_BETWEEN` trays."""
    between = CHARTS * TRAYS_BETWEEN
    mean = brentq(lambda width: ewma_run_length(0.0, WEIGHT, width) - between, 2.5, 4.5, xtol=1e-3)
    sums = brentq(lambda limit: cusum_run_length(0.0, SLACK, limit) - between, 4.0, 9.0, xtol=1e-3)
    return ChartWidths(float(norm.isf(0.5 / between)), float(mean), float(sums))


def _charts(wear: DieWear, marks: Sequence[Mark]) -> DieCharts | None:
    if wear.trend is None:
        return None
    seen = np.flatnonzero(np.isfinite(wear.values) & (np.arange(len(wear.values)) >= wear.since))
    heights = {step.name: step.height for step in wear.trend.steps}
    steps = np.array([heights.get(wear.history.factors[k], 0.0) for k in seen])
    off = wear.values[seen] - steps - wear.trend.value(wear.history.strokes[seen])
    # From moving ranges, as for single trays: the median deviation of few trays is often too small, so that clean dies
    # alarm. Two numbers of the line were fitted to the same trays.
    ranges = float(moving_ranges(off).center[0]) * sqrt(len(off) / (len(off) - 2))
    deviation = max(ranges / RANGE_MEAN, 1e-6)
    on_tray: dict[str, list[int]] = {}
    for mark in marks:
        if mark.kind in EDGE_KINDS:
            on_tray.setdefault(mark.tray, []).append(mark.piece)
    trays = [on_tray.get(wear.history.trays[k], []) for k in seen]
    count: Array = np.array([len(pieces) for pieces in trays], dtype=np.float64)
    bearing: Array = np.array([len(set(pieces)) for pieces in trays], dtype=np.float64)
    sizes = wear.history.pieces[seen].astype(np.float64)
    widths = chart_widths()
    return DieCharts(
        individuals(off, widths.single),
        ewma(off, Process(0.0, deviation), WEIGHT, widths.mean),
        cusum(off, 0.0, SLACK * deviation, widths.sums * deviation),
        rate_chart(count, sizes, 1.0 / CHARTS / TRAYS_BETWEEN),
        share_chart(np.minimum(bearing, sizes), sizes, 1.0 / CHARTS / TRAYS_BETWEEN),
    )
