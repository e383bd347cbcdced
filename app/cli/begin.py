"""`brightbowl begin`: from nothing to a first judged lot, one question at a time; each step is a command too."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.cli.calling import call
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.works import Step, Works
    from vision.records import Shot, Station


@click.command()
@click.argument("works", type=click.Path(file_okay=False, path_type=Path))
@click.option("--list", "only_list", is_flag=True, help="Only say what is still missing.")
def command(works: Path, only_list: bool) -> None:
    """Lead through what WORKS needs before it judges: people, station, part, limits, first shots, first lot.

    Leave it whenever you like (Ctrl+C); what lies in the works is where it goes on. An empty answer goes to the next
    step.
    """
    from app.works import first_steps, read_works

    if not (works / "works.toml").exists():
        if only_list:
            raise Unusable(works, "", "a works folder expected; begin one with `brightbowl begin` or `brightbowl new`")
        click.echo(
            f"1 of 7, works: {works} is to be the works' folder, with parts, stations, limits, shots and results."
        )
        call("new", str(works), "--name", click.prompt("What is the works called?", default=works.resolve().name))
    for number, name in enumerate(("people", "station", "part", "limits", "shots", "lot"), 2):
        step = next(one for one in first_steps(read_works(works)) if one.name == name)
        click.echo(f"{number} of 7, {name}: {'done' if step.done else 'missing'} ({step.words})")
        if not step.done and only_list:
            click.echo(f"  {step.by_people}\n  by command: {step.command}")
        elif not step.done:
            click.echo(f"  {step.by_people}")
            _lead(step, read_works(works))
    left = [one.name for one in first_steps(read_works(works)) if not one.done]
    if left:
        click.echo(f"still missing: {', '.join(left)}; go on with: brightbowl begin {works}")
        sys.exit(1)
    click.echo(f"this works judges: brightbowl serve --works {works}")


def _lead(step: Step, works: Works) -> None:
    """Ask for one step until it is done or left; a wrong answer says what is wrong and asks again."""
    ask: dict[str, Callable[[Works], bool]] = {
        "people": _people,
        "station": _station,
        "part": _part,
        "limits": _limits,
        "shots": _shots,
        "lot": _lot,
    }
    while True:
        try:
            if not ask[step.name](works):
                click.echo(f"  left for later; by command: {step.command}")
            return
        except Unusable as fault:
            click.echo(f"  {fault}", err=True)
        except click.ClickException as fault:
            click.echo(f"  {fault.format_message()}", err=True)
        except SystemExit:
            return  # the command said what it could not do


def _answer(question: str, default: str = "") -> str:
    return str(click.prompt(f"  {question}", default=default, show_default=bool(default))).strip()


def _people(works: Works) -> bool:
    name = _answer("Who releases limits and lots? (a name; nothing: later)")
    if not name:
        return False
    call("person", name, "--role", "release", "--role", "tune", "--role", "review", "--works", str(works.folder))
    while other := _answer("Who else gives verdicts? (a name; nothing: nobody)"):
        call("person", other, "--role", "review", "--works", str(works.folder))
    return True


def _station(works: Works) -> bool:
    images = _answer("Pictures of the target: a folder, the flat one first by name (nothing: later)")
    if not images:
        return False
    files = sorted(path for path in Path(images).glob("*") if path.suffix.lower() in (".png", ".tif", ".tiff"))
    if not files:
        raise Unusable(images, "", "a folder with pictures (PNG, TIFF) expected")
    squares = _answer("Inner corners of its chessboard, such as 9x6")
    pitch = _answer("Millimetres from corner to corner")
    promise = _answer("What its maker promises for that, +- mm", "0")
    thick = _answer("How thick is it, mm (0: a film; nothing: not known)")
    name = _answer("The station's name", "ST-1")
    given = ["--target-thickness-mm", thick] if thick else []
    given += ["--squares", squares, "--pitch-mm", pitch, "--pitch-tolerance-mm", promise, "--station", name]
    call("calibrate", *map(str, files), *given, "--works", str(works.folder), *_by(works))
    return True


def _by(works: Works) -> tuple[str, ...]:
    """Who acts, where somebody is listed who may; else the command says who is missing."""
    return tuple(word for one in works.people if "tune" in one.roles for word in ("--by", one.name))[:2]


def _part(works: Works) -> bool:
    drawing = _answer("The part's drawing: DXF, SVG or CSV (nothing: later)")
    if not drawing:
        return False
    part = _answer("What shots and limits call the part", Path(drawing).stem)
    name = _answer("What people call it", part)
    call("part", drawing, "--part", part, "--name", name, "--works", str(works.folder), *_by(works))
    return True


def _limits(works: Works) -> bool:
    """A first draft for each part without limits, and its release by whoever may."""
    from app.works import without_limits

    for part in without_limits(works):
        grade = _answer(f"{part}: general tolerances of ISO 2768-1, f fine, m medium, c coarse (nothing: later)")
        if not grade:
            return False
        draft = works.folder / "limits" / f"{part}-draft-1.toml"
        draft.unlink(missing_ok=True)
        call("limits", "draft", "--part", str(works.part_file(part)), "--general", grade, "--out", str(draft))
        why = _answer(f"Look at {draft}. Why may these limits judge? (nothing: not yet)")
        if not why:
            return False
        by = next(one.name for one in works.people if "release" in one.roles)
        call("limits", "release", str(draft), "--works", str(works.folder), "--by", by, "--why", why)
    return True


def _shots(works: Works) -> bool:
    """Wait until a person has put shots there; the first must show pieces as large as their part is drawn.

    Frames come without shot.json where a station's [frames] says how its camera names them: asked for once.
    """
    from vision.formats import find_shots, is_shot, read_shot

    stations = tuple(works.stations())
    asked = any(one.frames for one in stations)
    while not (shots := [one for one in find_shots([works.shots], stations=stations) if is_shot(one, stations)]):
        if not asked:
            _frame_names(works, stations)
            asked, stations = True, tuple(works.stations())
        if _answer(f"Put tray shots into {works.shots}, then press Enter (q: later)") == "q":
            return False
    doubt = _size_doubt(works, read_shot(shots[0], stations))
    return not doubt or click.confirm(f"  {shots[0].name}: {doubt} Go on all the same?", default=False)


def _frame_names(works: Works, stations: Sequence[Station]) -> None:
    """How the first station's camera names its frames, put into its file; nothing where shots come with shot.json."""
    from app.works import who_acts
    from vision.formats import names_of_frames, update_station

    name = _answer("How does the camera name a frame, such as {lot}-{tray}-{light}.tif? (nothing: by shot.json)")
    if not name or not stations:
        return
    station, file = stations[0], works.station_file(stations[0].station)
    lights = _answer("What may {light} be: backlight, dome, low lights by azimuth", "B=back D=dome L1=0 L2=90")
    parts = sorted(path.parent.name for path in (works.folder / "parts").glob("*/part.toml"))
    part = _answer("Which part does it photograph?", parts[0] if parts else "")
    table = {"name": name, "lights": dict(map(_light, lights.split())), "part": part}
    names = names_of_frames(file, table)
    who_acts(works, next((one.name for one in works.people if "tune" in one.roles), None), "calibrate")
    update_station(replace(station, frames=names), file, ("frames",))
    click.echo(f"  [frames] written into {file}")


def _light(said: str) -> tuple[str, str | float]:
    """`B=back` or `L1=90` as what {light} may be and the light that it is."""
    code, _, light = said.partition("=")
    try:
        return code, float(light)
    except ValueError:
        return code, light


def _size_doubt(works: Works, shot: Shot) -> str:
    from vision.drafting import length_doubt
    from vision.formats import read_part, read_station

    if shot.part is None or shot.station is None:
        raise Unusable(shot.folder, "shot.json", "a shot that names its part and station expected")
    part, station = read_part(works.part_file(shot.part)), read_station(works.station_file(shot.station))
    return length_doubt(part.outline, shot, station)


def _lot(works: Works) -> bool:
    if not click.confirm(f"  Judge what lies in {works.shots} now?", default=True):
        return False
    call("inspect", "--works", str(works.folder))
    return True
