"""What can be tuned: a limit's bound or a counting rule; how it is put into limits; from where on a piece passes."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfc, ndtri

from app.statistics import grid
from app.studies.columns import Array, Codes, Column, Mask, PieceColumns
from app.studies.rejudge import counting_of, limited_columns, outcomes, rejudge_all
from vision.decide import (
    COUNTED_MEASURES,
    MEASURES,
    PASS,
    REJECT,
    REVIEW,
    Spread,
    bounds_of,
    counted_measures,
    next_draft,
    outcomes_of,
    quantile,
)
from vision.errors import Unusable
from vision.records import CountRule, Limit, Limits, Severity

Side = Literal["max", "min"]
COUNT_RULES = tuple(field.name for field in fields(CountRule))
RULE_STEPS = 120
"""Settings of a counting rule that are tried: fine enough to draw, few enough to judge a lot at each."""
HALVINGS = 60
"""Of an interval in which a bound is sought: down to the rounding of its ends."""
FURTHEST_BOUND = 1e9
"""A bound beyond it is none."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is tuned: a measure's bound (`zone` None where it is not taken per zone, or for every zone), or a counting
    rule by its key in `[count]` (then `zone` None, and greater is looser: `side` max).

    `severity` is that of the limit, for one that the limits lack so far.
    """

    name: str
    zone: str | None
    side: Side
    severity: Severity = "major"

    @property
    def is_rule(self) -> bool:
        """Whether a counting rule is meant."""
        return self.name in COUNT_RULES

    @property
    def sign(self) -> float:
        """+1 where a greater setting passes more, -1 where a smaller one does."""
        return 1.0 if self.side == "max" else -1.0

    @property
    def unit(self) -> str:
        """Unit of the setting; empty for a count or a ratio."""
        return ("mm" if self.name.endswith("_mm") else "") if self.is_rule else MEASURES[self.name].unit

    @property
    def words(self) -> str:
        """The setting in words, as `outline_out_mm, bowl, max`."""
        return self.name if self.is_rule else ", ".join(filter(None, (self.name, self.zone, self.side)))

    def set_to(self, setting: float) -> str:
        """A value of it in words, as `outline_out_mm, bowl, max = 0.2 mm`."""
        return f"{self.words} = {setting:g} {self.unit}".rstrip()


def target_of(limits: Limits, name: str, zone: str | None = None, side: Side | None = None) -> Target:
    """What is meant by a measure or rule; without a side the one that the limits bound already, else max.

    Raises
    ------
    Unusable
        There is no such measure or rule, or it is not taken per zone.
    """
    if name in COUNT_RULES:
        if zone or side == "min":
            raise Unusable("--measure", name, "a counting rule stands alone; leave --zone and --side out")
        return Target(name, None, "max")
    if name not in MEASURES:
        raise Unusable("--measure", name, f"one of {', '.join((*MEASURES, *COUNT_RULES))}")
    if zone and not MEASURES[name].per_zone:
        raise Unusable("--zone", zone, f"no zone: {name} is not taken per zone")
    limit = _limit_of(limits, name, zone)
    if limit is None:
        return Target(name, zone, side or "max")
    bounded: Side = "max" if limit.max is not None else "min"
    return Target(name, zone, side or bounded, limit.severity)


def _limit_of(limits: Limits, name: str, zone: str | None) -> Limit | None:
    """The limit that bounds a measure in a zone: the zone's own, else the one for every zone."""
    own = [limit for limit in limits.limits if limit.measure == name and limit.zone in (zone, None)]
    return next((limit for limit in own if limit.zone == zone), own[0] if own else None)


def setting_now(limits: Limits, target: Target) -> float | None:
    """What the limits say so far; None where they bound nothing there."""
    if target.is_rule:
        return float(getattr(limits.count, target.name))
    limit = _limit_of(limits, target.name, target.zone)
    return None if limit is None else (limit.max if target.side == "max" else limit.min)


