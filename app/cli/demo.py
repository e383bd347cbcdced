"""`brightbowl demo`: an invented works' trays, rendered and judged."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.inspect import keep_to_one_core, make_out, quiet, run_and_show

if TYPE_CHECKING:
    from synthetic_images.families import Family

# Part, what makes its trays hard, and how many: a teaspoon lot, and one of dessert spoons with a hanging hole.
_LOTS: tuple[tuple[str, Family, int], ...] = (("TS-135", "plain", 8), ("DS-182", "punched", 4))
# Draws the same defects each time; the lot's number.
_NUMBER = 2611


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("brightbowl-demo"),
    show_default=True,
    help="Folder for the rendered shots and their results.",
)
@click.option("--jobs", type=click.IntRange(min=1), default=2, show_default=True, help="Trays judged side by side.")
def command(out: Path, jobs: int) -> None:
    """Render a demo lot of the invented Aldermoor Flatware Works and judge it.

    Writes OUT/shots, a folder a part with its part, station and limits, and OUT/results, a folder a part.
    """
    keep_to_one_core()
    from app.run.shot import Work
    from synthetic_images.shots import Order, render_shots
    from synthetic_images.spoons import PATTERNS
    from vision.files.limits import read_limits
    from vision.files.part import read_part
    from vision.files.shot import find_shots
    from vision.files.station import read_station

    make_out(out)
    failures: list[str] = []
    for name, family, trays in _LOTS:
        lot = out / "shots" / name
        with click.progressbar(length=trays, label=f"rendering {name}", file=sys.stderr, hidden=quiet()) as bar:
            for _shot in render_shots(lot, Order(family, PATTERNS[name], trays, _NUMBER)):
                bar.update(1)
        part = read_part(lot / "part.toml")
        work = Work(
            part,
            read_station(lot / "station.toml"),
            read_limits(lot / "limits.toml", part),
            out / "results" / part.part,
        )
        make_out(work.out)
        click.echo(f"{part.name} ({part.part}), rendered in {lot}")
        failures += run_and_show(find_shots([lot]), work, jobs).failures
    if failures:
        sys.exit(1)
