"""Which pieces change verdict when one revision of the limits replaces another, and the yield before and after."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from app.statistics import Estimate, wilson
from app.studies.camera_and_people import PieceKey
from app.studies.columns import VERDICTS, Codes, PieceColumns
from app.studies.rejudge import rejudge_all
from vision.decide import PASS
from vision.records import Limits, Verdict


@dataclass(frozen=True, slots=True)
class Change:
    """One piece that gets another verdict."""

    key: PieceKey
    before: Verdict
    after: Verdict


@dataclass(frozen=True, slots=True)
class Changes:
    """Two revisions on the same pieces; a yield is the share that passes."""

    counts_before: Mapping[Verdict, int]
    counts_after: Mapping[Verdict, int]
    yield_before: Estimate
    yield_after: Estimate
    changed: tuple[Change, ...]


def compare_revisions(pieces: PieceColumns, before: Limits, after: Limits) -> Changes:
    """Judge all pieces by both revisions; changed pieces in the order of the lot.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    before, after
        The two revisions.

    Returns
    -------
    Changes
        Counts, yields with intervals and the pieces whose verdict changed.
    """
    return changes_between(pieces, rejudge_all(pieces, before), rejudge_all(pieces, after))


def changes_between(pieces: PieceColumns, old: Codes, new: Codes) -> Changes:
    """What changes between two judgings of the same pieces.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    old, new
        (pieces,) verdict codes before and after.

    Returns
    -------
    Changes
        Counts, yields with intervals and the pieces whose verdict changed.
    """
    counts_old, counts_new = (np.bincount(codes, minlength=len(VERDICTS)).tolist() for codes in (old, new))
    return Changes(
        counts_before=dict(zip(VERDICTS, counts_old, strict=True)),
        counts_after=dict(zip(VERDICTS, counts_new, strict=True)),
        yield_before=wilson(counts_old[PASS], len(pieces)),
        yield_after=wilson(counts_new[PASS], len(pieces)),
        changed=tuple(
            Change(pieces.keys[i], VERDICTS[old[i]], VERDICTS[new[i]]) for i in np.flatnonzero(old != new).tolist()
        ),
    )
