"""`brightbowl shot`: frames as a camera names them, to tray shots with their `shot.json`."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vision.records import Shot, Station


@click.command()
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--station", "station_file", type=click.Path(dir_okay=False, path_type=Path), help="Who took the frames.")
@click.option(
    "--works",
    type=click.Path(file_okay=False, path_type=Path),
    help="Works folder, in place of --station: each shot's station is known by its frames' names.",
)
@click.option("--part", help="The part on the trays; without it, the one of [frames] in the station's file.")
@click.option("--lot", help="Their lot; without it, the one in the frames' names.")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Copy each tray's frames into a folder of its own here; needed where FOLDER holds several trays.",
)
def command(
    folders: tuple[Path, ...],
    station_file: Path | None,
    works: Path | None,
    part: str | None,
    lot: str | None,
    out: Path | None,
) -> None:
    """Write the shot.json of frames that come without one.

    FOLDER holds the frames of a tray, or of several, or is a folder of such folders. Which light a frame was taken
    under, and of which tray and lot it is, is told by its name: [frames] in the station's file says how. A folder with
    a shot.json is left as it is.
    """
    from app.works import read_works
    from vision.formats import find_shots, has_shot_file, read_station

    if (station_file is None) == (works is None):
        raise click.UsageError("Give --station, or --works in its place.")
    stations = tuple(read_works(works).stations()) if works else (read_station(station_file),) if station_file else ()
    made = there = 0
    failures = []
    for folder in find_shots(folders, leave_out=out, stations=stations):
        if has_shot_file(folder):
            there += 1
            continue
        try:
            for shot in _shots_of(folder, stations, several=out is not None):
                _write(replace(shot, lot=lot or shot.lot, part=part or shot.part), out)
                made += 1
        except Unusable as one:
            failures.append(one)
    click.echo(f"{made} shot.json written in {out or 'their folders'}, {there} were there before")
    for fault in failures:
        click.echo(f"brightbowl: {fault}", err=True)
    if failures:
        sys.exit(1 if made or there else 2)


def _shots_of(folder: Path, stations: Sequence[Station], several: bool) -> tuple[Shot, ...]:
    """The shots in a folder; more than one only where each is to get a folder of its own."""
    from datetime import UTC, datetime

    from vision.formats import check_lights, named_shots, read_shot

    of_station = [(one, shots) for one in stations if one.frames and (shots := named_shots(folder, one))]
    if several and len(of_station) == 1:
        ((station, shots),) = of_station
        for shot in shots:
            assert station.frames is not None
            check_lights(shot, station.frames)
        return shots
    shot = read_shot(folder, stations)
    if shot.station is None and len(stations) == 1:  # frames by the agreed names, back.png and the others
        written = datetime.fromtimestamp(shot.frames[0].path.stat().st_mtime, UTC)
        shot = replace(shot, station=stations[0].station, taken_at=written.isoformat(timespec="milliseconds"))
    return (shot,)


def _write(shot: Shot, out: Path | None) -> None:
    """Write a shot's `shot.json`, last of its files where they are copied: so it is never whole too early."""
    import shutil

    from vision.formats import not_written, write_shot

    for key, way in (("part", "--part, or part in [frames]"), ("lot", "--lot, or {lot} in [frames]")):
        if getattr(shot, key) is None:
            raise Unusable(shot.folder, key, f"expected: {way} of the station")
    if out is not None:
        folder = out / shot.tray
        try:
            folder.mkdir(parents=True)
            for frame in shot.frames:
                shutil.copy2(frame.path, folder / frame.path.name)
        except FileExistsError:
            raise Unusable(
                folder, "", "a tray that is not there yet expected; remove it, or choose another --out"
            ) from None
        except OSError as fault:
            shutil.rmtree(folder, ignore_errors=True)
            raise not_written(folder, fault) from None
        shot = replace(
            shot, folder=folder, frames=tuple(replace(one, path=folder / one.path.name) for one in shot.frames)
        )
    write_shot(shot)
