"""`brightbowl part`: from a drawing as it comes, or a photograph of a master piece, to part.toml."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from app.cli.finite import Finite
from vision.errors import Unusable

if TYPE_CHECKING:
    from vision.drafting import Choices, PartDraft, Views
    from vision.formats import Sheet
    from vision.records import Station

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
_NEW_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command()
@click.argument("drawing", type=click.Path(exists=True, path_type=Path))
@click.option("--part", help="What shots and limits call it; without it, the drawing's name.")
@click.option("--name", help="What people call it; without it, as --part.")
@click.option("--works", type=_FOLDER, help="Works folder: the part goes into its place there.")
@click.option("--by", help="Who adds it to the works; without it, whose account this is in works.toml.")
@click.option("--out", type=_NEW_FOLDER, help="In place of --works: a folder for the part.")
@click.option(
    "--look",
    "picture",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Only draw what the drawing shows, into this SVG, and list it.",
)
@click.option("--unit", help="The drawing's unit: mm, cm, m, in, ft, mil, um; without it, as the drawing says.")
@click.option("--scale", type=Finite(), help="How many times as large as drawn the piece is; without it, 1.")
@click.option("--layout", help="A layout of the paper space, in place of the model space.")
@click.option("--layer", "layers", multiple=True, help="Look at this layer only; as often as needed.")
@click.option("--view", type=click.IntRange(min=1), help="The view that is the piece, by its number.")
@click.option("--holes", help="Which loops inside the outline are punched through: all, none, or numbers as 1,3.")
@click.option("--seen", type=click.Choice(["above", "below"]), help="From where it was drawn; below is mirrored.")
@click.option(
    "--turn-deg", type=Finite(), help="Turn it by this, counter-clockwise, in place of laying its long axis along x."
)
@click.option(
    "--gap-mm", type=Finite(0.0, 1.0), default=0.02, show_default=True, help="Join ends so far apart at most."
)
@click.option("--against", type=_FOLDER, help="A tray shot: are pieces seen as large as drawn? Goes with --station.")
@click.option("--station", "station_file", type=_FILE, help="station.toml, for --against, and for a photograph.")
def command(
    drawing: Path,
    part: str | None,
    name: str | None,
    works: Path | None,
    by: str | None,
    out: Path | None,
    picture: Path | None,
    unit: str | None,
    scale: float | None,
    layout: str | None,
    layers: tuple[str, ...],
    view: int | None,
    holes: str | None,
    seen: Literal["above", "below"] | None,
    turn_deg: float | None,
    gap_mm: float,
    against: Path | None,
    station_file: Path | None,
) -> None:
    """Make part.toml from DRAWING, with the outline that it uses and a picture with zones and numbers.

    DRAWING is DXF (R12 to 2018), SVG or CSV; or the tray shot of a master piece, which --station traces. What a drawing
    leaves open is asked for on a terminal, and else named with the option that says it.
    """
    from vision.drafting import Choices
    from vision.formats import read_station

    if (against or drawing.is_dir()) and station_file is None:
        raise click.UsageError("--against, and the photograph of a master piece, go with --station.")
    station = None if station_file is None else read_station(station_file)
    chosen = Choices(unit, scale, layout, layers, view, None, seen, turn_deg, gap_mm)
    if holes is not None and holes not in ("all", "none"):
        chosen = _with(chosen, "--holes", holes)
    sheet, views = _read(drawing, chosen, station)
    if picture is not None:
        _show(sheet, views, picture)
        return
    if (works is None) == (out is None):
        raise click.UsageError("Give --works or --out: where the part goes; or --look, to see what the drawing shows.")
    if works is not None:
        from app.works import read_works, who_acts

        who_acts(read_works(works), by, "add a part")
    sheet, draft = _drafted(drawing, sheet, views, chosen, station, holes)
    if against is not None and station is not None:
        _hold_against(against, station, draft)
    made = part or drawing.stem
    folder = out or _place(works, made)
    from app.report import write_part_folder

    written = write_part_folder(folder, sheet, draft, made, name or made)
    for line in draft.notes:
        click.echo(line)
    length, width = draft.laid.outline.max(axis=0) - draft.laid.outline.min(axis=0)
    zones = ", ".join(f"{zone.name} {zone.x_mm[0]:g} to {zone.x_mm[1]:g}" for zone in written.zones)
    click.echo(f"{made}: {length:.3f} x {width:.3f} mm, {len(written.holes)} holes; zones: {zones}")
    click.echo(
        f"wrote {folder / 'part.toml'}, outline.dxf and part-sheet.svg beside it: look at zones and numbers there"
    )


def _place(works: Path | None, part: str) -> Path:
    from app.works import read_works

    assert works is not None
    return read_works(works).part_file(part).parent


def _read(drawing: Path, chosen: Choices, station: Station | None) -> tuple[Sheet, Views]:
    from vision.drafting import look, trace_master
    from vision.formats import read_sheet, read_shot

    if drawing.is_dir():
        assert station is not None
        sheet = trace_master(read_shot(drawing), station)
    else:
        sheet = read_sheet(drawing, chosen.unit, 1.0 if chosen.scale is None else chosen.scale, chosen.layout)
    return sheet, look(sheet, chosen)


def _drafted(
    drawing: Path, sheet: Sheet, views: Views, chosen: Choices, station: Station | None, holes: str | None
) -> tuple[Sheet, PartDraft]:
    """The draft; on a terminal a person is asked for what it lacks, one question at a time."""
    from vision.drafting import draft_part

    if drawing.is_dir():
        chosen = replace(chosen, seen="above")  # as the camera sees it
    while True:
        try:
            return sheet, draft_part(sheet, views, _holes_of(views, chosen, holes))
        except Unusable as question:
            if not (question.what.startswith("--") and sys.stdin.isatty()):
                raise
            click.echo(f"{question.expected}{f' ({question.found})' if question.found else ''}", err=True)
            answer = click.prompt(question.what, err=True)
            if question.what == "--holes":
                holes = answer
            chosen = _with(chosen, question.what, answer)
            sheet, views = _read(drawing, chosen, station)


def _holes_of(views: Views, chosen: Choices, holes: str | None) -> Choices:
    """The word `all` or `none` as numbers, once the view is known."""
    if holes not in ("all", "none"):
        return chosen
    view = next((one for one in views.views if one.number == (chosen.view or 1)), None)
    inner = () if view is None or holes == "none" else range(1, len(view.inner) + 1)
    return replace(chosen, holes=tuple(inner))


def _with(chosen: Choices, option: str, answer: str) -> Choices:
    """The choices with one answer more, as its option would give it."""
    text = answer.strip()
    try:
        if option == "--unit":
            return replace(chosen, unit=text)
        if option == "--scale":
            return replace(chosen, scale=float(text))
        if option == "--view":
            return replace(chosen, view=int(text))
        if option == "--seen" and text in ("above", "below"):
            return replace(chosen, seen="above" if text == "above" else "below")
        if option == "--holes":
            return chosen if text in ("all", "none") else replace(chosen, holes=tuple(map(int, text.split(","))))
    except ValueError:
        pass
    raise Unusable(option, "", "an answer as the question says expected", text)


def _hold_against(shot: Path, station: Station, draft: PartDraft) -> None:
    """Refuse a drawing that is not as large as the camera sees its pieces."""
    from vision.drafting import length_doubt
    from vision.formats import read_shot

    doubt = length_doubt(draft.laid.outline, read_shot(shot), station)
    if doubt:
        raise Unusable(shot, "", f"pieces as large as drawn expected: {doubt}")


def _show(sheet: Sheet, views: Views, picture: Path) -> None:
    from app.report import draw_found
    from vision.formats import write_atomic

    write_atomic(picture, draw_found(sheet, views))
    unit = sheet.unit.name if sheet.unit else "no unit named: taken as millimetres here"
    click.echo(f"{sheet.path}: {unit}; layers (curves): {', '.join(f'{k} ({v})' for k, v in sheet.layers.items())}")
    for view in views.views:
        click.echo(f"{view.words}, {len(view.inner)} loops inside")
    for line in (*sheet.notes, *views.notes):
        click.echo(line)
    if views.doubt:
        click.echo(f"a person must choose: {views.doubt}")
    click.echo(f"look at {picture}")
