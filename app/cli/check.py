"""`brightbowl check`: a reference piece measured again, its drift, pass or stop."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from math import hypot
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.store import Store
    from app.works import Works
    from vision.calibrate import Budget, ReferenceValue
    from vision.formats import Check, Reference
    from vision.records import MeasuredPiece, Station, Value

_NAMED = 10  # trays that a line names; the page lists all
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--part", type=_FILE, help="The reference piece's part.toml.")
@click.option("--station", type=_FILE, help="The station to be checked.")
@click.option("--reference", type=_FILE, help="What the reference piece is known to measure.")
@click.option(
    "--history",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The station's checks, a line each; this one is added, and charts go beside it.",
)
@click.option(
    "--works",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Works folder, in place of these four: FOLDER's shot.json names part and station, reference.toml lies beside "
    "part.toml, the history in checks/STATION.jsonl.",
)
@click.option("--store", "store_address", help="Store to file the checks in; the works' own with --works.")
def command(
    folder: Path,
    part: Path | None,
    station: Path | None,
    reference: Path | None,
    history: Path | None,
    works: Path | None,
    store_address: str | None,
) -> None:
    """Check a station with a reference piece, each shift.

    FOLDER is a shot of the reference piece alone on the tray. Its values are held against the known ones and against
    the checks since calibration. After a stop (exit code 3), calibrate again; trays since the last good check are to be
    judged again.
    """
    from app.report import check_page, stamp_of, write_page
    from app.works import open_chosen, read_works
    from vision.calibrate import check_reference
    from vision.formats import (
        Check,
        append_check,
        last_good,
        of_calibration,
        read_checks,
        read_reference,
        read_station,
    )

    place = read_works(works) if works is not None else None
    if place is not None:
        lying = _in_works(place, folder)
        part, station, reference, history = lying.part, lying.station, lying.reference, lying.history
    if not (part and station and reference and history):
        raise click.UsageError("Give --part, --station, --reference and --history, or --works in place of all four.")
    known, camera, checks = read_reference(reference), read_station(station), read_checks(history)
    digest = sha256(station.read_bytes()).hexdigest()
    piece = _measured(folder, part, camera, known)
    found = {value.name: _of(piece.measures, value.name) for value in known.values}
    since = of_calibration(checks, camera.station, digest, known.reference)
    references = _references(known, piece)
    result = check_reference(references, found, _earlier(since, found))
    now = datetime.now(UTC).isoformat(timespec="seconds")
    check = Check(camera.station, digest, known.reference, now, result.verdict, result.reasons, found, result.drifts)
    append_check(history, check)
    charts = history.with_suffix(".html")
    for drift in result.drifts:
        limits = f"limits {drift.single_limit:.2g} and {drift.mean_limit:.2g}"
        click.echo(
            f"{drift.measure}: off by {drift.deviation:+.4g}, weighted mean {drift.weighted_mean:+.4g} ({limits})"
        )
    for reason in result.reasons:
        click.echo(f"stop: {reason}")
    if result.verdict == "stop":
        good = last_good(checks, camera.station)
        click.echo(f"judge again: trays of {camera.station} taken {f'after {good}' if good else 'at any time'}")
    stamp = None
    if place is not None or store_address is not None:
        with closing(open_chosen(works, store_address)[0]) as store:
            _file(store, (*checks, check))
            stamp = stamp_of(store, None if place is None else place.folder)
    write_page(check_page((*since, check), _budgets(known, piece)), charts, stamp, pdf=False)
    click.echo(f"{camera.station}: {result.verdict}; added to {history}, charts in {charts}")
    if result.verdict == "stop":
        sys.exit(3)


@dataclass(frozen=True, slots=True)
class _Files:
    """What a shot of a reference piece is checked by."""

    part: Path
    station: Path
    reference: Path
    history: Path


def _in_works(place: Works, folder: Path) -> _Files:
    """The files of a shot of the reference piece, by their places in a works folder."""
    from app.works import shot_in

    named = shot_in(place, folder)
    part_file = place.part_file(named.part)
    reference = part_file.with_name("reference.toml")
    return _Files(part_file, place.station_file(named.station), reference, place.checks_file(named.station))


def _file(store: Store, checks: Sequence[Check]) -> None:
    """File the whole history, of which the store may lack more than this check, and name the trays in doubt."""
    from app.store import file_checks, suspect_trays

    file_checks(store, checks)
    station = checks[-1].station
    suspect = [tray for tray in suspect_trays(store) if tray.station == station]
    named = ", ".join(tray.tray for tray in suspect[:_NAMED]) + (", ..." if len(suspect) > _NAMED else "")
    if suspect:
        click.echo(f"to be judged again, of {station} in the store: {len(suspect)} ({named})")


def _measured(folder: Path, part: Path, camera: Station, known: Reference) -> MeasuredPiece:
    """The one piece of the shot."""
    from vision.formats import read_frames, read_part, read_shot
    from vision.pipeline import measure_tray

    drawing = read_part(part)
    if drawing.part != known.part:
        raise Unusable("--reference", "part", f"the part of --part, {drawing.part}", known.part)
    pictures = read_frames(read_shot(folder, (camera,)), camera)
    pieces = measure_tray(pictures, drawing, camera).pieces
    if len(pieces) != 1:
        raise Unusable(folder, "", "a shot of the reference piece alone on the tray", f"{len(pieces)} pieces")
    if pieces[0].fault:
        raise Unusable(folder, "", "a reference piece that can be measured: clean it and lay it anew", pieces[0].fault)
    return pieces[0]


def _of(values: Mapping[str, Value], name: str) -> float | None:
    """The value of `measure` or `measure.zone`."""
    measure, _, zone = name.partition(".")
    value = values.get(measure)
    if isinstance(value, Mapping):
        return value.get(zone)
    return None if zone else value


def _references(known: Reference, piece: MeasuredPiece) -> list[ReferenceValue]:
    """Known values with their uncertainties: the certificate's and the station's are common to all checks."""
    from vision.calibrate import ReferenceValue

    return [
        ReferenceValue(
            value.name,
            value.value,
            hypot(value.uncertainty, _of(piece.uncertainties, value.name) or 0.0),
            value.repeatability,
        )
        for value in known.values
    ]


def _budgets(known: Reference, piece: MeasuredPiece) -> list[tuple[str, Budget]]:
    """What each deviation of the reference piece is uncertain by: certificate, laying, and the measurement's own."""
    from vision.calibrate import Contribution, measure_budget

    budgets = []
    for value in known.values:
        measure, _, zone = value.name.partition(".")
        if components := piece.uncertainty_components.get(measure, {}).get(zone):
            certificate = Contribution("certificate", value.uncertainty, source=known.reference)
            laying = Contribution("repeatability", value.repeatability, source="laying it anew, as its file says")
            budgets.append((value.name, measure_budget(components, (certificate, laying))))
    return budgets


def _earlier(since: Sequence[Check], names: Iterable[str]) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {name: [] for name in names}
    for check in since:
        for name, values in found.items():
            if (value := check.values.get(name)) is not None:
                values.append(value)
    return found
