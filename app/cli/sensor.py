"""`brightbowl sensor`: gain, noise, linearity, sharpness and evenness of a station's camera and light."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from app.cli.finite import Finite
from vision.errors import Unusable

if TYPE_CHECKING:
    from vision.backlight import LampState
    from vision.calibrate import FlatPair, Pixels
    from vision.records import Station

_FILE = click.Path(path_type=Path)
_EIGHT_BITS, _SIXTEEN_BITS = 255.0, 65535.0
_READ_NOISE_ENOUGH = 0.02  # relative standard uncertainty, so that two of them stay within 5 %


@click.command()
@click.option(
    "--flat", type=(_FILE, _FILE), multiple=True, help="Two frames of one even light; give three levels or more."
)
@click.option("--dark", type=(_FILE, _FILE), help="Two frames with the lens covered, at the same settings.")
@click.option(
    "--exposures", help="Relative exposure of each --flat, in their order, such as 1,2,4,8: for the linearity."
)
@click.option(
    "--edge", type=_FILE, help="A cut-out with one straight edge, slanted by about 5 degrees: for the sharpness."
)
@click.option("--lamp", type=_FILE, help="The backlit tray, empty: for the evenness of its light.")
@click.option("--lamp-then", type=_FILE, help="The same on calibration day: for its drift.")
@click.option("--full-scale", type=Finite(min=1.0, max=65535.0), help="Of 16-bit frames that use fewer bits.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="JSON file to write.")
@click.option(
    "--write",
    "station_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Station into which the limits on the light go; the rest of it stays, the old file is kept beside it.",
)
@click.option("--by", help="Who says so, where --write is a station of a works; without it, whose account this is.")
def command(
    flat: tuple[tuple[Path, Path], ...],
    dark: tuple[Path, Path] | None,
    exposures: str | None,
    edge: Path | None,
    lamp: Path | None,
    lamp_then: Path | None,
    full_scale: float | None,
    out: Path,
    station_file: Path | None,
    by: str | None,
) -> None:
    """Measure a station's camera and light from frames taken for it.

    Photon transfer after EMVA 1288 (--flat, --dark, --exposures), a slanted edge's transfer after ISO 12233 (--edge),
    and the backlight's evenness and drift (--lamp, --lamp-then).
    """
    from vision.backlight import proposed_limits
    from vision.formats import write_atomic

    if not (flat or edge or lamp):
        raise Unusable("sensor", "", "at least one of --flat, --edge and --lamp")
    if not out.parent.is_dir():
        raise Unusable("--out", "", "a file in a folder that exists", str(out))
    before = None
    if station_file is not None:
        from app.works import acts_on
        from vision.formats import read_station

        if not (edge or lamp):
            raise Unusable("--write", "", "--lamp or --edge with it, by which the light is limited")
        acts_on(station_file, by, "calibrate")
        before = read_station(station_file)
    table: dict[str, Any] = {"format": 1}
    note = None
    if flat:
        table["sensor"], note = _sensor(flat, dark, exposures, full_scale)
    if edge:
        table["edge"] = _edge(edge, full_scale)
    state = _empty_lamp(lamp, full_scale) if lamp else None
    if state:
        table["lamp"] = _lamp(state, lamp_then, full_scale)
    limits = asdict(proposed_limits(state, table["edge"]["blur_px"] if edge else None))
    proposed = {key: value for key, value in limits.items() if value is not None}
    if proposed:
        table["light_limits"] = proposed
    write_atomic(out, json.dumps(table, indent=1) + "\n")
    for part in ("sensor", "edge", "lamp"):
        for name, value in table.get(part, {}).items():
            click.echo(f"{part}: {name} = {value}")
    if note:
        click.echo(f"note: {note}")
    if station_file is not None and before is not None:
        _write(before, proposed, station_file)
    elif proposed:
        click.echo("limits to put into station.toml, if this is how the station looks when all is well:")
        click.echo("\n".join(["[light]", *(f"{key} = {value}" for key, value in proposed.items())]))
    click.echo(f"wrote {out}")


def _write(before: Station, proposed: dict[str, float], station_file: Path) -> None:
    """Put limits on the light into a station's file and say what changed; those that were not measured stay."""
    from vision.formats import update_station

    light = replace(before.light, **proposed)
    kept = update_station(replace(before, light=light), station_file, ("light",))
    for key, value in proposed.items():
        old = getattr(before.light, key)
        click.echo(f"[light] {key} = {value} (before: {'none' if old is None else old})")
    click.echo(f"wrote [light] into {station_file}; {kept} keeps it as it was")


