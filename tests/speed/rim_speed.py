"""What looking for bright rims adds to a backlit frame's time, in paired runs.

    python -m tests.speed.rim_speed FOLDER --angle DEG [--repeats 25]

FOLDER holds part.toml, station.toml and trays, as `../shared/trays/outline-rims/rim40`, of that half angle.
A frame is decoded, and measured with bands looked for and with none, in turn, REPEATS times; told are medians of
the ratios of neighbouring runs, processor time of one core, so that what else the machine does falls on both alike.
"""

import argparse
import os
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

os.environ["OMP_NUM_THREADS"] = "1"

import cv2

from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import find_shots, read_shot
from vision.formats.station import read_station
from vision.outline import clumps, single
from vision.pipeline import measure_tray
from vision.records.inputs import HalfAngle, RimRadius

RIM = RimRadius(0.3, 0.12)


def took_ms(work: Callable[[], object]) -> float:
    """Processor time of a call."""
    start = time.process_time()
    work()
    return 1e3 * (time.process_time() - start)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--angle", type=float, required=True)
    parser.add_argument("--repeats", type=int, default=25)
    chosen = parser.parse_args()
    cv2.setNumThreads(1)
    # Where the light is taken for collimated nothing is fitted.
    known = {"collimated": HalfAngle(0.0, 0.0), "unknown": None, f"{chosen.angle:g}°": HalfAngle(chosen.angle, 1.0)}
    look = single.see_band
    part, station = read_part(chosen.folder / "part.toml"), read_station(chosen.folder / "station.toml")
    shot = read_shot(find_shots([chosen.folder])[0])
    pictures = read_frames(shot, station)
    print("| light taken for | of measuring | of decoding and measuring |\n|---|---|---|")
    for name, light in known.items():
        of_station, of_part = replace(station, backlight=light), replace(part, rim=RIM if light else None)
        measured, whole = [], []
        for _ in range(chosen.repeats):
            decoding = took_ms(lambda: read_frames(shot, station))
            with_bands = took_ms(lambda p=of_part, s=of_station: measure_tray(pictures, p, s))
            single.see_band = clumps.see_band = lambda outline, *_: (outline, None)
            without = took_ms(lambda p=of_part, s=of_station: measure_tray(pictures, p, s))
            single.see_band = clumps.see_band = look
            measured.append(with_bands / without - 1)
            whole.append((decoding + with_bands) / (decoding + without) - 1)
        of_both = " | ".join(f"{100 * statistics.median(ratios):+.0f} %" for ratios in (measured, whole))
        print(f"| {name} | {of_both} |", flush=True)


if __name__ == "__main__":
    main()
