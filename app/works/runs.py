"""Which shots of a works are judged by what: one run for each part and station."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from vision.errors import Unusable
from vision.formats import reached, read_shot

if TYPE_CHECKING:
    from app.works.folder import Works  # it loads the database's library, which a run without a store need not


@dataclass(frozen=True, slots=True)
class Run:
    """Shots that are judged by the same files, and where their results go."""

    part_file: Path
    station_file: Path
    limits_file: Path
    out: Path
    shots: tuple[Path, ...]
    checks_file: Path | None = None


def runs_of(works: Works, shots: Iterable[Path]) -> tuple[list[Run], list[str]]:
    """Sort shots by the part and station that they name; a line for each that can't be judged in this works.

    Results go to `results/PART/STATION`.
    """
    sorted_shots: dict[tuple[str, str], list[Path]] = {}
    failures = []
    for folder in shots:
        try:
            shot = read_shot(folder)
            if shot.part is None or shot.station is None:
                raise Unusable(
                    folder, "shot.json", "a shot that names its part and station expected; or give their files"
                )
            for file in (works.part_file(shot.part), works.station_file(shot.station), works.limits_file(shot.part)):
                with reached(file):
                    there = file.is_file()
                if not there:
                    raise Unusable(file, "", f"this file is missing; the shot {folder} needs it")
        except Unusable as fault:
            failures.append(str(fault))
            continue
        sorted_shots.setdefault((shot.part, shot.station), []).append(folder)
    runs = [
        Run(
            works.part_file(part),
            works.station_file(station),
            works.limits_file(part),
            works.results / part / station,
            tuple(folders),
            works.checks_file(station),
        )
        for (part, station), folders in sorted_shots.items()
    ]
    return runs, failures
