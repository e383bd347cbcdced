"""Time and memory of scoring faces on a rendered tray, once decoded.

    python tests/speed/face_speed.py ../shared/trays/polished/P-03

Prints, for each piece, the quickest and the median of some runs on one core, and the peak of memory.
"""

import os
import resource
import sys
import time
from pathlib import Path

os.environ["OMP_NUM_THREADS"] = "1"

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.truth.polished_score import truth_of, view_of
from vision.face.score import score_face
from vision.formats import shipped_judge
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station

RUNS = 9


def main() -> None:
    """Print a line a piece."""
    cv2.setNumThreads(1)
    tray = Path(sys.argv[1])
    part, station = read_part(tray.parent / "part.toml"), read_station(tray.parent / "station.toml")
    start = time.perf_counter()
    pictures = read_frames(read_shot(tray), station)
    print(f"decoding: {1e3 * (time.perf_counter() - start):.0f} ms")
    for number, piece in enumerate(truth_of(tray), start=1):
        view = view_of(pictures, part, piece, float(station.homography[0, 0]))
        score_face(view, shipped_judge())
        walls, cores = [], []
        for _ in range(RUNS):
            wall, core = time.perf_counter(), time.process_time()
            score_face(view, shipped_judge())
            walls.append(time.perf_counter() - wall)
            cores.append(time.process_time() - core)
        quick, median, core = (1e3 * t for t in (min(walls), float(np.median(walls)), min(cores)))
        print(f"piece {number}: quickest {quick:.0f} ms, median {median:.0f} ms, core {core:.0f} ms")
    print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
