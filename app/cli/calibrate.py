"""`brightbowl calibrate`: pictures of a flat target to a station."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from app.cli.finite import Finite
from app.cli.head_of_works import head_of_works
from vision.errors import Unusable

if TYPE_CHECKING:
    from collections.abc import Callable

    from click._termui_impl import ProgressBar

    from vision.calibrate import Calibration, Observation, Target
    from vision.records import Station

# Fewer nodes than this along a side leave a lens to chance.
_LEAST_NODES = 3
_LEAST_VIEWS = 3  # for a lens
_FIRST_STATION = "ST-1"
_PERMILLE = 1000
# No target or piece on a tray is thicker.
_THICKEST_MM = 200.0
_CALLIPER_MM = 0.05  # a thickness as stated is right within +- this: common practice, no source
# The resampling draws the same numbers each time, so that the same pictures give the same station.
_DRAWS = 2611


@click.command()
@click.argument("images", metavar="IMAGE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--squares", help="Inner corners of the chessboard (or discs), such as 9x6.")
@click.option("--pitch-mm", type=float, help="From corner to corner, or from disc to disc.")
@click.option(
    "--pitch-tolerance-mm",
    type=Finite(min=0.0),
    default=0.0,
    show_default=True,
    help="What the target's maker promises: the pitch is right within +- this.",
)
@click.option(
    "--target",
    "kind",
    type=click.Choice(["chessboard", "circles"]),
    default="chessboard",
    show_default=True,
    help="What is on it.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Station to write; a report goes beside it.",
)
@click.option(
    "--works",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Works folder, in place of --out: the station goes among its stations.",
)
@click.option("--by", help="Who calibrates, with --works; without it, whose account this is in works.toml.")
@click.option("--station", help="The station's name; without it, that of the file that is there, else ST-1.")
@click.option(
    "--target-thickness-mm",
    type=Finite(min=0.0, max=_THICKEST_MM),
    help="From the tray to the target's printed face in the first picture. Without it 0 is taken, and the scale's "
    "uncertainty is wider by 3 mm over the camera's height.",
)
@click.option(
    "--edge-height-mm",
    type=Finite(min=0.0, max=_THICKEST_MM),
    default=0.0,
    show_default=True,
    help="With one picture, which tells no camera's height: mean height of the measured edges above the tray. "
    "With several, edge_height_mm of part.toml says it for each part.",
)
@click.option(
    "--camera-height-mm",
    type=Finite(min=1.0),
    help="With one picture: the lens above the tray, by a rule; several tilted pictures measure it.",
)
@click.option(
    "--lens",
    type=click.Choice(["auto", "perspective", "telecentric", "none"]),
    default="auto",
    show_default=True,
    help="Camera model: auto lets the numbers decide, none takes the first image alone.",
)
@click.option("--fix-aspect", is_flag=True, help="Take pixels for square: one focal length.")
@click.option(
    "--corner-window",
    type=click.IntRange(min=2),
    help="Calibrate as most published calibrations were: corners by OpenCV's gradient search with this half window "
    "(px), and all five distortion numbers.",
)
@click.option(
    "--leave-out-outliers", is_flag=True, help="Leave out views that do not belong; without it they are only named."
)
@click.option(
    "--full-scale",
    type=Finite(min=1.0, max=65535.0),
    help="Of 16-bit frames that use fewer bits; goes into the station.",
)
@click.option(
    "--pin-diameter-mm",
    type=Finite(min=0.0, min_open=True),
    help="In place of a target: IMAGE is a backlit frame of a polished pin or ball of this diameter alone on the tray; "
    "the backlight's half angle is measured and written into the station that is there.",
)
@click.option(
    "--pin-tolerance-mm",
    type=Finite(min=0.0),
    default=0.001,
    show_default=True,
    help="What the pin's maker promises: its diameter is right within +- this.",
)
def command(
    images: tuple[Path, ...],
    squares: str | None,
    pitch_mm: float | None,
    pitch_tolerance_mm: float,
    kind: Literal["chessboard", "circles"],
    out: Path | None,
    works: Path | None,
    by: str | None,
    station: str | None,
    target_thickness_mm: float | None,
    edge_height_mm: float,
    camera_height_mm: float | None,
    lens: Literal["auto", "perspective", "telecentric", "none"],
    fix_aspect: bool,
    corner_window: int | None,
    leave_out_outliers: bool,
    full_scale: float | None,
    pin_diameter_mm: float | None,
    pin_tolerance_mm: float,
) -> None:
    """Make a station from pictures of a flat target, or measure its backlight by a polished pin.

    One IMAGE gives scale and plane. Several give the lens from all and the tray's plane from the first, in which the
    target lies on the tray; tilt it by 20 degrees or so in the others and show it near the frame's edges.
    """
    import numpy as np

    from app.cli.calibrate_pin import measure_backlight
    from app.cli.calibrate_words import changed, said
    from app.report import calibration_page, write_page
    from vision.calibrate import Heights, LensFreedom, Settings, Target, calibrate, rectangular
    from vision.formats import GEOMETRY, update_station

    if (out is None) == (works is None):
        raise click.UsageError("Give --out, or --works in its place.")
    from app.works import acts_on, read_works

    if works is not None:
        out = read_works(works).station_file(station or _FIRST_STATION)
    assert out is not None
    if pin_diameter_mm is not None:
        measure_backlight(images, out, by, pin_diameter_mm, pin_tolerance_mm)
        return
    of_works = acts_on(out, by, "calibrate")
    if squares is None or pitch_mm is None:
        raise click.UsageError("Give --squares and --pitch-mm of the target, or --pin-diameter-mm of a pin.")
    if not out.parent.is_dir():
        raise Unusable("--out", "", "a file in a folder that exists", str(out))
    before = _before(out, station, single=len(images) == 1 and lens != "none")
    columns, rows = _count(squares)
    if not 0.0 < pitch_mm < float("inf"):
        raise Unusable("--pitch-mm", "", "a pitch above 0 mm expected", f"{pitch_mm:g}")
    if lens != "none" and len(images) > 1 and (edge_height_mm or camera_height_mm):
        raise click.UsageError("--edge-height-mm and --camera-height-mm go with one picture, or with --lens none.")
    target = Target(kind, columns, rows, pitch_mm, pitch_tolerance_mm)
    with _bar(len(images), "looking at pictures") as bar:
        seen = _see_all(images, target, corner_window, lambda: bar.update(1))
    _check_enough(len(seen.first), seen.failures, lens)
    thickness_u_mm = 0.0 if target_thickness_mm is None else rectangular(_CALLIPER_MM)
    heights = Heights(target_thickness_mm, thickness_u_mm, edge_height_mm, camera_height_mm)
    settings = Settings(lens, LensFreedom(fix_aspect, corner_window is not None), leave_out_outliers, heights)
    with _bar(_PERMILLE, "fitting, and trying how firm it stands") as bar:
        step = partial(_advance, bar)
        found = calibrate(seen.first, seen.second, target, settings, np.random.default_rng(_DRAWS), step)
    name = station or (before.station if before else _FIRST_STATION)
    made = _station(found, name, before, full_scale, images)
    stamp = head_of_works(of_works)
    kept = update_station(made, out, (*GEOMETRY, "sensor") if full_scale is not None else GEOMETRY)
    report = out.with_suffix(".html")
    write_page(calibration_page(found, name), report, stamp, pdf=False)
    for line in said(found, out, report):
        click.echo(line)
    if before and kept:
        click.echo(f"{kept} keeps the station as it was; {changed(before, made, found)}")
    for failure in seen.failures:
        click.echo(f"brightbowl: {failure}", err=True)
    if seen.failures:
        sys.exit(1)


def _before(out: Path, name: str | None, single: bool) -> Station | None:
    """The station that is there; refused where it is another one, or where one picture would cost it its lens."""
    from vision.formats import read_station

    if not out.exists():
        return None
    before = read_station(out)
    if name is not None and before.station != name:
        expected = f"the file of station {name} expected; name the station as its file does, or another file"
        raise Unusable(out, "station", expected, before.station)
    if single and (before.lens or before.camera):
        expected = "three pictures or more expected, since the station has a lens that one can't tell"
        raise Unusable("IMAGE...", "", f"{expected}; --lens none gives it up", "1")
    return before


def _check_enough(seen: int, failures: list[Unusable], lens: str) -> None:
    """Let pictures in which no target was found never turn a calibration of a lens into one without."""
    if failures and lens != "none" and seen < _LEAST_VIEWS:
        expected = f"{_LEAST_VIEWS} pictures that show the target expected; nothing was written"
        raise Unusable("IMAGE...", "", f"{expected}: {'; '.join(map(str, failures))}", str(seen))


def _bar(length: int, label: str) -> ProgressBar[int]:
    return click.progressbar(length=length, label=label, file=sys.stderr, hidden=not sys.stderr.isatty())


def _advance(bar: ProgressBar[int], share: float) -> None:
    bar.update(round(share * _PERMILLE) - bar.pos)


def _count(squares: str) -> tuple[int, int]:
    columns, _, rows = squares.lower().partition("x")
    if not (columns.isdecimal() and rows.isdecimal()) or min(int(columns), int(rows)) < _LEAST_NODES:
        expected = f"columns x rows of inner corners or discs, {_LEAST_NODES} or more each, such as 9x6"
        raise Unusable("--squares", "", expected, squares)
    return int(columns), int(rows)


@dataclass(frozen=True, slots=True)
class _Seen:
    """The target by the whole search window, `first`, and by half of it, `second`; pictures that show none."""

    first: list[Observation]
    second: list[Observation]
    failures: list[Unusable]


def _see_all(
    images: tuple[Path, ...], target: Target, search_window_px: int | None, looked: Callable[[], None]
) -> _Seen:
    """See the target in every picture.

    Without the first picture there is no plane, so its failure ends the call.
    """
    from vision.calibrate import read_photograph, see

    if len(set(images)) < len(images):
        twice = next(path for path in images if images.count(path) > 1)
        raise Unusable(twice, "", "each picture once", "given twice")
    same_names = len({path.name for path in images}) < len(images)
    seen = _Seen([], [], [])
    for path in images:
        name = str(path) if same_names else path.name
        try:
            pixels = read_photograph(path)
            whole, half = see(pixels, target, name, search_window_px)
            seen.first.append(whole)
            seen.second.append(half)
        except Unusable as fault:
            if path == images[0]:
                raise
            seen.failures.append(fault)
        looked()
    return seen


def _station(
    found: Calibration, name: str, before: Station | None, full_scale: float | None, images: tuple[Path, ...]
) -> Station:
    """The station, calibrated when the oldest picture was written; what else was known of it stays."""
    from vision.records import VALID_DAYS, Station

    tray_frame = found.tray_frame
    taken = min(image.stat().st_mtime for image in images)
    return Station(
        station=name,
        homography=tray_frame.homography,
        lens=tray_frame.lens,
        camera=tray_frame.camera,
        outline_mm=found.outline.combined,
        scale_relative=found.scale.combined,
        full_scale=full_scale,
        calibrated_at=datetime.fromtimestamp(taken, UTC).isoformat(timespec="seconds"),
        valid_days=before.valid_days if before else VALID_DAYS,
    )
