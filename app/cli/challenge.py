"""`brightbowl challenge`: known bad pieces, or marks planted into a shift's own frames, must be rejected."""

from __future__ import annotations

import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import click


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--by", default="", help="Who challenges.")
@click.option("--known-bad", is_flag=True, help="FOLDER shows known bad pieces: each must be rejected as it is.")
@click.option("--seed", type=int, help="Of the places of what is planted; without it, new ones each time.")
def command(folder: Path, works: Path, by: str, known_bad: bool, seed: int | None) -> None:
    """Challenge a station, each shift: what is bad must be rejected.

    FOLDER is a shot of the shift. Into every piece of it that passes are planted a slit through the metal and, where
    the limits ask for them, reference scratches and pits; each kind is judged by the limits in force. Kept in the
    store and shown on the page Station. Exit 3 where anything was not rejected.
    """
    import numpy as np

    from app.run import known_bad as judge_known, plant_bad
    from app.store import Challenge, file_challenge
    from app.works import limits_judging, read_works, shot_in
    from vision.formats import read_frames, read_limits, read_part, read_station

    place = read_works(works)
    named = shot_in(place, folder)
    part, station = read_part(place.part_file(named.part)), read_station(place.station_file(named.station))
    file = place.limits_file(named.part)
    limits = read_limits(file, part)
    pictures = read_frames(named.shot, station)
    with closing(place.open()) as store:
        limits_judging(store, place, limits, file)
        if known_bad:
            found = judge_known(pictures, part, station, limits)
        else:
            found = plant_bad(pictures, part, station, limits, np.random.default_rng(seed))
        at = datetime.now(UTC).isoformat(timespec="seconds")
        said = Challenge(station.station, part.part, named.shot.tray, at, by, found.asked, found.pieces, found.missed)
        file_challenge(store, said)
    for one in found.missed:
        click.echo(f"not rejected: {one}")
    click.echo(f"{said.station}: {said.verdict}; {found.pieces} pieces with {', '.join(found.asked)}")
    if said.verdict == "stop":
        sys.exit(3)
