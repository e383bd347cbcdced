"""`brightbowl inspect`: tray shots to verdicts with reasons and pictures."""

from __future__ import annotations

import os
import sys
from contextlib import closing, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vision.errors import Unusable

if TYPE_CHECKING:
    from collections.abc import Iterable

    from app.run import Cluster, Summary, Work
    from app.store import Store
    from app.works import Run, Works
    from vision.records import Station

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("folders", metavar="FOLDER...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--part", "part_file", type=_FILE, help="part.toml: drawing, zones, scored area.")
@click.option("--station", "station_file", type=_FILE, help="station.toml: the calibrated camera.")
@click.option("--limits", "limits_file", type=_FILE, help="limits.toml: what passes.")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results: one folder a tray, pieces.csv, index.html.",
)
@click.option(
    "--works",
    type=click.Path(file_okay=False, path_type=Path),
    help="Works folder: in place of the four files and folders above, and of FOLDER; results go into its store too.",
)
@click.option(
    "--trial",
    is_flag=True,
    help="Judge by whatever limits lie in the works, drafts too: into WORKS/trials, never into the store.",
)
@click.option("--store", metavar="URL", help="File the results in this store: a file of SQLite, or postgresql://...")
@click.option("--no-pictures", is_flag=True, help="Write results and pieces.csv only.")
@click.option("--jobs", type=click.IntRange(min=1), default=1, show_default=True, help="Trays judged side by side.")
@click.option("--scheduler", metavar="URL", help="Judge on the workers of this cluster: tcp://HOST:PORT or tls://...")
@click.option(
    "--tls",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder with ca.pem, cert.pem and key.pem that let us in, for tls://.",
)
@click.option("--plain", is_flag=True, help="A scheduler without TLS (tcp://) will do: nobody else reaches it.")
def command(
    folders: tuple[Path, ...],
    part_file: Path | None,
    station_file: Path | None,
    limits_file: Path | None,
    out: Path | None,
    works: Path | None,
    trial: bool,
    store: str | None,
    no_pictures: bool,
    jobs: int,
    scheduler: str | None,
    tls: Path | None,
    plain: bool,
) -> None:
    """Judge tray shots: find, measure and score every piece, with reasons.

    Each FOLDER is a tray shot, or a folder of them. The exit code is 0 whatever the verdicts. What goes into a store is
    judged by the limits in force there (brightbowl limits release); without a store drafts judge too, and say so.
    """
    keep_to_one_core()
    from app.run import read_cluster
    from app.works import Run, runs_of, shots_in_use

    side_by_side: int | Cluster = jobs
    if scheduler is not None:
        side_by_side = read_cluster(scheduler, tls, plain)
    elif tls is not None or plain:
        raise click.UsageError(f"{'--tls' if tls is not None else '--plain'} goes with --scheduler.")
    if trial and works is None:
        raise click.UsageError("--trial goes with --works.")
    place, opened = None, None
    failures: list[str] = []
    if works is not None:
        from app.works import open_chosen

        opened, place = open_chosen(works, store)
        assert place is not None
        runs, failures = runs_of(place, _shots(folders or (place.shots,), place.results, place.stations()))
        for failure in failures:
            click.echo(f"brightbowl: {failure}", err=True)
    else:
        files = {
            "FOLDER...": folders,
            "--part": part_file,
            "--station": station_file,
            "--limits": limits_file,
            "--out": out,
        }
        if not (folders and part_file and station_file and limits_file and out):
            missing = next(name for name, value in files.items() if not value)
            raise click.UsageError(f"Missing '{missing}'; give it, or --works in place of all files and folders.")
        if store is not None:
            from app.store import open_store

            opened = open_store(store)
        from vision.formats import read_station

        shots = _shots(folders, out, (read_station(station_file),))
        runs = [Run(part_file, station_file, limits_file, out, shots)]
    with closing(opened) if opened is not None else nullcontext(), shots_in_use(place):
        ready, refused = _ready(runs, not no_pictures, opened, place, trial)
        if refused and not ready:
            raise refused[0]
        for one in refused:
            click.echo(f"brightbowl: {one}", err=True)
        failures += map(str, refused)
        for _, work in ready:
            make_out(work.out)
        for run, work in ready:
            failures += _inspect(run, work, side_by_side, None if trial else opened, place)
    if failures:
        sys.exit(1)