def _empty_lamp(path: Path, full_scale: float | None) -> LampState:
    from vision.backlight import check_empty, lamp_state

    state = lamp_state(*_frame(path, full_scale), str(path))
    check_empty(state, str(path))
    return state


def _sensor(
    flat: tuple[tuple[Path, Path], ...], dark: tuple[Path, Path] | None, exposures: str | None, full_scale: float | None
) -> tuple[dict[str, Any], str | None]:
    """What the pairs say, and what to photograph more of where it is not enough."""
    from vision.calibrate import level_for_read_noise, photon_transfer

    weights = _numbers(exposures, len(flat)) if exposures else None
    top = _frame(flat[0][0], full_scale)[1]
    lit = [_pair(files, full_scale) for files in flat]
    found = photon_transfer(lit, top, _pair(dark, full_scale) if dark else None, weights)
    note = None
    if not found.read_noise_standard_e <= _READ_NOISE_ENOUGH * found.read_noise_e:  # also where it is not a number
        note = (
            "to know the read noise better, add eight pairs or more of whole frames at levels from "
            f"{level_for_read_noise(found):.1f} counts to one count above"
        )
    table = {
        "gain_dn_per_e": _number(found.gain_dn_per_e),
        "gain_standard": _number(found.gain_standard),
        "read_noise_e": _number(found.read_noise_e),
        "read_noise_standard_e": _number(found.read_noise_standard_e),
        "black_level": _number(found.black_level),
        "full_well_e": _number(found.full_well_e),
        "saturation_reached": found.saturated,
        "snr_max": _number(found.snr_max),
        "linearity_error": _number(found.linearity_error),
    }
    return table, note


def _edge(path: Path, full_scale: float | None) -> dict[str, Any]:
    from vision.calibrate import edge_sharpness

    found = edge_sharpness(_frame(path, full_scale)[0], str(path))
    return {
        "mtf50_cycles_per_px": _number(found.mtf50),
        "mtf10_cycles_per_px": _number(found.mtf10),
        "blur_px": _number(found.blur_px),
        "slant_deg": _number(found.slant_deg),
    }


def _lamp(now: LampState, then: Path | None, full_scale: float | None) -> dict[str, Any]:
    from vision.backlight import lamp_drift

    table: dict[str, Any] = {
        "level": _number(now.level),
        "darkest": _number(now.darkest),
        "brightest": _number(now.brightest),
        "full": _number(now.full),
        "lit": _number(now.lit),
    }
    if then:
        level, shape = lamp_drift(now, _empty_lamp(then, full_scale))
        table |= {"level_change": _number(level), "shape_change": _number(shape)}
    return table


def _frame(path: Path, full_scale: float | None) -> tuple[Pixels, float]:
    """A frame and the count it can't exceed."""
    from vision.calibrate import read_photograph

    pixels = read_photograph(path)
    return pixels, _EIGHT_BITS if pixels.itemsize == 1 else full_scale or _SIXTEEN_BITS


def _pair(files: tuple[Path, Path], full_scale: float | None) -> FlatPair:
    from vision.calibrate import measure_pair

    (first, top), (second, _) = (_frame(path, full_scale) for path in files)
    if first.dtype != second.dtype:
        raise Unusable(files[1], "", f"a frame of as many bits as {files[0].name}")
    return measure_pair(first, second, top, str(files[1]))


def _numbers(text: str, count: int) -> list[float]:
    try:
        numbers = [float(word) for word in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != count or not all(0.0 < number < float("inf") for number in numbers):
        raise Unusable("--exposures", "", f"{count} numbers above 0 with commas between, one for each --flat", text)
    return numbers


def _number(value: float | None) -> float | None:
    """Six digits; null where there is none."""
    return float(f"{value:.6g}") if value is not None and isfinite(value) else None
