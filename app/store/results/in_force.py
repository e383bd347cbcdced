"""What was ever in force in a store: the parts, stations and limits by which production judged there."""

from collections.abc import Mapping

from sqlalchemy import Connection, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import Kind
from vision.records import TrayResult


def never_in_force(store: Store, result: TrayResult, here: Mapping[Kind, str] | None) -> tuple[Kind, ...]:
    """What judged a result and was never in force: its drawing, its station's calibration, its limits.

    Parameters
    ----------
    store
        An open store.
    result
        One that was judged elsewhere, or before.
    here
        Digests of what lies in the works now, as far as it does and is in force. Without a works (None) a store takes
        the first of a name that it is given.

    Returns
    -------
    tuple[Kind, ...]
        Kinds; empty where all was in force, or the result does not say.
    """
    if result.digests is None:
        return ()
    part, station = schema.part, schema.station
    told = {
        "part": (result.digests.part, select(part.c.digest).where(part.c.part == result.part)),
        "station": (result.digests.station, select(station.c.digest).where(station.c.station == result.station)),
    }
    strange: list[Kind] = []
    kinds: tuple[Kind, ...] = ("part", "station")
    with store.read() as connection:
        for kind in kinds:
            digest, query = told[kind]
            known = set(connection.execute(query).scalars())
            if here is not None and kind in here:
                known.add(here[kind])
            if digest not in known and (known or here is not None):
                strange.append(kind)
        released = _released(connection, result.part)
        if here is not None and "limits" in here:
            released.add(here["limits"])
        if result.digests.limits not in released and (released or here is not None):
            strange.append("limits")
    return tuple(strange)


def _released(connection: Connection, part: str) -> set[str]:
    """Digests of a part's limits that were ever in force: by people's acts, and by a word in a file until the first."""
    limits, act = schema.limits_revision, schema.limits_act
    acts = select(limits.c.digest).join(act, act.c.limits_id == limits.c.id).where(limits.c.part == part)
    by_people = set(connection.execute(acts).scalars())
    if by_people:
        return by_people
    said = select(limits.c.digest).where(limits.c.part == part, limits.c.status == "released")
    return set(connection.execute(said).scalars())
