"""Judging a whole lot again at once: the same verdicts as `vision.decide.verdicts.rejudge`, piece by piece."""

from collections.abc import Iterator
from math import pi

import numpy as np
from scipy.special import erfc, ndtr

from app.studies.columns import Array, Codes, Column, Marks, PieceColumns
from vision.decide import COUNTED_MEASURES, SEEN_MEASURES, SURE, defaults_of, quantile
from vision.records import CountRule, Limit, Limits

PASS, REVIEW, REJECT = 0, 1, 2

ROUNDING = 1e-12
"""Slack of the acceptance zone's edge, as in `vision.decide.guard`."""

MM2_PER_CM2 = 100.0


def rejudge_all(pieces: PieceColumns, limits: Limits) -> Codes:
    """Verdict codes (pieces,) under `limits`, counts formed anew by their counting rules."""
    worst = np.where(pieces.faulty, REVIEW, PASS).astype(np.int8)
    for limit in limits.limits:
        np.maximum(worst, outcomes(pieces, limit, limits.count, limits.coverage), out=worst)
    for default, own in defaults_of(limits):
        for zone, column in pieces.measures.get(default.measure, {}).items():
            if zone not in own:
                said = _outcome(column, default, limits.coverage)
                np.maximum(worst, np.where(column.present, said, PASS), out=worst)
    return worst


def outcomes(pieces: PieceColumns, limit: Limit, count: CountRule, coverage: float) -> Codes:
    """What one limit says of every piece (pieces,): the worst over the zones that it holds for."""
    worst = np.zeros(len(pieces), dtype=np.int8)
    held = np.zeros(len(pieces), dtype=np.bool_)
    for column in limited_columns(pieces, limit.measure, limit.zone, count):
        said = _outcome(column, limit, coverage)
        np.maximum(worst, np.where(column.present, said, PASS), out=worst)
        held |= column.present
    # A limited measure, or its limited zone, that a piece lacks is reviewed.
    np.maximum(worst, np.where(held, PASS, REVIEW), out=worst)
    return worst


def limited_columns(pieces: PieceColumns, measure: str, zone: str | None, count: CountRule) -> Iterator[Column]:
    """The columns that a limit on a measure looks at: one zone's and the whole's, or all."""
    if measure in COUNTED_MEASURES:
        yield _counted(pieces, measure, count)
        return
    for name, column in pieces.measures.get(measure, {}).items():
        if zone is None or name is None or name == zone:
            yield column


def _outcome(column: Column, limit: Limit, coverage: float) -> Codes:
    value, u = column.value, column.u
    low = -np.inf if limit.min is None else limit.min
    high = np.inf if limit.max is None else limit.max
    exact = u == 0.0
    spread = np.where(exact, 1.0, u) * np.sqrt(2.0)
    conforms = np.where(
        exact,
        (value >= low) & (value <= high),
        1.0 - 0.5 * erfc((value - low) / spread) - 0.5 * erfc((high - value) / spread) >= coverage - ROUNDING,
    )
    guard = quantile(coverage) * u
    beyond = (value > high + guard) | (value < low - guard)
    unknown = np.isnan(value) | np.isnan(u)
    bad = REVIEW if limit.measure in SEEN_MEASURES else REJECT
    said: Codes = np.select([unknown, conforms, beyond], [REVIEW, PASS, bad], REVIEW).astype(np.int8)
    return said


def _counted(pieces: PieceColumns, measure: str, rule: CountRule) -> Column:
    """A measure formed by the counting rules; the formulas are those of `vision.decide.counts`."""
    of_scratches = measure.startswith("scratch")
    marks = pieces.scratches if of_scratches else pieces.pits
    if of_scratches:
        counts, chance = _weighed(marks, rule.scratch_min_length_mm, rule.scratch_min_snr)
    else:
        counts, chance = _weighed(marks, rule.pit_min_diameter_mm, rule.pit_min_snr)
    total = len(pieces)
    area_of = pieces.measures["scored_area_cm2"][None]
    area = np.where(area_of.value > 0.0, area_of.value, np.nan)
    area_u = np.where(np.isnan(area_of.u), 0.0, area_of.u)
    match measure:
        case "scratch_count" | "pit_count":
            value, u = _summed(marks, counts, chance, np.ones(len(counts)), np.zeros(len(counts)), total)
        case "scratch_longest_mm" | "pit_largest_mm":
            value, u = _largest(marks, counts, chance, total)
        case _:
            share, share_u = _shares(marks, measure)
            value, u = _summed(marks, counts, chance, share, share_u, total)
            value, u = value / area, np.hypot(u / area, value / area * area_u / area)
    missing = np.isnan(area)
    return Column(np.where(missing, np.nan, value), np.where(missing, np.nan, u), np.ones(total, dtype=np.bool_))


def _weighed(marks: Marks, min_size_mm: float, min_snr: float) -> tuple[Array, Array]:
    """Whether each mark counts (1 or 0) and its chance of lying inside the rules; a limit of 0 is none."""
    chance = np.ones(len(marks.piece))
    if min_size_mm > 0.0:
        chance = chance * ndtr((marks.size_mm - min_size_mm) / marks.size_u_mm)
    if min_snr > 0.0:
        chance = chance * ndtr((marks.snr - min_snr) / marks.snr_u)
    chance = np.where(chance < SURE, 0.0, np.where(chance > 1.0 - SURE, 1.0, chance))
    counts = (marks.size_mm >= min_size_mm) & (marks.snr >= min_snr)
    return counts.astype(np.float64), chance


def _shares(marks: Marks, measure: str) -> tuple[Array, Array]:
    """What one mark adds to a density before it is divided by the area, and the uncertainty of that."""
    size, size_u = marks.size_mm, marks.size_u_mm
    if measure == "scratch_density_mm_per_cm2":
        return size, size_u
    if measure == "pit_area_ppm":
        scale = pi / 4.0 / MM2_PER_CM2 * 1e6
        return scale * size**2, scale * 2.0 * size * size_u
    return np.ones(len(size)), np.zeros(len(size))


def _summed(
    marks: Marks, counts: Array, chance: Array, share: Array, share_u: Array, total: int
) -> tuple[Array, Array]:
    variance = chance * (1.0 - chance * marks.again)
    spread = variance * share**2 + chance * share_u**2
    value = np.bincount(marks.piece, counts * share, total).astype(np.float64)
    return value, np.sqrt(np.bincount(marks.piece, spread, total)).astype(np.float64)


def _largest(marks: Marks, counts: Array, chance: Array, total: int) -> tuple[Array, Array]:
    """Largest counted mark of each piece, rank by rank: the marks of a piece stand largest first."""
    starts = np.searchsorted(marks.piece, np.arange(total + 1))
    rank = np.arange(len(marks.piece)) - starts[marks.piece]
    value, none_larger = np.zeros(total), np.ones(total)
    mean, square = np.zeros(total), np.zeros(total)
    np.maximum.at(value, marks.piece, counts * marks.size_mm)
    by_rank = np.argsort(rank, kind="stable")
    cuts = np.flatnonzero(np.diff(rank[by_rank])) + 1
    for these in np.split(by_rank, cuts):
        piece = marks.piece[these]
        counted = chance[these] * marks.again[these]
        weight = none_larger[piece] * counted
        mean[piece] += weight * marks.size_mm[these]
        square[piece] += weight * (marks.size_mm[these] ** 2 + marks.size_u_mm[these] ** 2)
        none_larger[piece] *= 1.0 - counted
    return value, np.sqrt(np.maximum(square - mean**2, 0.0))
