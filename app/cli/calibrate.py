"""`brightbowl calibrate`: pictures of a flat target to a station."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from app.cli.head_of_works import head_of_works
from vision.errors import Unusable

if TYPE_CHECKING:
    from vision.calibrate import Calibration, Observation, Target
    from vision.records import Station

# Fewer nodes than this along a side leave a lens to chance.
_LEAST_NODES = 3
# The resampling draws the same numbers each time, so that the same pictures give the same station.
_DRAWS = 2611


@click.command()
@click.argument("images", metavar="IMAGE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--squares", help="Inner corners of the chessboard (or discs), such as 9x6.")
@click.option("--pitch-mm", type=float, help="From corner to corner, or from disc to disc.")
@click.option(
    "--pitch-tolerance-mm",
    type=click.FloatRange(min=0.0),
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
@click.option("--station", default="ST-1", show_default=True, help="The station's name.")
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
    type=click.FloatRange(min=1.0, max=65535.0),
    help="Of 16-bit frames that use fewer bits; goes into the station.",
)
@click.option(
    "--pin-diameter-mm",
    type=click.FloatRange(min=0.0, min_open=True),
    help="In place of a target: IMAGE is a backlit frame of a polished pin or ball of this diameter alone on the tray; "
    "the backlight's half angle is measured and written into the station that is there.",
)
@click.option(
    "--pin-tolerance-mm",
    type=click.FloatRange(min=0.0),
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
    station: str,
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

    from app.report import calibration_page, write_page
    from vision.calibrate import LensFreedom, Settings, Target, calibrate
    from vision.formats import write_station

    if (out is None) == (works is None):
        raise click.UsageError("Give --out, or --works in its place.")
    from app.works import WORKS_FILE, read_works, who_acts

    if works is not None:
        place = read_works(works)
        who_acts(place, by, "calibrate")
        out = place.station_file(station)
    assert out is not None
    if works is None and (out.resolve().parent.parent / WORKS_FILE).is_file():  # a works' own, by another way
        works = out.resolve().parent.parent
        who_acts(read_works(works), by, "calibrate")
    if pin_diameter_mm is not None:
        _backlight(images, out, pin_diameter_mm, pin_tolerance_mm)
        return
    if squares is None or pitch_mm is None:
        raise click.UsageError("Give --squares and --pitch-mm of the target, or --pin-diameter-mm of a pin.")
    if not out.parent.is_dir():
        raise Unusable("--out", "", "a file in a folder that exists", str(out))
    columns, rows = _count(squares)
    if not 0.0 < pitch_mm < float("inf"):
        raise Unusable("--pitch-mm", "", "a pitch above 0 mm expected", f"{pitch_mm:g}")
    target = Target(kind, columns, rows, pitch_mm, pitch_tolerance_mm)
    first, second, failures = _look(images, target, corner_window)
    settings = Settings(lens, LensFreedom(fix_aspect, corner_window is not None), leave_out_outliers)
    found = calibrate(first, second, target, settings, np.random.default_rng(_DRAWS))
    stamp = head_of_works(works)
    write_station(_station(found, station, full_scale, images), out)
    report = out.with_suffix(".html")
    write_page(calibration_page(found, station), report, stamp, pdf=False)
    for line in _said(found, out, report):
        click.echo(line)
    for failure in failures:
        click.echo(f"brightbowl: {failure}", err=True)
    if failures:
        sys.exit(1)


def _backlight(images: tuple[Path, ...], station_file: Path, diameter_mm: float, tolerance_mm: float) -> None:
    """Measure the half angle of a station's backlight by a pin, write it into its file, and say what it means."""
    from dataclasses import replace

    from vision.calibrate import read_photograph, rectangular
    from vision.formats import read_station, write_station
    from vision.outline import PinDiameter, half_level_shift, see_pin
    from vision.records import Picture

    if len(images) != 1:
        raise Unusable("IMAGE", "", "one backlit frame of the pin", f"{len(images)} files")
    station = read_station(station_file)
    pixels = read_photograph(images[0])
    full_scale = 255.0 if pixels.dtype == "uint8" else station.full_scale or 65535.0
    picture = Picture("back", None, pixels, full_scale, str(images[0]))
    seen = see_pin(picture, station, PinDiameter(diameter_mm, rectangular(tolerance_mm)))
    write_station(replace(station, backlight=seen.backlight), station_file)
    click.echo(
        f"backlight: half angle {seen.backlight.half_deg:.1f}°, standard uncertainty {seen.backlight.u_deg:.1f}°; "
        f"the pin looks {seen.apparent_mm:.4f} mm thick, its band is {1000 * seen.band_mm:.0f} µm wide"
    )
    for radius in (0.1, 0.3, 0.6):
        shift = 1000 * half_level_shift(radius, seen.backlight.half_deg, seen.blur_mm)
        click.echo(f"  a rim of {radius:g} mm would be read {shift:.1f} µm inside its edge; this is put back")
    click.echo(f"wrote [backlight] into {station_file}")