def _shots(folders: tuple[Path, ...], results: Path, stations: Iterable[Station]) -> tuple[Path, ...]:
    """The shots in some folders, at least one."""
    from vision.formats import find_shots, is_shot, read_shot

    known = tuple(stations)
    shots = find_shots(folders, leave_out=results, stations=known)
    if not any(is_shot(shot, known) for shot in shots):
        for shot in shots:
            read_shot(shot, known)  # says what is wrong with it
        raise Unusable(", ".join(map(str, folders)), "", "a tray shot or a folder of them expected", "none")
    return shots


def _ready(
    runs: list[Run], pictures: bool, store: Store | None, works: Works | None, trial: bool
) -> tuple[list[tuple[Run, Work]], list[Unusable]]:
    """Runs with what judges them, and why others can't be judged: their limits are not those in force."""
    from app.run import read_work
    from vision.formats import left_out_words

    ready, refused = [], []
    for run in runs:
        work = read_work(run, pictures)
        if work.part.left_out:
            click.echo(f"brightbowl: {left_out_words(run.part_file, work.part.left_out)}", err=True)
        if store is not None:
            from app.report import stamp_of
            from app.works import limits_judging

            try:
                standing = limits_judging(store, works, work.limits, run.limits_file, trial)
            except Unusable as fault:
                refused.append(fault)
                continue
            out = run.out if works is None or not trial else works.trials / run.out.relative_to(works.results)
            stamp = stamp_of(store, None if works is None else works.folder) if pictures else None
            work = replace(work, standing=standing, out=out, stamp=stamp)
        ready.append((run, work))
    return ready, refused


def _inspect(run: Run, work: Work, jobs: int | Cluster, store: Store | None, works: Works | None) -> list[str]:
    """Judge the shots of one run and file the results; what failed, which was told by then."""
    summary = run_and_show(run.shots, work, jobs)
    failures = summary.failures
    if store is None:
        return failures
    from app.works import JudgedBy, file_run

    filed = file_run(store, works, run, summary.folders, JudgedBy(work.part, work.station, work.limits))
    click.echo(
        f"{filed.new} new judgements in {store.url}, {filed.known} were there before; "
        f"what stands changed on {filed.changed} of {filed.trays} trays"
    )
    if filed.stayed:
        click.echo(f"filed, but of a shot that was taken again since: {', '.join(filed.stayed)}")
    for failure in filed.failures:
        click.echo(f"brightbowl: {failure}", err=True)
    return [*failures, *filed.failures]


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
    from vision.formats import write_atomic

    trial = out / ".brightbowl-trial"
    try:
        out.mkdir(parents=True, exist_ok=True)
        write_atomic(trial, "")
        trial.unlink()
    except (OSError, Unusable) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else fault.found
        raise Unusable(out, "--out", "a folder that can be written expected; choose another", reason or "") from None


def run_and_show(shots: tuple[Path, ...], work: Work, jobs: int | Cluster) -> Summary:
    """Judge the shots behind a progress bar, then print what came out, failures last on stderr."""
    from app.run import PIECES_FILE, run

    with click.progressbar(
        length=len(shots),
        label="judging trays",
        item_show_func=lambda words: words,
        file=sys.stderr,
        hidden=not sys.stderr.isatty(),
    ) as bar:

        def seen(ended: int, words: str) -> None:
            bar.update(ended, words or bar.current_item)
            bar.render_progress()

        summary = run(shots, work, jobs, seen)
    for line in summary.lines():
        click.echo(line)
    look = f"look at {work.out / 'index.html'}, " if work.pictures and summary.trays else ""
    click.echo(f"{look}results in {work.out}, a row a piece in {work.out / PIECES_FILE}")
    for failure in summary.failures:
        click.echo(f"brightbowl: {failure}", err=True)
    return summary
