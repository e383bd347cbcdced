"""Stations as they measure, filed when they change and not only with the first tray that they judge."""

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import digest, pack, station_content
from app.store.database.rows import ensure
from vision.records import Station


def file_station(store: Store, station: Station) -> str:
    """File a station with all revisions of its corrections; its digest, as results name it.

    Parameters
    ----------
    store
        An open store.
    station
        The station as it is now.

    Returns
    -------
    str
        Its digest.
    """
    content = station_content(station)
    key = {"station": station.station, "digest": digest(content)}
    with store.write() as connection:
        ensure(connection, schema.station, key, {"body": pack(content), "filed_at": now()})
    return key["digest"]
