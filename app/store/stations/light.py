"""What a station's trays said of its light and sharpness."""

from dataclasses import dataclass

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.results.shown import station_of
from vision.records import LightLimits

LIGHT_KINDS = ("exposure", "focus", "light")


@dataclass(frozen=True, slots=True)
class LightRecord:
    """One finding on a tray's light or sharpness."""

    tray: str
    taken_at: str | None
    kind: str
    detail: str


def light_history(store: Store, station: str, most: int) -> tuple[LightRecord, ...]:
    """The newest findings on light and sharpness among a station's trays, at most so many.

    Parameters
    ----------
    store
        An open store.
    station
        Its name.
    most
        How many.

    Returns
    -------
    tuple[LightRecord, ...]
        Newest first.
    """
    found, filing, shot, tray = schema.tray_finding, schema.filing, schema.shot, schema.tray
    query = (
        select(tray.c.tray, shot.c.taken_at, found.c.kind, found.c.detail)
        .join(filing, filing.c.id == found.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .where(shot.c.station == station, found.c.kind.in_(LIGHT_KINDS))
        .order_by(filing.c.id.desc(), found.c.place)
        .limit(most)
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    return tuple(LightRecord(*row) for row in rows)


def light_limits(store: Store, station: str) -> LightLimits | None:
    """The limits of the station as it was filed last; None where it was never filed.

    Parameters
    ----------
    store
        An open store.
    station
        Its name.

    Returns
    -------
    LightLimits | None
        Shares of full scale and px, as the station's file has them; none where it sets none.
    """
    found = station_of(store, station)
    return None if found is None else found.light
