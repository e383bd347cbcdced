"""How a die wears: mean deviations of its trays along the outline against strokes, since the last regrind."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from app.statistics import LIKENESS, Array, StrokesLeft, Trend, regrinds, step_design, strokes_left, trend, whitened

PER_STROKES = 100_000.0
"""Rates are told as mm in so many strokes."""
FALSE_ALARM = 0.05
"""Chance, at most, that a die without wear shows any point of the outline as worn."""
LIKENESS_SPARE = 0.1
"""Added to the trend's mean likeness for the map, which holds one for all: what is not known of it."""
FILLS = 5


@dataclass(frozen=True, slots=True, eq=False)
class DieHistory:
    """One die's trays in order of strokes.

    `strokes` (t,); `trays` their names; `pieces` (t,) how many each holds; `deviation_mm` (t, n): mean deviation of the
    tray's pieces at n even places along the outline, nan where none was seen; `s_mm` (n,) those places; `zone` (n,) the
    name of the zone of each; `factors` (t,) the station and calibration of each tray.
    """

    die: str
    trays: tuple[str, ...]
    strokes: Array
    pieces: NDArray[np.int64]
    deviation_mm: Array
    s_mm: Array
    zone: tuple[str, ...]
    factors: tuple[str, ...]

    def zone_mean(self, zone: str) -> Array:
        """Mean deviation over a zone's places, a tray each: (t,); nan where nothing of it was seen."""
        inside = self.deviation_mm[:, [name == zone for name in self.zone]]
        seen = np.isfinite(inside)
        count = seen.sum(axis=1)
        return np.asarray(np.where(count > 0, np.where(seen, inside, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan))


@dataclass(frozen=True, slots=True, eq=False)
class WearMap:
    """Rate of wear at every place (n,), mm in `PER_STROKES`, with its standard error; `worn` where it is no chance."""

    rate_mm: Array
    error_mm: Array
    worn: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class DieWear:
    """A die's wear in its most telling zone.

    `values` (t,): mean deviation of the zone, nan where a tray shows nothing of it; `breaks`: strokes of regrinds;
    `since`: index of the first tray since the last of them; `trend` through those; `left` until `limit_mm` (None where
    the zone has no limit).
    """

    history: DieHistory
    zone: str
    values: Array
    breaks: tuple[float, ...]
    since: int
    trend: Trend | None
    map: WearMap | None
    limit_mm: float | None
    left: StrokesLeft | None


def study_die(
    history: DieHistory, limits_mm: Mapping[str, tuple[float | None, float | None]], seed: int = 1
) -> DieWear:
    """Study a die's wear.

    Parameters
    ----------
    limits_mm
        By zone, how far inward (as a negative number) and outward a deviation may go; None without a limit.
    seed
        Of the permutation test for regrinds.
    """
    zones = tuple(dict.fromkeys(history.zone))
    worn = {zone: _wear_of(history, zone, len(zones), seed) for zone in zones}
    zone = max(zones, key=lambda name: _telling(worn[name].trend))
    of_zone = worn[zone]
    found = of_zone.trend
    low, high = limits_mm.get(zone, (None, None))
    limit = None if found is None else (high if found.slope > 0 else low)
    left = None if limit is None else strokes_left(found, float(history.strokes[-1]), limit)
    values = history.zone_mean(zone)
    return DieWear(
        history,
        zone,
        values,
        of_zone.breaks,
        of_zone.since,
        found,
        wear_map(history, of_zone.since, found),
        limit,
        left,
    )


@dataclass(frozen=True, slots=True)
class _ZoneWear:
    """Of one zone: strokes of `breaks`, the first tray `since` the last, and the `trend` since then."""

    breaks: tuple[float, ...]
    since: int
    trend: Trend | None


def _wear_of(history: DieHistory, zone: str, zones: int, seed: int) -> _ZoneWear:
    """A zone's breaks, the first tray since the last, and the trend since then; trays that show none of it left out."""
    values = history.zone_mean(zone)
    seen = np.isfinite(values)
    names = np.array(history.factors)
    breaks = regrinds(history.strokes[seen], values[seen], seed, names[seen].tolist())
    first = int(np.searchsorted(history.strokes, breaks[-1])) if breaks else 0
    used = np.flatnonzero(seen & (np.arange(len(seen)) >= first))
    return _ZoneWear(breaks, first, trend(history.strokes[used], values[used], zones, names[used].tolist()))


def _telling(found: Trend | None) -> float:
    """How many half-widths of its interval a slope is away from none."""
    if found is None:
        return -1.0
    half = (found.slope_ci[1] - found.slope_ci[0]) / 2
    return abs(found.slope) / half if half > 0.0 else 0.0


def wear_map(history: DieHistory, first: int = 0, found: Trend | None = None) -> WearMap | None:
    """Rate at every place from the trays since `first`, steps of stations and calibrations fitted beside it.

    Trays are taken as like their predecessors as those of the zone's trend `found` are (generalized least squares);
    None without a trend. A place counts as worn beyond Student's quantile for `FALSE_ALARM` shared by all places
    (Bonferroni). Neighbours go together, but how far they do is not known beforehand; shared by fewer, clean dies would
    be called worn too often.
    """
    strokes, deviation = history.strokes[first:], history.deviation_mm[first:]
    if found is None:
        return None
    steps, _ = step_design(history.factors[first:])
    design = np.column_stack([(strokes - strokes.mean()) / PER_STROKES, np.ones(len(strokes)), steps])
    if len(strokes) <= design.shape[1] + 1 or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    seen = np.isfinite(deviation)
    n = seen.sum(axis=0)
    freedom = np.maximum(n - design.shape[1], 1)
    likeness = min(found.likeness + LIKENESS_SPARE, float(LIKENESS[-1]))
    # What a tray does not show of a place is put where the line through the others runs, which moves no line.
    deviation = np.where(seen, deviation, 0.0)
    for _ in range(FILLS):
        deviation = np.where(seen, deviation, design @ np.linalg.lstsq(design, deviation, rcond=None)[0])
    x, y = whitened(design, likeness), whitened(deviation, likeness)
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ (x.T @ y)
    error = np.sqrt(inverse[0, 0] * ((y - x @ beta) ** 2).sum(axis=0) / freedom)
    quantile = stats.t.ppf(1 - FALSE_ALARM / 2 / len(history.s_mm), freedom)
    enough = n >= design.shape[1] + 2
    return WearMap(
        np.where(enough, beta[0], np.nan),
        np.where(enough, error, np.nan),
        np.asarray(enough & (np.abs(beta[0]) > quantile * error)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class DieTray:
    """A tray of a die: strokes until then, pieces, their mean deviation (n,); `factor`: its station and calibration."""

    tray: str
    strokes: float
    pieces: int
    deviation_mm: Array
    factor: str = ""


def put_together(trays: Sequence[DieTray], s_mm: Array, zone: tuple[str, ...], die: str) -> DieHistory:
    """A die's history from its trays, in any order.

    Parameters
    ----------
    trays
        Of one die.
    s_mm
        (n,) places along the nominal.
    zone
        The zone of each place; empty where it has none.
    die
        Its name.

    Returns
    -------
    DieHistory
        Trays in order of strokes; deviations (trays, n) in mm.
    """
    ordered = sorted(trays, key=lambda one: (one.strokes, one.tray))
    return DieHistory(
        die,
        tuple(one.tray for one in ordered),
        np.array([one.strokes for one in ordered], dtype=np.float64),
        np.array([one.pieces for one in ordered], dtype=np.int64),
        np.stack([one.deviation_mm for one in ordered]) if ordered else np.empty((0, len(s_mm))),
        s_mm,
        zone,
        tuple(one.factor for one in ordered),
    )
