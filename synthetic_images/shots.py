"""A folder of tray shots of one family, with the part, the station and the limits that belong to them."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from synthetic_images.families import FAMILIES, Family, back_frame, scene
from synthetic_images.spoons import Pattern
from synthetic_images.truth import tray_truth
from synthetic_images.write import FrameImage, LimitRow, ShotName, write_limits, write_part, write_shot, write_station

STATION = "ST-1"
LOT = "L-2611-01"


@dataclass(frozen=True, slots=True)
class Order:
    """What to render: how many trays of which family and part, from which seed; `frame_ending` is `png` or `tif`."""

    family: Family
    pattern: Pattern
    trays: int
    seed: int
    frame_ending: str = "png"


def outline_limits(pattern: Pattern) -> list[LimitRow]:
    """Limits of the invented works on the outline; our own choice, not from any standard."""
    rows = [
        LimitRow("outline_out_mm", "major", max=0.15),
        LimitRow("outline_in_mm", "major", max=0.15),
        LimitRow("bend_deg", "major", min=-0.4, max=0.4),
        LimitRow("length_mm", "minor", min=pattern.length_mm - 0.2, max=pattern.length_mm + 0.2),
    ]
    if pattern.holes:
        rows += [
            LimitRow("hole_offset_mm", "major", max=0.25),
            LimitRow("hole_diameter_error_mm", "minor", min=-0.15, max=0.15),
        ]
    return rows


def render_shots(folder: Path, order: Order) -> Iterator[Path]:
    """Render tray after tray into `folder`; yields each shot's folder once it is complete.

    The same order gives the same files, whatever was rendered before it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    write_limits(folder / "limits.toml", order.pattern.part, outline_limits(order.pattern), {})
    for index in range(order.trays):
        rng = np.random.default_rng([order.seed, FAMILIES.index(order.family), index])
        tray = scene(order.family, order.pattern, rng)
        if index == 0:
            write_part(folder, order.pattern, tray.edge_height_mm)
            write_station(folder / "station.toml", STATION, tray.view, tray.sensor)
        name = f"{order.family}-{order.seed}-{index:02d}"
        frame = FrameImage(f"back.{order.frame_ending}", "back", back_frame(tray, rng))
        yield write_shot(
            folder / name, ShotName(name, LOT, order.pattern.part, STATION), [frame], tray_truth(tray, name)
        )
