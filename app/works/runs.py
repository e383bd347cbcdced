"""Which shots of a works are judged by what: one run for each part and station."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from vision.errors import Unusable
from vision.formats import reached, read_shot
from vision.records import Shot

if TYPE_CHECKING:
    from app.works.folder import Works  # it loads the database's library, which a run without a store need not


@dataclass(frozen=True, slots=True)
class Run:
    """Shots that are judged by the same files, and where their results go; `judge_file` need not be there."""

    part_file: Path
    station_file: Path
    limits_file: Path
    out: Path
    shots: tuple[Path, ...]
    checks_file: Path | None = None
    judge_file: Path | None = None


@dataclass(frozen=True, slots=True, eq=False)
class NamedShot:
    """A shot that says what it shows: the names of its part and its station."""

    shot: Shot
    part: str
    station: str


def shot_in(works: Works, folder: Path) -> NamedShot:
    """Read a shot that is judged in a works: by its `shot.json`, or by the names its station gives its frames.

    Parameters
    ----------
    works
        The works.
    folder
        Of the shot.

    Returns
    -------
    NamedShot
        The shot, with the names of its part and its station.

    Raises
    ------
    Unusable
        It can't be read, or its part or station is not told.
    """
    shot = read_shot(folder, works.stations())
    if shot.part is None or shot.station is None:
        expected = "a shot that names its part and station expected: in shot.json, or by [frames] of a station"
        raise Unusable(folder, "shot.json", f"{expected} with its part; or give their files")
    return NamedShot(shot, shot.part, shot.station)


def runs_of(works: Works, shots: Iterable[Path]) -> tuple[list[Run], list[str]]:
    """Sort shots by the part and station that they name; a line for each that can't be judged in this works, but one
    for all that lack the same file.

    Results go to `results/PART/STATION`.

    Parameters
    ----------
    works
        The works.
    shots
        Folders of shots.

    Returns
    -------
    tuple[list[Run], list[str]]
        A run for each part and station, and a line for each shot that can't be judged.
    """
    sorted_shots: dict[tuple[str, str], list[Path]] = {}
    failures = []
    lacking: dict[Path, list[Path]] = {}
    for folder in shots:
        try:
            named = shot_in(works, folder)
            part, station = named.part, named.station
            missing = [file for file in _judging(works, part, station) if not _is_there(file)]
        except Unusable as fault:
            failures.append(str(fault))
            continue
        if missing:
            lacking.setdefault(missing[0], []).append(folder)
            continue
        sorted_shots.setdefault((part, station), []).append(folder)
    for file, folders in lacking.items():
        needed = f"the shot {folders[0]} needs it" + (f", and {len(folders) - 1} more" if len(folders) > 1 else "")
        failures.append(str(Unusable(file, "", f"this file is missing; {needed}")))
    runs = [
        Run(
            works.part_file(part),
            works.station_file(station),
            works.limits_file(part),
            works.results / part / station,
            tuple(folders),
            works.checks_file(station),
            works.judge_file(part),
        )
        for (part, station), folders in sorted_shots.items()
    ]
    return runs, failures


def _judging(works: Works, part: str, station: str) -> tuple[Path, Path, Path]:
    return works.part_file(part), works.station_file(station), works.limits_file(part)


def _is_there(file: Path) -> bool:
    with reached(file):
        return file.is_file()
