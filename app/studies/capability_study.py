"""How capable a lot's process is of each measured limit, trays as subgroups."""

from dataclasses import dataclass

import numpy as np

from app.statistics import Capability, capability
from app.studies.columns import PieceColumns
from app.studies.rejudge import counting_of, limited_columns
from vision.decide import COUNTED_MEASURES
from vision.records import Limits


@dataclass(frozen=True, slots=True)
class LimitCapability:
    """One measured limit's indices over so many pieces; measurement uncertainty is part of the spread."""

    name: str
    pieces: int
    found: Capability


def study_capability(pieces: PieceColumns, limits: Limits) -> tuple[LimitCapability, ...]:
    """Indices of each limit on a measured value; counts are not normal and have none, faulty pieces are left out."""
    trays = {key.tray: k for k, key in enumerate(pieces.keys)}
    group = np.array([trays[key.tray] for key in pieces.keys], dtype=np.int64)
    rows = []
    for limit in limits.limits:
        if limit.measure in COUNTED_MEASURES:
            continue
        for column, _ in limited_columns(pieces, limit.measure, limit.zone, counting_of(limits)):
            known = np.isfinite(column.value) & ~pieces.faulty
            if known.sum() < 3:
                continue
            found = capability(column.value[known], group[known], limit.min, limit.max)
            if found is not None:
                zone = next(
                    (name for name, one in pieces.measures[limit.measure].items() if one is column and name), None
                )
                rows.append(LimitCapability(", ".join(filter(None, (limit.measure, zone))), int(known.sum()), found))
    return tuple(rows)
