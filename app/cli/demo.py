"""`brightbowl demo`: an invented works' trays, rendered and judged."""

import sys
from pathlib import Path

import click

from app.cli.inspect import keep_to_one_core, make_out, run_and_show
from vision.errors import Unusable


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("brightbowl-demo"),
    show_default=True,
    help="Folder for the rendered shots and their results.",
)
@click.option("--trays", type=click.IntRange(min=3), default=12, show_default=True, help="How many tray shots in all.")
@click.option("--jobs", type=click.IntRange(min=1), default=2, show_default=True, help="Trays judged side by side.")
def command(out: Path, trays: int, jobs: int) -> None:
    """Render a demo lot of the invented Aldermoor Flatware Works and judge it.

    Writes OUT/shots and OUT/results, in each a folder a line: teaspoons and dessert spoons under backlight, and the
    polished faces of teaspoons.
    """
    keep_to_one_core()
    from app.run import Work
    from synthetic_images import render_demo
    from vision.formats import find_shots, read_limits, read_part, read_station

    make_out(out)
    click.echo(f"rendering {trays} trays into {out / 'shots'}")
    try:
        works = render_demo(out / "shots", trays)
    except OSError as fault:
        raise Unusable(out / "shots", "", "a folder with space for the frames expected", str(fault)) from None
    failures: list[str] = []
    for line in works.lines:
        name = line.part_file.parent.name
        part = read_part(line.part_file)
        limits = read_limits(line.limits_file, part)
        work = Work(part, read_station(line.station_file), limits, out / "results" / name)
        make_out(work.out)
        click.echo(f"\n{name}: {part.name} ({part.part})")
        failures += run_and_show(find_shots([line.shots]), work, jobs).failures
    if failures:
        sys.exit(1)
