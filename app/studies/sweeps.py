"""From which setting of a limit or a counting rule on each piece of a lot passes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfc, ndtri

from app.statistics import grid
from app.studies.columns import Array, Codes, Column, Mask, PieceColumns
from app.studies.rejudge import counting_of, limited_columns, outcomes, rejudge_all
from app.studies.settings import Target, limit_of, with_setting
from vision.decide import (
    COUNTED_MEASURES,
    MEASURES,
    PASS,
    REJECT,
    REVIEW,
    Spread,
    bounds_of,
    counted_measures,
    outcomes_of,
    quantile,
)
from vision.records import Limit, Limits

RULE_STEPS = 120
"""Settings of a counting rule that are tried: fine enough to draw, few enough to judge a lot at each."""


HALVINGS = 60
"""Of an interval in which a bound is sought: down to the rounding of its ends."""


FURTHEST_BOUND = 1e9
"""A bound beyond it is none."""


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
    """Verdict codes (pieces,) at one setting: comparisons only, so that a limit can be dragged over a large lot.

    Parameters
    ----------
    found
        What `sweep` found.
    setting
        In the measure's unit, or the counting rule's.

    Returns
    -------
    Codes
        (pieces,) codes.
    """
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

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    limits
        Limits of the part.
    target
        Which limit or counting rule.

    Returns
    -------
    Sweep
        For each piece (pieces,) from which setting on it passes and below which it is rejected.
    """
    return _sweep_rule(pieces, limits, target) if target.is_rule else _sweep_limit(pieces, limits, target)


def _sweep_limit(pieces: PieceColumns, limits: Limits, target: Target) -> Sweep:
    # The limit itself is taken out by a bound that nothing breaks, which leaves its other side and its zones in place.
    open_limits = with_setting(limits, target, target.sign * inf, pieces.zones(target.name))
    others = rejudge_all(pieces, open_limits)
    limit = limit_of(open_limits, target.name, target.zone)
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