def with_setting(limits: Limits, target: Target, setting: float, zones: tuple[str, ...] = ()) -> Limits:
    """The next draft: these limits with one setting changed.

    `zones`: all zones of the measure, so that a limit for every zone can be told apart when one zone's is changed.
    """
    if target.is_rule:
        return next_draft(limits, count=replace(limits.count, **{target.name: setting}))
    split = replace(limits, limits=tuple(_zone_by_zone(limits.limits, target, zones)))
    limit = _limit_of(split, target.name, target.zone) or Limit(target.name, target.severity, target.zone)
    changed = replace(limit, max=setting) if target.side == "max" else replace(limit, min=setting)
    return next_draft(split, changed)


def _zone_by_zone(limits: tuple[Limit, ...], target: Target, zones: tuple[str, ...]) -> Iterator[Limit]:
    """The limits, one for every zone told apart into one a zone where the target is one zone's."""
    own = {limit.zone for limit in limits if limit.measure == target.name}
    for limit in limits:
        if target.zone is not None and limit.measure == target.name and limit.zone is None:
            yield from (replace(limit, zone=zone) for zone in zones if zone not in own)
        else:
            yield limit


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """From which setting on each piece passes, all other limits held; arrays (pieces,).

    Settings are counted in *looseness*: the setting itself where a greater one passes more, else its negative. A piece
    passes where looseness >= `passes_from` (inf: never), and is rejected where looseness < `rejected_below` (inf:
    always, -inf: never); between, it is reviewed. `value` is what the setting is held against (worst zone; nan where
    missing). `steps`: the looseness values at which alone the setting may be put, None where any will do.
    """

    target: Target
    passes_from: Array
    rejected_below: Array
    value: Array
    steps: Array | None = None

    def rows(self, at: NDArray[np.int64]) -> "Sweep":
        """Some of the pieces, by their places."""
        return Sweep(self.target, self.passes_from[at], self.rejected_below[at], self.value[at], self.steps)


def codes_at(found: Sweep, setting: float) -> Codes:
    """Verdict codes (pieces,) at one setting: comparisons only, so that a limit can be dragged over a large lot."""
    looseness = found.target.sign * setting
    codes: Codes = np.select(
        [looseness >= found.passes_from, looseness < found.rejected_below], [PASS, REJECT], REVIEW
    ).astype(np.int8)
    return codes


def sweep(pieces: PieceColumns, limits: Limits, target: Target) -> Sweep:
    """Find for every piece from which setting on it passes.

    For a limit on a measured value in closed form, on what is counted by halving. For a counting rule by judging the
    lot at round settings; a piece then counts as passing from the first setting at which it passes, which can only make
    a promise on missed pieces safer.
    """
    return _sweep_rule(pieces, limits, target) if target.is_rule else _sweep_limit(pieces, limits, target)


def _sweep_limit(pieces: PieceColumns, limits: Limits, target: Target) -> Sweep:
    # The limit itself is taken out by a bound that nothing breaks, which leaves its other side and its zones in place.
    open_limits = with_setting(limits, target, target.sign * inf, pieces.zones(target.name))
    others = rejudge_all(pieces, open_limits)
    limit = _limit_of(open_limits, target.name, target.zone)
    assert limit is not None
    passes = np.full(len(pieces), -inf)
    rejects = np.full(len(pieces), -inf)
    value = np.full(len(pieces), np.nan)
    for column, spread in limited_columns(pieces, target.name, target.zone, counting_of(limits)):
        if target.name in COUNTED_MEASURES:
            own_passes, own_rejects = _looseness_of_counts(spread, limit, target, limits.coverage)
        else:
            own_passes, own_rejects = _looseness(column, limit, target, limits.coverage)
        passes = np.fmax(passes, own_passes)
        rejects = np.fmax(rejects, own_rejects)
        value = target.sign * np.fmax(target.sign * value, np.where(column.present, target.sign * column.value, np.nan))
    return Sweep(
        target,
        passes_from=np.where(others == PASS, passes, inf),
        rejected_below=np.where(others == REJECT, inf, rejects),
        value=value,
    )


