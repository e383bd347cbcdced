"""`brightbowl correct`: a station's bias, as its checks show it, taken out by a revision with name and reason."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.works import Works
    from vision.records import CorrectedValue, Station


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--station", "name", required=True, help="The station.")
@click.option("--part", required=True, help="The part whose reference piece was checked.")
@click.option("--by", help="Who corrects; without it, whose account this is in works.toml.")
@click.option("--why", required=True, help="Why; kept with the revision, and named in every result.")
@click.option("--withdraw", is_flag=True, help="Take nothing out any more.")
def command(works: Path, name: str, part: str, by: str | None, why: str, withdraw: bool) -> None:
    """Take a station's bias out of a part's measures.

    The bias is the mean of the checks with the part's reference piece since the station's calibration; only what is
    surely more than nothing is taken out. It becomes a revision in the station's file and in the store; results name
    it. The station is checked anew from then on. A calibration begins without corrections.
    """
    from app.store import file_station
    from app.works import read_works, who_acts
    from vision.decide import correction_in_force
    from vision.formats import read_station, update_station
    from vision.records import Correction

    place = read_works(works)
    acted = who_acts(place, by, "calibrate", why)
    file = place.station_file(name)
    station = read_station(file)
    earlier = correction_in_force(station, part)
    before = earlier.values if earlier else ()
    values = () if withdraw else _values(place, station, part, before)
    if values == before:
        expected = "a correction to withdraw" if withdraw else "checks that show a bias beyond its uncertainty"
        raise Unusable(file, "correction", expected, "none")
    revision = 1 + sum(one.part == part for one in station.corrections)
    at = datetime.now(UTC).isoformat(timespec="seconds")
    new = Correction(part, revision, acted.by, acted.why, at, values)
    station = replace(station, corrections=(*station.corrections, new))
    update_station(station, file, ("correction",))
    with closing(place.open()) as store:
        file_station(store, station)
    for one in values:
        click.echo(f"{one.measure}{f'.{one.zone}' if one.zone else ''}: {-one.off:+.4g} from now on (u {one.u:.2g})")
    taken = "nothing is taken out" if withdraw else f"{len(values)} values are taken out"
    click.echo(f"{name}, {part}: revision {revision} by {acted.by}, {taken}; check the station anew")


def _values(
    place: Works, station: Station, part: str, before: tuple[CorrectedValue, ...]
) -> tuple[CorrectedValue, ...]:
    """What the checks since the station's file was written show."""
    from vision.calibrate import ReferenceValue, correction_values
    from vision.formats import of_calibration, read_checks, read_reference

    file = place.station_file(station.station)
    known = read_reference(place.part_file(part).with_name("reference.toml"))
    digest = sha256(file.read_bytes()).hexdigest()
    history = place.checks_file(station.station)
    checks = of_calibration(read_checks(history), station.station, digest, known.reference)
    if not checks:
        expected = f"a check of {station.station} as it is now, with {known.reference}; run brightbowl check"
        raise Unusable(history, "", expected, "none")
    references = [ReferenceValue(one.name, one.value, one.uncertainty, one.repeatability) for one in known.values]
    return correction_values(references, [check.values for check in checks], before)
