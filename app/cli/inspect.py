"""`brightbowl inspect`: tray shots to verdicts with reasons and pictures."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from app.run.session import Summary
    from app.run.shot import Work

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--part", "part_file", required=True, type=_FILE, help="part.toml: drawing, zones, scored area.")
@click.option("--station", "station_file", required=True, type=_FILE, help="station.toml: the calibrated camera.")
@click.option("--limits", "limits_file", required=True, type=_FILE, help="limits.toml: what passes.")
@click.option(
    "--out",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results: one folder a tray, pieces.csv, index.html.",
)
@click.option("--no-pictures", is_flag=True, help="Write results and pieces.csv only.")
@click.option("--jobs", type=click.IntRange(min=1), default=1, show_default=True, help="Trays judged side by side.")
def command(
    folders: tuple[Path, ...],
    part_file: Path,
    station_file: Path,
    limits_file: Path,
    out: Path,
    no_pictures: bool,
    jobs: int,
) -> None:
    """Judge tray shots: find, measure and score every piece, with reasons.

    Each FOLDER is a tray shot, or a folder of them. The exit code is 0 whatever the verdicts.
    """
    keep_to_one_core()
    from app.run.shot import Work
    from vision.decide.limits_fit import check_limits
    from vision.files.limits import read_limits
    from vision.files.part import read_part
    from vision.files.shot import find_shots, is_shot, read_shot
    from vision.files.station import read_station

    part, station = read_part(part_file), read_station(station_file)
    limits = read_limits(limits_file, part)
    check_limits(limits, station, limits_file)
    shots = find_shots(folders, leave_out=out)
    if not any(is_shot(shot) for shot in shots):
        for shot in shots:
            read_shot(shot)  # says what is wrong with it
        raise Unusable(", ".join(map(str, folders)), "", "a tray shot or a folder of them expected", "none")
    make_out(out)
    summary = run_and_show(shots, Work(part, station, limits, out, not no_pictures), jobs)
    if summary.failures:
        sys.exit(1)


def keep_to_one_core() -> None:
    """Keep number libraries to one thread a process; to be called before NumPy is first imported."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def make_out(out: Path) -> None:
    """Make the folder of results and try to write in it, before any work is done.

    Raises
    ------
    Unusable
        Where it can't be made or written.
    """
    from vision.files.whole import write_whole

    trial = out / ".brightbowl-trial"
    try:
        out.mkdir(parents=True, exist_ok=True)
        write_whole(trial, "")
        trial.unlink()
    except (OSError, Unusable) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else fault.found
        raise Unusable(out, "--out", "a folder that can be written expected; choose another", reason or "") from None


def run_and_show(shots: tuple[Path, ...], work: Work, jobs: int) -> Summary:
    """Judge the shots behind a progress bar, then print what came out, failures last on stderr."""
    from app.run.session import PIECES_FILE, run

    with click.progressbar(
        length=len(shots), label="judging trays", file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        summary = run(shots, work, jobs, lambda: bar.update(1))
    for line in summary.lines():
        click.echo(line)
    look = f"look at {work.out / 'index.html'}, " if work.pictures and summary.trays else ""
    click.echo(f"{look}results in {work.out}, a row a piece in {work.out / PIECES_FILE}")
    for failure in summary.failures:
        click.echo(f"brightbowl: {failure}", err=True)
    return summary