def _looseness(column: Column, limit: Limit, target: Target, coverage: float) -> tuple[Array, Array]:
    """Looseness from which one column passes and below which it rejects; -inf where a piece lacks the column."""
    value, u = target.sign * column.value, column.u
    far = limit.min if target.side == "max" else limit.max
    far = None if far is None or not np.isfinite(far) else target.sign * far
    # Conformance sums both tails: what lies beyond the far bound is asked of the near one in addition.
    exact = u == 0.0
    spread = np.where(exact, 1.0, u)
    beyond = np.zeros(len(value)) if far is None else 0.5 * erfc((value - far) / (spread * np.sqrt(2.0)))
    asked = coverage + np.where(exact, 0.0, beyond)
    with np.errstate(invalid="ignore"):
        needed = np.where(exact, value, value + spread * ndtri(np.minimum(asked, 1.0)))
    if far is not None:
        needed = np.where(exact & (value < far), inf, needed)
    unknown = np.isnan(value) | np.isnan(u)
    needed = np.where(unknown, inf, needed)
    rejected = np.where(unknown, -inf, value - quantile(coverage) * u)
    return np.where(column.present, needed, -inf), np.where(column.present, rejected, -inf)


def _looseness_of_counts(spread: Spread, limit: Limit, target: Target, coverage: float) -> tuple[Array, Array]:
    """The same of what is counted: where its distribution passes the coverage; counts keep whole bounds."""

    def said(looseness: Array, low: float | None, high: float | None) -> Codes:
        near = target.sign * looseness
        lows, highs = bounds_of(low, high, len(spread))
        bounds = (lows, near) if target.side == "max" else (near, highs)
        return outcomes_of(spread, *bounds, coverage)

    def passes(looseness: Array) -> Mask:
        kept: Mask = said(looseness, limit.min, limit.max) == PASS
        return kept

    def not_rejected(looseness: Array) -> Mask:
        kept: Mask = said(looseness, None, None) != REJECT
        return kept

    whole = MEASURES[target.name].unit == ""
    found = [_first_kept(keeps, len(spread)) for keeps in (passes, not_rejected)]
    needed, rejected = (np.round(one) if whole else one for one in found)
    return needed, rejected


def _first_kept(keeps: Callable[[Array], Mask], pieces: int) -> Array:
    """The least looseness (pieces,) that `keeps` allows, rising from never to ever; inf or -inf where there is none."""
    low, high = -np.ones(pieces), np.ones(pieces)
    with np.errstate(invalid="ignore"):
        while (kept := keeps(low)).any() and (low[kept] > -FURTHEST_BOUND).any():
            low = np.where(kept, 2.0 * low, low)
        while (lost := ~keeps(high)).any() and (high[lost] < FURTHEST_BOUND).any():
            high = np.where(lost, 2.0 * high, high)
        never, ever = lost, kept
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            kept = keeps(middle)
            low, high = np.where(kept, low, middle), np.where(kept, middle, high)
    return np.where(never, np.inf, np.where(ever, -np.inf, high))


def _sweep_rule(pieces: PieceColumns, limits: Limits, target: Target) -> Sweep:
    marks = pieces.faces.marks("scratch" if target.name.startswith("scratch") else "pit")
    of_mark = marks.snr if target.name.endswith("snr") else marks.size_mm
    value = np.zeros(len(pieces))
    np.maximum.at(value, marks.piece, of_mark)
    steps = np.array(grid(0.0, float(value.max(initial=0.0)) or 1.0, RULE_STEPS))
    kind = target.name.split("_")[0]
    ruled = [one for one in limits.limits if one.measure in counted_measures(kind)]
    others = rejudge_all(pieces, replace(limits, limits=tuple(one for one in limits.limits if one not in ruled)))
    passes, rejects = np.full(len(pieces), inf), np.full(len(pieces), inf)
    for step in steps[::-1]:
        by = replace(counting_of(limits), rule=replace(limits.count, **{target.name: float(step)}))
        worst = others
        for limit in ruled:
            worst = np.maximum(worst, outcomes(pieces, limit, by, limits.coverage))
        passes = np.where(worst == PASS, step, passes)
        rejects = np.where(worst != REJECT, step, rejects)
    return Sweep(target, passes, rejects, value, steps)
