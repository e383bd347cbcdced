"""`brightbowl pod`: what a station can see, by planting known marks into its own clean frames."""

import sys
from pathlib import Path

import click

from app.cli.head_of_works import head_of_works, head_option
from app.cli.inspect import keep_to_one_core
from vision.errors import Unusable

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_AT_ONCE = 14  # marks planted into a piece at once: more would stand in each other's way


@click.command()
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--part", "part_file", type=_FILE, required=True, help="part.toml with its [surface].")
@click.option("--station", "station_file", type=_FILE, required=True, help="The station that took the frames.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="For pod.json, pod.html.")
@click.option("--planted", type=click.IntRange(min=20), default=400, show_default=True, help="Marks to plant, in all.")
@click.option("--seed", type=int, default=1, show_default=True, help="Of places, sizes and contrasts.")
@click.option("--pdf", is_flag=True, help="Write pod.pdf too.")
@head_option
def command(
    folders: tuple[Path, ...],
    part_file: Path,
    station_file: Path,
    out: Path,
    planted: int,
    seed: int,
    pdf: bool,
    works: Path | None,
) -> None:
    """State what scratches and pits a station finds.

    FOLDER is a shot of clean pieces lit from the front, or a folder of such. Marks of known size and contrast are
    planted into its frames and scored as on any tray.
    """
    keep_to_one_core()
    import numpy as np

    from app.report import axis_words, curve_words, examples, pod_page, pod_table, study_folder, write_page
    from app.run import Sown, false_findings, sow
    from app.studies import json_text, study_pod
    from vision.face import FaceInputs
    from vision.formats import find_shots, read_frames, read_part, read_shot, read_station, write_atomic
    from vision.pipeline import faces_of

    part, station, stamp = read_part(part_file), read_station(station_file), head_of_works(works)
    if part.surface is None:
        raise Unusable(part_file, "surface", "the scored area of the polished face, [surface]", "none")
    views: list[FaceInputs] = []
    for folder in find_shots(folders, stations=(station,)):
        pictures = read_frames(read_shot(folder, (station,)), station)
        if pictures.dome is None and not pictures.low:
            raise Unusable(folder, "frames", "frames lit from the front, dome or low", "only the backlit one")
        views += faces_of(pictures, part, station).values()
    if not views:
        raise Unusable(", ".join(map(str, folders)), "", "shots that show pieces of this part", "no piece")
    study_folder(out)
    false, rng = false_findings(views), np.random.default_rng(seed)
    sown: list[Sown] = []
    with click.progressbar(length=planted, label="planting", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        while (left := planted - sum(len(one.marks) for one in sown)) > 0:
            sown.append(sow(views[len(sown) % len(views)], min(_AT_ONCE, left), rng))
            bar.update(len(sown[-1].marks))
            if len(sown) >= 4 * planted // _AT_ONCE + 4:
                raise Unusable(part_file, "surface", "room for marks 4 mm apart on the scored area", "hardly any")
    # Views come again once each has its marks: the same piece, whatever was planted into it.
    pieces = [k % len(views) for k, one in enumerate(sown) for _ in one.marks]
    study = study_pod([mark for one in sown for mark in one.marks], false, pieces)
    write_atomic(out / "pod.json", json_text(pod_table(study)))
    about = f"Part {part.part}, station {station.station}, {len(views)} pieces, seed {seed}"
    page = pod_page(study, examples(sown), about)
    written = [out / "pod.json", *write_page(page, out / "pod.html", stamp, pdf=pdf)]
    for curve in study.curves:
        click.echo(f"{curve.kind}, {axis_words(curve)}: {curve_words(curve)}")
    click.echo(f"false findings on these frames as they came: {study.false_a_piece:.2f} a piece")
    click.echo(f"written: {', '.join(map(str, written))}")
