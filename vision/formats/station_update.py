"""A station's file brought up to date: what was measured anew goes in, all else stays, the old file is kept beside."""

from collections.abc import Collection
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.formats.bounded import read_text
from vision.formats.station import read_station, station_table
from vision.records import Station

GEOMETRY = ("scale", "plane", "lens", "camera", "uncertainty", "calibrated", "correction")
"""The tables that a calibration measures; where it found none of one, the old one goes. What was corrected was the old
calibration's bias."""


def update_station(station: Station, path: Path, tables: Collection[str]) -> Path | None:
    """Put some of a station's tables into its file, and keep its other tables, keys and comments as they are.

    The file as it was is kept beside it, its name followed by when it was last written.

    Parameters
    ----------
    station
        The station as it is from now on.
    path
        Its file; made where it is missing.
    tables
        Names of the tables that were measured anew, such as `GEOMETRY`.

    Returns
    -------
    Path | None
        The old file where it is kept; None where there was none.

    Raises
    ------
    Unusable
        The old file can't be read, is of another station, or a file can't be written.
    """
    import tomlkit
    from tomlkit.items import AbstractTable

    fresh = station_table(station)
    if not path.exists():
        write_atomic(path, tomlkit.dumps(fresh))
        return None
    before = read_station(path)
    if before.station != station.station:
        expected = f"the file of station {station.station} expected; name the station as its file does, or another file"
        raise Unusable(path, "station", expected, before.station)
    text = read_text(path)
    document: Any = tomlkit.parse(text)
    for name in tables:
        if name not in fresh:
            document.pop(name, None)
            continue
        there = document.get(name)
        if not isinstance(there, AbstractTable):
            document[name] = fresh[name]
            continue
        for key, value in fresh[name].items():
            if key not in there or there[key] != value:
                there[key] = value
        for key in [key for key in there if key not in fresh[name]]:
            there.pop(key)
    kept = _kept(path)
    write_atomic(kept, text)
    write_atomic(path, tomlkit.dumps(document))
    return kept


def _kept(path: Path) -> Path:
    """Where a file is kept as it was: by the time it was last written, and numbered where that is taken."""
    written = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    first = path.with_name(f"{path.name}.{written:%Y%m%dT%H%M%SZ}")
    number, kept = 1, first
    while kept.exists():
        number += 1
        kept = first.with_name(f"{first.name}-{number}")
    return kept
