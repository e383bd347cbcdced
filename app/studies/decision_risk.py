"""What limits and their guard band risk on a lot's own distribution: bad pieces that pass, good ones that don't.

JCGM 106:2012, 8 (specific risks, of a piece at hand) and 9 (global ones, of the lot). Of a measured value the true ones
behind the lot are estimated first (`app.statistics.deconvolution`); of what is counted each piece's own chances stand.
All limits together: measurement errors of several measures are taken as independent (Kuselman, Pennecchi, da Silva and
Hibbert 2017, Talanta 170:527, from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from app.statistics import true_values
from app.studies.columns import Array, Codes, PieceColumns
from app.studies.rejudge import counting_of, limited_columns
from vision.decide import COUNTED_MEASURES, PASS, REJECT, bounds_of, conformances, limit_outcomes
from vision.records import Limit, Limits

GUARDS = tuple(np.round(np.linspace(0.0, 3.0, 25), 3).tolist())
"""Widths of the guard band that are tried, in standard uncertainties."""


@dataclass(frozen=True, slots=True)
class Risk:
    """Risks at one width of the guard band.

    `guard` in standard uncertainties; shares of all pieces: `consumer` passes and is bad, `producer` is rejected and
    good, `reviewed` goes to a person; `worst`: largest chance of being bad among the pieces that pass (specific risk).
    """

    guard: float
    consumer: float
    producer: float
    reviewed: float
    worst: float


@dataclass(frozen=True, slots=True)
class LimitRisk:
    """One limit, or all together (`name` then "all limits together"): `bad` share of the lot, `now`, and the curve."""

    name: str
    pieces: int
    bad: float
    now: Risk
    curve: tuple[Risk, ...]


def study_risk(pieces: PieceColumns, limits: Limits) -> tuple[LimitRisk, ...]:
    """The risks of all limits together first, then of each; pieces without a value of a limit are left out of it."""
    faulty = pieces.faulty
    together = np.ones(len(pieces))
    worst = [np.zeros(len(pieces), dtype=np.int8) for _ in (*GUARDS, 0)]
    held = ~faulty
    found = []
    for limit in limits.limits:
        for name, conforms, codes in _by_column(pieces, limit, limits):
            known = np.isfinite(conforms) & ~faulty
            if not known.any():
                continue
            found.append(_risk(name, conforms[known], [code[known] for code in codes], limits.coverage))
            together = np.where(known, together * np.where(known, conforms, 1.0), together)
            held &= known | ~np.isfinite(conforms)
            worst = [np.maximum(old, code) for old, code in zip(worst, codes, strict=True)]
    if len(found) > 1 and held.any():
        found.insert(0, _risk("all limits together", together[held], [code[held] for code in worst], limits.coverage))
    return tuple(found)


def _by_column(pieces: PieceColumns, limit: Limit, limits: Limits) -> Iterator[tuple[str, Array, list[Codes]]]:
    """Of each number that a limit bounds: its name, chance that pieces keep it, and codes at each guard and now."""
    coverages = [*(float(norm.cdf(guard)) for guard in GUARDS), limits.coverage]
    for zone, (column, spread) in zip(
        _zones(pieces, limit), limited_columns(pieces, limit.measure, limit.zone, counting_of(limits)), strict=False
    ):
        codes = [
            np.where(column.present, limit_outcomes(spread, limit, one), PASS).astype(np.int8) for one in coverages
        ]
        if limit.measure in COUNTED_MEASURES:
            conforms = conformances(spread, *bounds_of(limit.min, limit.max, len(pieces)))
        else:
            conforms = np.full(len(pieces), np.nan)
            known = np.isfinite(column.value) & np.isfinite(column.u)
            truth = true_values(column.value[known], column.u[known])
            if truth is not None:
                low = -np.inf if limit.min is None else limit.min
                high = np.inf if limit.max is None else limit.max
                conforms[known] = truth.inside(column.value[known], column.u[known], low, high)
        yield ", ".join(filter(None, (limit.measure, zone))), conforms, codes


def _zones(pieces: PieceColumns, limit: Limit) -> Sequence[str | None]:
    """Names of the columns that a limit looks at, in their order."""
    if limit.measure in COUNTED_MEASURES:
        return (None,)
    names = pieces.measures.get(limit.measure, {})
    return [name for name in names if limit.zone is None or name is None or name == limit.zone]


def _risk(name: str, conforms: Array, codes: Sequence[Codes], coverage: float) -> LimitRisk:
    guards = (*GUARDS, float(norm.ppf(coverage)))
    risks = [_at(guard, conforms, code) for guard, code in zip(guards, codes, strict=True)]
    return LimitRisk(name, len(conforms), float((1.0 - conforms).mean()), risks[-1], tuple(risks[:-1]))


def _at(guard: float, conforms: Array, codes: Codes) -> Risk:
    passed, rejected = codes == PASS, codes == REJECT
    return Risk(
        guard=guard,
        consumer=float(np.where(passed, 1.0 - conforms, 0.0).mean()),
        producer=float(np.where(rejected, conforms, 0.0).mean()),
        reviewed=float((~passed & ~rejected).mean()),
        worst=float((1.0 - conforms)[passed].max(initial=0.0)),
    )
