"""A works that judges what was rendered: part, station and limits of a rendered folder put in their places."""

from collections.abc import Sequence
from pathlib import Path

from app.works.folder import Person, Works, new_works


def works_of(rendered: Path, folder: Path, people: Sequence[Person] = ()) -> Works:
    """Make a works of TS-135 and ST-1 in `folder`; the rendered files move into it."""
    works = new_works(folder, "Aldermoor Flatware Works", tuple(people))
    part = works.part_file("TS-135")
    part.parent.mkdir()
    for name, place in (
        ("part.toml", part),
        ("outline.dxf", part.with_name("outline.dxf")),
        ("station.toml", works.station_file("ST-1")),
        ("limits.toml", works.limits_file("TS-135")),
    ):
        (rendered / name).rename(place)
    return works
