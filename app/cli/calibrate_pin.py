"""A station's backlight by a polished pin: the part of `brightbowl calibrate` that needs no target."""

from dataclasses import replace
from pathlib import Path

import click

from vision.errors import Unusable


def measure_backlight(
    images: tuple[Path, ...], station_file: Path, by: str | None, diameter_mm: float, tolerance_mm: float
) -> None:
    """Measure the half angle of a station's backlight by a pin, write it into its file, and say what it means."""
    from app.works import acts_on
    from vision.calibrate import read_photograph, rectangular
    from vision.formats import read_station, update_station
    from vision.outline import PinDiameter, half_level_shift, see_pin
    from vision.records import Picture

    acts_on(station_file, by, "calibrate")
    if len(images) != 1:
        raise Unusable("IMAGE", "", "one backlit frame of the pin", f"{len(images)} files")
    station = read_station(station_file)
    pixels = read_photograph(images[0])
    full_scale = 255.0 if pixels.dtype == "uint8" else station.full_scale or 65535.0
    picture = Picture("back", None, pixels, full_scale, str(images[0]))
    seen = see_pin(picture, station, PinDiameter(diameter_mm, rectangular(tolerance_mm)))
    kept = update_station(replace(station, backlight=seen.backlight), station_file, ("backlight",))
    click.echo(
        f"backlight: half angle {seen.backlight.half_deg:.1f}°, standard uncertainty {seen.backlight.u_deg:.1f}°; "
        f"the pin looks {seen.apparent_mm:.4f} mm thick, its band is {1000 * seen.band_mm:.0f} µm wide"
    )
    for radius in (0.1, 0.3, 0.6):
        shift = 1000 * half_level_shift(radius, seen.backlight.half_deg, seen.blur_mm)
        click.echo(f"  a rim of {radius:g} mm would be read {shift:.1f} µm inside its edge; this is put back")
    before = "unknown" if station.backlight is None else f"{station.backlight.half_deg:.1f}°"
    click.echo(f"wrote [backlight] into {station_file} (before: {before}; kept as {kept})")
