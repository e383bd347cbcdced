"""Challenges of the stations: known bad pieces, or marks planted into a shift's own frames, that must be rejected."""

from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store, moment
from app.store.stations.records import contents_of, file_once


@dataclass(frozen=True, slots=True)
class Challenge:
    """One challenge of a station.

    `asked` names what was planted, or `known bad`; `missed` says which of the `pieces` was not rejected, and by what.
    `at` is ISO 8601.
    """

    station: str
    part: str
    tray: str
    at: str
    by: str
    asked: tuple[str, ...]
    pieces: int
    missed: tuple[str, ...]

    @property
    def verdict(self) -> Literal["pass", "stop"]:
        """Stop where anything was not rejected."""
        return "stop" if self.missed else "pass"


def file_challenge(store: Store, challenge: Challenge) -> None:
    """File a challenge; one that is there already is not filed again.

    Parameters
    ----------
    store
        An open store.
    challenge
        What was asked of the station, and what it missed.
    """
    with store.write() as connection:
        columns = {"outcome": challenge.verdict, "challenged_at": challenge.at}
        file_once(connection, schema.challenge, challenge.station, asdict(challenge), columns)


def challenges(store: Store, station: str) -> tuple[Challenge, ...]:
    """All challenges of a station, by their time.

    Parameters
    ----------
    store
        An open store.
    station
        Its name.

    Returns
    -------
    tuple[Challenge, ...]
        Oldest first.
    """
    contents = contents_of(store, schema.challenge, station)
    found = [Challenge(**{**one, "asked": tuple(one["asked"]), "missed": tuple(one["missed"])}) for one in contents]
    return tuple(sorted(found, key=lambda one: moment(one.at)))


def why_unchallenged(store: Store, lot: str, part: str, within_hours: float | None) -> str | None:
    """Why a lot may not be released where a works demands challenges; None where it may, or nothing is demanded.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    part
        The part's name.
    within_hours
        How old a challenge may be, a number of hours; none: the works demands none.

    Returns
    -------
    str | None
        A sentence; none where it may be released.
    """
    if within_hours is None:
        return None
    shot, tray = schema.shot, schema.tray
    query = select(shot.c.station).distinct().join(tray, tray.c.id == shot.c.tray_id)
    query = query.join(schema.lot, schema.lot.c.id == tray.c.lot_id)
    query = query.where(schema.lot.c.lot == lot, shot.c.part == part).order_by(shot.c.station)
    with store.read() as connection:
        stations = list(connection.execute(query).scalars())
    since = datetime.now(UTC) - timedelta(hours=within_hours)
    for station in stations:
        newest = challenges(store, station)[-1:]
        if not newest:
            return f"station {station} was never challenged; run brightbowl challenge"
        if newest[0].verdict == "stop":
            return f"station {station} failed its challenge at {newest[0].at}: {'; '.join(newest[0].missed)}"
        if moment(newest[0].at) < since:
            return f"station {station} was challenged last at {newest[0].at}; run brightbowl challenge"
    return None
