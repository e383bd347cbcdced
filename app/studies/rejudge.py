"""Judging a whole lot again at once: the functions of `vision.decide`, on all pieces' columns."""

from collections.abc import Iterator

import numpy as np

from app.studies.columns import Codes, Column, PieceColumns
from vision.decide import (
    COUNTED_MEASURES,
    PASS,
    REVIEW,
    Counting,
    Normal,
    Spread,
    counted_spread,
    counted_values,
    defaults_of,
    limit_outcomes,
)
from vision.records import Limit, Limits


def rejudge_all(pieces: PieceColumns, limits: Limits) -> Codes:
    """Verdict codes (pieces,) under `limits`, counts formed anew by their counting rules.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    limits
        Limits of the part.

    Returns
    -------
    Codes
        (pieces,) codes, the greatest the worst.
    """
    worst = np.where(pieces.faulty, REVIEW, PASS).astype(np.int8)
    for limit in limits.limits:
        np.maximum(worst, outcomes(pieces, limit, counting_of(limits), limits.coverage), out=worst)
    for default, own in defaults_of(limits):
        for zone, column in pieces.measures.get(default.measure, {}).items():
            if zone not in own:
                said = limit_outcomes(Normal(column.value, column.u), default, limits.coverage)
                np.maximum(worst, np.where(column.present, said, PASS), out=worst)
    return worst


def counting_of(limits: Limits) -> Counting:
    """By what limits let marks count."""
    return Counting(limits.count, limits.rate)


def outcomes(pieces: PieceColumns, limit: Limit, by: Counting, coverage: float) -> Codes:
    """What one limit says of every piece (pieces,): the worst over the zones that it holds for."""
    worst = np.zeros(len(pieces), dtype=np.int8)
    held = np.zeros(len(pieces), dtype=np.bool_)
    for column, spread in limited_columns(pieces, limit.measure, limit.zone, by):
        said = limit_outcomes(spread, limit, coverage)
        np.maximum(worst, np.where(column.present, said, PASS), out=worst)
        held |= column.present
    # A limited measure, or its limited zone, that a piece lacks is reviewed.
    np.maximum(worst, np.where(held, PASS, REVIEW), out=worst)
    return worst


def limited_columns(
    pieces: PieceColumns, measure: str, zone: str | None, by: Counting
) -> Iterator[tuple[Column, Spread]]:
    """The columns that a limit on a measure looks at, one zone's and the whole's, or all; and what each may be."""
    if measure in COUNTED_MEASURES:
        present = np.ones(len(pieces), dtype=np.bool_)
        yield Column(*counted_values(pieces.faces, measure, by), present), counted_spread(pieces.faces, measure, by)
        return
    for name, column in pieces.measures.get(measure, {}).items():
        if zone is None or name is None or name == zone:
            yield column, Normal(column.value, column.u)
