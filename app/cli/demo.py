"""`brightbowl demo`: a whole invented works, rendered and judged by the commands that a works would type."""

from __future__ import annotations

import shutil
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.calling import call
from app.cli.inspect import keep_to_one_core, make_out
from vision.errors import Unusable

if TYPE_CHECKING:
    from synthetic_images import DemoLine, DemoWorks

PEOPLE = (("R. Hale", ("review", "tune", "release")), ("M. Okafor", ("review",)), ("J. Lind", ("read",)))
WHY = "as agreed with the customer"
_MADE = "demo.txt"  # written last, so that one that was broken off is not taken for whole


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("brightbowl-demo"),
    show_default=True,
    help="The works folder that is made.",
)
@click.option("--trays", type=click.IntRange(min=3), default=12, show_default=True, help="How many tray shots in all.")
@click.option("--jobs", type=click.IntRange(min=1), default=2, show_default=True, help="Trays judged side by side.")
def command(out: Path, trays: int, jobs: int) -> None:
    """Make the invented Aldermoor Flatware Works whole: rendered trays judged, lots released, people at work.

    OUT is a works folder: teaspoons and dessert spoons under backlight, polished faces, two dies followed over their
    strokes, a reference piece with its checks, and what people said. A second call finds it and is quick.
    """
    keep_to_one_core()
    from vision.formats import write_atomic

    if (out / _MADE).exists():
        click.echo(f"{out} is there already (to make it anew, take it away first)")
        _say_where(out)
        return
    make_out(out)
    works = str(out)
    call("new", works, "--name", "Aldermoor Flatware Works")
    for name, roles in PEOPLE:
        call("person", name, *(word for role in roles for word in ("--role", role)), "--works", works)
    made = _rendered(out, trays)
    failed = False
    ruling: dict[str, str] = {}
    for line in made.lines:
        click.echo(f"\n{line.part_file.parent.name}:")
        _put_in_place(out, line)
        limits = line.limits_file.read_text(encoding="utf-8")
        if ruling.get(line.part) != limits:  # the faces have limits that the outlines before them had not
            if line.part in ruling:
                line.limits_file.write_text(limits.replace("revision = 1", "revision = 2"), encoding="utf-8")
            ruling[line.part] = limits
            call("limits", "release", str(line.limits_file), "--works", works, "--by", "R. Hale", "--why", WHY)
        failed |= _went_wrong("inspect", str(line.shots), "--works", works, "--jobs", str(jobs))
    click.echo("\nthe station's checks, and what people said:")
    shutil.copy(made.reference / "reference.toml", out / "parts" / "TS-135" / "reference.toml")
    for shot in sorted(made.reference.glob("REF-*")):
        failed |= _went_wrong("check", str(shot), "--works", works)
    _people_at_work(out)
    write_atomic(out / _MADE, "A works of brightbowl's demo: everything in it is invented.\n")
    click.echo()
    _say_where(out)
    if failed:
        sys.exit(1)


def _rendered(out: Path, trays: int) -> DemoWorks:
    from synthetic_images import demo_steps, render_demo

    with click.progressbar(
        length=demo_steps(trays), label=f"rendering {trays} trays and more", file=sys.stderr
    ) as progress:
        try:
            return render_demo(out, trays, rendered=lambda: progress.update(1))
        except OSError as fault:
            raise Unusable(out, "", "a folder with space for the frames expected", str(fault)) from None


def _put_in_place(works: Path, line: DemoLine) -> None:
    """A line's part and station where the works looks for them."""
    from vision.formats import read_station

    part = works / "parts" / line.part
    part.mkdir(exist_ok=True)
    for file in (line.part_file, line.part_file.with_name("outline.dxf")):
        shutil.copy(file, part / file.name)
    shutil.copy(line.station_file, works / "stations" / f"{read_station(line.station_file).station}.toml")


def _went_wrong(*words: str) -> bool:
    """Run a command of which a part may fail, as it says by its exit code."""
    try:
        call(*words)
    except SystemExit as ended:
        return bool(ended.code)
    return False


def _people_at_work(works: Path) -> None:
    """Verdicts, lots decided on, and a blind round half done."""
    from app.run import half_a_blind_round, judge_the_queue
    from app.store import list_lots
    from app.works import read_works

    with closing(read_works(works).open()) as store:
        lots = [lot.lot for lot in list_lots(store)]
        for lot in lots[:2]:
            click.echo(f"M. Okafor gives {judge_the_queue(store, lot, 'M. Okafor')} verdicts on lot {lot}")
    decided = ("--works", str(works), "--by", "R. Hale")
    call("lot", lots[0], "--release", *decided, "--why", "every piece that waited was looked at")
    if len(lots) > 1:
        call("lot", lots[1], "--hold", *decided, "--why", "the die is to be looked at first")
    asked = lots[min(2, len(lots) - 1)]
    with closing(read_works(works).open()) as store:
        done, of = half_a_blind_round(store, asked, "November", "R. Hale", "M. Okafor")
    click.echo(f"a blind round, November, on lot {asked}: M. Okafor has judged {done} of {of}")


def _say_where(works: Path) -> None:
    click.echo(f"pictures to calibrate by: {works}/pictures; clean faces for pod: {works}/clean-faces")
    click.echo(f"results to look at: {works}/results/*/*/index.html")
    click.echo(f"open the pages: brightbowl serve --works {works}")
