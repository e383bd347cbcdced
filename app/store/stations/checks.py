"""Checks of the stations, and the trays that a failed one puts in doubt."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Executable, Row, Select, func, select, union

from app.store.database import schema
from app.store.database.connection import Store, moment
from app.store.stations.records import contents_of, file_once
from vision.formats import (
    Check as Check,  # for the page, which knows the store only
    check_record,
)

_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class SuspectPeriod:
    """A time in which a station can't be trusted: after its last good check, until it was calibrated and good again.

    `since` None: it was never good before; `until` None: it is not good yet.
    """

    since: datetime | None
    until: datetime | None

    def holds(self, taken_at: datetime, judged_at: datetime) -> bool:
        """Whether a tray taken then, and judged last at `judged_at`, is to be judged again."""
        taken_in_it = (self.since is None or taken_at > self.since) and (self.until is None or taken_at < self.until)
        return taken_in_it and (self.until is None or judged_at < self.until)


@dataclass(frozen=True, slots=True)
class SuspectTray:
    """A tray to be judged again."""

    tray: str
    lot: str | None
    station: str
    taken_at: str | None


def file_checks(store: Store, checks: Iterable[Check]) -> int:
    """File checks that are not there yet; how many were new.

    Parameters
    ----------
    store
        An open store.
    checks
        Of stations, at their times.

    Returns
    -------
    int
        Number of new ones.
    """
    new = 0
    with store.write() as connection:
        for check in checks:
            columns = {"outcome": check.verdict, "checked_at": check.checked_at}
            new += file_once(connection, schema.station_check, check.station, asdict(check), columns)
    return new


def checked_stations(store: Store) -> tuple[str, ...]:
    """Stations that were ever checked.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[str, ...]
        Names in order.
    """
    query = select(schema.station_check.c.station).distinct().order_by(schema.station_check.c.station)
    with store.read() as connection:
        return tuple(connection.execute(query).scalars())


def station_checks(store: Store, station: str) -> tuple[Check, ...]:
    """All checks of a station, by their time.

    Parameters
    ----------
    store
        An open store.
    station
        Its name.

    Returns
    -------
    tuple[Check, ...]
        Oldest first.
    """
    found = [check_record(content) for content in contents_of(store, schema.station_check, station)]
    return tuple(sorted(found, key=lambda check: moment(check.checked_at)))


def suspect_periods(checks: Sequence[Check]) -> tuple[SuspectPeriod, ...]:
    """When a station could not be trusted, from its checks in order of time.

    A stop that is answered by a pass under the same calibration was the reference piece's fault, or its laying's: the
    station measures as before, and no tray is in doubt.
    """
    found = []
    for index, stop in enumerate(checks):
        if stop.verdict == "pass":
            continue
        good_after = next((check for check in checks[index + 1 :] if check.verdict == "pass"), None)
        if good_after is not None and good_after.calibration == stop.calibration:
            continue
        good_before = next((check for check in reversed(checks[:index]) if check.verdict == "pass"), None)
        found.append(SuspectPeriod(_time_of(good_before), _time_of(good_after)))
    return tuple(dict.fromkeys(found))


def _suspect_periods(store: Store) -> dict[str, tuple[SuspectPeriod, ...]]:
    """The doubts of every station that has any."""
    found = {station: suspect_periods(station_checks(store, station)) for station in checked_stations(store)}
    return {station: those for station, those in found.items() if those}


def suspect_trays(store: Store, lot: str | None = None, among: Sequence[str] | None = None) -> tuple[SuspectTray, ...]:
    """Trays to be judged again, by the order of filing: of one lot, among those named, or all.

    A tray without a time is taken to be as old as the first filing of its newest shot. Filing it anew by a station file
    that it was judged by before, under other limits say, is no new judgement in this sense.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name; none: all lots.
    among
        Names of trays; none: all.

    Returns
    -------
    tuple[SuspectTray, ...]
        Names, with lot, station and time.
    """
    of_station = _suspect_periods(store)
    if not of_station:
        return ()
    tray, lots = schema.tray, schema.lot
    if lot is None and among is None:
        of_periods = [_about(station, period) for station, periods in of_station.items() for period in periods]
        query: Executable = union(*(one for those in of_periods for one in those))
    else:
        of_trays = select(tray.c.id)
        if lot is not None:
            of_trays = of_trays.join(lots, lots.c.id == tray.c.lot_id).where(lots.c.lot == lot)
        if among is not None:
            of_trays = of_trays.where(tray.c.tray.in_(list(among)))
        query = of_trays
    with store.read() as connection:
        ids = sorted(connection.execute(query).scalars())
        portions = [ids[start : start + _AT_ONCE] for start in range(0, len(ids), _AT_ONCE)]
        rows = [row for some in portions for row in _standing(connection, some)]
    return tuple(
        SuspectTray(row.tray, row.lot, row.station, row.taken_at)
        for row in sorted(rows, key=lambda row: row.id)
        if row.station in of_station
        and any(
            period.holds(moment(row.taken_at or row.shot_filed_at), moment(row.judged_at))
            for period in of_station[row.station]
        )
    )


def _standing(connection: Connection, tray_ids: Sequence[int]) -> list[Row[Any]]:
    """What stands of some trays: its shot, and when that was judged first by the station file of the judging."""
    filing, shot, tray, stands, judging = (
        schema.filing,
        schema.shot,
        schema.tray,
        schema.standing_tray,
        schema.judging,
    )
    before = filing.alias()
    judged_first = (
        select(func.min(before.c.filed_at))
        .where(before.c.shot_id == filing.c.shot_id, before.c.station_id == filing.c.station_id)
        .scalar_subquery()
    )
    judged_at = func.coalesce(judged_first, filing.c.filed_at)  # imported results may come without their station
    times = (shot.c.filed_at.label("shot_filed_at"), judged_at.label("judged_at"))
    query = (
        select(judging.c.id, tray.c.tray, schema.lot.c.lot, shot.c.station, shot.c.taken_at, *times)
        .join(stands, stands.c.tray_id == tray.c.id)
        .join(judging, judging.c.id == stands.c.judging_id)
        .join(filing, filing.c.id == judging.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .where(stands.c.tray_id.in_(tray_ids))
    )
    return list(connection.execute(query))


def _about(station: str, period: SuspectPeriod) -> list[Select[Any]]:
    """Trays with a shot that a period may hold, each search by an index: times stand as written, in two forms."""
    shot, day = schema.shot, timedelta(days=1)
    since = (date.min if period.since is None else (period.since - day).date()).isoformat()
    until = (date.max if period.until is None else (period.until + 2 * day).date()).isoformat()
    when = [shot.c.taken_at.between(since.replace("-", dash), until.replace("-", dash)) for dash in ("-", "")]
    return [select(shot.c.tray_id).where(shot.c.station == station, one) for one in (shot.c.taken_at.is_(None), *when)]


def _time_of(check: Check | None) -> datetime | None:
    return None if check is None else moment(check.checked_at)