def _count(squares: str) -> tuple[int, int]:
    columns, _, rows = squares.lower().partition("x")
    if not (columns.isdecimal() and rows.isdecimal()) or min(int(columns), int(rows)) < _LEAST_NODES:
        expected = f"columns x rows of inner corners or discs, {_LEAST_NODES} or more each, such as 9x6"
        raise Unusable("--squares", "", expected, squares)
    return int(columns), int(rows)


def _look(
    images: tuple[Path, ...], target: Target, search_window_px: int | None
) -> tuple[list[Observation], list[Observation], list[Unusable]]:
    """Sights with the whole window and with half of it, and the pictures in which no target was found.

    Without the first picture there is no plane, so its failure ends the call.
    """
    from vision.calibrate import read_photograph, see

    if len(set(images)) < len(images):
        twice = next(path for path in images if images.count(path) > 1)
        raise Unusable(twice, "", "each picture once", "given twice")
    same_names = len({path.name for path in images}) < len(images)
    first: list[Observation] = []
    second: list[Observation] = []
    failures: list[Unusable] = []
    for path in images:
        name = str(path) if same_names else path.name
        try:
            pixels = read_photograph(path)
            whole, half = see(pixels, target, name, search_window_px)
            first.append(whole)
            second.append(half)
        except Unusable as fault:
            if path == images[0]:
                raise
            failures.append(fault)
    return first, second, failures


def _station(found: Calibration, name: str, full_scale: float | None, images: tuple[Path, ...]) -> Station:
    """The station, calibrated when the oldest picture was written."""
    from vision.records import Station

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
    )


def _said(found: Calibration, out: Path, report: Path) -> list[str]:
    from vision.calibrate import calibration_advice, choice

    fitted = found.chosen.fitted
    used = sum(not view.left_out for view in found.views)
    lines = [
        f"{used} view(s), {fitted.rms_px:.4f} px rms; {found.tray_frame.mm_per_px:.6f} mm/px in the frame's middle",
        *(
            f"  {number.name} = {number.value:.6g}, standard uncertainty {number.standard:.2g}"
            for number in found.numbers
        ),
        f"scale uncertain by {100 * found.scale.combined:.2g} %, "
        f"a place in the field by {found.outline.combined:.2g} mm (k = 1)",
    ]
    if found.tray_frame.camera:
        height, (x, y) = found.tray_frame.camera.height_mm, found.tray_frame.camera.foot_mm
        lines.append(f"camera {height:.1f} mm above the tray, standard uncertainty {found.height_standard_mm:.2g} mm")
        lines.append(
            f"  over its place ({x:.1f}, {y:.1f}) mm, standard uncertainty {found.foot_standard_mm:.2g} mm each"
        )
    lines.append(f"why this camera: {choice(found)}")
    lines += [f"note: {sentence}" for sentence in calibration_advice(found)]
    lines.append(f"wrote {out} and {report}")
    return lines
