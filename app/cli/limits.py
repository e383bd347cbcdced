"""`brightbowl limits`: a part's limits from the first draft to the revision in force."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from app.works import WORKS_FILE
from vision.decide import SOURCE, GeneralClass, Wanted
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.store import Revision
    from app.works import Works
    from vision.records import Limits

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
_works = click.option("--works", type=_FOLDER, help="Works folder, with parts, stations and store.")
_in_works = click.option("--works", type=_FOLDER, required=True, help="Works folder, with parts, stations and store.")


def _acting(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options of a command that a person answers for."""
    by = click.option("--by", help=f"Who releases; without it, whose account this is in {WORKS_FILE}.")
    return by(click.option("--why", required=True, help="Why; kept with the revision.")(command))


@click.group()
def command() -> None:
    """A part's limits: draft, check, compare, release, go back."""


@command.command()
@click.option("--part", "part_file", type=_FILE, required=True, help="part.toml, with its drawing.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="The draft; a new file.")
@click.option(
    "--general",
    type=click.Choice(get_args(GeneralClass)),
    help="General tolerances of ISO 2768-1: f fine, m medium, c coarse, v very coarse.",
)
@click.option(
    "--tolerance",
    "given",
    multiple=True,
    metavar="NAME=VALUE",
    help="Of one measure, such as length_mm=0.2 or outline_out_mm.bowl=0.15: to both sides of a size, else at most.",
)
@click.option("--station", "station_file", type=_FILE, help="Hold the draft against this station's uncertainty too.")
@click.option("--revision", type=click.IntRange(min=1), default=1, show_default=True, help="Its number.")
def draft(
    part_file: Path,
    out: Path,
    general: GeneralClass | None,
    given: tuple[str, ...],
    station_file: Path | None,
    revision: int,
) -> None:
    """Make a first draft from a part: a limit for every measure that its drawing allows.

    Without --general each tolerance that --tolerance does not give is asked for; nothing typed leaves the limit out.
    """
    from vision.decide import first_draft, limit_faults, wanted_limits
    from vision.formats import left_out_words, read_part, read_station, write_limits

    if out.exists():
        raise Unusable(out, "--out", "a new file, so that nothing is overwritten", "a file that exists")
    part = read_part(part_file)
    if part.left_out:
        click.echo(f"brightbowl: {left_out_words(part_file, part.left_out)}", err=True)
    wanted = wanted_limits(part, general)
    tolerances = _read(given, wanted)
    for one in wanted:
        if one.name not in tolerances and general is not None and one.general is not None:
            tolerances[one.name] = one.general
        elif one.name not in tolerances and general is None:
            value = _asked(one)
            if value is not None:
                tolerances[one.name] = value
    made = first_draft(part, revision, wanted, tolerances)
    faults = limit_faults(made, part, None if station_file is None else read_station(station_file))
    write_limits(made, out)
    click.echo(f"{len(made.limits)} limits, draft of revision {revision}: {out}")
    if general is not None:
        click.echo(f"tolerances of class {general}: {SOURCE}; of an outline's deviation half of its zone's width's")
    left = [one.name for one in wanted if one.name not in tolerances]
    if left:
        click.echo(f"without a limit: {', '.join(left)}")
    for fault in faults:
        click.echo(f"brightbowl: {Unusable(out, fault.what, fault.expected, fault.found)}", err=True)
    if faults:
        sys.exit(1)


def _read(given: tuple[str, ...], wanted: tuple[Wanted, ...]) -> dict[str, float]:
    names = [one.name for one in wanted]
    found = {}
    for text in given:
        name, _, value = text.partition("=")
        if name not in names:
            raise Unusable("--tolerance", name, f"one of {', '.join(names)}", text)
        try:
            found[name] = float(value)
        except ValueError:
            raise Unusable("--tolerance", name, "NAME=VALUE, a number", text) from None
        if not 0.0 <= found[name] < float("inf"):
            raise Unusable("--tolerance", name, "a tolerance of 0 or more", value)
    return found


def _asked(one: Wanted) -> float | None:
    how = f"{one.as_drawn:.4g} as drawn, ±" if one.both_sides else "at most"
    answer = click.prompt(f"{one.name}: {how}", default="", show_default=False)
    return _read((f"{one.name}={answer}",), (one,))[one.name] if answer.strip() else None


@command.command()
@click.argument("file", type=_FILE)
@_works
@click.option("--part", "part_file", type=_FILE, help="part.toml, in place of --works.")
@click.option("--station", "station_file", type=_FILE, help="station.toml, in place of --works.")
def check(file: Path, works: Path | None, part_file: Path | None, station_file: Path | None) -> None:
    """Name what is wrong with limits: empty, impossible, against the drawing, the station or each other.

    The exit code is 1 where something is.
    """
    from app.works import faults_of, read_limits_of, read_works
    from vision.decide import limit_faults
    from vision.formats import read_limits, read_part, read_station

    if works is not None:
        place = read_works(works)
        limits, part = read_limits_of(place, file)
        faults = faults_of(place, limits, part)
    elif part_file is not None:
        part = read_part(part_file)
        limits = read_limits(file, part)
        faults = limit_faults(limits, part, None if station_file is None else read_station(station_file))
    else:
        raise click.UsageError("Give --works, or --part and --station in its place.")
    for fault in faults:
        click.echo(f"brightbowl: {Unusable(file, fault.what, fault.expected, fault.found)}", err=True)
    if faults:
        sys.exit(1)
    click.echo(f"{file}: {len(limits.limits)} limits, {limits.status} of revision {limits.revision}: nothing wrong")


@command.command()
@click.argument("one")
@click.argument("other")
@_in_works
@click.option("--of", "part", help="The part, where both are numbers of revisions.")
@click.option("--on", "archived", type=_FILE, help="A lot archived as Parquet: judge its pieces by both.")
def compare(one: str, other: str, works: Path, part: str | None, archived: Path | None) -> None:
    """Tell what differs between ONE and OTHER: files, or numbers of revisions that the store holds.

    With --on, what they make of an archived lot too: how many pass, and each piece that gets another verdict.
    """
    from app.works import read_works
    from vision.decide import changes

    place = read_works(works)
    before, after = (_limits(place, text, part) for text in (one, other))
    if before.part != after.part:
        raise Unusable("limits compare", "part", f"limits of one part, {before.part}", after.part)
    found = changes(before, after)
    for change in found:
        how = {True: "tighter", False: "wider", None: "other"}[change.tighter]
        click.echo(f"{change.what}: {_value(change.before)} -> {_value(change.after)} ({how})")
    if not found:
        click.echo("nothing differs")
    if archived is not None:
        _compare_on(archived, before, after)


def _compare_on(archived: Path, before: Limits, after: Limits) -> None:
    from app.store import read_archive
    from app.studies import columns_of, compare_revisions

    lot = read_archive(archived)
    part = next((tray.part for tray in lot.trays), before.part)
    if part != before.part:
        raise Unusable(archived, "part", f"a lot of {before.part}, as the limits are", part)
    found = compare_revisions(columns_of(lot.pieces()), before, after)
    for limits, counts in ((before, found.counts_before), (after, found.counts_after)):
        told = ", ".join(f"{verdict} {count}" for verdict, count in counts.items())
        click.echo(f"{archived} by revision {limits.revision}: {told}")
    for change in found.changed:
        click.echo(f"tray {change.key.tray}, piece {change.key.piece}: {change.before} -> {change.after}")


def _value(value: float | str | None) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _limits(place: Works, text: str, part: str | None) -> Limits:
    """Limits by a file or by a revision's number."""
    from app.store import revisions
    from app.works import read_limits_of

    if not text.isdecimal():
        return read_limits_of(place, Path(text))[0]
    if part is None:
        raise click.UsageError("Give --of PART with numbers of revisions.")
    with closing(place.open()) as store:
        known = {one.limits.revision: one.limits for one in revisions(store, part)}
    if int(text) not in known:
        raise Unusable(f"limits of {part}", "revision", f"one of {', '.join(map(str, known)) or 'none yet'}", text)
    return known[int(text)]


@command.command()
@click.argument("file", type=_FILE)
@_in_works
@_acting
def release(file: Path, works: Path, by: str | None, why: str) -> None:
    """Put the limits in FILE into force: kept in the store as released, written into their place in the works."""
    from app.works import read_works, release_file, who_acts

    place = read_works(works)
    acted = who_acts(place, by, "release limits", why)
    with closing(place.open()) as store:
        released = release_file(store, place, file, acted)
    _say_in_force(place, released)


@command.command()
@click.argument("revision", type=click.IntRange(min=1))
@click.option("--of", "part", required=True, help="The part.")
@_in_works
@_acting
def back(revision: int, part: str, works: Path, by: str | None, why: str) -> None:
    """Put a REVISION into force again that was before."""
    from app.works import go_back, read_works, who_acts

    place = read_works(works)
    acted = who_acts(place, by, "release limits", why)
    with closing(place.open()) as store:
        released = go_back(store, place, part, revision, acted)
    _say_in_force(place, released)


def _say_in_force(place: Works, one: Revision) -> None:
    click.echo(f"{one.limits.part}: revision {one.limits.revision} is in force, released by {_who(one)}")
    click.echo(f"written: {place.limits_file(one.limits.part)}")


@command.command("list")
@click.option("--of", "part", required=True, help="The part.")
@_in_works
def list_revisions(part: str, works: Path) -> None:
    """List every revision of a part's limits: how it stands, who put it into force, and why."""
    from app.store import revisions
    from app.works import read_works

    with closing(read_works(works).open()) as store:
        found = revisions(store, part)
    for one in found:
        said = "in force, " if one.in_force else ""
        who = f"released by {_who(one)}: {one.why}" if one.released_at else f"{one.limits.status}, filed {one.filed_at}"
        click.echo(f"revision {one.limits.revision}: {said}{who}")
    if not found:
        click.echo(f"the store holds no limits of {part} yet")


def _who(one: Revision) -> str:
    from app.report import whose_words

    return f"{whose_words(one.released_by, one.identity)} at {one.released_at}"
