"""What was ever in force in a store: the parts, stations and limits by which production judged there."""

from collections.abc import Mapping

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import Kind
from vision.records import TrayResult


def never_in_force(store: Store, result: TrayResult, here: Mapping[Kind, str] | None) -> tuple[Kind, ...]:
    """What judged a result and was never in force: its drawing, its station's calibration, its limits.

    Parameters
    ----------
    here
        Digests of what lies in the works now, as far as it does. Without a works (None) a store takes the first of a
        name that it is given.
    """
    if result.digests is None:
        return ()
    part, station, limits = schema.part, schema.station, schema.limits_revision
    told = {
        "part": (result.digests.part, select(part.c.digest).where(part.c.part == result.part)),
        "station": (result.digests.station, select(station.c.digest).where(station.c.station == result.station)),
        "limits": (result.digests.limits, select(limits.c.digest).where(limits.c.part == result.part)),
    }
    strange: list[Kind] = []
    kinds: tuple[Kind, ...] = ("part", "station", "limits")
    with store.read() as connection:
        for kind in kinds:
            digest, query = told[kind]
            known = set(connection.execute(query).scalars())
            if here is not None and kind in here:
                known.add(here[kind])
            if digest not in known and (known or here is not None):
                strange.append(kind)
    return tuple(strange)
